"""The fit against certified values of nonlinear regression.

Source of data, starts and certified values: NIST/ITL Statistical Reference Datasets (StRD), nonlinear regression.
"""

import numpy as np
import pytest
from scipy.optimize import least_squares

from tests.published.single import fit_best

Slopes = tuple[np.ndarray, np.ndarray]

MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78]
BOXBOD = [(1.0, 109.0), (2.0, 149.0), (3.0, 149.0), (5.0, 191.0), (7.0, 213.0), (10.0, 224.0)]
CHWIRUT2 = [
    (0.5, 92.9),
    (1.0, 57.1),
    (1.75, 31.05),
    (3.75, 11.5875),
    (5.75, 8.025),
    (0.875, 63.6),
    (2.25, 21.4),
    (3.25, 14.25),
    (5.25, 8.475),
    (0.75, 63.8),
    (1.75, 26.8),
    (2.75, 16.4625),
    (4.75, 7.125),
    (0.625, 67.3),
    (1.25, 41.0),
    (2.25, 21.15),
    (4.25, 8.175),
    (0.5, 81.5),
    (3.0, 13.12),
    (0.75, 59.9),
    (3.0, 14.62),
    (1.5, 32.9),
    (6.0, 5.44),
    (3.0, 12.56),
    (6.0, 5.44),
    (1.5, 32.0),
    (3.0, 13.95),
    (0.5, 75.8),
    (2.0, 20.0),
    (4.0, 10.42),
    (0.75, 59.5),
    (2.0, 21.67),
    (5.0, 8.55),
    (0.75, 62.0),
    (2.25, 20.2),
    (3.75, 7.76),
    (5.75, 3.75),
    (3.0, 11.81),
    (0.75, 54.7),
    (2.5, 23.7),
    (4.0, 11.55),
    (0.75, 61.3),
    (2.5, 17.7),
    (4.0, 8.74),
    (0.75, 59.2),
    (2.5, 16.3),
    (4.0, 8.62),
    (0.5, 81.0),
    (6.0, 4.87),
    (3.0, 14.62),
    (0.5, 81.7),
    (2.75, 17.17),
    (0.5, 81.3),
    (1.75, 28.9),
]
MGH17_Y = [
    0.844,
    0.908,
    0.932,
    0.936,
    0.925,
    0.908,
    0.881,
    0.85,
    0.818,
    0.784,
    0.751,
    0.718,
    0.685,
    0.658,
    0.628,
    0.603,
    0.58,
    0.558,
    0.538,
    0.522,
    0.506,
    0.49,
    0.478,
    0.467,
    0.457,
    0.448,
    0.438,
    0.431,
    0.424,
    0.42,
    0.414,
    0.411,
    0.406,
]


def saturating(x):
    def model(theta, _rows) -> Slopes:
        b1, b2 = theta[:, :1], theta[:, 1:]
        rest = np.exp(-b2 * x)
        return b1 * (1 - rest), np.stack([1 - rest, b1 * x * rest], axis=-1)

    return model


def misra1b(x):
    def model(theta, _rows) -> Slopes:
        b1, b2 = theta[:, :1], theta[:, 1:]
        base = 1 + b2 * x / 2
        return b1 * (1 - base**-2), np.stack([1 - base**-2, b1 * x * base**-3], axis=-1)

    return model


def chwirut(x):
    def model(theta, _rows) -> Slopes:
        b1, b2, b3 = (theta[:, i : i + 1] for i in range(3))
        line = b2 + b3 * x
        y = np.exp(-b1 * x) / line
        return y, np.stack([-x * y, -y / line, -x * y / line], axis=-1)

    return model


def mgh17(x):
    def model(theta, _rows) -> Slopes:
        b1, b2, b3, b4, b5 = (theta[:, i : i + 1] for i in range(5))
        one, other = np.exp(-x * b4), np.exp(-x * b5)
        slopes = [one * 0 + 1, one, other, -b2 * x * one, -b3 * x * other]
        return b1 + b2 * one + b3 * other, np.stack(slopes, axis=-1)

    return model


def columns(pairs):
    return np.array(pairs, dtype=float).T


