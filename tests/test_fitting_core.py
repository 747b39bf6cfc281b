"""The fitting core by itself: certified problems, a general library's covariance, scales, draws, choices."""

import numpy as np
import pytest
from amounts import examples
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from ductsim.inference import sampling
from ductsim.inference.choosing import _grown, best_sets, variance_after, variance_after_one
from ductsim.inference.hypotheses import weigh
from ductsim.inference.problem import Problem, find
from ductsim.inference.sampling import draw, weighted_quantiles
from ductsim.inference.scales import Scale, Scales

# Statistical Reference Datasets, nonlinear regression (National Institute of Standards and Technology): data,
# second starting values, certified estimates and standard deviations; all recalled from memory. The four
# Misra1 problems share their data.
MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
THURBER_X = [
    *(-3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501),
    *(-1.460, -1.274, -1.212, -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103),
    *(0.010, 0.119, 0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200),
]
THURBER_Y = [
    *(80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060),
    *(401.672, 390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643),
    *(1178.351, 1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962),
    *(1464.350, 1468.705, 1447.894, 1457.628),
]
CERTIFIED = {
    "Misra1a": (
        lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
        (MISRA_X, MISRA_Y),
        (250.0, 0.0005),
        (2.3894212918e02, 5.5015643181e-04),
        (2.7070075241e00, 7.2668688436e-06),
    ),
    "Misra1b": (
        lambda x, b: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
        (MISRA_X, MISRA_Y),
        (300.0, 0.0002),
        (3.3799746163e02, 3.9039091287e-04),
        (3.1643950207e00, 4.2547321834e-06),
    ),
    "Misra1c": (
        lambda x, b: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
        (MISRA_X, MISRA_Y),
        (600.0, 0.0002),
        (6.3642725809e02, 2.0813627256e-04),
        (4.6638326572e00, 1.7728423155e-06),
    ),
    "Misra1d": (
        lambda x, b: b[0] * b[1] * x / (1 + b[1] * x),
        (MISRA_X, MISRA_Y),
        (450.0, 0.0003),
        (4.3736970754e02, 3.0227324449e-04),
        (3.6489174345e00, 2.9334354479e-06),
    ),
    "DanWood": (
        lambda x, b: b[0] * x ** b[1],
        ([1.309, 1.471, 1.490, 1.565, 1.611, 1.680], [2.138, 3.421, 3.597, 4.340, 4.882, 5.660]),
        (0.7, 4.0),
        (7.6886226176e-01, 3.8604055871e00),
        (1.8281973860e-02, 5.1726610913e-02),
    ),
    "BoxBOD": (
        lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
        ([1.0, 2, 3, 5, 7, 10], [109.0, 149, 149, 191, 213, 224]),
        (100.0, 0.75),
        (2.1380940889e02, 5.4723748542e-01),
        (1.2354515176e01, 1.0455993237e-01),
    ),
    "MGH09": (
        lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
        (
            [4.0, 2.0, 1.0, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625],
            [0.1957, 0.1947, 0.1735, 0.16, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246],
        ),
        (0.25, 0.39, 0.415, 0.39),
        (1.9280693458e-01, 1.9128232873e-01, 1.2305650693e-01, 1.3606233068e-01),
        (1.1435312227e-02, 1.9633220911e-01, 8.0842031232e-02, 9.0025542308e-02),
    ),
    "MGH10": (
        lambda x, b: b[0] * np.exp(b[1] / (x + b[2])),
        (
            np.arange(50.0, 126.0, 5.0),
            [
                34780.0,
                28610,
                23650,
                19630,
                16370,
                13720,
                11540,
                9744,
                8261,
                7030,
                6005,
                5147,
                4427,
                3820,
                3307,
            ]
            + [2872.0],
        ),
        (0.02, 4000.0, 250.0),
        (5.6096364710e-03, 6.1813463463e03, 3.4522363462e02),
        (1.5687892471e-04, 2.3309021107e01, 7.8486103508e-01),
    ),
    "Rat42": (
        lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)),
        (
            [9.0, 14, 21, 28, 42, 57, 63, 70, 79],
            [8.93, 10.80, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08],
        ),
        (75.0, 2.5, 0.07),
        (7.2462237576e01, 2.6180768402e00, 6.7359200066e-02),
        (1.7340283401e00, 8.8295217536e-02, 3.4465663377e-03),
    ),
    "Thurber": (
        lambda x, b: (
            (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)
        ),
        (THURBER_X, THURBER_Y),
        (1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05),
        (
            1288.1396800,
            1491.0792535,
            583.23836877,
            75.416644291,
            0.96629502864,
            0.39797285797,
            0.049727297349,
        ),
        (
            4.6647963344,
            39.571156086,
            28.698696102,
            5.5675370270,
            0.031333340687,
            0.014984928198,
            0.0065842344623,
        ),
    ),
}


