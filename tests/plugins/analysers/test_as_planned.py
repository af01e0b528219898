"""Checks of the plan's own results: equivalence, looks, what could have been shown; counts by hand, second methods."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from scipy import optimize, stats

from fairhearing.api import Analyser, Finding, Result, Session, Sheet
from fairhearing_builtins.analysers.as_planned import LOOKS_AS_ONE_LISTENER, AsPlanned, fairhearing_analysers

from .build_inputs import Row, abx_rows, finding, inputs, keys, matched, only, preference_rows, session, sheet
from .build_plans import looks, plan, planned_session

PASSED = finding("control_correct", "passed", 1.0, unit="1", point=None)
READ = (matched(), PASSED)


def analysed(of: Session, *sheets: Sheet, findings: tuple[Finding, ...] = READ) -> Result:
    return AsPlanned().analyse(inputs(of, sheets=sheets, findings=findings))


def course(listener: str, right: str) -> list[Row]:
    answers = {"R": "in", "W": "out"}
    return [
        {"listener": listener, "trial": str(n), "x": "in", "answer": answers[one]} for n, one in enumerate(right, 1)
    ]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("as-planned", "2")


# --- what could have been shown ---------------------------------------------------------------------------------------


def test_the_smallest_share_is_that_which_the_critical_number_finds_with_the_power() -> None:
    found = only(analysed(session(), sheet("abx", abx_rows("a", 9, 7))).findings, "detectable_share")
    # Twelve of sixteen is the first below 0.05; the share with which twelve or more come in 80 %.
    share = optimize.brentq(lambda p: stats.binom.sf(11, 16, p) - 0.8, 0.5, 1.0)
    assert found.value == pytest.approx(share, rel=1e-6)
    assert (found.n, found.of, found.p_value, found.verdict) == (16, "proportion_correct", None, None)
    assert "common practice" in found.method


def test_the_power_and_alpha_are_those_of_the_plan() -> None:
    of = planned_session(plan(power=0.9, alpha=0.01, listeners=("a",), n_trials=16))
    found = only(analysed(of, sheet("abx", abx_rows("a", 9, 7))).findings, "detectable_share")
    critical = next(c for c in range(17) if stats.binom.sf(c - 1, 16, 0.5) <= 0.01)
    share = optimize.brentq(lambda p: stats.binom.sf(critical - 1, 16, p) - 0.9, 0.5, 1.0)
    assert found.value == pytest.approx(share, rel=1e-6)
    assert "power 0.9 (as planned) at alpha 0.01" in found.method


def test_with_too_few_trials_nothing_could_have_shown_it() -> None:
    found = only(analysed(session(), sheet("abx", abx_rows("a", 4, 0))).findings, "detectable_share")
    assert found.value is None
    assert found.caveats == ("not even right answers throughout would have shown it: too few trials",)


def test_same_different_has_none_as_its_chance_hangs_on_the_listener() -> None:
    rows = [{"listener": "a", "trial": str(n), "first": "in", "second": "out", "answer": "same"} for n in range(9)]
    assert analysed(session(), sheet("same-different", rows)).findings == ()


# --- looks ------------------------------------------------------------------------------------------------------------


def test_the_last_look_has_p_and_interval_that_allow_for_the_first() -> None:
    of = planned_session(plan(looks=looks(10, 20), spending="obrien-fleming"))
    rows = [*course("a", "RRRWRRWRRR"), *course("b", "RRWRRRRWRW")]  # 8 of 10 at the first look, 15 of 20 at the last
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    assert (found.n, found.verdict) == (20, "heard")
    assert "look 2 of 2 after 20 trials: 15 right" in found.method
    # Counted out: all ways to guess ten answers that stop at the first look, and those that end with 15 or more.
    needed = next(c for c in range(12) if stats.binom.sf(c - 1, 10, 0.5) <= spent_by_half(0.05))
    stopped = stats.binom.sf(needed - 1, 10, 0.5)
    ended = sum(stats.binom.pmf(k, 10, 0.5) * stats.binom.sf(15 - k - 1, 10, 0.5) for k in range(needed))
    assert found.p_value == pytest.approx(stopped + ended, rel=1e-9)


def spent_by_half(alpha: float) -> float:
    """Lan and DeMets 1983, the O'Brien-Fleming kind at half of the trials."""
    return float(2 * stats.norm.sf(stats.norm.isf(alpha / 2) / 0.5**0.5))


def test_a_boundary_that_is_crossed_ends_it_and_what_came_later_is_left_out() -> None:
    of = planned_session(plan(looks=looks(10, 20), spending="obrien-fleming"))
    rows = [*course("a", "RRRRRWWWWW"), *course("b", "RRRRRWWWWW")]
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    assert (found.n, found.verdict, found.p_value) == (10, "heard", 2**-10)
    assert "10 trials after the boundary was crossed are left out" in found.caveats


