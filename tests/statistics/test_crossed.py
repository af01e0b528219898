"""Checks of the mixed model of a balanced table: statsmodels, cases by hand, and how often its interval covers."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from fairhearing.statistics.crossed import crossed_mean


def drawn(seed: int, n: int, k: int, listener: float, programme: float, residual: float) -> np.ndarray:
    generator = np.random.default_rng(seed)
    rows, columns = generator.normal(0, listener, n)[:, None], generator.normal(0, programme, k)[None, :]
    return 0.4 + rows + columns + generator.normal(0, residual, (n, k))


@pytest.mark.parametrize("seed", [3, 4])
def test_it_agrees_with_a_mixed_model_fitted_by_reml(seed: int) -> None:
    table = drawn(seed, 9, 5, 0.8, 0.5, 0.6)
    rows = [(str(i), str(j), table[i, j], 1) for i in range(9) for j in range(5)]
    frame = pd.DataFrame(rows, columns=["listener", "programme", "difference", "everyone"])
    parts = {"listener": "0 + C(listener)", "programme": "0 + C(programme)"}
    model = smf.mixedlm("difference ~ 1", frame, groups="everyone", re_formula="0", vc_formula=parts)
    second = model.fit(reml=True)
    found = crossed_mean(table)
    assert found.mean == pytest.approx(second.params["Intercept"], rel=1e-9)
    assert found.standard_error == pytest.approx(second.bse["Intercept"], rel=1e-3)
    variances = (found.listener_variance, found.programme_variance, found.residual_variance)
    assert variances == pytest.approx((*second.vcomp, second.scale), rel=1e-3)


def test_by_hand() -> None:
    # [[1, 2], [2, 4], [0, 3]]: squares of listeners 3 of 2 degrees, programmes 6 of 1, residual 1 of 2.
    found = crossed_mean([[1.0, 2.0], [2.0, 4.0], [0.0, 3.0]])
    assert found.standard_error == pytest.approx(math.sqrt((1.5 + 6.0 - 0.5) / 6), rel=1e-12)
    freedom = 7.0**2 / (1.5**2 / 2 + 6.0**2 / 1 + 0.5**2 / 2)
    assert found.degrees_of_freedom == pytest.approx(freedom, rel=1e-12)
    t = 2.0 / found.standard_error
    assert found.p_value == pytest.approx(2 * stats.t.sf(t, freedom), rel=1e-9)
    assert (found.low, found.high) == pytest.approx(stats.t.interval(0.95, freedom, 2.0, found.standard_error))


def test_programmes_that_do_not_differ_leave_the_t_interval_over_listeners() -> None:
    listeners = np.array([0.1, 0.9, 0.4, 1.3, -0.2])
    wobble = np.array([[0.2, -0.2], [-0.2, 0.2], [0.1, -0.1], [-0.1, 0.1], [0.0, 0.0]])
    found = crossed_mean(listeners[:, None] + wobble)
    assert found.programme_variance == 0.0
    interval = stats.t.interval(0.95, 4, listeners.mean(), stats.sem(listeners))
    assert (found.low, found.high) == pytest.approx(interval, rel=1e-9)


def test_where_neither_differs_all_entries_count_as_one_sample() -> None:
    table = np.array([[1.0, -1.0], [-1.0, 1.0]])
    found = crossed_mean(table)
    assert (found.listener_variance, found.programme_variance) == (0.0, 0.0)
    assert found.standard_error == pytest.approx(stats.sem(table.ravel()), rel=1e-12)
    assert found.degrees_of_freedom == 3.0


def test_its_interval_covers_the_mean_over_listeners_and_programmes() -> None:
    inside = 0
    for seed in range(1000):
        found = crossed_mean(drawn(seed, 8, 5, 0.8, 0.4, 0.6))
        inside += found.low <= 0.4 <= found.high
    assert 0.93 - 0.02 <= inside / 1000 <= 0.97 + 0.02


def test_odd_tables_are_refused_and_a_flat_one_has_no_p() -> None:
    assert math.isnan(crossed_mean([[1.0, 1.0], [1.0, 1.0]]).p_value)
    with pytest.raises(ValueError, match="shape"):
        crossed_mean([[1.0, 2.0]])
    with pytest.raises(ValueError, match="finite"):
        crossed_mean([[1.0, math.inf], [1.0, 2.0]])
    with pytest.raises(ValueError, match="confidence"):
        crossed_mean([[1.0, 2.0], [2.0, 3.0]], 0.0)
