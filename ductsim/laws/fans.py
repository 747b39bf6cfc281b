"""Fans: a curve through measured points, the fan laws, and what happens beyond the points."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law

_ROUNDING = 1e-9  # volume flow that is the solver's rounding only [m3/s]
_CREEP = 1e-6  # share of the last flow at which a stopped fan's square law turns linear


def monotone_slopes(x: list[Any], y: list[Any]) -> list[Any]:
    """Slopes at the points of the monotone cubic through them, for points that are floats or arrays.

    Weighted harmonic means inside (zero where the points turn), three-point formulas at the ends.

    Parameters
    ----------
    x, y : list of float or array
        Points, x rising.

    Returns
    -------
    list of arrays
        dy/dx at each point.

    Source: Fritsch and Carlson (1980), SIAM Journal on Numerical Analysis 17, from memory.
    """
    n = len(x)
    h = [x[i + 1] - x[i] for i in range(n - 1)]
    d = [(y[i + 1] - y[i]) / h[i] for i in range(n - 1)]
    if n == 2:
        return [d[0], d[0]]
    out: list[Any] = [_end_slope(h[0], h[1], d[0], d[1])]
    for i in range(1, n - 1):
        w1, w2 = 2.0 * h[i] + h[i - 1], h[i] + 2.0 * h[i - 1]
        same = d[i - 1] * d[i] > 0.0
        a, b = np.where(same, d[i - 1], 1.0), np.where(same, d[i], 1.0)
        out.append(np.where(same, (w1 + w2) / (w1 / a + w2 / b), 0.0))
    out.append(_end_slope(h[-1], h[-2], d[-1], d[-2]))
    return out


def _end_slope(h0: Any, h1: Any, d0: Any, d1: Any) -> Any:
    slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    slope = np.where(slope * d0 <= 0.0, 0.0, slope)
    return np.where((d0 * d1 <= 0.0) & (np.abs(slope) > 3.0 * np.abs(d0)), 3.0 * d0, slope)


def cubic_pieces(x: list[Any], y: list[Any]) -> tuple[list[tuple[Any, Any, Any, Any]], Any, Any]:
    """The monotone cubic, a + b t + c t^2 + d t^3 with t from where a piece begins, and its two end slopes.

    Counted from zero instead, the powers of a narrow piece far out would lose all that they differ by.
    """
    s = monotone_slopes(x, y)
    out = []
    for i in range(len(x) - 1):
        h = x[i + 1] - x[i]
        rise = (y[i + 1] - y[i]) / h
        c2 = (3.0 * rise - 2.0 * s[i] - s[i + 1]) / h
        c3 = (s[i] + s[i + 1] - 2.0 * rise) / (h * h)
        out.append((y[i], s[i], c2, c3))
    return out, s[0], s[-1]


def curve_coefficients(
    flow: list[Any], pressure: list[Any], peak: Any, standing: Any = 1.0
) -> dict[str, Any]:
    """Coefficients of the law `fan` from the points of a total-pressure curve.

    Beyond the last point the curve goes on as a parabola with the same slope that bends down, below the
    first one as a parabola that bends up; both so strongly that a stopped fan, or one blown through
    backwards, resists with about `standing` times its peak pressure at its largest flow (1: our assumption).

    Parameters
    ----------
    flow : list of float or array
        Volume flow at the points, rising [m3/s].
    pressure : list of float or array
        Total-pressure rise at the points [Pa].
    peak : float or array
        Largest pressure of the clean fan [Pa].
    standing : float or array
        Resistance of the stopped fan at its largest flow, over its peak pressure [-].

    Returns
    -------
    dict
        "flow_0", "a_0", "b_0", "c_0", "d_0" ... and "creep", named as `fan` takes them. Piece 0 lies before
        the first point, piece i from point i - 1 on; flows count from there, in piece 0 from the first.
    """
    pieces, first, last = cubic_pieces(flow, pressure)
    square = peak / (flow[-1] * flow[-1])
    bend = standing * square
    low = (pressure[0], first, bend + first * first / (2.0 * peak), 0.0)
    high = (pressure[-1], last, -bend, 0.0)
    out = {f"flow_{i}": q for i, q in enumerate(flow)}
    for i, piece in enumerate([low, *pieces, high]):
        out.update({f"{name}_{i}": value for name, value in zip("abcd", piece, strict=True)})
    out["creep"] = _CREEP * square * flow[-1]
    return out


def power_coefficients(flow: list[Any], power: list[Any]) -> dict[str, Any]:
    """Coefficients of the shaft-power curve, held constant beyond its ends, for `power_by_curve`."""
    pieces, _, _ = cubic_pieces(flow, power)
    ends = [(power[0], 0.0, 0.0, 0.0), *pieces, (power[-1], 0.0, 0.0, 0.0)]
    return {f"{n}_{i}": v for i, piece in enumerate(ends) for n, v in zip("efgh", piece, strict=True)}


_LETTERS = ("abcd", "efgh")
_KNOTS = tuple(f"flow_{i}" for i in range(64))
_PIECES = {
    letters: tuple((f"flow_{max(i - 1, 0)}", *(f"{n}_{i}" for n in letters)) for i in range(65))
    for letters in _LETTERS
}


def _pieces_at(volume: Any, speed: Any, c: dict[str, Any], letters: str) -> list[Any]:
    """The flow from which the piece of each volume flow counts, and the piece's coefficients."""
    names = _PIECES[letters]
    out = [c[n] for n in names[0]]
    for i, knot in enumerate(_KNOTS, start=1):
        if knot not in c:
            break
        over = np.greater(volume, speed * c[knot])
        count = np.count_nonzero(over)
        if count == over.size:
            out = [c[n] for n in names[i]]
        elif count:
            out = [np.where(over, c[n], old) for n, old in zip(names[i], out, strict=True)]
        else:
            break
    return out


