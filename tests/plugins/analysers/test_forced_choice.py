"""Checks of the forced-choice analyser: cases by hand, outside values, laws, and how often it is right."""

from __future__ import annotations

import random

import numpy as np
import pytest
from references.helper import check, load
from scipy import stats

from fairhearing.api import Analyser, Finding, Result, Sheet
from fairhearing_builtins.analysers import forced_choice
from fairhearing_builtins.analysers.forced_choice import ForcedChoice, fairhearing_analysers

from .build_inputs import abx_rows, finding, inputs, keys, matched, only, session, sheet

OVER_SEATS = (matched(),)


def analysed(*sheets: Sheet, findings: tuple[Finding, ...] = OVER_SEATS, **said: object) -> Result:
    return ForcedChoice().analyse(inputs(session(**said), sheets=sheets, findings=findings))  # type: ignore[arg-type]


def mixed_rows(listener: str, both_right: int, wrong_in: int, wrong_out: int) -> list[dict[str, str | None]]:
    rows = abx_rows(listener, both_right, wrong_in) + abx_rows(listener, both_right, wrong_out, played="out")
    return [{**row, "trial": str(index)} for index, row in enumerate(rows)]


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert (offered.name, offered.version) == ("forced-choice", "7")


def test_twelve_of_sixteen_by_one_listener_agree_with_outside_values() -> None:
    result = analysed(sheet("abx", abx_rows("L1", 12, 4)))
    over_all = only(result.findings, "proportion_correct")
    exact = load("E04.12_16")
    assert over_all.p_value is not None
    check(over_all.p_value, exact.expected["one_sided_p"], exact)
    low, high = stats.binomtest(12, 16).proportion_ci(0.95, method="exact")
    assert (over_all.low, over_all.high) == pytest.approx((low, high), rel=1e-9)
    assert (over_all.value, over_all.n, over_all.verdict) == (0.75, 16, "heard")
    assert any("that person only" in caveat for caveat in over_all.caveats)
    for variant, name in ((None, "independent_obs"), ("differencing", "differencing")):
        reference = load(f"E09.ABX_{name}")
        found = only(result.findings, "d_prime", variant=variant)
        assert found.value is not None
        check(found.value, reference.expected["d_prime"], reference)
        assert found.p_value is None
        assert name.split("_")[0] in found.method


def test_the_interval_over_listeners_is_t_where_that_is_wider_and_exact_where_not() -> None:
    apart = analysed(sheet("abx", [*abx_rows("a", 16, 0), *abx_rows("b", 8, 8), *abx_rows("c", 12, 4)]))
    over_all = only(apart.findings, "proportion_correct")
    low, high = stats.t.interval(0.95, 2, 0.75, stats.sem([1.0, 0.5, 0.75]))
    assert over_all.low == pytest.approx(low, rel=1e-9)
    assert (over_all.high, high > 1.0) == (1.0, True)  # cut
    alike = analysed(sheet("abx", [row for name in "abc" for row in abx_rows(name, 12, 4)]))
    over_all = only(alike.findings, "proportion_correct")
    exact = stats.binomtest(36, 48).proportion_ci(0.95, method="exact")
    assert (over_all.low, over_all.high) == pytest.approx(exact, rel=1e-9)


def test_each_listener_has_a_raw_p_and_a_verdict_by_holm() -> None:
    # By hand: 12 of 16 is 0.0384, times three 0.115; 15 of 16 is 17/65536, times three 0.0008.
    rows = [*abx_rows("a", 12, 4), *abx_rows("b", 15, 1), *abx_rows("c", 9, 7)]
    result = analysed(sheet("abx", rows))
    found = {name: only(result.findings, "proportion_correct", listener=name) for name in "abc"}
    assert found["a"].p_value == pytest.approx(0.03841, abs=5e-6)
    assert found["b"].p_value == pytest.approx(17 / 65536, rel=1e-12)
    assert [found[name].verdict for name in "abc"] == ["not-shown", "heard", "not-shown"]
    assert all("Holm" in found[name].method for name in "abc")
    assert [found[name].n for name in "abc"] == [16, 16, 16]


def test_a_perfect_score_has_no_d_prime_but_a_lower_bound() -> None:
    result = analysed(sheet("abx", abx_rows("L1", 16, 0)))
    found = only(result.findings, "d_prime")
    assert (found.value, found.high) == (None, None)
    bound = load("E14.16_16").expected["clopper_pearson"][0]
    # Independent observation at that bound, by the sum of the two ways of being right.
    a, b = stats.norm.cdf(found.low / np.sqrt(2)), stats.norm.cdf(found.low / 2)
    assert a * b + (1 - a) * (1 - b) == pytest.approx(bound, abs=2e-6)
    assert any("only a lower bound" in caveat for caveat in found.caveats)


