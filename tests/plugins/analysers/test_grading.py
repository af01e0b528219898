"""Checks of the grading analyser: published sets, cases by hand, screening, attribution, and what it must not say."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from references import helper
from scipy import stats

from fairhearing.api import Analyser, Finding, Result, Sheet
from fairhearing_builtins.analysers.grading import Grading, fairhearing_analysers

from .build_inputs import Row, finding, inputs, keys, matched, only, session, sheet

Grades = Sequence[float | str]


def one(findings: Sequence[Finding], quantity: str, **said: object) -> Finding:
    """The one finding over programmes, listeners and without variant, unless said otherwise."""
    return only(findings, quantity, **{"programme": None, **said})


def analysed(*sheets: Sheet, findings: tuple[Finding, ...] = (matched(),), **said: object) -> Result:
    return Grading().analyse(inputs(session(**said), sheets=sheets, findings=findings))  # type: ignore[arg-type]


def graded(scale: str, rows: Sequence[Row], entry: int = 0, **said: object) -> Sheet:
    return replace(sheet("grading", rows, entry=entry, **said), scale=scale)


def compared(grades: dict[str, Grades], programmes: Sequence[str | None] = (None,)) -> list[Row]:
    """On the scale comparison: grades of the condition relative to the reference, every other trial turned."""
    rows: list[Row] = []
    for listener, own in grades.items():
        for index, grade in enumerate(own):
            turned = index % 2 == 1
            first, second = ("in", "out") if turned else ("out", "in")
            rating = str(-float(grade) if turned else grade)
            programme = programmes[index % len(programmes)]
            rows.append({"listener": listener, "trial": str(index), "programme": programme,
                         "first": first, "second": second, "rating": rating})  # fmt: skip
    return rows


def rated(grades: dict[str, dict[str, Grades]]) -> list[Row]:
    """On the other scales: for each listener the grades of each condition, one for each programme p0, p1, …"""
    return [
        {"listener": listener, "trial": f"{condition}{index}", "programme": f"p{index}", "condition": condition,
         "rating": str(grade)}
        for listener, own in grades.items()
        for condition, marks in own.items()
        for index, grade in enumerate(marks)
    ]  # fmt: skip


def test_it_is_an_analyser_and_its_hook_offers_it() -> None:
    (offered,) = fairhearing_analysers()
    assert isinstance(offered, Analyser)
    assert offered.name == "grading"


@pytest.mark.parametrize(("confidence", "limits"), [(0.9, "ci90"), (0.95, "ci95")])
def test_it_reproduces_students_hours_of_sleep(confidence: float, limits: str) -> None:
    reference = helper.load("F06.sleep")
    given = {
        f"s{n}": {"out": [50 + one], "in": [50 + other]}
        for n, (one, other) in enumerate(zip(reference.inputs["first"], reference.inputs["second"], strict=True))
    }
    # Read as grades of 50 and more; the hidden reference is below 90 for all, so all would be screened out.
    found = one(
        analysed(graded("quality", rated(given)), confidence=confidence).findings,
        "rating_difference",
        variant="all-listeners",
    )
    helper.check(found.value or 0.0, reference.expected["mean"], reference)
    helper.check(found.low or 0.0, reference.expected[limits][0], reference)
    helper.check(found.high or 0.0, reference.expected[limits][1], reference)
    # Nine differences above 0 and one of 0: 2/512, as the exact signed-rank test gives.
    assert (found.p_value, found.n, found.verdict) == (2 / 512, 10, "better")
    second = stats.wilcoxon(
        np.subtract(reference.inputs["second"], reference.inputs["first"])[[0, 1, 2, 3, 5, 6, 7, 8, 9]]
    )
    assert second.pvalue == 2 / 512


def test_on_comparison_the_grade_is_of_the_second_relative_to_the_first() -> None:
    rows = [
        {"listener": "a", "trial": "1", "first": "out", "second": "in", "rating": "2"},
        {"listener": "a", "trial": "2", "first": "in", "second": "out", "rating": "-1"},
    ]
    found = one(analysed(graded("comparison", rows)).findings, "rating_difference")
    assert (found.value, found.unit) == (1.5, "comparison")
    assert "second relative to the first" in found.method or found.n == 1


def test_six_listeners_of_one_mind_reach_two_in_sixty_four_with_the_t_interval() -> None:
    grades = {name: [g, g + 0.5] for name, g in zip("abcdef", (0.5, 1.0, 0.2, 2.0, 1.1, 0.4), strict=True)}
    found = one(analysed(graded("comparison", compared(grades))).findings, "rating_difference")
    means = [np.mean(own) for own in grades.values()]
    low, high = stats.t.interval(0.95, 5, np.mean(means), stats.sem(means))
    assert (found.p_value, found.verdict, found.n) == (2 / 64, "better", 6)
    assert (found.value, found.low, found.high) == pytest.approx((np.mean(means), low, high), rel=1e-9)
    assert "second relative to the first (BS.1284)" in found.method


def test_grades_on_a_grid_of_tenths_tie_exactly() -> None:
    # 0.1 + 0.2 and 0.3 are the same sum here and two different ones as floats.
    grades = {name: [g] for name, g in zip("abcdefg", ("0.1", "0.2", "-0.3", "0.3", "0.4", "-0.1", "0.6"), strict=True)}
    found = one(analysed(graded("comparison", compared(grades))).findings, "rating_difference")
    tenths = np.array([1, 2, -3, 3, 4, -1, 6])
    signs = np.array(np.meshgrid(*[[-1, 1]] * 7)).reshape(7, -1)
    assert found.p_value == float(np.mean(np.abs(tenths @ signs) >= 12))
    assert found.value == float(Fraction(12, 70))


def test_five_listeners_or_fewer_are_told_that_no_result_could_have_shown_it() -> None:
    grades = {name: [2, 1, n] for n, name in enumerate("abcde")}
    found = one(analysed(graded("comparison", compared(grades))).findings, "rating_difference")
    assert (found.p_value, found.verdict) == (0.0625, "not-shown")
    assert any("5 listeners: no result could have shown it" in caveat for caveat in found.caveats)


def test_one_listener_is_tested_over_trials_and_about_that_person_one() -> None:
    own = [1, 2, 1, 3, 2, 1, 1, 2]
    found = one(analysed(graded("comparison", compared({"a": own}))).findings, "rating_difference")
    assert (found.n, found.p_value, found.verdict) == (1, 2 / 256, "better")
    assert (found.low, found.high) == pytest.approx(stats.t.interval(0.95, 7, np.mean(own), stats.sem(own)), rel=1e-9)
    assert any("that person only" in caveat for caveat in found.caveats)
    assert "over trials" in found.method
    once = one(analysed(graded("comparison", compared({"a": [2]}))).findings, "rating_difference")
    assert (once.value, once.low, once.p_value, once.verdict) == (2.0, None, None, "not-shown")


def test_each_listener_has_a_raw_p_and_a_verdict_by_holm() -> None:
    # Six of one sign: 2/64, times two 0.0625; eight: 2/256, times three 0.023.
    six, eight = [1, 2, 1, 1, 2, 1], [-1, -2, -1, -1, -1, -2, -3, -1]
    result = analysed(graded("comparison", compared({"a": six, "b": eight, "c": six})))
    found = [one(result.findings, "rating_difference", listener=n) for n in "abc"]
    assert [(f.p_value, f.verdict) for f in found] == [
        (2 / 64, "not-shown"), (2 / 256, "worse"), (2 / 64, "not-shown")
    ]  # fmt: skip


def test_impairment_never_says_better_but_says_worse() -> None:
    def verdict(sign: int) -> Finding:
        given = {
            f"l{n}": {"out": [4.0 - sign, 4.1, 4.0], "in": [4.0, 4.1 + sign * 0.7, 4.0 + sign * (0.3 + n / 50)]}
            for n in range(8)
        }
        sheets = graded("impairment", rated(given))
        variant = "all-listeners" if sign > 0 else None
        return one(analysed(sheets).findings, "rating_difference", variant=variant)

    up, down = verdict(1), verdict(-1)
    assert (up.p_value, up.verdict) == (2 / 256, "not-shown")
    assert any("cannot show better" in caveat for caveat in up.caveats)
    assert (down.p_value, down.verdict) == (2 / 256, "worse")


@pytest.mark.parametrize(("sign", "claim"), [(1, "better"), (-1, "worse")])
def test_a_claim_needs_matched_levels_and_what_is_not_shown_stays(sign: int, claim: str) -> None:
    rows = [{**row, "seat": "B"} for row in compared({name: [sign, sign * 2] for name in "abcdef"})]

    def verdict(*findings: Finding) -> str | None:
        return one(analysed(graded("comparison", rows), findings=findings).findings, "rating_difference").verdict

    assert verdict(matched(seat="B")) == claim
    assert verdict(matched(), matched(seat="A")) == "not-attributable"
    assert verdict(finding("level_difference", "undecided", 0.1, seat="B")) == "not-attributable"
    assert verdict(matched(point="amplifier-output")) == claim
    few = analysed(graded("comparison", compared({"a": [1, -1], "b": [0, 1]})), findings=())
    assert one(few.findings, "rating_difference").verdict == "not-shown"


def quality(n_below: int) -> dict[str, dict[str, Grades]]:
    """Eight listeners of 20 items; the first puts the hidden reference below 90 in `n_below` of them."""
    panel: dict[str, dict[str, Grades]] = {
        f"l{n}": {"out": [95 + n % 3] * 20, "in": [80 + (n + i) % 7 for i in range(20)]} for n in range(8)
    }
    panel["l0"] = {"out": [60] * n_below + [99] * (20 - n_below), "in": panel["l0"]["in"]}
    return panel


def test_bs1534_drops_a_listener_only_beyond_fifteen_percent_and_says_so() -> None:
    kept = analysed(graded("quality", rated(quality(3))))
    assert one(kept.findings, "rating_difference").n == 8
    assert not any(f.variant == "all-listeners" for f in kept.findings)
    dropped = analysed(graded("quality", rated(quality(4))))
    headline = one(dropped.findings, "rating_difference")
    everyone = one(dropped.findings, "rating_difference", variant="all-listeners")
    assert (headline.n, everyone.n) == (7, 8)
    assert any("l0 left out: hidden reference below 90 in 4 of 20 items" in caveat for caveat in headline.caveats)
    panel = quality(4)
    means = [np.mean(np.subtract(own["in"], own["out"])) for own in panel.values()]
    assert headline.value == pytest.approx(np.mean(means[1:]), rel=1e-12)
    assert everyone.value == pytest.approx(np.mean(means), rel=1e-12)
    # Careless with either naming, the first weighs nothing: seven of one sign. Over all it is eight.
    assert (headline.p_value, everyone.p_value) == (2 / 128, 2 / 256)
    assert any("screening anew" in caveat for caveat in headline.caveats)
    assert any(c.endswith("that of the variant all-listeners does") for c in headline.caveats)
    unscreened = [*one(kept.findings, "rating_difference").caveats, *everyone.caveats]
    assert not any("who is left depends" in caveat for caveat in unscreened)
    (table,) = dropped.tables
    row = [str(table.columns[name][0]) for name in ("listener", "n_items", "n_items_odd", "kept")]
    assert row == ["l0", "20", "4", "False"]


def test_the_mid_range_anchor_screens_where_a_condition_has_its_name() -> None:
    def panel(n_lovers: int) -> Result:
        rows = rated(
            {
                f"l{n}": {"out": [97] * 4, "in": [80, 81, 82, 80 + n], "mid-anchor": [95 if n < n_lovers else 40] * 4}
                for n in range(8)
            }
        )
        return analysed(graded("quality", rows), conditions=("out", "in", "mid-anchor"))

    screened = one(panel(1).findings, "rating_difference", condition="in")
    assert any("l0 left out: mid-range anchor above 90 in 4 of 4 items" in caveat for caveat in screened.caveats)
    # Three of eight, more than 25 %: the item counts against nobody.
    assert not any("left out" in c for c in one(panel(3).findings, "rating_difference", condition="in").caveats)
    without = one(analysed(graded("quality", rated(quality(0)))).findings, "rating_difference")
    assert "not by a mid-range anchor" in without.method


def test_a_listener_left_out_one_way_only_weighs_half_in_the_test() -> None:
    """By hand: l0 grades the reference below 90 (out), exchanged the condition's 95 would stand (in): half of +35."""
    panel: dict[str, dict[str, Grades]] = {f"l{n}": {"out": [98.0], "in": [91.0 - n / 10]} for n in range(1, 7)}
    panel["l0"] = {"out": [60.0], "in": [95.0]}
    found = one(analysed(graded("quality", rated(panel))).findings, "rating_difference")
    weighed = np.array([35 / 2, *(91 - n / 10 - 98 for n in range(1, 7))])
    signs = np.array(np.meshgrid(*[[-1, 1]] * 7)).reshape(7, -1)
    assert found.p_value == np.mean(np.abs(weighed @ signs) >= abs(weighed.sum()) - 1e-9)
    assert found.n == 6
    assert any("of those who are left alone, p would be 0.0312" in caveat for caveat in found.caveats)


