"""Two kinds of leaf held against each other, on litter bags of one site.

Source of the series: LIDET (Long-term Intersite Decomposition Experiment Team 1995, Harmon), fraction of ash-free mass
left against years, as redistributed in data of "revisiting k"; F and p were refitted from them with y = exp(-k t).
"""

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.anova import anova_lm

from leafwane.breakdown.fitting import fit_best
from leafwane.breakdown.forms import FORMS
from leafwane.breakdown.ratio import LogRate, extra_sum_of_squares, rate_ratio

Slopes = tuple[np.ndarray, np.ndarray]

MAPLE_KBS = [
    (0.0, 1.0),
    (0.88, 0.5758),
    (1.88, 0.3969),
    (2.92, 0.3305),
    (3.93, 0.1624),
    (4.98, 0.3048),
    (5.95, 0.2639),
    (6.92, 0.0834),
    (7.91, 0.0729),
]
PINE_KBS = [
    (0.0, 1.0),
    (0.88, 0.7537),
    (1.88, 0.6926),
    (2.92, 0.6554),
    (3.93, 0.5766),
    (5.95, 0.6092),
    (6.92, 0.5757),
    (7.91, 0.4463),
]
MAPLE_CWT = [
    (0.0, 1.0),
    (1.0, 0.5155),
    (2.02, 0.3503),
    (3.02, 0.3189),
    (4.01, 0.2409),
    (5.03, 0.2588),
    (6.03, 0.1099),
    (7.07, 0.134),
    (8.04, 0.1577),
    (9.03, 0.07),
    (10.22, 0.1104),
]
OAK_CWT = [
    (0.0, 1.0),
    (1.0, 0.5681),
    (2.02, 0.4053),
    (3.02, 0.4056),
    (4.01, 0.2667),
    (5.03, 0.1524),
    (6.03, 0.1146),
    (7.07, 0.051),
    (8.04, 0.1232),
    (9.03, 0.101),
    (10.22, 0.0486),
]


def single(*series: list):
    years, left = np.array([pair for one in series for pair in one]).T

    def model(theta, _rows) -> Slopes:
        log_left, slopes = FORMS["exponential"].log_left(theta, np.tile(years, (len(theta), 1)))
        return np.exp(log_left), np.exp(log_left)[..., None] * slopes

    fit = fit_best(model, (0.2,), left)
    assert fit.success
    return fit


def compare(one, other):
    apart = [single(one), single(other)]
    together = single(one, other)
    return extra_sum_of_squares(
        together.rss, 1, sum(fit.rss for fit in apart), 2, len(one) + len(other)
    ), apart


def test_sugar_maple_differs_from_red_pine():
    (f, extra, spare, p), (maple, pine) = compare(MAPLE_KBS, PINE_KBS)
    assert maple.theta[0] == pytest.approx(0.37943, abs=1e-5)
    assert pine.theta[0] == pytest.approx(0.10815, abs=1e-5)
    assert (extra, spare) == (1, 15)
    assert f == pytest.approx(47.36, abs=0.01)
    assert p == pytest.approx(5.2e-6, rel=0.02)


def test_sugar_maple_does_not_differ_from_chestnut_oak():
    (f, extra, spare, p), _ = compare(MAPLE_CWT, OAK_CWT)
    assert (extra, spare) == (1, 20)
    assert f == pytest.approx(0.0745, abs=1e-4)
    assert p == pytest.approx(0.79, abs=0.005)


def test_extra_sum_of_squares_is_that_of_statsmodels():
    rng = np.random.default_rng(3)
    x = rng.normal(size=(20, 3))
    y = x @ [1.0, 0.3, 0.0] + rng.normal(size=20)
    few, many = OLS(y, x[:, :1]).fit(), OLS(y, x).fit()
    table = anova_lm(few, many)
    f, extra, _, p = extra_sum_of_squares(few.ssr, 1, many.ssr, 3, 20)
    assert extra == 2
    assert f == pytest.approx(table["F"].iloc[1])
    assert p == pytest.approx(table["Pr(>F)"].iloc[1])


def test_interval_of_the_ratio_is_that_of_a_t_test_on_bins():
    values = [[-3.0, -3.4, -3.1], [-4.0, -3.7, -4.2]]
    one, other = ([LogRate(value=v, err=0.01) for v in kind] for kind in values)
    ratio = rate_ratio(one, other)
    reference = stats.ttest_ind(*values).confidence_interval(0.90)
    assert np.log([ratio.low, ratio.high]) == pytest.approx([reference.low, reference.high])
