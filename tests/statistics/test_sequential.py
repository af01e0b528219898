"""Checks of looks while a session runs: published tables, full enumeration of all answers, and properties."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load
from scipy import stats

from fairhearing.statistics._paths import at_or_above, plan_paths
from fairhearing.statistics.power import critical_numbers
from fairhearing.statistics.proportions import binomial_p_greater, clopper_pearson, critical_number
from fairhearing.statistics.sequential import (
    SequentialPlan,
    Spending,
    adjusted_result,
    sequential_plan,
    sequential_power,
    spent,
)
from fairhearing.statistics.sequential_constants import (
    _crossing,
    obrien_fleming_constant,
    pocock_constant,
    spending_boundaries,
)

SPENDINGS: tuple[Spending, ...] = ("obrien-fleming", "pocock")


@st.composite
def plans(draw: st.DrawFn, most: int = 12) -> SequentialPlan:
    looks = sorted(draw(st.sets(st.integers(1, most), min_size=1, max_size=4)))
    chance = draw(st.sampled_from([0.5, 1 / 3, 0.1, 0.37]))
    return sequential_plan(looks, chance, draw(st.sampled_from([0.01, 0.05, 0.2])), draw(st.sampled_from(SPENDINGS)))


def stop(plan: SequentialPlan, answers: tuple[int, ...]) -> tuple[int, int, bool]:
    """The look at which these answers stop, how many are right by then, and whether they crossed the boundary."""
    for look, (n, boundary) in enumerate(zip(plan.n_trials, plan.n_right_needed, strict=True)):
        n_right = sum(answers[:n])
        if boundary is not None and n_right >= boundary:
            return look, n_right, True
    return look, n_right, False


def outcomes(plan: SequentialPlan, proportion: float) -> dict[tuple[int, int, bool], float]:
    """Probability of each end of the plan, over every order of right and wrong answers."""
    found: dict[tuple[int, int, bool], float] = {}
    for answers in itertools.product((0, 1), repeat=plan.n_trials[-1]):
        chance = math.prod(proportion if answer else 1.0 - proportion for answer in answers)
        end = stop(plan, answers)
        found[end] = found.get(end, 0.0) + chance
    return found


# --- boundaries -------------------------------------------------------------------------------------------------------


def test_pococks_constants_are_those_of_the_table() -> None:
    reference = load("E23")
    for n_looks, expected in zip(reference.inputs["K"], reference.expected["C_P"], strict=True):
        check(pocock_constant(n_looks, reference.inputs["two_sided_alpha"]), expected, reference)


def test_obrien_and_flemings_constants_are_those_of_the_table() -> None:
    reference = load("E24")
    for n_looks, expected in zip(reference.inputs["K"], reference.expected["C_B"], strict=True):
        check(obrien_fleming_constant(n_looks, reference.inputs["two_sided_alpha"]), expected, reference)


@pytest.mark.parametrize(("case", "spending"), [("E25", "obrien-fleming"), ("E26", "pocock")])
def test_what_is_spent_gives_the_boundaries_of_lan_and_demets(case: str, spending: Spending) -> None:
    reference = load(case)
    n_looks = reference.inputs["K"]
    fractions = [(look + 1) / n_looks for look in range(n_looks)]
    found = spending_boundaries(fractions, reference.inputs["two_sided_alpha"], spending).z
    for z, expected in zip(found, reference.expected["z"], strict=True):
        check(z, expected, reference)


def test_looks_at_the_same_boundary_as_one_look_are_those_of_armitage_mcpherson_and_rowe() -> None:
    reference = load("E27")
    z = float(stats.norm.isf(reference.inputs["nominal_two_sided"] / 2.0))
    for n_looks, expected in zip(reference.inputs["naive_looks"], reference.expected["overall_alpha"], strict=True):
        check(_crossing([(look + 1) / n_looks for look in range(n_looks)], [z] * n_looks), expected, reference)


def test_two_looks_are_a_bivariate_normal() -> None:
    constant = pocock_constant(2, 0.05)
    covariance = [[1.0, math.sqrt(0.5)], [math.sqrt(0.5), 1.0]]
    inside = stats.multivariate_normal(cov=covariance).cdf([constant] * 2, lower_limit=[-constant] * 2)
    assert 1.0 - inside == pytest.approx(0.05, abs=1e-6)


def test_looks_without_a_plan_find_too_much() -> None:
    reference = load("E28")
    first = reference.inputs["first_look"]
    for most, expected in zip(reference.inputs["N_max"], reference.expected["overall_alpha"], strict=True):
        looks = tuple(range(first, most + 1))
        needed = tuple(critical_numbers(looks, 0.5, 0.05).tolist())
        paths = plan_paths(looks, needed)
        found = sum(at_or_above(paths, looks, look, least, 0.5) for look, least in enumerate(needed))
        check(found, expected, reference)


@pytest.mark.parametrize("spending", SPENDINGS)
def test_spending_starts_at_nothing_ends_at_alpha_and_grows(spending: Spending) -> None:
    told = [spent(fraction, 0.05, spending) for fraction in np.linspace(0.0, 1.0, 41)]
    assert told[0] == 0.0
    assert told[-1] == 0.05
    assert all(later > earlier for earlier, later in itertools.pairwise(told))


def test_spending_is_what_lan_and_demets_wrote() -> None:
    for fraction in (0.1, 0.35, 0.8):
        z = stats.norm.isf(0.025)
        assert spent(fraction, 0.05, "obrien-fleming") == pytest.approx(2 * stats.norm.sf(z / fraction**0.5), rel=1e-10)
        assert spent(fraction, 0.05, "pocock") == pytest.approx(0.05 * math.log(1 + (math.e - 1) * fraction), rel=1e-12)


@pytest.mark.parametrize(("n_trials", "chance"), [(16, 0.5), (30, 1 / 3), (3, 0.5)])
def test_one_look_is_the_binomial_test(n_trials: int, chance: float) -> None:
    plan = sequential_plan([n_trials], chance, 0.05)
    assert plan.n_right_needed == (critical_number(n_trials, 0.05, chance),)


@given(plan=plans())
@settings(deadline=None, max_examples=60)
def test_guessing_crosses_a_boundary_in_alpha_at_most_over_all_answers(plan: SequentialPlan) -> None:
    ends = outcomes(plan, plan.chance)
    for look, (exact, allowed) in enumerate(zip(plan.alpha_spent, plan.alpha_allowed, strict=True)):
        crossed = math.fsum(chance for (at, _, over), chance in ends.items() if over and at <= look)
        assert crossed == pytest.approx(exact, abs=1e-12)
        assert exact <= allowed <= plan.alpha


@given(plan=plans(most=60))
@settings(deadline=None)
def test_no_boundary_could_be_one_lower(plan: SequentialPlan) -> None:
    assert plan.alpha_spent[-1] <= plan.alpha
    paths = plan_paths(plan.n_trials, plan.n_right_needed)
    for look, boundary in enumerate(plan.n_right_needed):
        before = plan.alpha_spent[look - 1] if look else 0.0
        lower = len(paths[look]) - 1 if boundary is None else boundary - 1
        if lower >= 0:
            more = before + at_or_above(paths, plan.n_trials, look, lower, plan.chance)
            assert more > plan.alpha_allowed[look] - 1e-12


@given(plan=plans(), proportion=st.floats(0.0, 1.0))
@settings(deadline=None, max_examples=60)
def test_power_and_mean_number_of_trials_are_those_of_all_answers(plan: SequentialPlan, proportion: float) -> None:
    found, ends = sequential_power(plan, proportion), outcomes(plan, proportion)
    assert found.power == pytest.approx(math.fsum(p for (_, _, over), p in ends.items() if over), abs=1e-12)
    mean = math.fsum(plan.n_trials[look] * p for (look, _, _), p in ends.items())
    assert found.expected_n_trials == pytest.approx(mean, abs=1e-10)
    assert found.stopped_by[-1] == found.power


def test_power_grows_with_the_proportion_and_looks_save_trials() -> None:
    plan = sequential_plan([10, 20, 30, 40], 0.5, 0.05)
    powers = [sequential_power(plan, share).power for share in np.linspace(0.0, 1.0, 21)]
    assert powers == sorted(powers)
    assert powers[-1] == 1.0
    assert sequential_power(plan, 0.8).expected_n_trials < 30.0


# --- after stopping ---------------------------------------------------------------------------------------------------


def ordered(plan: SequentialPlan, proportion: float) -> list[tuple[tuple[int, int, bool], float]]:
    """All ends, furthest from guessing first: earlier crossings, then at one look more right answers."""
    ends = outcomes(plan, proportion).items()
    return sorted(ends, key=lambda item: (item[0][0], -item[0][1]))


@pytest.mark.parametrize("spending", SPENDINGS)
def test_p_values_are_sums_over_all_answers_as_far_from_guessing(spending: Spending) -> None:
    plan = sequential_plan([5, 9, 13], 0.5, 0.05, spending)
    total = 0.0
    for (look, n_right, _), chance in ordered(plan, 0.5):
        total += chance
        assert adjusted_result(plan, look, n_right).p_value == pytest.approx(total, abs=1e-12)
    assert total == pytest.approx(1.0, abs=1e-12)


def test_a_boundary_crossed_is_a_p_of_alpha_at_most_and_the_other_way_about() -> None:
    plan = sequential_plan([8, 16, 24], 1 / 3, 0.05, "pocock")
    crossed = [adjusted_result(plan, look, n).p_value
               for look, n in enumerate(plan.n_right_needed) if n is not None]  # fmt: skip
    assert max(crossed) == plan.alpha_spent[-1] <= 0.05
    last = plan.n_right_needed[-1]
    assert last is not None
    short = adjusted_result(plan, 2, last - 1)
    assert short.p_value > 0.05
    assert not short.boundary_crossed
    assert short.as_planned


@pytest.mark.parametrize("proportion", [0.3, 0.5, 0.62, 0.75, 0.9])
@pytest.mark.parametrize("spending", SPENDINGS)
def test_intervals_cover_and_the_median_is_unbiased(proportion: float, spending: Spending) -> None:
    plan = sequential_plan([5, 9, 13], 0.5, 0.1, spending)
    covered = below = above = 0.0
    ends = outcomes(plan, proportion)
    for (look, n_right, _), chance in ends.items():
        found = adjusted_result(plan, look, n_right, 0.9)
        covered += chance * (found.low <= proportion <= found.high)
        below += chance * (found.estimate < proportion)
        above += chance * (found.estimate > proportion)
        assert found.low <= found.estimate <= found.high
    assert covered >= 0.9 - 1e-9
    assert abs(below - above) <= max(ends.values())  # with so few outcomes no nearer than the weight of one of them


def test_plain_intervals_after_looks_cover_too_little() -> None:
    plan = sequential_plan(range(5, 41), 0.5, 0.2, "pocock")
    paths, proportion = plan_paths(plan.n_trials, plan.n_right_needed), 0.5
    plain = adjusted = 0.0
    for look, (n, ways) in enumerate(zip(plan.n_trials, paths, strict=True)):
        least = plan.n_right_needed[look] if look < len(paths) - 1 else 0
        for n_right in range(len(ways) if least is None else least, len(ways)):
            chance = ways[n_right] * 0.5**n
            if not chance:
                continue
            interval = clopper_pearson(n_right, n, 0.7)
            plain += chance * (interval.low <= proportion <= interval.high)
            found = adjusted_result(plan, look, n_right, 0.7)
            adjusted += chance * (found.low <= proportion <= found.high)
    assert plain < 0.68
    assert adjusted >= 0.7


def test_with_one_look_the_result_is_the_plain_one() -> None:
    plan = sequential_plan([16], 0.5, 0.05)
    found, interval = adjusted_result(plan, 0, 12), clopper_pearson(12, 16)
    assert found.p_value == binomial_p_greater(12, 16)
    assert found.low == pytest.approx(interval.low, rel=1e-9)
    assert found.high == pytest.approx(interval.high, rel=1e-9)
    half = stats.binom.sf(12, 16, found.estimate) + 0.5 * stats.binom.pmf(12, 16, found.estimate)
    assert half == pytest.approx(0.5, abs=1e-9)
    assert (adjusted_result(plan, 0, 16).high, adjusted_result(plan, 0, 0).low) == (1.0, 0.0)


def test_an_early_stop_draws_the_estimate_towards_chance() -> None:
    plan = sequential_plan([10, 20, 30], 0.5, 0.05)
    found = adjusted_result(plan, 1, 16)
    assert found.boundary_crossed
    assert 0.5 < found.estimate < 16 / 20


def test_an_end_that_was_not_planned_is_said_to_be_one() -> None:
    found = adjusted_result(sequential_plan([10, 20], 0.5, 0.05), 0, 7)
    assert not found.as_planned
    assert found.p_value == binomial_p_greater(7, 10)


@pytest.mark.parametrize(
    ("look", "n_right", "words"), [(2, 5, "look is 2"), (0, 11, "can't be"), (0, -1, "can't be"), (1, 20, "can't be")]
)
def test_results_that_the_plan_does_not_let_through_are_refused(look: int, n_right: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        adjusted_result(sequential_plan([10, 20], 0.5, 0.05), look, n_right)


def test_plans_that_make_no_sense_are_refused() -> None:
    for looks in ([], [0, 5], [5, 5], [9, 5]):
        with pytest.raises(ValueError, match="must rise"):
            sequential_plan(looks, 0.5, 0.05)
    with pytest.raises(ValueError, match="alpha is 0"):
        sequential_plan([5], 0.5, 0.0)
    with pytest.raises(ValueError, match="chance is 1"):
        sequential_plan([5], 1.0, 0.05)
    with pytest.raises(ValueError, match="spending is 'linear'"):
        sequential_plan([5], 0.5, 0.05, "linear")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="fraction is 2"):
        spent(2.0, 0.05, "pocock")
    with pytest.raises(ValueError, match="proportion is 2"):
        sequential_power(sequential_plan([5], 0.5, 0.05), 2.0)
    with pytest.raises(ValueError, match="confidence is 1"):
        adjusted_result(sequential_plan([5], 0.5, 0.05), 0, 3, 1.0)
    with pytest.raises(ValueError, match="n_looks is 0"):
        pocock_constant(0, 0.05)
    with pytest.raises(ValueError, match="alpha is 1"):
        obrien_fleming_constant(3, 1.0)
    with pytest.raises(ValueError, match="fractions"):
        spending_boundaries([0.5, 0.9], 0.05, "pocock")
