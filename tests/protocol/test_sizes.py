"""How many trials and listeners: against outside values, and every claim about what a session shows by counting."""

from __future__ import annotations

from dataclasses import replace
from math import comb, exp

import pytest
from references.helper import check, load

from fairhearing.protocol.sizes import Wanted, one_person, sizes_of
from fairhearing.session import Method

HEARD = Wanted(question="heard", method="abx", scale=None, effect=0.7, alpha=0.05, power=0.8)
PREFERRED = replace(HEARD, question="preferred", method="paired-preference")
BETTER = replace(HEARD, question="better", method="grading", scale="comparison", effect=0.5)
EQUIVALENT = replace(HEARD, question="equivalent", effect=0.5, margin=0.6)


def tail(n_right: int, n_trials: int, share: float) -> float:
    return sum(comb(n_trials, k) * share**k * (1 - share) ** (n_trials - k) for k in range(n_right, n_trials + 1))


@pytest.mark.parametrize("name", ["E11.0.75_0.8", "E11.0.7_0.8", "E11.0.9_0.8"])
def test_the_first_number_and_the_one_from_which_every_number_works_are_both_given(name: str) -> None:
    reference = load(name)
    found = sizes_of(replace(HEARD, effect=reference.inputs["p1"]))
    assert found.first == reference.expected["n_first_reaching"]
    assert found.every == reference.expected["n_from_which_always"]
    assert found.critical_first == reference.expected["crit_at_first"]
    check(
        tail(found.critical_first, found.first, reference.inputs["p1"]), reference.expected["power_at_first"], reference
    )


@pytest.mark.parametrize("name", ["E12.0.3_0.05_0.05", "E12.0.4_0.05_0.1"])
def test_a_triangle_takes_what_the_standard_s_table_says(name: str) -> None:
    reference = load(name)
    wanted = replace(
        HEARD,
        method="triangle",
        effect=1 / 3 + 2 / 3 * reference.inputs["triangle_pd"],
        alpha=reference.inputs["alpha"],
        power=1 - reference.inputs["beta"],
    )
    found = sizes_of(wanted)
    assert (found.first, found.every) == (
        reference.expected["n_first_reaching"], reference.expected["n_from_which_always"],
    )  # fmt: skip


@pytest.mark.parametrize("n_listeners", [1, 2, 3, 5, 8])
def test_trials_are_shared_among_listeners_and_the_total_still_works(n_listeners: int) -> None:
    found = sizes_of(replace(HEARD, n_listeners=n_listeners))
    assert found.n_total == found.n_trials * n_listeners
    assert found.every is not None
    assert found.every <= found.n_total < found.every + n_listeners
    assert found.n_needed is not None
    assert tail(found.n_needed, found.n_total, 0.5) <= 0.05 < tail(found.n_needed - 1, found.n_total, 0.5)
    assert found.size == pytest.approx(tail(found.n_needed, found.n_total, 0.5), rel=1e-12)
    assert found.power == pytest.approx(tail(found.n_needed, found.n_total, 0.7), rel=1e-12)
    assert found.power >= 0.8


def test_the_least_that_a_session_finds_is_found_with_just_that_power() -> None:
    found = sizes_of(replace(HEARD, n_trials=16))
    assert found.smallest_effect is not None
    assert tail(12, 16, found.smallest_effect) == pytest.approx(0.8, abs=1e-12)


def test_too_few_trials_show_nothing_whatever_the_result() -> None:
    found = sizes_of(replace(HEARD, n_trials=4))
    assert (found.n_needed, found.smallest_effect, found.power) == (None, None, 0.0)


def test_planned_looks_spend_no_more_than_alpha_counted_over_all_sequences() -> None:
    found = sizes_of(replace(HEARD, effect=0.9, n_looks=3))
    assert [look.n_trials for look in found.looks][-1] == found.n_total <= 20
    spent = 0
    for bits in range(2**found.n_total):
        for look in found.looks:
            if (
                look.n_right_needed is not None
                and (bits & ((1 << look.n_trials) - 1)).bit_count() >= look.n_right_needed
            ):
                spent += 1
                break
    assert spent / 2**found.n_total == pytest.approx(found.looks[-1].alpha_spent, abs=1e-15)
    assert spent / 2**found.n_total <= 0.05
    assert found.size == found.looks[-1].alpha_spent
    assert found.power >= 0.8


def test_looks_fall_on_whole_rounds_of_all_listeners() -> None:
    found = sizes_of(replace(HEARD, n_looks=3, n_listeners=4))
    assert all(look.n_trials % 4 == 0 for look in found.looks)


def test_five_listeners_cannot_reach_alpha_and_six_can() -> None:
    # Handbook: five unanimous give 2/32 = 0.0625, six 2/64 = 0.03125.
    five, six = (sizes_of(replace(PREFERRED, n_listeners=n)) for n in (5, 6))
    assert (five.can_reach_alpha, five.power, five.fewest) == (False, 0.0, 6)
    assert six.can_reach_alpha
    assert not sizes_of(replace(BETTER, n_listeners=5)).can_reach_alpha
    assert sizes_of(replace(BETTER, n_listeners=5)).power == 0.0


