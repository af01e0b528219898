"""Checks of exact binomial power against printed tables, scipy, direct sums and properties."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats

from fairhearing.statistics.power import (
    binomial_power,
    binomial_tail,
    critical_numbers,
    exact_powers,
    smallest_proportion,
    trials_needed,
)
from fairhearing.statistics.proportions import binomial_p_greater, binomial_p_two_sided, critical_number
from fairhearing.statistics.same_different import rates
from fairhearing.statistics.same_different_power import same_different_power, same_different_trials_needed

SCAN = np.arange(501)
CASES = [(0.5, 0.7, 0.05), (1 / 3, 0.5, 0.01), (0.5, 0.99, 0.05), (0.1, 0.4, 0.2), (0.5, 0.3, 0.05), (1 / 3, 1.0, 0.05)]
chances = st.sampled_from([0.5, 1 / 3, 0.1, 0.37])
alphas = st.sampled_from([0.001, 0.01, 1 / 32, 0.05, 0.1, 0.2])


def test_critical_numbers_are_those_of_iso_4120_for_the_triangle() -> None:
    reference = load("E01")
    table = np.array(reference.expected["min_correct"], dtype=object)
    n_trials = np.array(reference.inputs["n"])
    for column, alpha in enumerate(reference.inputs["alpha"]):
        expected = [n + 1 if least is None else least for n, least in zip(n_trials, table[:, column], strict=True)]
        assert critical_numbers(n_trials, 1 / 3, alpha).tolist() == expected, alpha


def test_critical_numbers_are_those_of_iso_10399_and_iso_5495_for_one_in_two() -> None:
    reference = load("E02")
    table = np.array(reference.expected["min_correct"], dtype=object)
    n_trials = np.array(reference.inputs["n"])
    for column, alpha in enumerate(reference.inputs["alpha"]):
        expected = [n + 1 if least is None else least for n, least in zip(n_trials, table[:, column], strict=True)]
        assert critical_numbers(n_trials, 0.5, alpha).tolist() == expected, alpha


@pytest.mark.parametrize("case", ["0.6_0.8", "0.75_0.8", "0.7_0.8", "0.9_0.8"])
def test_the_first_number_of_trials_and_the_lasting_one_are_those_of_a_scan(case: str) -> None:
    reference = load(f"E11.{case}")
    told = reference.inputs
    found = trials_needed(told["p0"], told["p1"], told["alpha"], told["power"])
    assert found.first == reference.expected["n_first_reaching"]
    assert found.every == reference.expected["n_from_which_always"]
    assert found.critical_first == reference.expected["crit_at_first"]
    assert found.power_first is not None
    check(found.power_first, reference.expected["power_at_first"], reference)


@pytest.mark.parametrize("case", ["0.3_0.05_0.05", "0.3_0.2_0.05", "0.4_0.05_0.1"])
def test_the_triangle_needs_as_many_trials_as_iso_4120_says(case: str) -> None:
    reference = load(f"E12.{case}")
    told = reference.inputs
    proportion = 1 / 3 + 2 / 3 * told["triangle_pd"]
    found = trials_needed(1 / 3, proportion, told["alpha"], 1.0 - told["beta"])
    assert (found.first, found.every) == (
        reference.expected["n_first_reaching"],
        reference.expected["n_from_which_always"],
    )


@pytest.mark.parametrize("case", ["10_0.7", "16_0.75"])
def test_the_power_of_a_session_is_that_of_the_reference(case: str) -> None:
    reference = load(f"E13.{case}")
    found = binomial_power(reference.inputs["n"], 0.5, reference.inputs["true_pc"], 0.05)
    assert found.critical == reference.inputs["crit"]
    check(found.power, reference.expected["power"], reference)


@pytest.mark.parametrize(("chance", "proportion", "alpha"), CASES)
def test_powers_of_every_number_of_trials_are_those_of_scipy(chance: float, proportion: float, alpha: float) -> None:
    critical = critical_numbers(SCAN, chance, alpha)
    np.testing.assert_array_equal(
        critical[:80], [found if (found := critical_number(n, alpha, chance)) is not None else n + 1 for n in range(80)]
    )
    expected = stats.binom.sf(critical - 1, SCAN, proportion)
    np.testing.assert_allclose(exact_powers(SCAN, chance, proportion, alpha), expected, rtol=0.0, atol=1e-13)
    np.testing.assert_allclose(
        [binomial_tail(int(c), int(n), proportion) for c, n in zip(critical, SCAN, strict=True)],
        expected,
        rtol=0.0,
        atol=1e-12,
    )


def test_sizes_are_exact_however_many_trials_and_however_small_alpha() -> None:
    for chance, alpha in ((0.5, 0.05), (1 / 3, 1e-12), (0.97, 0.05), (0.02, 0.01)):
        found = binomial_power(3000, chance, 0.5, alpha)
        assert found.critical == critical_number(3000, alpha, chance)
        assert found.critical is not None
        assert found.size == pytest.approx(binomial_p_greater(found.critical, 3000, chance), rel=1e-9)


def test_a_p_that_is_alpha_itself_is_a_finding() -> None:
    assert critical_numbers([5], 0.5, 1 / 32).tolist() == [5]
    assert critical_numbers([5], 0.5, math.nextafter(1 / 32, 0.0)).tolist() == [6]
    assert critical_numbers([2], 1 / 3, 1 / 9).tolist() == [2]
    assert critical_numbers([2], 1 / 3, 0.05, two_sided=False).tolist() == [3]


def test_more_trials_can_show_less() -> None:
    powers = exact_powers(SCAN, 0.5, 0.7, 0.05)
    grows = np.flatnonzero(np.diff(critical_numbers(SCAN, 0.5, 0.05)) > 0) + 1
    # The power falls just when one more right answer is asked for: the teeth of the saw. Below five it is 0 anyway.
    assert np.flatnonzero(np.diff(powers) < 0.0).tolist() == (grows[grows > 5] - 1).tolist()
    assert powers[37] > 0.8 > powers[38]


def test_two_sided_counts_too_few_as_well() -> None:
    found = binomial_power(10, 0.5, 0.9, 0.05, two_sided=True)
    assert found.critical == 9
    assert found.size == pytest.approx(binomial_p_two_sided(9, 10), rel=1e-12)
    assert found.power == pytest.approx(stats.binom.sf(8, 10, 0.9) + stats.binom.cdf(1, 10, 0.9), rel=1e-12)
    one_sided = binomial_power(10, 0.5, 0.9, 0.05)
    assert round(found.size, 4) == 0.0215
    assert round(one_sided.size, 3) == 0.011
    few, many = (exact_powers([40], 0.5, share, 0.05, two_sided=True)[0] for share in (0.3, 0.7))
    assert few == pytest.approx(many, rel=1e-12)


def test_what_is_not_reached_is_none() -> None:
    found = trials_needed(0.5, 0.51, 0.05, 0.8, most=100)
    assert (found.first, found.critical_first, found.size_first, found.power_first) == (None,) * 4
    assert (found.every, found.critical_every, found.size_every, found.power_every) == (None,) * 4
    assert found.most == 100


def test_a_number_that_falls_short_again_at_the_end_is_not_a_lasting_one() -> None:
    found = trials_needed(0.5, 0.7, 0.05, 0.8, most=38)
    assert (found.first, found.every) == (37, None)


@pytest.mark.parametrize(("n_trials", "chance", "two_sided"), [(16, 0.5, False), (30, 1 / 3, False), (20, 0.5, True)])
def test_the_smallest_proportion_has_the_power_that_was_asked_for(
    n_trials: int, chance: float, two_sided: bool
) -> None:
    found = smallest_proportion(n_trials, chance, 0.05, 0.8, two_sided=two_sided)
    assert exact_powers([n_trials], chance, found, 0.05, two_sided=two_sided)[0] == pytest.approx(0.8, abs=1e-12)
    assert chance < found < 1.0


def test_four_trials_can_show_nothing() -> None:
    assert math.isnan(smallest_proportion(4, 0.5, 0.05, 0.8))
    assert binomial_power(4, 0.5, 1.0, 0.05).critical is None
    assert binomial_power(4, 0.5, 1.0, 0.05).power == 0.0


@given(n_trials=st.integers(0, 300), chance=chances, alpha=alphas)
def test_the_size_is_alpha_at_most_and_one_right_answer_less_would_exceed_it(
    n_trials: int, chance: float, alpha: float
) -> None:
    found = binomial_power(n_trials, chance, 0.5, alpha)
    assert 0.0 <= found.size <= alpha
    critical = int(critical_numbers([n_trials], chance, alpha)[0])
    assert stats.binom.sf(critical - 2, n_trials, chance) > alpha - 1e-12


@given(
    n_trials=st.integers(0, 200),
    chance=chances,
    alpha=alphas,
    shares=st.lists(st.floats(0.0, 1.0), min_size=2, max_size=5),
)
def test_power_grows_with_the_proportion(n_trials: int, chance: float, alpha: float, shares: list[float]) -> None:
    powers = [binomial_power(n_trials, chance, share, alpha).power for share in sorted(shares)]
    assert all(later >= earlier - 1e-12 for earlier, later in itertools.pairwise(powers))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([-1], 0.5, 0.05), "0 or more"),
        (([1.5], 0.5, 0.05), "whole"),
        (([5], 0.0, 0.05), "chance is 0.0"),
        (([5], 0.5, 1.0), "alpha is 1.0"),
    ],
)
def test_numbers_that_make_no_sense_are_refused(arguments: tuple[list[int], float, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        critical_numbers(*arguments)


def test_shares_and_powers_outside_0_to_1_are_refused() -> None:
    with pytest.raises(ValueError, match=r"proportion is 1\.1"):
        exact_powers([5], 0.5, 1.1, 0.05)
    with pytest.raises(ValueError, match=r"power is 1\.0"):
        trials_needed(0.5, 0.7, 0.05, 1.0)
    with pytest.raises(ValueError, match="most is 0"):
        trials_needed(0.5, 0.7, 0.05, 0.8, most=0)
    with pytest.raises(ValueError, match="two-sided it must be 1/2"):
        binomial_power(5, 1 / 3, 0.5, 0.05, two_sided=True)
    with pytest.raises(ValueError, match="n_trials is -1"):
        binomial_power(-1, 0.5, 0.5, 0.05)
    with pytest.raises(ValueError, match="n_trials is -1"):
        binomial_tail(0, -1, 0.5)


def test_planning_loads_no_arrays() -> None:
    """numpy and scipy take longer to load than all sums of a plan."""
    lines = [
        "import sys",
        "from fairhearing.statistics import clustered_power, equivalence_power, power, sequential",
        "from fairhearing.statistics import same_different_power",
        "power.trials_needed(0.5, 0.7, 0.05, 0.8)",
        "power.smallest_proportion(16, 0.5, 0.05, 0.8)",
        "clustered_power.listeners_needed(8, 0.8, n_sessions=50)",
        "clustered_power.listeners_needed_for_rating(0.5, 1.0)",
        "sequential.sequential_power(sequential.sequential_plan([10, 20], 0.5, 0.05), 0.7)",
        "equivalence_power.trials_needed_for_equivalence(0.5, None, 0.6)",
        "equivalence_power.listeners_needed_for_equivalence(0.0, 0.5, -0.4, 0.4)",
        "same_different_power.same_different_trials_needed(0.8, 0.3)",
        "print(sorted({'numpy', 'scipy', 'pandas'} & set(sys.modules)))",
    ]
    told = subprocess.run([sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


# --- same-different ---------------------------------------------------------------------------------------------------


def enumerated_power(n_different: int, n_same: int, hits: float, false_alarms: float, alpha: float) -> float:
    """Over all pairs of counts, with scipy's Fisher test."""
    total = 0.0
    for x, y in itertools.product(range(n_different + 1), range(n_same + 1)):
        table = [[x, n_different - x], [y, n_same - y]]
        if stats.fisher_exact(table, alternative="greater").pvalue <= alpha * (1.0 + 1e-12):
            total += stats.binom.pmf(x, n_different, hits) * stats.binom.pmf(y, n_same, false_alarms)
    return float(total)