def fan_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where a fan runs beyond its measured points."""
    volume = flow / air.density
    last = sum(1 for name in c if name.startswith("flow_")) - 1
    return [
        (volume < -_ROUNDING, "air flows backwards through the fan"),
        (
            volume > c["speed"] * c[f"flow_{last}"] + _ROUNDING,
            "the fan delivers more than at the last point of its curve",
        ),
        (
            (volume >= 0.0) & (volume < c["speed"] * c["flow_0"]),
            "the fan delivers less than at the first point of its curve",
        ),
    ]


@law(
    equation="rise = (rho / rho_c) [a n^2 + b n q + c q^2 + d q^3 / n] with the coefficients of the piece "
    "in which Q / n lies, q = Q - n Q_i from its point i on, n = speed / curve speed, Q = m / rho; "
    "drop = -rise + creep (rho / rho_c) Q + loss rho Q |Q|",
    valid="between the first and the last point; fan laws at tip speeds well below that of sound",
    sources=("fan_laws", "stoecker_jones", "fritsch_carlson1980", "our_assumption"),
    outside=fan_outside,
)
def fan(
    flow: Any, air: Any, *, speed: Any, curve_density: Any, creep: Any, loss: Any = 0.0, **c: Any
) -> tuple[Any, Any, Any]:
    """Drop (a negative one: the fan's rise) by a curve of points and the fan laws.

    Flow goes with speed, pressure with speed squared and with inlet density. A stopped fan is a
    resistance. `creep` is a small linear resistance that keeps the slope of a stopped fan above zero.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Density at the inlet [kg/m3].
    speed : float or array
        Speed over the speed of the curve [-], at least zero.
    curve_density : float or array
        Density that the curve was measured at [kg/m3].
    creep : float or array
        Linear resistance [Pa s/m3].
    loss : float or array
        What is lost at its inlet and outlet, coefficient / (2 area^2) [1/m4].
    **c : float or array
        Points and piecewise coefficients from `curve_coefficients`.

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: 340 Pa in air of 20 degC are 318.3 Pa at 40 degC, same speed and volume flow.
    """
    rho = air.density
    volume = flow / rho
    knot, a, b, cc, d = _pieces_at(volume, speed, c, "abcd")
    on = volume - speed * knot
    # where the fan stands still every piece in use has d = 0, so the guard changes nothing
    cubic = d * on / np.maximum(speed, 1e-30)
    inverse = 1.0 / curve_density
    linear = b * speed
    rise = inverse * (a * speed * speed + on * (linear + on * (cc + cubic)) - creep * volume)
    slope = -inverse * (linear - creep + on * (2.0 * cc + 3.0 * cubic))
    steep = loss * np.abs(volume)
    own = slope + 2.0 * steep
    return rho * (steep * volume - rise), own, steep * volume - rise - volume * own


def power_by_efficiency(flow: Any, density: Any, *, efficiency: Any, **c: Any) -> Any:
    """Shaft power [W] of a fan whose efficiency is known: air power over efficiency, zero in reverse flow.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    density : float or array
        Density at the inlet [kg/m3].
    efficiency : float or array
        Total efficiency [-], the same all along the curve (our assumption).
    **c
        The other coefficients of `fan`.
    """
    volume = flow / density
    speed = c["speed"]
    knot, a, b, cc, d = _pieces_at(volume, speed, c, "abcd")
    on = volume - speed * knot
    cubic = d * on / np.maximum(speed, 1e-30)
    rise = density / c["curve_density"] * (a * speed * speed + on * (b * speed + on * (cc + cubic)))
    return np.maximum(rise * volume, 0.0) / efficiency


def power_by_curve(flow: Any, density: Any, **c: Any) -> Any:
    """Shaft power [W] of a fan whose shaft power was measured at its points; held constant beyond them.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    density : float or array
        Density at the inlet [kg/m3].
    **c
        The coefficients of `fan` with those of `power_coefficients`.

    Example: 1.8 kW in air of 20 degC are 1.685 kW at 40 degC, same speed and volume flow.
    """
    volume = flow / density
    speed = c["speed"]
    knot, e, f, g, h = _pieces_at(volume, speed, c, "efgh")
    on = volume - speed * knot
    cube = speed * (speed * (e * speed + f * on) + g * on * on) + h * on**3
    return density / c["curve_density"] * cube
