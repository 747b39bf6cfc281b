"""The normal distribution and chi-square in NumPy: a library for them takes longer to load than a fit takes.

Sources: W. J. Cody, Rational Chebyshev approximations for the error function, Mathematics of Computation 23
(1969); M. J. Wichura, Algorithm AS 241: the percentage points of the normal distribution, Applied Statistics
37 (1988). Coefficients from memory; the tests hold all of it against a general library.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ratio = tuple[tuple[float, ...], tuple[float, ...]]

# Numerators and denominators, the highest power first.
MIDDLE: Ratio = (
    (
        1.85777706184603153e-1,
        3.16112374387056560e0,
        1.13864154151050156e2,
        3.77485237685302021e2,
        3.20937758913846947e3,
    ),
    (1.0, 2.36012909523441209e1, 2.44024637934444173e2, 1.28261652607737228e3, 2.84423683343917062e3),
)
SIDE: Ratio = (
    (
        2.15311535474403846e-8,
        5.64188496988670089e-1,
        8.88314979438837594e0,
        6.61191906371416295e1,
        2.98635138197400131e2,
        8.81952221241769090e2,
        1.71204761263407058e3,
        2.05107837782607147e3,
        1.23033935479799725e3,
    ),
    (
        1.0,
        1.57449261107098347e1,
        1.17693950891312499e2,
        5.37181101862009858e2,
        1.62138957456669019e3,
        3.29079923573345963e3,
        4.36261909014324716e3,
        3.43936767414372164e3,
        1.23033935480374942e3,
    ),
)
FAR: Ratio = (
    (
        1.63153871373020978e-2,
        3.05326634961232344e-1,
        3.60344899949804439e-1,
        1.25781726111229246e-1,
        1.60837851487422766e-2,
        6.58749161529837803e-4,
    ),
    (
        1.0,
        2.56852019228982242e0,
        1.87295284992346047e0,
        5.27905102951428412e-1,
        6.05183413124413191e-2,
        2.33520497626869185e-3,
    ),
)
"""The error function of x**2 up to 0.46875, its complement of x up to 4, and of 1 / x**2 beyond."""
CENTRAL: Ratio = (
    (
        2.5090809287301226727e3,
        3.3430575583588128105e4,
        6.7265770927008700853e4,
        4.5921953931549871457e4,
        1.3731693765509461125e4,
        1.9715909503065514427e3,
        1.3314166789178437745e2,
        3.3871328727963666080e0,
    ),
    (
        5.2264952788528545610e3,
        2.8729085735721942674e4,
        3.9307895800092710610e4,
        2.1213794301586595867e4,
        5.3941960214247511077e3,
        6.8718700749205790830e2,
        4.2313330701600911252e1,
        1.0,
    ),
)
OUTER: Ratio = (
    (
        7.74545014278341407640e-4,
        2.27238449892691845833e-2,
        2.41780725177450611770e-1,
        1.27045825245236838258e0,
        3.64784832476320460504e0,
        5.76949722146069140550e0,
        4.63033784615654529590e0,
        1.42343711074968357734e0,
    ),
    (
        1.05075007164441684324e-9,
        5.47593808499534494600e-4,
        1.51986665636164571966e-2,
        1.48103976427480074590e-1,
        6.89767334985100004550e-1,
        1.67638483018380384940e0,
        2.05319162663775882187e0,
        1.0,
    ),
)
OUTMOST: Ratio = (
    (
        2.01033439929228813265e-7,
        2.71155556874348757815e-5,
        1.24266094738807843860e-3,
        2.65321895265761230930e-2,
        2.96560571828504891230e-1,
        1.78482653991729133580e0,
        5.46378491116411436990e0,
        6.65790464350110377720e0,
    ),
    (
        2.04426310338993978564e-15,
        1.42151175831644588870e-7,
        1.84631831751005468180e-5,
        7.86869131145613259100e-4,
        1.48753612908506148525e-2,
        1.36929880922735805310e-1,
        5.99832206555887937690e-1,
        1.0,
    ),
)
"""The coordinate of shares within 0.425 of a half, of those down to exp(-25), and of smaller ones."""


def share_below(z: Any) -> Any:
    """The share of the standard normal distribution that lies below z, a float or an array of any shape.

    Within some roundings of itself, small shares too; share_below(-1.959963984540054) is 0.025.
    """
    z = np.asarray(z, dtype=float)
    x = np.abs(z) * math.sqrt(0.5)
    half = np.full(z.shape, np.nan)  # of the complementary error function of x
    near, far = x <= 0.46875, x > 4.0
    between = ~near & (x <= 4.0)
    half[near] = 0.5 - 0.5 * x[near] * _ratio(MIDDLE, x[near] ** 2)
    half[between] = 0.5 * _falling(x[between]) * _ratio(SIDE, x[between])
    beyond = np.minimum(x[far], 40.0)  # nothing is left out there
    inverse = beyond**-2.0
    rest = math.sqrt(1.0 / math.pi) - inverse * _ratio(FAR, inverse)
    half[far] = 0.5 * _falling(beyond) / beyond * rest
    out = np.where(z > 0.0, 1.0 - half, half)
    return out if out.ndim else float(out)


def coordinate(share: Any) -> Any:
    """The z that this share of the standard normal distribution lies below: `share_below` backwards.

    Infinite for 0 and 1, NaN outside; coordinate(0.025) is -1.959963984540054.
    """
    share = np.asarray(share, dtype=float)
    q = share - 0.5
    central = np.abs(q) <= 0.425
    with np.errstate(divide="ignore", invalid="ignore"):
        r = np.sqrt(-np.log(np.where(q < 0.0, share, 1.0 - share)))
    out = np.full(share.shape, np.nan)
    out[central] = q[central] * _ratio(CENTRAL, 0.180625 - q[central] ** 2)
    for some, ratio, origin in ((r <= 5.0, OUTER, 1.6), ((r > 5.0) & (r <= 27.5), OUTMOST, 5.0)):
        some &= ~central
        out[some] = np.copysign(_ratio(ratio, r[some] - origin), q[some])
    nothing = np.isinf(r)
    out[nothing] = np.copysign(np.inf, q[nothing])
    return out if out.ndim else float(out)


def chance_beyond(chi_square: float, count: int) -> float:
    """How often the sum of the squares of `count` standard normal numbers is larger; 1 for none of them."""
    x = 0.5 * chi_square
    if count <= 0 or x <= 0.0:
        return 1.0
    if math.isinf(x):
        return 0.0
    # Q(count / 2, x) in closed form: a sum down to 1, or to 1/2, whose rest is the normal distribution's
    rest = math.erfc(math.sqrt(x)) if count % 2 else 0.0
    powers = (k + 0.5 * (count % 2) for k in range(count // 2))
    return rest + math.fsum(math.exp(p * math.log(x) - x - math.lgamma(p + 1.0)) for p in powers)


def _falling(x: Array) -> Array:
    """exp(-x**2) with all its digits, by its square taken in two parts."""
    whole = np.trunc(16.0 * x) / 16.0
    out: Array = np.exp(-whole * whole) * np.exp(-(x - whole) * (x + whole))
    return out


def _ratio(of: Ratio, x: Array) -> Array:
    """A quotient of polynomials."""
    top, bottom = (_polynomial(coefficients, x) for coefficients in of)
    return top / bottom


def _polynomial(coefficients: tuple[float, ...], x: Array) -> Array:
    out = np.full(x.shape, coefficients[0])
    for c in coefficients[1:]:
        out *= x
        out += c
    return out