@pytest.mark.parametrize(("n_different", "n_same"), [(8, 8), (10, 6), (5, 12), (16, 16)])
def test_same_different_power_is_that_of_all_outcomes_under_fishers_test(n_different: int, n_same: int) -> None:
    told = rates(2.5, 1.5)
    found = same_different_power(n_different, n_same, told.hits, told.false_alarms)
    expected = enumerated_power(n_different, n_same, told.hits, told.false_alarms, 0.05)
    assert found.power == pytest.approx(expected, rel=1e-9)
    middle = (told.hits + told.false_alarms) / 2.0
    assert found.size == pytest.approx(enumerated_power(n_different, n_same, middle, middle, 0.05), rel=1e-9)


@given(n_different=st.integers(1, 14), n_same=st.integers(1, 14), share=st.floats(0.0, 1.0), alpha=alphas)
def test_who_hears_nothing_is_found_to_hear_in_alpha_at_most(
    n_different: int, n_same: int, share: float, alpha: float
) -> None:
    assert same_different_power(n_different, n_same, share, share, alpha).power <= alpha + 1e-12


def test_same_different_trials_are_looked_for_by_pairs_of_kinds() -> None:
    found = same_different_trials_needed(0.7, 0.3, most=100)
    assert found.first is not None
    assert found.every is not None
    powers = {n: same_different_power(n // 2, n // 2, 0.7, 0.3).power for n in range(2, 101, 2)}
    assert found.first.n_trials == next(n for n, power in powers.items() if power >= 0.8)
    assert found.every.n_trials == 2 + max(n for n, power in powers.items() if power < 0.8)
    assert same_different_trials_needed(0.5, 0.5).first is None


def test_same_different_trials_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="it takes both"):
        same_different_power(0, 5, 0.5, 0.5)
    with pytest.raises(ValueError, match="both must lie between 0 and 1"):
        same_different_power(5, 5, 1.5, 0.5)
    with pytest.raises(ValueError, match="alpha is 0"):
        same_different_power(5, 5, 0.5, 0.5, 0.0)
    with pytest.raises(ValueError, match="power is 0"):
        same_different_trials_needed(0.8, 0.3, power=0.0)
    with pytest.raises(ValueError, match="most is 1"):
        same_different_trials_needed(0.8, 0.3, most=1)
