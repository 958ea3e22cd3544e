"""Two kinds of leaf held against each other, on litter bags of one site.

Source of the series: LIDET (Long-term Intersite Decomposition Experiment Team 1995, Harmon), fraction of ash-free mass
left against years, as redistributed in data of "revisiting k"; rates were refitted from them with y = exp(-k t).
"""

import numpy as np
import pytest
from scipy import stats

from leafwane.breakdown.forms import FORMS
from leafwane.breakdown.ratio import LogRate, rate_ratio, t_p
from tests.published.single import fit_best

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


def single(series: list):
    years, left = np.array(series).T

    def model(theta, _rows) -> Slopes:
        log_left, slopes = FORMS["exponential"].log_left(theta, np.tile(years, (len(theta), 1)))
        return np.exp(log_left), np.exp(log_left)[..., None] * slopes

    fit = fit_best(model, (0.2,), left)
    assert fit.success
    return fit


def test_rates_of_sugar_maple_and_red_pine():
    maple, pine = single(MAPLE_KBS), single(PINE_KBS)
    assert maple.theta[0] == pytest.approx(0.37943, abs=1e-5)
    assert pine.theta[0] == pytest.approx(0.10815, abs=1e-5)


def test_p_of_bins_is_that_of_a_published_table():
    """Hours of sleep gained under two drugs: Student 1908, Biometrika 6:1; p as R's `t.test` gives it for one scatter (from memory)."""
    one = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
    other = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)
    rates = ([LogRate(value=v, err=0.01) for v in kind] for kind in (one, other))
    assert t_p(*rates) == pytest.approx(0.07919, abs=5e-6)


def test_interval_of_the_ratio_is_that_of_a_t_test_on_bins():
    values = [[-3.0, -3.4, -3.1], [-4.0, -3.7, -4.2]]
    one, other = ([LogRate(value=v, err=0.01) for v in kind] for kind in values)
    ratio = rate_ratio(one, other)
    reference = stats.ttest_ind(*values).confidence_interval(0.90)
    assert np.log([ratio.low, ratio.high]) == pytest.approx([reference.low, reference.high])