def without_prior(function, x, y, sd=1.0):
    """A problem that knows nothing beforehand; derivatives by the complex step, exact to rounding."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)

    def jacobian(b):
        steps = b[:, None] + 1e-30j * np.eye(len(b))
        slopes = np.array([np.imag(function(x, steps[:, k])) / 1e-30 for k in range(len(b))]).T
        return function(x, b), slopes

    def problem(size):
        return Problem(
            predict=lambda b: np.array([function(x, b[:, n]) for n in range(b.shape[1])]).T,
            jacobian=jacobian,
            measured=y,
            sd=np.full(len(y), sd),
            mean=np.zeros(size),
            prior_sd=np.full(size, np.inf),
        )

    return problem


def scaled_covariance(found):
    """Where the readings' deviations are known but for a factor, as in fits without any prior."""
    count, unknowns = found.slopes.shape
    return found.covariance * float(found.residuals @ found.residuals) / (count - unknowns)


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_nonlinear_regression(name):
    function, (x, y), start, certified, deviations = CERTIFIED[name]
    problem = without_prior(function, x, y)(len(start))
    found = find(problem, np.array(start), tolerance=1e-13)
    np.testing.assert_allclose(found.x, certified, rtol=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(scaled_covariance(found))), deviations, rtol=1e-4)


def test_covariance_is_that_of_a_general_library():
    function, (x, y), start, _, _ = CERTIFIED["Rat42"]
    found = find(without_prior(function, x, y, sd=0.5)(3), np.array(start), tolerance=1e-13)
    by = {"xdata": np.array(x), "ydata": np.array(y), "p0": start, "ftol": 1e-13, "xtol": 1e-13}
    best, known = optimize.curve_fit(
        lambda t, *b: function(t, b), sigma=np.full(9, 0.5), absolute_sigma=True, **by
    )
    _, scaled = optimize.curve_fit(lambda t, *b: function(t, b), **by)
    np.testing.assert_allclose(found.x, best, rtol=1e-6)
    np.testing.assert_allclose(found.covariance, known, rtol=1e-4)
    np.testing.assert_allclose(scaled_covariance(found), scaled, rtol=1e-4)


# ---- priors


def linear_problem(rng, readings=6, unknowns=15):
    slopes = rng.standard_normal((readings, unknowns))
    sd = rng.uniform(0.5, 2.0, readings)
    mean, prior = rng.standard_normal(unknowns), rng.uniform(0.3, 3.0, unknowns)
    return Problem(
        predict=lambda x: slopes @ x,
        jacobian=lambda x: (slopes @ x, slopes),
        measured=3.0 * rng.standard_normal(readings),
        sd=sd,
        mean=mean,
        prior_sd=prior,
        stretch=np.ones_like,
    ), slopes


def exact_posterior(problem, slopes):
    information = slopes.T @ np.diag(problem.sd**-2) @ slopes + np.diag(problem.prior_sd**-2)
    covariance = np.linalg.inv(information)
    right = slopes.T @ (problem.measured / problem.sd**2) + problem.mean / problem.prior_sd**2
    return covariance @ right, covariance


def test_a_linear_problem_has_the_normal_posterior_of_the_textbook():
    problem, slopes = linear_problem(np.random.default_rng(3))
    mean, covariance = exact_posterior(problem, slopes)
    found = find(problem)
    np.testing.assert_allclose(found.x, mean, atol=1e-6)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-9)
    draws = draw(problem, found, 6000, np.random.default_rng(4))
    assert draws.effective == pytest.approx(6000, rel=1e-6)  # a linear model's draws all weigh the same
    assert draws.lost == 0
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(draws.x.mean(axis=1), mean, atol=4.0 * sd.max() / np.sqrt(6000))
    np.testing.assert_allclose(np.cov(draws.x), covariance, atol=0.15 * sd.max() ** 2)


