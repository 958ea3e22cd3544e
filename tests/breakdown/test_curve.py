"""Curves of batches against scipy, their refusals and their intervals."""

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares, minimize_scalar

from fixtures.studies.trials import cover_percent
from leafwane.breakdown.choice import fit_curve, fit_curves
from leafwane.breakdown.curve import days_to_cover
from leafwane.breakdown.series import Series
from tests.breakdown.invented import covers_of

DAYS = np.arange(8) * 14.0
ERR = np.full(8, 3.0)


def noisy(k, seed, days=DAYS, err=3.0):
    return np.clip(covers_of(k, days) + np.random.default_rng(seed).normal(0, err, len(days)), 0, 100)


def misfit(covers, days=DAYS, err=3.0):
    def residuals(log_layers, k) -> np.ndarray:
        return (covers - 100 * -np.expm1(-np.exp(log_layers - k * days))) / err

    return residuals


@pytest.mark.parametrize("seed", range(5))
def test_rate_and_profile_interval_are_those_of_scipy(seed):
    covers = noisy(0.03, seed)
    residuals = misfit(covers)
    best = least_squares(lambda t: residuals(*t), (0.5, 0.02), x_scale=(1, 0.01), xtol=1e-12, ftol=1e-14)
    scatter = max(1.0, 2 * best.cost / 6)

    def rise(k) -> float:
        held = least_squares(lambda t: residuals(t[0], k), (best.x[0],), xtol=1e-12, ftol=1e-14)
        return (2 * held.cost - 2 * best.cost) / scatter - 2.7055

    curve = fit_curve(DAYS, covers, ERR)
    assert curve.k_per_day == pytest.approx(best.x[1], rel=1e-4)
    assert curve.k_low == pytest.approx(brentq(rise, 0.2 * best.x[1], best.x[1]), rel=2e-3)
    assert curve.k_high == pytest.approx(brentq(rise, best.x[1], 3 * best.x[1]), rel=2e-3)


def test_full_cover_weighs_little():
    """Two full check-ins, one point apart, would wreck a line through ln(layers); here they hardly count."""
    covers = covers_of(0.03, DAYS, layers=6.0)
    one, other = covers.copy(), covers.copy()
    one[0], other[0] = 100.0, 98.5
    rates = [fit_curve(DAYS, c, ERR).k_per_day for c in (one, other)]
    assert rates[0] == pytest.approx(rates[1], rel=0.03)
    assert rates[0] == pytest.approx(0.03, rel=0.03)


def test_a_floor_is_seen_where_part_of_the_leaf_stays():
    days = np.arange(10) * 14.0
    layers = 2.5 * (0.25 + 0.75 * np.exp(-0.06 * days))
    curve = fit_curve(days, 100 * -np.expm1(-layers), np.full(10, 1.0))
    assert curve.form == "floor"
    assert curve.parameters["floor"] == pytest.approx(0.25, abs=1e-3)
    assert curve.parameters["k_per_day"] == pytest.approx(0.06, rel=1e-3)
    assert curve.half_life_days == pytest.approx(-np.log(0.25 / 0.75) / 0.06, rel=1e-3)
    assert days_to_cover([curve], 5.0)[0].best is None


def test_a_lag_is_seen_where_loss_starts_late():
    days = np.arange(10) * 10.0
    layers = 2.0 * np.exp(-((days / 50.0) ** 2.5))
    curve = fit_curve(days, 100 * -np.expm1(-layers), np.full(10, 1.0))
    assert curve.form == "lagged"
    assert curve.parameters["shape"] == pytest.approx(2.5, rel=1e-3)
    assert curve.half_life_days == pytest.approx(50 * np.log(2) ** 0.4, rel=1e-3)
    assert curve.half_life_low < curve.half_life_days < curve.half_life_high


def test_forms_that_the_check_ins_cannot_identify_are_refused_with_a_reason():
    curve = fit_curve(DAYS[:5], covers_of(0.03, DAYS[:5]), ERR[:5])
    assert curve.form == "exponential"
    assert curve.refused["floor"] == "5 check-ins are too few for 3 parameters"
    straight = fit_curve(DAYS, covers_of(0.03, DAYS), ERR)
    assert "end of its range" in straight.refused["floor"]


def test_few_check_ins_are_taken_to_lose_leaf_steadily():
    steady = [fit_curve(DAYS[:n], covers_of(0.03, DAYS[:n]), ERR[:n]).taken_as_steady for n in (3, 5, 6, 8)]
    assert steady == [True, True, False, False]


def test_the_interval_of_the_half_life_holds_the_truth_though_other_forms_are_tried():
    """A form of three parameters that is picked by chance alone gives half-lives that look surer than they are."""
    days, rng = np.arange(14) * 14.0, np.random.default_rng(21)
    truth = cover_percent(2.5 * np.exp(-0.02 * days)) / 100
    covers = np.clip(truth + rng.normal(0, 0.03, (400, 14)), 0, 1)
    curves = fit_curves([Series(days=days, cover=cover, err=np.full(14, 0.03)) for cover in covers])
    half = np.log(2) / 0.02
    held = [c.half_life_low <= half <= (c.half_life_high or np.inf) for c in curves]
    assert np.mean([c.form != "exponential" for c in curves]) < 0.05
    assert np.mean(held) > 0.885  # 90% less a standard error of the simulation