def test_trials_that_end_between_looks_short_of_the_boundary_are_not_as_planned() -> None:
    of = planned_session(plan(looks=looks(10, 20), spending="pocock"))
    rows = [*course("a", "RRRWW"), *course("b", "RRRWW")]
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    assert (found.n, found.verdict) == (10, "not-shown")
    assert any(caveat.startswith("trials ended before the last look") for caveat in found.caveats)
    assert "not as planned: 10 trials scored, 20 planned" in found.caveats


def test_a_struck_out_trial_counts_as_wrong_at_a_look_and_one_that_was_not_played_not_at_all() -> None:
    of = planned_session(plan(looks=looks(10, 20), spending="pocock"))
    rows = [*course("a", "RRRRRRRRRR"), *course("b", "RRRRRWWWWW")]
    rows[0] = {**rows[0], "excluded": "phone"}
    rows[11] = {**rows[11], "answer": None}
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    # Eight of the first ten are right: short of nine. By the end thirteen of twenty.
    assert "look 2 of 2 after 20 trials: 13 right" in found.method
    assert "counted as wrong, as at a planned look: 2 trials excluded or without a valid answer" in found.caveats
    assert not any(caveat.startswith("not as planned") for caveat in found.caveats)
    gone = [{**row, "played": "no" if int(row["trial"] or 0) > 5 else "yes"} for row in rows]
    early = only(analysed(of, sheet("abx", gone)).findings, "proportion_correct", variant="sequential")
    assert (early.n, early.verdict) == (10, "not-shown")
    assert "8 right" in early.method


def test_a_listening_that_a_look_ended_is_as_planned() -> None:
    of = planned_session(plan(looks=looks(10, 20), spending="pocock"))
    rows = [*course("a", "RRRRR"), *course("b", "RRRRR")]
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    assert (found.n, found.verdict, found.caveats) == (10, "heard", (LOOKS_AS_ONE_LISTENER,))


