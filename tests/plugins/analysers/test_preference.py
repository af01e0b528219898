"""Checks of the preference analyser: cases by hand, second methods, laws, and how often it is right by simulation."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from fairhearing.api import Analyser, Finding, Result, Sheet
from fairhearing_builtins.analysers.preference import Preference, fairhearing_analysers

from .build_inputs import finding, inputs, keys, matched, only, preference_rows, session, sheet

OVER_SEATS = (matched(),)
Counts = Sequence[tuple[int, int, int]]


def analysed(*sheets: Sheet, findings: tuple[Finding, ...] = OVER_SEATS, **said: object) -> Result:
    return Preference().analyse(inputs(session(**said), sheets=sheets, findings=findings))  # type: ignore[arg-type]


def listeners(counts: Counts) -> Sheet:
    """A sheet of (wins, losses, none) of listeners a, b, c, …"""
    rows = [
        row for name, (w, s, n) in zip("abcdefghijkl", counts, strict=False) for row in preference_rows(name, w, s, n)
    ]
    return sheet("paired-preference", rows)


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("preference", "4")


def test_six_listeners_of_one_mind_reach_two_in_sixty_four() -> None:
    counts = [(8, 2, 0), (7, 3, 0), (9, 1, 0), (6, 4, 0), (10, 0, 0), (7, 3, 0)]
    over_all = only(analysed(listeners(counts)).findings, "preference_share")
    assert over_all.p_value == 2 / 64
    assert (over_all.verdict, over_all.n) == ("preferred", 6)
    shares = [w / 10 for w, _, _ in counts]
    low, high = stats.t.interval(0.95, 5, np.mean(shares), stats.sem(shares))
    assert over_all.value == pytest.approx(np.mean(shares), rel=1e-12)
    assert (over_all.low, over_all.high) == pytest.approx((low, high), rel=1e-9)
    assert not any("could have shown" in caveat for caveat in over_all.caveats)


def test_the_mirror_image_is_not_preferred_with_the_same_p() -> None:
    counts = [(2, 8, 0), (3, 7, 0), (1, 9, 0), (4, 6, 0), (0, 10, 0), (3, 7, 0)]
    over_all = only(analysed(listeners(counts)).findings, "preference_share")
    assert (over_all.p_value, over_all.verdict) == (2 / 64, "not-preferred")


def test_an_answer_without_preference_is_half_each_and_is_told() -> None:
    result = analysed(listeners([(4, 1, 5), (2, 2, 0), (3, 0, 0)]))
    over_all = only(result.findings, "preference_share")
    assert over_all.value == pytest.approx((6.5 / 10 + 2 / 4 + 3 / 3) / 3, rel=1e-12)
    assert any(caveat.startswith("5 answers of 17 without a preference") for caveat in over_all.caveats)
    neither = only(result.findings, "none_share")
    assert (neither.value, neither.n, neither.p_value) == (5 / 17, 3, None)
    assert only(result.findings, "none_share", listener="b").value == 0.0


def test_five_listeners_or_fewer_are_told_that_no_result_could_have_shown_it() -> None:
    over_all = only(analysed(listeners([(10, 0, 0)] * 4 + [(9, 1, 0)])).findings, "preference_share")
    assert over_all.p_value == 0.0625
    assert over_all.verdict == "not-shown"
    assert any("5 listeners: no result could have shown it" in caveat for caveat in over_all.caveats)


def test_one_listener_is_tested_over_trials_and_about_that_person_only() -> None:
    over_all = only(analysed(listeners([(9, 1, 0)])).findings, "preference_share")
    # 9 of 10, two-sided: 22/1024 (the handbook's one-sided 0.011 twice).
    assert over_all.p_value == pytest.approx(22 / 1024, rel=1e-12)
    exact = stats.binomtest(9, 10).proportion_ci(0.95, method="exact")
    assert (over_all.low, over_all.high) == pytest.approx(exact, rel=1e-9)
    assert (over_all.verdict, over_all.n, over_all.listener) == ("preferred", 1, None)
    assert any("that person only" in caveat for caveat in over_all.caveats)
    assert not any("could have shown" in caveat for caveat in over_all.caveats)


def test_one_listeners_ties_are_left_out_of_p_and_widen_the_interval() -> None:
    own = only(analysed(listeners([(9, 1, 3)])).findings, "preference_share", listener="a")
    assert own.p_value == pytest.approx(22 / 1024, rel=1e-12)
    assert own.value == 10.5 / 13
    low = stats.binomtest(10, 13).proportion_ci(0.95, method="exact").low
    high = stats.binomtest(11, 13).proportion_ci(0.95, method="exact").high
    assert (own.low, own.high) == pytest.approx((low, high), rel=1e-9)


def test_each_listener_has_a_raw_p_and_a_verdict_by_holm() -> None:
    # By hand: 9 of 10 is 0.0215, times two 0.043; 10 of 10 is 2/1024; 8 of 10 is 0.109.
    result = analysed(listeners([(10, 0, 0), (9, 1, 0), (8, 2, 0)]))
    found = {name: only(result.findings, "preference_share", listener=name) for name in "abc"}
    assert [found[name].verdict for name in "abc"] == ["preferred", "preferred", "not-shown"]
    assert found["a"].p_value == 2 / 1024
    more = analysed(listeners([(10, 0, 0), (9, 1, 0), (8, 2, 0), (1, 9, 0)]))
    # With four, 0.0215 stands third: times three 0.064.
    assert only(more.findings, "preference_share", listener="b").verdict == "not-shown"
    assert only(more.findings, "preference_share", listener="d").verdict == "not-shown"


@pytest.mark.parametrize(("wins", "losses"), [(10, 0), (7, 3), (5, 5)])
def test_listeners_who_all_agree_get_an_exact_interval_instead_of_none(wins: int, losses: int) -> None:
    over_all = only(analysed(listeners([(wins, losses, 0)] * 6)).findings, "preference_share")
    halves = 12 * wins // 10, -(-12 * wins // 10)  # of six listeners, both bounds away from the middle
    low = min(
        stats.binomtest(halves[0] // 2, 6).proportion_ci(0.95, "exact").low,
        stats.binomtest(6 * wins, 60).proportion_ci(0.95, "exact").low,
    )
    high = max(
        stats.binomtest(-(-halves[1] // 2), 6).proportion_ci(0.95, "exact").high,
        stats.binomtest(6 * wins, 60).proportion_ci(0.95, "exact").high,
    )
    assert over_all.low == pytest.approx(low, rel=1e-9)
    assert over_all.high == pytest.approx(high, rel=1e-9)
    assert any("the same share" in caveat for caveat in over_all.caveats)


def test_trials_that_say_nothing_are_left_out_and_told() -> None:
    rows = [
        *preference_rows("a", 7, 3),
        {"listener": "a", "trial": "s", "first": "in", "second": "in", "preferred": "in"},
        {"listener": "a", "trial": "e", "first": "in", "second": "out", "preferred": None},
        {"listener": "a", "trial": "w", "first": "in", "second": "out", "preferred": "half"},
        {"listener": "a", "trial": "m", "first": "in", "second": None, "preferred": "in"},
    ]
    over_all = only(analysed(sheet("paired-preference", rows)).findings, "preference_share")
    assert over_all.value == 0.7
    assert any("1 trial that set a condition against itself" in caveat for caveat in over_all.caveats)
    assert any("3 trials without a valid answer" in caveat for caveat in over_all.caveats)


def test_with_three_conditions_each_is_taken_from_its_trials_against_the_reference() -> None:
    rows = [
        *preference_rows("a", 8, 2),
        *preference_rows("a", 3, 7, condition="half"),
        {"listener": "a", "trial": "p", "first": "in", "second": "half", "preferred": "half"},
    ]
    result = analysed(sheet("paired-preference", rows, treatment="in"), conditions=("out", "in", "half"))
    for condition, value in (("in", 0.8), ("half", 0.3)):
        found = only(result.findings, "preference_share", condition=condition)
        assert (found.value, found.reference) == (value, "out")
        assert any("worth is over all of them" in caveat for caveat in found.caveats)
    assert [chart.name for chart in result.charts] == ["preference-half", "preference-in"]


def test_a_condition_never_set_against_the_reference_is_null_with_a_caveat() -> None:
    rows = [{"listener": "a", "trial": "p", "first": "in", "second": "half", "preferred": "half"}]
    result = analysed(sheet("paired-preference", rows), conditions=("out", "in", "half"))
    assert [(f.condition, f.value, f.verdict) for f in result.findings] == [("half", None, None), ("in", None, None)]


def test_a_sheet_that_names_the_reference_alone_is_refused() -> None:
    rows = [{"listener": "a", "trial": "p", "first": "out", "second": "out", "preferred": "out"}]
    result = analysed(sheet("paired-preference", rows))
    assert result.findings == ()
    assert "no condition but the reference" in result.refusals[0].why


def test_sheets_of_the_same_pair_are_pooled() -> None:
    two = [sheet("paired-preference", preference_rows("a", 3, 1, 0), entry=n) for n in (0, 1)]
    result = analysed(*two, sheet("abx", [], entry=2))
    assert "8 trials" in only(result.findings, "preference_share").method


@pytest.mark.parametrize(("wins", "claim"), [(10, "preferred"), (0, "not-preferred")])
def test_a_claim_needs_matched_levels_and_what_is_not_shown_stays(wins: int, claim: str) -> None:
    rows = preference_rows("a", wins, 10 - wins, seat="B")

    def verdict(*findings: Finding) -> str | None:
        return only(analysed(sheet("paired-preference", rows), findings=findings).findings, "preference_share").verdict

    assert verdict(matched(seat="B")) == claim
    assert verdict(matched(), matched(seat="A")) == "not-attributable"
    assert verdict(finding("level_difference", "undecided", 0.1, seat="B")) == "not-attributable"
    assert verdict(matched(point="amplifier-output")) == claim
    open_result = analysed(listeners([(6, 4, 0)]), findings=())
    assert only(open_result.findings, "preference_share").verdict == "not-shown"


def test_the_order_of_rows_and_the_codes_of_listeners_change_nothing_but_the_labels() -> None:
    made = listeners([(4, 1, 5), (2, 3, 0), (3, 0, 1), (7, 2, 2)])
    here = analysed(made).findings
    rows = made.trials.to_dict("records")
    random.Random(6).shuffle(rows)
    assert analysed(sheet("paired-preference", rows)).findings == here
    names = {"a": "z", "b": "k", "c": "b", "d": "e"}
    renamed = analysed(
        sheet("paired-preference", [{**row, "listener": names[row["listener"]]} for row in rows])
    ).findings
    for one in here:
        other = only(renamed, one.quantity, listener=names.get(one.listener or ""))
        assert (other.value, other.low, other.high, other.p_value, other.verdict) == (
            one.value, one.low, one.high, one.p_value, one.verdict
        )  # fmt: skip


def test_findings_are_unique_declared_and_drawn() -> None:
    result = analysed(listeners([(4, 1, 5), (2, 3, 0)]))
    assert len(set(keys(result.findings))) == len(result.findings)
    assert {f.quantity for f in result.findings} <= Preference.quantities
    (chart,) = result.charts
    assert (chart.name, chart.rules[0].at) == ("preference-in", 0.5)
    assert list(chart.data["listener"]) == ["a", "b", "all listeners"]
    assert list(chart.data["share"]) == pytest.approx([0.65, 0.4, 0.525])


def drawn(generator: np.random.Generator, tastes: np.ndarray, n_trials: int, neither: float = 0.0) -> Sheet:
    counts = []
    for taste in tastes:
        n_neither = int(generator.binomial(n_trials, neither))
        wins = int(generator.binomial(n_trials - n_neither, taste))
        counts.append((wins, n_trials - n_neither - wins, n_neither))
    return listeners(counts)


def test_where_tastes_differ_but_lean_neither_way_it_claims_no_more_often_than_alpha() -> None:
    generator = np.random.default_rng(31)
    claims = 0
    for _ in range(400):
        found = only(analysed(drawn(generator, generator.beta(1.5, 1.5, 7), 8)).findings, "preference_share")
        claims += found.verdict != "not-shown"
    assert 0.01 <= claims / 400 <= 0.05 + 0.025


def test_the_interval_over_listeners_covers_the_mean_taste() -> None:
    generator = np.random.default_rng(32)
    covered = 0
    for _ in range(400):
        found = only(analysed(drawn(generator, generator.beta(3.0, 2.0, 7), 10, 0.2)).findings, "preference_share")
        assert found.low is not None
        assert found.high is not None
        covered += found.low <= 0.5 + 0.8 * 0.1 <= found.high
    assert 0.92 <= covered / 400 < 0.985


@pytest.mark.parametrize(("taste", "neither"), [(0.5, 0.3), (0.8, 0.5), (1.0, 0.5), (0.95, 0.1)])
def test_one_listeners_interval_covers_with_answers_without_preference(taste: float, neither: float) -> None:
    generator = np.random.default_rng(33)
    truth = neither / 2 + (1 - neither) * taste
    covered = 0
    for _ in range(300):
        found = only(analysed(drawn(generator, np.array([taste]), 16, neither)).findings, "preference_share")
        assert found.low is not None
        assert found.high is not None
        covered += found.low <= truth <= found.high
    assert covered / 300 >= 0.95 - 0.025