def test_chi_square_of_priors_and_readings_together_has_the_number_of_readings_as_mean():
    rng = np.random.default_rng(5)
    problem, slopes = linear_problem(rng)
    worth = []
    for _ in range(300):
        truth = problem.mean + problem.prior_sd * rng.standard_normal(len(problem.mean))
        problem.measured = slopes @ truth + problem.sd * rng.standard_normal(len(problem.sd))
        worth.append(find(problem).chi_square)
    assert stats.kstest(worth, stats.chi2(6).cdf).pvalue > 0.001


def curved_problem():
    """One reading of a cubic leak: the posterior can be had by quadrature."""
    scales = Scales([Scale.three_points(0.0, 1.0, 8.0)])

    def predict(z):
        return 10.0 / np.sqrt(1.0 + scales.values(z)) * np.exp(0.03 * scales.values(z))

    def jacobian(z):
        h = 1e-6
        both = predict(z[:, None] + np.array([[h, -h]]))
        return predict(z[:, None])[:, 0], (both[:, :1] - both[:, 1:]) / (2 * h)

    return Problem(
        predict=predict,
        jacobian=jacobian,
        measured=np.array([6.0]),
        sd=np.array([0.8]),
        mean=np.zeros(1),
        prior_sd=np.ones(1),
        stretch=scales.slopes,
    )


def test_weighted_draws_of_a_curved_problem_follow_its_posterior():
    problem = curved_problem()
    draws = draw(problem, find(problem), 20_000, np.random.default_rng(6))
    z = np.linspace(-6.0, 6.0, 40_001)
    log = -0.5 * z**2 - 0.5 * ((problem.predict(z[None])[0] - 6.0) / 0.8) ** 2
    mass = np.exp(log - log.max())
    shares = np.array([0.025, 0.25, 0.5, 0.75, 0.975])
    exact = np.interp(shares, np.cumsum(mass) / mass.sum(), z)
    np.testing.assert_allclose(draws.quantiles(draws.x[0], shares), exact, atol=0.06)


def test_a_draw_without_priors_is_refused():
    function, (x, y), start, _, _ = CERTIFIED["DanWood"]
    problem = without_prior(function, x, y)(2)
    with pytest.raises(ValueError, match="needs a prior"):
        draw(problem, find(problem, np.array(start)), 10, np.random.default_rng(0))


def test_predictions_without_an_answer_do_not_stop_the_search():
    problem = curved_problem()
    inner = problem.predict
    problem.predict = lambda z: np.where(z > 2.5, np.nan, inner(z))
    assert find(problem, np.array([2.4])).x[0] == pytest.approx(find(curved_problem()).x[0], abs=1e-3)


def test_weighted_quantiles_of_equal_weights_are_plain_ones():
    values = np.random.default_rng(7).standard_normal(2001)
    shares = np.array([0.025, 0.5, 0.975])
    np.testing.assert_allclose(
        weighted_quantiles(values, np.full(2001, 1 / 2001), shares),
        np.quantile(values, shares, method="hazen"),
        atol=1e-12,
    )
    assert np.isnan(weighted_quantiles(np.array([np.nan]), np.ones(1), shares)).all()


# ---- hypotheses


def test_evidence_of_linear_hypotheses_is_that_of_the_normal_distribution():
    rng = np.random.default_rng(8)
    problem, slopes = linear_problem(rng)
    means = np.repeat(problem.mean[:, None], 3, axis=1)
    sds = np.repeat(problem.prior_sd[:, None], 3, axis=1)
    means[0, 1], sds[3, 2] = 4.0, 9.0
    weighed = weigh(problem, slopes / problem.sd[:, None], problem.mean, means, sds)
    exact = [
        stats.multivariate_normal(
            slopes @ m, np.diag(problem.sd**2) + slopes @ np.diag(s**2) @ slopes.T
        ).logpdf(problem.measured)
        for m, s in zip(means.T, sds.T, strict=True)
    ]
    np.testing.assert_allclose(
        weighed.log_evidence - weighed.log_evidence[0], np.array(exact) - exact[0], atol=1e-6
    )