@pytest.mark.parametrize(
    ("covers", "why"),
    [
        (np.zeros(8), "hardly any leaf"),
        (np.full(8, 100.0), "covered so fully"),
    ],
)
def test_no_curve_without_ground(covers, why):
    curve = fit_curve(DAYS, covers, ERR)
    assert not curve.success
    assert why in curve.message
    assert curve.k_per_day is None
    assert np.isnan(curve.predict(DAYS)).all()
    assert np.isnan(curve.band(DAYS)).all()


@pytest.mark.parametrize("n", [1, 2])
def test_few_check_ins_give_no_curve(n):
    curve = fit_curve(DAYS[:n], covers_of(0.03, DAYS[:n]), ERR[:n])
    assert not curve.success
    assert f"{n} check-in" in curve.message


def test_rising_cover_has_a_rate_of_zero_and_an_upper_limit():
    curve = fit_curve(DAYS, np.linspace(30, 50, 8), ERR)
    assert (curve.k_per_day, curve.k_low) == (0.0, 0.0)
    assert 0 < curve.k_high < 0.01
    assert curve.half_life_days is None


def test_rates_of_all_plausible_sizes():
    for per_year in (0.05, 1.0, 30.0):
        k = per_year / 365.25
        days = np.linspace(0, 1.5 / k, 8)
        curve = fit_curve(days, covers_of(k, days), ERR)
        assert curve.k_per_day == pytest.approx(k, rel=1e-3)
        assert curve.k_low < k < curve.k_high


def test_band_holds_the_curve_and_is_that_of_the_forecast():
    curve = fit_curve(DAYS, noisy(0.03, 3), ERR)
    days = np.array([0.0, 30.0, 90.0, 200.0])
    low, high = curve.band(days)
    assert (low < curve.predict(days)).all()
    assert (curve.predict(days) < high).all()
    span = curve.days_to_cover(5.0)
    assert span.low < span.best < span.high
    assert curve.predict(span.best) == pytest.approx(5.0, abs=1e-6)
    assert curve.band([span.low])[0] == pytest.approx(5.0, abs=0.05)
    assert curve.band([span.high])[1] == pytest.approx(5.0, abs=0.05)


def test_scatter_beyond_the_errors_widens_the_interval():
    covers = covers_of(0.03, DAYS)
    calm, wild = (fit_curve(DAYS, covers + s * np.array([1, -1] * 4), ERR) for s in (1.0, 8.0))
    assert wild.k_high - wild.k_low > 2 * (calm.k_high - calm.k_low)


def test_grams_anchor_the_layers_of_a_full_surface():
    covers = np.array([100.0, 100.0, 99.5, 97.0, 93.0])
    days = np.arange(5) * 14.0
    free, anchored = (fit_curve(days, covers, np.full(5, 3.0), layers_at_start=a) for a in (None, 6.0))
    assert anchored.k_high - anchored.k_low < free.k_high - free.k_low
    assert anchored.parameters["layers_at_start"] == pytest.approx(6.0, rel=0.5)


def day_limits(days, covers, err, line):
    """Return the 90% limits of the day on which layers stand at a line, by scipy's bounded search, day by day."""
    seen = np.array(covers) / 100

    def misfit_on(day) -> float:
        def at(k) -> float:
            layers = line * np.exp(k * (day - np.array(days)))
            return np.sum(((-np.expm1(-layers) - seen) / (err / 100)) ** 2)

        grid = np.linspace(0, 5 / day + 0.05, 400)
        best = int(np.clip(np.argmin([at(k) for k in grid]), 1, 398))
        return minimize_scalar(at, bounds=grid[[best - 1, best + 1]], method="bounded").fun

    least = minimize_scalar(misfit_on, bounds=(20, 3650), method="bounded")
    allowed = 2.7055 * max(1.0, least.fun / (len(days) - 2))
    rise = [
        brentq(lambda day: misfit_on(day) - least.fun - allowed, *ends)
        for ends in ((least.x / 5, least.x), (least.x, 3650))
    ]
    return tuple(rise)


@pytest.mark.parametrize("covers", [[94, 88, 78, 85, 77], [94, 96, 88, 78, 69], [90, 70, 45, 28, 18]])
def test_a_forecasts_interval_is_that_of_a_plain_search(covers):
    days = [0, 14, 28, 42, 56]
    found = fit_curve(days, covers, [4.0] * 5).days_to_cover(5)
    assert (found.low, found.high) == pytest.approx(day_limits(days, covers, 4.0, -np.log(0.95)), rel=2e-3)


@pytest.mark.parametrize("day", [0, 30, 56, 150, 400])
def test_a_bands_edges_are_as_far_as_the_check_ins_allow(day):
    """Each edge, taken as one more check-in that is known for certain, adds what a 90% interval allows."""
    days, covers, err = np.array([0, 14, 28, 42, 56]), np.array([94, 88, 78, 85, 77]), 5.0
    curve = fit_curve(days, covers, [err] * 5)
    for edge in np.concatenate(curve.band([day])):
        layers = -np.log1p(-edge / 100)
        fits = [
            np.sum((100 * -np.expm1(-layers * np.exp(k * (day - days))) - covers) ** 2) / err**2
            for k in np.linspace(0, 0.1, 5001)
        ]
        assert min(fits) - curve.chi2 == pytest.approx(2.7055, rel=0.02)