@pytest.mark.parametrize("listeners", [("a",), ("a", "b")])
def test_of_several_listeners_the_interval_after_looks_is_said_not_to_hold(listeners: tuple[str, ...]) -> None:
    """Simulated: 83 to 91 % where it says 95 %; of one listener it holds."""
    of = planned_session(plan(looks=looks(10, 20), listeners=listeners, n_trials=20 // len(listeners)))
    rows = [row for name in listeners for row in course(name, "RRRWWRRWRR" * (2 // len(listeners)))]
    found = only(analysed(of, sheet("abx", rows)).findings, "proportion_correct", variant="sequential")
    assert (LOOKS_AS_ONE_LISTENER in found.caveats) is (len(listeners) > 1)
    assert "83 to 91 %" in LOOKS_AS_ONE_LISTENER


def test_a_claim_by_the_looks_needs_matched_levels() -> None:
    of = planned_session(plan(looks=looks(10, 20)))
    rows = [*course("a", "RRRRR"), *course("b", "RRRRR")]
    found = only(analysed(of, sheet("abx", rows), findings=()).findings, "proportion_correct", variant="sequential")
    assert found.verdict == "not-attributable"


def test_without_looks_there_is_no_result_by_looks() -> None:
    result = analysed(planned_session(plan()), sheet("abx", [*course("a", "RRRRR"), *course("b", "RRRRR")]))
    assert [f for f in result.findings if f.quantity == "proportion_correct"] == []


# --- equivalence ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n_right", "verdict"), [(50, "equivalent"), (52, "not-shown")])
def test_right_answers_are_equivalent_below_the_margin(n_right: int, verdict: str) -> None:
    of = planned_session(plan(margin=0.6, listeners=("a",), n_trials=100))
    found = only(analysed(of, sheet("abx", abx_rows("a", n_right, 100 - n_right))).findings, "equivalence")
    assert found.p_value == pytest.approx(stats.binom.cdf(n_right, 100, 0.6), rel=1e-9)
    exact = stats.binomtest(n_right, 100).proportion_ci(0.9, method="exact")
    assert (found.value, found.low, found.high) == pytest.approx((n_right / 100, *exact), rel=1e-9)
    assert (found.confidence, found.n, found.verdict, found.of) == (0.9, 100, verdict, "proportion_correct")
    assert "margin fixed by the plan: no more than 0.6 right" in found.method


def test_right_answers_of_several_listeners_are_equivalent_only_if_they_are_so_over_listeners() -> None:
    """One who hears everything among guessers: over trials 56 % are right, over listeners nobody knows."""
    of = planned_session(plan(margin=0.65, listeners=tuple("abcdef"), n_trials=40))
    right = {"a": 36, "b": 20, "c": 19, "d": 21, "e": 18, "f": 20}
    rows = [row for name, n in right.items() for row in abx_rows(name, n, 40 - n)]
    found = only(analysed(of, sheet("abx", rows)).findings, "equivalence")
    shares = [n / 40 for n in right.values()]
    assert stats.binom.cdf(sum(right.values()), 240, 0.65) < 0.05
    over = stats.ttest_1samp(shares, 0.65, alternative="less")
    assert (found.p_value, found.verdict) == (pytest.approx(over.pvalue, rel=1e-9), "not-shown")
    assert "134 of 240 right, and t over 6 listeners" in found.method
    # Where all are alike nothing says how they differ: the exact test stands.
    rows = [row for name in right for row in abx_rows(name, 20, 20)]
    found = only(analysed(of, sheet("abx", rows)).findings, "equivalence")
    assert found.p_value == pytest.approx(stats.binom.cdf(120, 240, 0.65), rel=1e-9)
    assert found.verdict == "equivalent"


def test_it_is_never_put_down_to_levels_and_says_if_no_control_was_passed() -> None:
    of = planned_session(plan(margin=0.6, listeners=("a",), n_trials=100))
    found = only(analysed(of, sheet("abx", abx_rows("a", 50, 50)), findings=()).findings, "equivalence")
    assert found.verdict == "equivalent"
    assert any(caveat.startswith("no positive control was passed") for caveat in found.caveats)


def test_preferences_are_equivalent_between_the_margin_and_its_mirror() -> None:
    wins = {"a": 9, "b": 11, "c": 10, "d": 12, "e": 10, "f": 9}
    rows = [row for name, own in wins.items() for row in preference_rows(name, own, 20 - own)]
    of = planned_session(plan(method="paired-preference", margin=0.65, listeners=tuple(wins), n_trials=20))
    found = only(analysed(of, sheet("paired-preference", rows)).findings, "equivalence")
    shares = [own / 20 for own in wins.values()]
    upper = stats.ttest_1samp(shares, 0.65, alternative="less").pvalue
    lower = stats.ttest_1samp(shares, 0.35, alternative="greater").pvalue
    assert found.p_value == pytest.approx(max(upper, lower), rel=1e-9)
    assert (found.value, found.n, found.verdict) == (pytest.approx(sum(shares) / 6), 6, "equivalent")
    assert "margins fixed by the plan: 0.35 to 0.65" in found.method


def test_ratings_are_equivalent_between_the_margin_and_its_negative() -> None:
    grades = {"a": ("1", "0"), "b": ("-1", "0"), "c": ("0", "0"), "d": ("0", "1"), "e": ("0", "0")}
    rows = [
        {"listener": name, "trial": str(n), "first": "out", "second": "in", "rating": rating}
        for name, own in grades.items()
        for n, rating in enumerate(own)
    ]
    said = {"method": "grading", "scale": "comparison", "margin": 1.0, "listeners": tuple(grades), "n_trials": 2}
    graded = replace(sheet("grading", rows), scale="comparison")
    found = only(analysed(planned_session(plan(**said)), graded).findings, "equivalence")
    means = [0.5, -0.5, 0.0, 0.5, 0.0]
    p_value = max(
        stats.ttest_1samp(means, 1.0, alternative="less").pvalue,
        stats.ttest_1samp(means, -1.0, alternative="greater").pvalue,
    )
    assert found.p_value == pytest.approx(p_value, rel=1e-9)
    assert (found.unit, found.of, found.verdict) == ("comparison", "rating_difference", "equivalent")


def test_listeners_who_are_all_alike_show_nothing() -> None:
    rows = [row for name in "abc" for row in preference_rows(name, 2, 2)]
    of = planned_session(plan(method="paired-preference", margin=0.65, listeners=("a", "b", "c"), n_trials=4))
    found = only(analysed(of, sheet("paired-preference", rows)).findings, "equivalence")
    assert (found.value, found.low, found.p_value, found.verdict) == (0.5, None, 1.0, "not-shown")
    assert any("all listeners have the same value" in caveat for caveat in found.caveats)


# --- against the plan -------------------------------------------------------------------------------------------------


def test_trials_and_listeners_that_differ_from_the_plan_are_told() -> None:
    of = planned_session(plan(margin=0.6, listeners=("a", "b"), n_trials=10))
    found = only(analysed(of, sheet("abx", [*course("a", "RWRW"), *course("z", "RW")])).findings, "equivalence")
    assert found.caveats[:3] == (
        "not as planned: 6 trials scored, 20 planned",
        "not as planned: no scored trial of b",
        "not as planned: z listened and is in no plan",
    )


@pytest.mark.parametrize("of", [session(), planned_session(plan(sealed=True, margin=0.6, looks=looks(10, 20)))])
def test_without_an_opened_plan_only_what_could_have_been_shown_is_told(of: Session) -> None:
    result = analysed(of, sheet("abx", [*course("a", "RWRWRRRR")]))
    assert {found.quantity for found in result.findings} == {"detectable_share"}


def test_every_finding_stands_in_the_chart_and_none_is_told_twice() -> None:
    of = planned_session(plan(margin=0.7, looks=looks(10, 20)))
    rows = [row for name, _ in product("ab", range(1)) for row in course(name, "RRWRRRWWRW")]
    result = analysed(of, sheet("abx", rows))
    assert len(set(keys(result.findings))) == len(result.findings) == 3
    (chart,) = result.charts
    assert chart.data["what"] == [
        "right, in",
        "would have been shown, in",
        "by the looks, in",
        "against the margin, in",
    ]
    assert sorted(rule.label for rule in chart.rules) == ["chance", "margin"]