# ---- scales


@given(st.floats(1e-6, 0.9), st.floats(1.05, 50.0), st.floats(1e-4, 1e3))
@examples(60)
def test_a_scale_passes_through_its_points(low, high, likely):
    scale = Scale.three_points(low * likely, likely, high * likely)
    low_at, mid, high_at = Scales([scale]).values(np.array([[-1.959964, 0.0, 1.959964]]))[0]
    assert mid == pytest.approx(likely)
    assert high_at == pytest.approx(high * likely, rel=1e-5)
    if high * low < 1.0 and high + low > 2.0:  # between the logarithmic and the linear scale
        assert low_at == pytest.approx(low * likely, rel=1e-4, abs=1e-6 * likely)


def test_a_leak_can_be_exactly_zero_and_its_slope_fades():
    scales = Scales([Scale.three_points(0.0, 2.0, 16.0)])
    z = np.array([[-3.0, -1.99, -1.9, 0.0]])
    assert scales.values(z)[0, 0] == 0.0
    assert scales.slopes(z)[0, 0] == 0.0
    assert 0.0 <= scales.slopes(z)[0, 1] < scales.slopes(z)[0, 2] < scales.slopes(z)[0, 3]


@pytest.mark.parametrize(
    "scale",
    [
        Scale.three_points(0.0, 1.0, 8.0),
        Scale.three_points(0.2, 1.0, 3.0),
        Scale.three_points(0.25, 1.0, 4.0),
        Scale.about(0.6, 0.1, 0.0, 1.0),
        Scale.about(1.0, 0.05, 0.5, 1.0),
        Scale.about(-2.0, 0.1, -10.0, 10.0),
    ],
)
def test_slopes_of_scales_are_those_of_differences(scale):
    scales = Scales([scale])
    z = np.linspace(-2.5, 2.5, 41)[None]
    h = 1e-6
    by_difference = (scales.values(z + h) - scales.values(z - h)) / (2 * h)
    smooth = np.abs(scales.values(z) - scale.low) + (scale.kind != "power") > 1e-3
    smooth &= (scales.values(z) < scale.high - 1e-9) | (scale.kind == "below")
    np.testing.assert_allclose(scales.slopes(z)[smooth], by_difference[smooth], rtol=1e-4, atol=1e-7)


def test_a_number_at_its_bound_lies_below_it_by_half_a_normal_distribution():
    scales = Scales([Scale.about(1.0, 0.05, 0.5, 1.0)])
    z = stats.norm.ppf((np.arange(2000) + 0.5) / 2000)[None]
    distance = -np.log(scales.values(z)[0]) / 0.05
    assert np.all(distance >= 0.0)
    assert stats.kstest(distance, stats.halfnorm.cdf).statistic < 1e-3


def test_points_that_do_not_rise_are_refused():
    with pytest.raises(ValueError, match="low"):
        Scale.three_points(2.0, 1.0, 3.0)


# ---- choosing readings


def test_expected_variances_are_those_of_a_fit_with_the_reading():
    rng = np.random.default_rng(9)
    root = rng.standard_normal((5, 5))
    covariance = root @ root.T
    candidates, questions = rng.standard_normal((7, 5)), rng.standard_normal((2, 5))
    noise = rng.uniform(0.5, 2.0, 7)
    one = variance_after_one(covariance, questions, candidates, noise)
    for c in range(7):
        information = np.linalg.inv(covariance) + np.outer(candidates[c], candidates[c]) / noise[c] ** 2
        exact = np.einsum("qa,ab,qb->q", questions, np.linalg.inv(information), questions)
        np.testing.assert_allclose(one[:, c], exact, rtol=1e-9)
    some = [1, 4, 6]
    information = np.linalg.inv(covariance) + (candidates[some].T / noise[some] ** 2) @ candidates[some]
    exact = np.einsum("qa,ab,qb->q", questions, np.linalg.inv(information), questions)
    np.testing.assert_allclose(variance_after(covariance, questions, candidates[some], noise[some]), exact)