def test_fewer_right_than_chance_is_a_d_prime_of_zero_with_a_caveat() -> None:
    result = analysed(sheet("abx", abx_rows("L1", 5, 11)))
    found = only(result.findings, "d_prime")
    assert (found.value, found.low) == (0.0, 0.0)
    assert found.high is not None
    assert found.high > 0
    assert any("set to 0" in caveat for caveat in found.caveats)
    at_chance = only(analysed(sheet("abx", abx_rows("L1", 8, 8))).findings, "d_prime")
    assert at_chance.value == 0.0
    assert not any("set to 0" in caveat for caveat in at_chance.caveats)


def test_an_interval_that_reaches_one_leaves_d_prime_without_an_upper_bound() -> None:
    rows = [*abx_rows("a", 16, 0), *abx_rows("b", 8, 8), *abx_rows("c", 12, 4)]
    found = only(analysed(sheet("abx", rows)).findings, "d_prime")
    assert found.high is None
    assert found.value == pytest.approx(1.79043, abs=1e-4)
    assert any("no upper bound" in caveat for caveat in found.caveats)


def test_balanced_orders_are_tested_by_fishers_exact_test_and_say_so() -> None:
    # Two strata by hand: each listener right in 7 of 8 of each kind; P(a >= 7) of one: (64 + 1)/12870.
    result = analysed(sheet("abx", [*mixed_rows("a", 7, 1, 1), *mixed_rows("b", 7, 1, 1)], order="balanced"))
    own = only(result.findings, "proportion_correct", listener="a")
    assert own.p_value == pytest.approx(65 / 12870, rel=1e-12)
    assert "Fisher" in own.method
    over_all = only(result.findings, "proportion_correct")
    # Both: 7 + 7, 7 + 8, 8 + 7 or 8 + 8 of 8 + 8, and 6 + 8 both ways: C(8,6)^2 = 784.
    assert over_all.p_value == pytest.approx((65**2 + 2 * 784) / 12870**2, rel=1e-12)
    assert any("balanced" in caveat for caveat in over_all.caveats)
    independent = analysed(sheet("abx", mixed_rows("a", 7, 1, 1)))
    assert "binomial" in only(independent.findings, "proportion_correct").method


def test_answers_that_were_not_given_are_counted_out_and_told() -> None:
    rows = abx_rows("L1", 12, 4)
    for answer in (None, "", float("nan")):
        rows.append({"listener": "L1", "trial": "x", "x": "in", "answer": answer})  # type: ignore[dict-item]
    over_all = only(analysed(sheet("abx", rows)).findings, "proportion_correct")
    assert (over_all.n, over_all.value) == (16, 0.75)
    assert any("3 trials without a valid answer" in caveat for caveat in over_all.caveats)


def test_a_sheet_without_any_answer_gives_null_with_a_caveat() -> None:
    rows = [{"listener": "L1", "trial": "1", "x": "in", "answer": None}]
    result = analysed(sheet("abx", rows))
    (found,) = result.findings
    assert (found.value, found.verdict, found.condition) == (None, None, "in")
    assert "no valid trial" in found.caveats
    assert [chart.name for chart in result.charts] == ["trials-in"]


def test_an_x_sheet_of_three_conditions_gives_null_and_says_what_to_do() -> None:
    rows = [*abx_rows("L1", 12, 4), {"listener": "L1", "trial": "t", "x": "half", "answer": "out"}]
    result = analysed(sheet("abx", rows), conditions=("out", "in", "half"))
    assert [(f.condition, f.value) for f in result.findings] == [("half", None), ("in", None)]
    assert all("one [[scores]] per pair" in f.caveats[0] for f in result.findings)


def test_a_pair_that_another_sheet_gives_keeps_its_value_and_gets_the_caveat() -> None:
    rows = [*abx_rows("L1", 12, 4), {"listener": "L1", "trial": "t", "x": "half", "answer": "out"}]
    sound = sheet("abx", abx_rows("L2", 10, 6), entry=1, treatment="in")
    result = analysed(sheet("abx", rows), sound, conditions=("out", "in", "half"))
    over_all = only(result.findings, "proportion_correct", condition="in")
    assert over_all.n == 16
    assert any("one [[scores]] per pair" in caveat for caveat in over_all.caveats)


