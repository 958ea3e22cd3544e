"""Forms of loss against published fits of one litter series.

Source: Gill, Schilling & Hobbie 2021, Ecology Letters, "Experimental nitrogen fertilisation globally accelerates, then
slows decomposition of leaf litter", data: series 558 (after Magill & Aber 1998), fraction of mass left against years,
and the fits of single, floor ("asymptotic") and Weibull models beside it. Starting mass is fixed at 1.
"""

import numpy as np
import pytest

from leafwane.breakdown.forms import FORMS, LN2, days_to_share, logistic
from tests.published.single import aicc, fit_best

Slopes = tuple[np.ndarray, np.ndarray]

SERIES_558 = [
    (0.0, 1.0),
    (0.75, 0.84),
    (1.0, 0.71),
    (1.75, 0.51),
    (2.0, 0.47),
    (2.75, 0.37),
    (3.0, 0.32),
    (3.75, 0.3),
    (4.0, 0.23),
    (4.75, 0.27),
    (5.0, 0.13),
    (5.75, 0.22),
    (6.0, 0.19),
]
YEARS, LEFT = np.array(SERIES_558).T


def mass_left(name):
    def model(theta, _rows) -> Slopes:
        log_left, slopes = FORMS[name].log_left(theta, np.tile(YEARS, (len(theta), 1)))
        return np.exp(log_left), np.exp(log_left)[..., None] * slopes

    return model


def fitted(name, *starts: tuple[float, ...]):
    fit = fit_best(mass_left(name), starts, LEFT)
    assert fit.success, fit.message
    return fit


def test_single_exponential():
    assert fitted("exponential", (0.5,)).theta[0] == pytest.approx(0.338507275, rel=1e-5)


def test_with_a_floor():
    fit = fitted("floor", (np.log(0.5), -2.0), (np.log(0.3), -1.0))
    assert np.exp(fit.theta[0]) == pytest.approx(0.423380142, rel=1e-4)
    assert logistic(fit.theta[1:])[0] == pytest.approx(0.098880291, rel=1e-3)


def test_weibull():
    fit = fitted("lagged", (np.log(0.4), 0.0), (np.log(0.3), 0.3))
    rate, shape = np.exp(fit.theta)
    scale = LN2 / rate / LN2 ** (1 / shape)
    assert shape == pytest.approx(0.936114339, rel=1e-3)
    assert scale == pytest.approx(2.952523558, rel=1e-3)
    half_life = days_to_share("lagged", fit.theta[None], np.array([0.5]))[0]
    assert half_life == pytest.approx(1.995978573, rel=1e-3)
    assert half_life == pytest.approx(LN2 / rate, rel=1e-12)


def test_criterion_counts_the_parameters_of_the_curve_and_not_the_error():
    n = len(LEFT)
    single = aicc(n, fitted("exponential", (0.5,)).rss, 1)
    floor = aicc(n, fitted("floor", (np.log(0.5), -2.0)).rss, 2)
    assert single == pytest.approx(-40.49748771, abs=1e-3)
    assert floor == pytest.approx(-41.11524164, abs=1e-3)
    assert floor < single  # with the error counted the two would tie


@pytest.mark.parametrize("name", FORMS)
def test_slopes_are_those_of_differences(name):
    rates = (
        np.array([[0.03, 0.0][: FORMS[name].n_parameters - 1]])
        if name == "exponential"
        else np.array([[-3.5, 0.2]])
    )
    days = np.array([[0.0, 5.0, 30.0, 90.0]])
    _, slopes = FORMS[name].log_left(rates, days)
    for place in range(rates.shape[1]):
        step = np.zeros_like(rates)
        step[0, place] = 1e-6
        ahead, behind = (FORMS[name].log_left(rates + sign * step, days)[0] for sign in (1, -1))
        np.testing.assert_allclose(slopes[..., place], (ahead - behind) / 2e-6, atol=1e-6)