MISRA = (np.array(MISRA_X), np.array(MISRA_Y))
CASES = {
    "Misra1a": (
        saturating, *MISRA, [(500, 1e-4), (250, 5e-4)], (238.94212918, 5.5015643181e-4),
        (2.7070075241, 7.2668688436e-06), 0.12455138894,
    ),
    "Misra1b": (
        misra1b, *MISRA, [(500, 1e-4), (300, 2e-4)], (337.99746163, 3.9039091287e-4),
        (3.1643950207, 4.2547321834e-06), 0.075464681533,
    ),
    "BoxBOD": (
        saturating, *columns(BOXBOD), [(1, 1), (100, 0.75)], (213.80940889, 0.54723748542),
        (12.354515176, 0.10455993237), 1168.0088766,
    ),
    "Chwirut2": (
        chwirut, *columns(CHWIRUT2), [(0.1, 0.01, 0.02), (0.15, 0.008, 0.01)],
        (0.16657666537, 0.0051653291286, 0.012150007096), (0.03830328681, 0.00066621605126, 0.0015304234767),
        513.04802941,
    ),
    "MGH17": (
        mgh17, np.arange(33) * 10.0, np.array(MGH17_Y), [(50, 150, -100, 1, 2), (0.5, 1.5, -1, 0.01, 0.02)],
        (0.37541005211, 1.9358469127, -1.4646871366, 0.01286753464, 0.022122699662),
        (0.0020723153551, 0.22031669222, 0.22175707739, 0.00044861358114, 0.00089471996575), 5.4648946975e-05,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_certified_values_to_six_digits(name):
    make, x, y, starts, certified, errs, rss = CASES[name]
    fit = fit_best(make(x), starts, y)
    assert fit.success, fit.message
    np.testing.assert_allclose(fit.theta, certified, rtol=2e-7)
    np.testing.assert_allclose(fit.theta_err, errs, rtol=1e-5)
    assert fit.rss == pytest.approx(rss, rel=1e-6)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("which", [0, 1])
def test_from_one_start_the_certified_values_or_a_refusal(name, which):
    make, x, y, starts, certified, _, _ = CASES[name]
    fit = fit_best(make(x), starts[which], y)
    if fit.success:
        np.testing.assert_allclose(fit.theta, certified, rtol=1e-6)
    else:
        assert fit.message
        assert not fit.theta.size


def test_boxbod_from_one_and_one_is_no_silent_failure():
    x, y = columns(BOXBOD)

    def residuals(theta) -> np.ndarray:
        return theta[0] * (1 - np.exp(-theta[1] * x)) - y

    blind = least_squares(residuals, (1.0, 1.0), method="lm")  # what is returned without a check of one's own
    assert blind.success
    assert 2 * blind.cost == pytest.approx(9771.5, abs=0.1)
    fit = fit_best(saturating(x), (1.0, 1.0), y)
    assert not fit.success or fit.rss == pytest.approx(1168.0088766, rel=1e-6)


def test_the_same_least_as_scipy():
    x, y = columns(CHWIRUT2)

    def residuals(theta) -> np.ndarray:
        return chwirut(x)(theta[None], None)[0][0] - y

    reference = least_squares(residuals, (0.15, 0.008, 0.01), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    fit = fit_best(chwirut(x), (0.15, 0.008, 0.01), y)
    np.testing.assert_allclose(fit.theta, reference.x, rtol=1e-5)
    assert fit.rss <= 2 * reference.cost * (1 + 1e-10)


def test_a_double_exponential_on_six_points_is_refused():
    x = np.arange(6) * 14.0
    y = 0.9 * np.exp(-0.03 * x)

    def model(theta, _rows) -> Slopes:
        a, k, b, m = (theta[:, i : i + 1] for i in range(4))
        one, other = np.exp(-k * x), np.exp(-m * x)
        return a * one + b * other, np.stack([one, -a * x * one, other, -b * x * other], axis=-1)

    fit = fit_best(model, (0.5, 0.05, 0.4, 0.01), y)
    assert not fit.success
    assert "6 values are too few for 4 parameters" in fit.message


def test_parameters_that_the_values_do_not_tell_apart_are_refused():
    x = np.linspace(0.0, 5.0, 12)

    def model(theta, _rows) -> Slopes:
        a, b = theta[:, :1], theta[:, 1:]
        return a * x + b * x, np.stack([x + 0 * a, x + 0 * a], axis=-1)

    fit = fit_best(model, (0.3, 0.4), 2 * x + np.sin(7 * x))
    assert not fit.success
    assert "do not tell the parameters apart" in fit.message