def test_sheets_of_the_same_pair_are_pooled_and_other_pairs_stay_apart() -> None:
    pooled = analysed(
        sheet("abx", abx_rows("a", 9, 3)), sheet("abx", abx_rows("a", 8, 4), entry=1), sheet("triangle", [], entry=2)
    )
    assert only(pooled.findings, "proportion_correct").n == 24
    other = [{**row, "x": "half", "answer": "half" if row["answer"] == "in" else "out"} for row in abx_rows("a", 6, 6)]
    apart = analysed(sheet("abx", abx_rows("a", 9, 3)), sheet("abx", other, entry=1), conditions=("out", "in", "half"))
    assert only(apart.findings, "proportion_correct", condition="in").n == 12
    assert only(apart.findings, "proportion_correct", condition="half").value == 0.5


def test_reference_and_treatment_of_the_sheet_go_before_what_is_found() -> None:
    rows = [{**row, "x": "half", "answer": "half" if row["answer"] == "in" else "in"} for row in abx_rows("a", 9, 3)]
    said = sheet("abx", rows, reference="in", treatment="half")
    result = analysed(said, conditions=("out", "in", "half"))
    over_all = only(result.findings, "proportion_correct")
    assert (over_all.condition, over_all.reference) == ("half", "in")
    assert [chart.name for chart in result.charts] == ["trials-half-against-in"]


def test_a_sheet_that_names_the_reference_alone_is_refused() -> None:
    result = analysed(sheet("abx", [{"listener": "a", "trial": "1", "x": "out", "answer": "out"}]))
    assert result.findings == ()
    assert "no condition but the reference" in result.refusals[0].why


def test_the_lean_of_the_answers_is_told_as_answer_share() -> None:
    result = analysed(sheet("abx", [*mixed_rows("a", 5, 3, 1), *mixed_rows("b", 6, 2, 2)]))
    lean = only(result.findings, "answer_share")
    assert (lean.value, lean.n, lean.p_value) == (14 / 30, 30, None)  # by hand: 5 + 1 of 14, 6 + 2 of 16
    own = only(result.findings, "answer_share", listener="a")
    exact = stats.binomtest(6, 14).proportion_ci(0.95, method="exact")
    assert (own.value, own.low, own.high) == pytest.approx((6 / 14, *exact), rel=1e-9)


def verdict_with(findings: tuple[Finding, ...], seats: tuple[str | None, ...] = (None,)) -> Finding:
    rows = [row for seat in seats for row in abx_rows(f"L{seat}", 16, 0, seat=seat)]
    return only(analysed(sheet("abx", rows), findings=findings).findings, "proportion_correct", seat=None)


def test_a_claim_needs_matched_levels_where_the_trials_were_heard() -> None:
    seat_a, seat_b = matched(seat="A"), finding("level_difference", "undecided", 0.2, seat="B")
    assert verdict_with((matched(),)).verdict == "heard"
    assert verdict_with(()).verdict == "not-attributable"
    assert verdict_with((finding("level_difference", "unmatched", 0.4),)).verdict == "not-attributable"
    assert verdict_with((matched(variant="loudness"),)).verdict == "not-attributable"
    assert verdict_with((matched(channel="left"),)).verdict == "not-attributable"
    assert verdict_with((seat_a, seat_b), ("A",)).verdict == "heard"
    assert verdict_with((matched(), seat_a, seat_b), ("A", "B")).verdict == "not-attributable"
    assert verdict_with((matched(), seat_a), ("A", "C")).verdict == "not-attributable"
    assert verdict_with((seat_a,), ("A", None)).verdict == "not-attributable"
    assert verdict_with((seat_a, matched()), ("A", None)).verdict == "heard"


def test_levels_at_the_amplifiers_output_count_for_all_seats() -> None:
    output = matched(point="amplifier-output")
    seat_b = finding("level_difference", "unmatched", 0.9, seat="B")
    assert verdict_with((output, seat_b), ("B",)).verdict == "heard"
    refused = verdict_with((finding("level_difference", "unmatched", -0.4, point="amplifier-output"), matched()))
    assert refused.verdict == "not-attributable"
    assert any("amplifier's output is unmatched (-0.40 dB)" in caveat for caveat in refused.caveats)


def test_with_everything_playing_goes_before_the_main_loudspeakers_alone() -> None:
    both = finding("level_difference", "undecided", 0.1, playing="both")
    assert verdict_with((matched(playing="main"), both)).verdict == "not-attributable"
    assert verdict_with((matched(playing="main"),)).verdict == "heard"


def test_levels_matched_the_other_way_round_are_matched() -> None:
    assert verdict_with((matched(condition="out", reference="in"),)).verdict == "heard"
    assert verdict_with((matched(condition="half"),)).verdict == "not-attributable"