def test_bs1116_drops_who_does_not_tell_objects_from_the_reference() -> None:
    panel = {f"l{n}": {"out": [5.0] * 4, "in": [4.0, 3.8, 4.2 - n / 20, 4.1]} for n in range(7)}
    panel["x"] = {"out": [5.0, 4.0, 5.0, 4.0], "in": [4.0, 5.0, 4.1, 5.0]}
    result = analysed(graded("impairment", rated(panel)))
    headline = one(result.findings, "rating_difference")
    assert (headline.n, headline.verdict) == (7, "worse")
    assert any(caveat.startswith("listener x left out: objects against") for caveat in headline.caveats)
    row = list(result.tables[0].columns["listener"]).index("x")
    second = stats.ttest_1samp(np.subtract(panel["x"]["in"], panel["x"]["out"]), 0, alternative="less")
    assert result.tables[0].columns["p_value"][row] == pytest.approx(second.pvalue, rel=1e-9)


def test_where_screening_leaves_nobody_the_headline_is_null_and_not_shown() -> None:
    panel = {f"l{n}": {"out": [5.0, 4.8, 5.0], "in": [5.0, 5.0, 4.9]} for n in range(6)}
    headline = one(analysed(graded("impairment", rated(panel))).findings, "rating_difference")
    assert (headline.value, headline.p_value, headline.verdict) == (None, None, "not-shown")
    assert any("leaves no listener" in caveat for caveat in headline.caveats)