def test_nine_of_ten_is_what_one_person_needs() -> None:
    # 11/1024 and twice that: counted by hand from the binomial coefficients 10 and 1.
    found = one_person(0.05)
    assert found is not None
    assert (found.n_needed, found.n_trials) == (9, 10)
    assert found.p_one_sided == pytest.approx(11 / 1024, rel=1e-12)
    assert found.p_two_sided == pytest.approx(22 / 1024, rel=1e-12)
    assert one_person(0.001) is None  # all ten would be 2/1024


def test_listeners_are_added_until_a_preference_or_a_rating_is_found() -> None:
    preferred = sizes_of(PREFERRED)
    assert preferred.listeners_first == preferred.n_listeners
    assert preferred.power >= 0.8 - 2 * preferred.power_error
    reference = load("F30.pairs")  # the d of 0.5 is half a step with a spread of one step
    better = sizes_of(BETTER)
    assert better.listeners_first == int(reference.expected["n_pairs"]) + 1


def test_listeners_who_differ_more_make_it_take_more() -> None:
    alike, unlike = (sizes_of(replace(PREFERRED, spread=spread)).listeners_first for spread in (0.4, 1.6))
    assert alike is not None
    assert unlike is not None
    assert alike < unlike


def test_equivalence_allows_as_many_right_as_the_margin_still_refutes() -> None:
    reference = load("E11.0.6_0.8")  # the mirror of a test of one half against 0.6 is not the same number
    found = sizes_of(EQUIVALENT)
    assert found.n_needed is not None
    assert found.n_total != reference.expected["n_from_which_always"]
    below = 1 - tail(found.n_needed + 1, found.n_total, 0.6)
    assert below <= 0.05 < 1 - tail(found.n_needed + 2, found.n_total, 0.6)
    assert found.power == pytest.approx(1 - tail(found.n_needed + 1, found.n_total, 0.5), rel=1e-9)
    assert found.power >= 0.8


def test_same_different_is_reckoned_by_the_test_that_decides_it() -> None:
    found = sizes_of(replace(HEARD, method="same-different", effect=0.75))
    assert found.n_needed is None  # Fisher's test hangs on how often "different" was said
    assert found.power >= 0.8
    assert found.first is not None
    assert found.first > (sizes_of(replace(HEARD, effect=0.75)).first or 0)


@pytest.mark.parametrize(("method", "scale", "effect", "margin"), [
    ("paired-preference", None, 0.5, 0.65), ("grading", "comparison", 0.0, 0.5),
])  # fmt: skip
def test_equivalence_over_listeners_takes_the_fewest_that_reach_the_power(
    method: Method, scale: str | None, effect: float, margin: float
) -> None:
    wanted = replace(EQUIVALENT, method=method, scale=scale, effect=effect, margin=margin)
    found = sizes_of(wanted)
    assert found.listeners_first == found.n_listeners
    assert found.power >= 0.8
    assert sizes_of(replace(wanted, n_listeners=found.n_listeners - 1)).power < 0.8
    # By the normal approximation of Schuirmann's two tests: (z_.95 + z_.90)^2 (s/margin)^2 for a true middle.
    sd = 1.0 if method == "grading" else found.spread and _share_sd(found.spread, found.n_trials)
    distance = margin if method == "grading" else margin - 0.5
    rough = (1.6449 + 1.2816) ** 2 * (sd / distance) ** 2
    assert rough <= found.n_listeners <= rough + 3


def _share_sd(logit_sd: float, n_trials: int) -> float:
    """Standard deviation of a listener's share about one half, by plain sums over a fine grid of log odds."""
    grid = [k / 100 for k in range(-600, 601)]
    weights = [exp(-z * z / 2) for z in grid]
    shares = [1 / (1 + exp(-logit_sd * z)) for z in grid]
    between = sum(w * (s - 0.5) ** 2 for w, s in zip(weights, shares, strict=True)) / sum(weights)
    within = sum(w * s * (1 - s) for w, s in zip(weights, shares, strict=True)) / sum(weights) / n_trials
    return (between + within) ** 0.5


def test_one_listener_cannot_show_that_people_prefer_neither() -> None:
    found = sizes_of(replace(EQUIVALENT, method="paired-preference", margin=0.65, n_listeners=1))
    assert (found.can_reach_alpha, found.power) == (False, 0.0)


def test_four_trials_reach_alpha_with_no_result() -> None:
    assert not sizes_of(replace(HEARD, n_trials=4)).can_reach_alpha  # 1/16
    assert sizes_of(replace(HEARD, n_trials=5)).can_reach_alpha  # 1/32