def test_the_best_set_is_the_best_of_all_sets():
    from itertools import combinations

    rng = np.random.default_rng(10)
    root = rng.standard_normal((6, 6))
    covariance = root @ root.T
    candidates, questions = rng.standard_normal((9, 6)), rng.standard_normal((1, 6))
    noise = rng.uniform(0.5, 2.0, 9)
    worth, chosen = best_sets(covariance, questions, candidates, noise, 3)[0]
    now = questions @ covariance @ questions.T
    left = {
        s: float(variance_after(covariance, questions, candidates[list(s)], noise[list(s)])[0] / now[0, 0])
        for s in combinations(range(9), 3)
    }
    assert chosen == min(left, key=left.__getitem__)
    assert worth == pytest.approx(min(left.values()))


def contradicting():
    """One unknown read twice, thirty standard deviations apart; far out the model has no answer to give."""
    asked = []

    def predict(x):
        asked.append(np.abs(x).max())
        return np.vstack([np.exp(0.3 * x[0]), np.exp(0.3 * x[0])])

    def jacobian(x):
        return predict(x[:, None])[:, 0], 0.3 * np.exp(0.3 * x[0]) * np.ones((2, 1))

    measured, sd = np.array([1.0, 400.0]), np.array([1e-2, 1e-2])
    stretch = lambda x: np.exp(0.3 * x)  # noqa: E731
    return Problem(predict, jacobian, measured, sd, np.zeros(1), np.ones(1), stretch), asked


def test_no_search_and_no_draw_asks_for_machines_that_nobody_believes_in():
    problem, asked = contradicting()
    estimate = find(problem)
    assert np.isfinite(estimate.x).all() and max(asked) <= 16.0 + 1e-9
    draws = draw(problem, estimate, 100, np.random.default_rng(0))
    assert max(asked) <= 1.5 * 16.0
    assert draws.asked == 100 and np.isfinite(draws.x).all()


def test_draws_that_are_lost_are_replaced_by_those_of_the_linear_model():
    inverse = np.array([[1.0, 0.3], [0.2, 1.0], [0.5, -0.4]])
    truth = Problem(
        lambda x: inverse @ x,
        lambda x: (inverse @ x, inverse),
        np.array([1.0, 0.5, 0.2]),
        np.full(3, 0.4),
        np.zeros(2),
        np.ones(2),
    )
    found = find(truth)
    lost = Problem(
        lambda x: np.full((3, x.shape[1]), np.nan),
        truth.jacobian,
        truth.measured,
        truth.sd,
        truth.mean,
        truth.prior_sd,
    )
    draws = draw(lost, found, 4000, np.random.default_rng(1))
    assert draws.linear and draws.lost == 4000 and draws.x.shape == (2, 4000)
    np.testing.assert_allclose(np.cov(draws.x), found.covariance, atol=0.1 * found.covariance.max())
    np.testing.assert_allclose(draws.predicted, inverse @ draws.x, atol=1e-9)
    assert not draw(truth, found, 100, np.random.default_rng(1)).linear


def test_draws_in_blocks_are_those_made_at_once(monkeypatch):
    problem = curved_problem()
    found = find(problem)
    whole = draw(problem, found, 60, np.random.default_rng(2))
    monkeypatch.setattr(sampling, "BLOCK", 20 * len(problem.measured) ** 2)
    blocks = draw(problem, found, 60, np.random.default_rng(2))
    np.testing.assert_allclose(blocks.x, whole.x, atol=0.05)


def test_a_set_grows_by_what_is_left_after_the_readings_taken():
    """Each reading is the best beside those taken, by the joint variance, noise and all."""
    rng = np.random.default_rng(5)
    for _ in range(60):
        root, candidates = rng.standard_normal((4, 4)), rng.standard_normal((7, 4))
        covariance, noise = root @ root.T, rng.uniform(0.2, 4.0, 7)
        questions, taken = np.eye(4)[:2], []
        weigh = 1.0 / np.diag(covariance)[:2]
        for _ in range(3):
            left = [i for i in range(7) if i not in taken]
            worth = [
                weigh @ variance_after(covariance, questions, candidates[[*taken, i]], noise[[*taken, i]])
                for i in left
            ]
            taken.append(left[int(np.argmin(worth))])
        assert _grown(covariance, questions, candidates, noise, 3, weigh) == tuple(sorted(taken))