def test_each_programme_has_a_raw_p_and_a_verdict_by_holm() -> None:
    # Seven of one sign on organ: 2/128, times two 0.031. Six of seven on choir: 16/128.
    grades = {name: [1 + n / 10, 0.5 if n else -0.5] for n, name in enumerate("abcdefg")}
    result = analysed(graded("comparison", compared(grades, ("organ", "choir"))))
    organ = one(result.findings, "rating_difference", programme="organ")
    choir = one(result.findings, "rating_difference", programme="choir")
    assert (organ.p_value, organ.verdict) == (2 / 128, "better")
    assert (choir.p_value, choir.verdict) == (16 / 128, "not-shown")
    assert "Holm over 2 programmes" in organ.method
    # Raw 2/64 would do alone; times two it does not.
    six = analysed(graded("comparison", compared({k: v for k, v in grades.items() if k != "a"}, ("organ", "choir"))))
    assert one(six.findings, "rating_difference", programme="organ").verdict == "not-shown"


def test_the_mixed_model_is_that_of_the_table_and_needs_it_whole() -> None:
    table = np.array([[1.0, 2.0], [2.0, 4.0], [0.0, 3.0]]) / 2
    grades = {name: row.tolist() for name, row in zip("abc", table, strict=True)}
    found = one(
        analysed(graded("comparison", compared(grades, ("organ", "choir")))).findings,
        "rating_difference",
        variant="mixed-model",
        programme=None,
    )
    assert found.value == pytest.approx(1.0, rel=1e-12)
    assert "1.32 degrees of freedom (Satterthwaite)" in found.method
    assert found.p_value == pytest.approx(2 * stats.t.sf(1.0 / (1.0801234 / 2), 1.3172), rel=1e-3)
    rows = compared(grades, ("organ", "choir"))[:-1]
    holed = one(analysed(graded("comparison", rows)).findings, "rating_difference", variant="mixed-model")
    assert (holed.value, holed.verdict) == (None, None)
    assert any("complete table" in caveat for caveat in holed.caveats)