def test_what_is_not_shown_stays_so_with_or_without_matched_levels() -> None:
    result = analysed(sheet("abx", abx_rows("a", 9, 7)), findings=())
    over_all = only(result.findings, "proportion_correct")
    assert over_all.verdict == "not-shown"
    assert not any("level_difference" in caveat for caveat in over_all.caveats)


def test_alpha_and_confidence_are_those_of_the_criteria() -> None:
    rows = abx_rows("a", 12, 4)
    strict = only(analysed(sheet("abx", rows), alpha=0.03, confidence=0.8).findings, "proportion_correct")
    exact = stats.binomtest(12, 16).proportion_ci(0.8, method="exact")
    assert (strict.verdict, strict.confidence) == ("not-shown", 0.8)
    assert (strict.low, strict.high) == pytest.approx(exact, rel=1e-9)


def test_the_order_of_rows_and_the_codes_of_listeners_change_nothing_but_the_labels() -> None:
    rows = [*mixed_rows("a", 5, 1, 2), *mixed_rows("b", 7, 0, 3), *mixed_rows("c", 3, 2, 2)]
    here = analysed(sheet("abx", rows)).findings
    shuffled = list(rows)
    random.Random(4).shuffle(shuffled)
    assert analysed(sheet("abx", shuffled)).findings == here
    names = {"a": "z", "b": "k", "c": "b"}
    renamed = analysed(sheet("abx", [{**row, "listener": names[str(row["listener"])]} for row in rows])).findings
    for one in here:
        other = only(renamed, one.quantity, variant=one.variant, listener=names.get(one.listener or ""))
        assert (other.value, other.low, other.high, other.p_value, other.verdict) == (
            one.value, one.low, one.high, one.p_value, one.verdict
        )  # fmt: skip


def test_findings_are_unique_declared_and_drawn() -> None:
    result = analysed(sheet("abx", [*mixed_rows("a", 5, 3, 1), *mixed_rows("b", 6, 2, 2)]))
    assert len(set(keys(result.findings))) == len(result.findings)
    assert {f.quantity for f in result.findings} <= ForcedChoice.quantities
    (chart,) = result.charts
    assert (chart.name, chart.rules[0].at, chart.rules[0].label) == ("trials-in", 0.5, "chance")
    assert list(chart.data["listener"]) == ["a", "b", "all listeners"]
    assert list(chart.data["share"]) == pytest.approx([10 / 14, 12 / 16, 22 / 30])


def simulated_sheet(generator: np.random.Generator, abilities: np.ndarray, n_trials: int) -> Sheet:
    """Listeners who know what is played with their own ability, else guess; drawn trial by trial."""
    rows = []
    for index, ability in enumerate(abilities):
        played = generator.integers(0, 2, n_trials)
        knows = generator.random(n_trials) < ability
        guess = generator.integers(0, 2, n_trials)
        for trial in range(n_trials):
            answer = played[trial] if knows[trial] else guess[trial]
            rows.append(
                {
                    "listener": f"L{index}",
                    "trial": str(trial),
                    "x": ("out", "in")[played[trial]],
                    "answer": ("out", "in")[answer],
                }
            )
    return sheet("abx", rows)


@pytest.fixture
def without_model(monkeypatch: pytest.MonkeyPatch) -> None:
    """The beta-binomial stands beside what many sessions are simulated for, and takes most of the time."""
    monkeypatch.setattr(forced_choice, "beta_binomial", lambda *_: ())


@pytest.mark.usefixtures("without_model")
def test_where_nobody_hears_anything_it_says_heard_no_more_often_than_alpha() -> None:
    generator = np.random.default_rng(21)
    over_all = anyone = 0
    for _ in range(400):
        result = analysed(simulated_sheet(generator, np.zeros(4), 10))
        verdicts = [f for f in result.findings if f.quantity == "proportion_correct" and f.verdict == "heard"]
        over_all += any(f.listener is None for f in verdicts)
        anyone += any(f.listener is not None for f in verdicts)
    # 26 of 40 is 0.0403, the true size; two and a half standard errors of 400 sessions either side.
    assert over_all / 400 == pytest.approx(0.0403, abs=0.025)
    assert anyone / 400 <= 0.05 + 0.025


@pytest.mark.usefixtures("without_model")
def test_the_interval_covers_the_mean_of_listeners_who_differ() -> None:
    generator = np.random.default_rng(22)
    covered = 0
    for _ in range(300):
        abilities = generator.beta(1.5, 1.5, 6)
        found = only(analysed(simulated_sheet(generator, abilities, 12)).findings, "proportion_correct")
        assert found.low is not None
        assert found.high is not None
        covered += found.low <= 0.75 <= found.high  # mean ability one half: right in three of four
    assert 0.92 <= covered / 300 < 1.0