@pytest.mark.parametrize(("apart", "said"), [(2.0, True), (0.0, False)])
def test_where_programmes_differ_the_mixed_model_is_said_to_claim_too_often(apart: float, said: bool) -> None:
    grades = {name: [own, own + apart] for name, own in zip("abc", (0.5, 1.0, -0.5), strict=True)}
    rows = compared(grades, ("organ", "choir"))
    found = one(analysed(graded("comparison", rows)).findings, "rating_difference", variant="mixed-model")
    assert any("6 to 7 % of sessions where it says 5 %" in caveat for caveat in found.caveats) is said


def test_agreement_is_that_of_shrout_and_fleiss() -> None:
    reference = helper.load("F08")
    rows = [
        {
            "listener": f"j{judge}",
            "trial": str(target),
            "programme": f"p{target}",
            "condition": "in",
            "rating": str(grade),
        }
        for target, row in enumerate(reference.inputs["matrix"])
        for judge, grade in enumerate(row)
    ]
    findings = analysed(graded("quality", rows)).findings
    helper.check(one(findings, "listener_agreement").value or 0.0, reference.expected["absolute"], reference)
    for variant, name in (("consistency", "consistent"), ("mean-of-listeners", "mean_absolute")):
        found = one(findings, "listener_agreement", variant=variant)
        helper.check(found.value or 0.0, reference.expected[name], reference)
        assert found.n == 4
    assert one(findings, "rating_difference").value is None


def test_agreement_and_repeatability_say_why_they_cannot_be_had() -> None:
    findings = analysed(graded("comparison", compared({"a": [1], "b": [2]}))).findings
    assert one(findings, "listener_agreement").value is None
    assert one(findings, "rating_repeatability").value is None
    assert one(findings, "rating_repeatability").unit == "comparison"


def test_repeatability_is_the_pooled_scatter_of_the_same_thing() -> None:
    findings = analysed(graded("comparison", compared({"a": [1, 2, 3], "b": [0, 1], "c": [2]}))).findings
    assert one(findings, "rating_repeatability").value == pytest.approx(((2.0 + 0.5) / 3) ** 0.5, rel=1e-12)
    assert one(findings, "rating_repeatability").n == 2
    assert one(findings, "rating_repeatability", listener="a").value == pytest.approx(1.0, rel=1e-12)


def test_a_second_scale_stands_in_variants_and_comparison_goes_first() -> None:
    first = graded("quality", rated({f"l{n}": {"out": [95], "in": [80 + n]} for n in range(3)}))
    second = graded("comparison", compared({"a": [1, 2], "b": [2, 2]}), entry=1)
    result = analysed(first, second)
    assert one(result.findings, "rating_difference").unit == "comparison"
    assert one(result.findings, "rating_difference", variant="quality").unit == "quality"
    assert len(set(keys(result.findings))) == len(result.findings)
    assert {f.quantity for f in result.findings} <= Grading.quantities


def test_listeners_who_all_give_the_same_have_no_interval_of_no_width() -> None:
    found = one(analysed(graded("comparison", compared({n: [1] for n in "abcdef"}))).findings, "rating_difference")
    assert (found.value, found.low, found.high, found.p_value) == (1.0, None, None, 2 / 64)
    assert any("no width" in caveat for caveat in found.caveats)


def test_trials_that_say_nothing_are_left_out_and_told() -> None:
    rows = [
        *compared({"a": [1, 2, 1]}),
        {"listener": "a", "trial": "s", "first": "in", "second": "in", "rating": "3"},
        {"listener": "a", "trial": "e", "first": "out", "second": "in", "rating": None},
    ]
    found = one(analysed(graded("comparison", rows)).findings, "rating_difference")
    assert found.value == pytest.approx(4 / 3, rel=1e-12)
    assert any("1 trial that set a condition against itself" in caveat for caveat in found.caveats)
    assert any("1 trial without a valid rating" in caveat for caveat in found.caveats)


def test_a_sheet_of_the_reference_alone_is_refused() -> None:
    result = analysed(graded("quality", rated({"a": {"out": [90]}})))
    assert result.findings == ()
    assert "no condition but the reference" in result.refusals[0].why


def test_the_order_of_rows_changes_nothing_and_all_is_drawn() -> None:
    made = rated(quality(4))
    here = analysed(graded("quality", made))
    random.Random(5).shuffle(made)
    assert analysed(graded("quality", made)).findings == here.findings
    listeners, programmes = here.charts
    assert list(listeners.data["listener"])[-1] == "all listeners"
    assert len(programmes.data["programme"]) == 21
    assert (listeners.form, listeners.rules[0].at) == ("forest", 0.0)
