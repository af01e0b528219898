"""Checks of results by programme and by seat, and of what is said where nothing was shown and no control was passed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fairhearing.api import Finding, Sheet
from fairhearing_builtins.analysers.forced_choice import ForcedChoice
from fairhearing_builtins.analysers.grading import Grading
from fairhearing_builtins.analysers.preference import Preference

from .build_inputs import Row, abx_rows, finding, inputs, matched, only, preference_rows, session, sheet

AT_BOTH = (matched(), matched(seat="A"), matched(seat="B"))


def of(rows: list[Row], **cells: str) -> list[Row]:
    name = "-".join(cells.values())
    return [{**row, "trial": f"{name}{row['trial']}", **cells} for row in rows]


def choices(*sheets: Sheet, findings: tuple[Finding, ...] = AT_BOTH) -> tuple[Finding, ...]:
    return ForcedChoice().analyse(inputs(session(), sheets=sheets, findings=findings)).findings


def preferences(rows: list[Row], findings: tuple[Finding, ...] = AT_BOTH) -> tuple[Finding, ...]:
    return (
        Preference().analyse(inputs(session(), sheets=[sheet("paired-preference", rows)], findings=findings)).findings
    )


def test_each_programme_has_its_right_answers_with_a_raw_p() -> None:
    organ, choir = of(abx_rows("a", 10, 0), programme="organ"), of(abx_rows("a", 6, 4), programme="choir")
    found = choices(sheet("abx", [*organ, *choir]))
    told = only(found, "proportion_correct", programme="organ")
    assert (told.value, told.n, told.p_value, told.verdict) == (1.0, 10, 1 / 1024, "heard")
    assert "verdict by Holm over 2 programmes" in told.method
    other = only(found, "proportion_correct", programme="choir")
    assert (other.value, other.p_value, other.verdict) == (0.6, 386 / 1024, "not-shown")
    assert only(found, "proportion_correct", programme=None).value == 0.8


def test_each_seat_has_a_verdict_by_holm_over_the_seats() -> None:
    # By hand: five of five is 1/32, times two above 0.05.
    rows = [*of(abx_rows("a", 5, 0), seat="A"), *of(abx_rows("a", 5, 0), seat="B")]
    found = choices(sheet("abx", rows))
    for seat in "AB":
        own = only(found, "proportion_correct", seat=seat)
        assert (own.p_value, own.verdict) == (1 / 32, "not-shown")
        assert "verdict by Holm over 2 seats" in own.method


def test_a_claim_at_a_seat_needs_the_levels_matched_at_that_seat() -> None:
    rows = [*of(abx_rows("a", 12, 0), seat="A"), *of(abx_rows("a", 12, 0), seat="B")]
    found = choices(sheet("abx", rows), findings=(matched(seat="A"),))
    verdicts = [only(found, "proportion_correct", seat=seat).verdict for seat in "AB"]
    assert verdicts == ["heard", "not-attributable"]


@pytest.mark.parametrize("cells", [{}, {"programme": "organ"}, {"seat": "A"}])
def test_with_one_named_part_or_none_there_is_none_by_part(cells: dict[str, str]) -> None:
    rows = [*of(abx_rows("a", 5, 0), **cells), *abx_rows("a", 5, 0)]
    found = choices(sheet("abx", rows))
    assert [f for f in found if f.programme is not None or f.seat is not None] == []


def test_preferences_have_programmes_and_seats_and_say_that_alpha_is_shared() -> None:
    rows: list[Row] = []
    for name in "abcdef":
        rows += of(preference_rows(name, 3, 1), programme="organ", seat="A")
        rows += of(preference_rows(name, 1, 1), programme="choir", seat="B")
    found = preferences(rows)
    organ = only(found, "preference_share", programme="organ")
    assert (organ.value, organ.p_value, organ.n) == (0.75, 2 / 64, 6)
    assert organ.verdict == "not-shown"  # by Holm 4/64 is above 0.05
    assert any("the smallest possible p is 0.0312, and alpha is for 2 verdicts together" in c for c in organ.caveats)
    assert only(found, "preference_share", seat="B").value == 0.5
    assert only(found, "preference_share", seat=None, programme=None).verdict == "preferred"


def test_ratings_have_seats() -> None:
    rows = [
        {"listener": name, "trial": f"{seat}{n}", "seat": seat, "first": "out", "second": "in", "rating": str(grade)}
        for name, grades in {"a": (1, 3), "b": (2, 2), "c": (0, 1)}.items()
        for seat, grade in zip("AB", grades, strict=True)
        for n in range(2)
    ]
    graded = replace(sheet("grading", rows), scale="comparison")
    result = Grading().analyse(inputs(session(), sheets=[graded], findings=AT_BOTH))
    assert only(result.findings, "rating_difference", seat="A").value == 1.0
    assert only(result.findings, "rating_difference", seat="B").value == 2.0
    assert "verdict by Holm over 2 seats" in only(result.findings, "rating_difference", seat="B").method
    assert only(result.findings, "rating_difference", seat=None).value == 1.5
    assert "ratings-comparison-by-seat-in" in [chart.name for chart in result.charts]


def test_there_is_a_chart_of_the_programmes_and_that_of_listeners_stays_as_it_was() -> None:
    rows = [*of(abx_rows("a", 5, 0), programme="organ"), *of(abx_rows("a", 5, 0), programme="choir")]
    result = ForcedChoice().analyse(inputs(session(), sheets=[sheet("abx", rows)]))
    by_listener, by_programme = result.charts
    assert by_listener.data["listener"] == ["a", "all listeners"]
    assert by_programme.data["programme"] == ["choir", "organ", "all programmes"]


# --- positive controls ------------------------------------------------------------------------------------------------

WEAK = "no positive control was passed"
PASSED = finding("control_correct", "passed", 1.0, unit="1", point=None)
FAILED = finding("control_correct", "not-passed", 0.5, unit="1", point=None)


def says_weak(found: Finding) -> list[str]:
    return [caveat for caveat in found.caveats if caveat.startswith(WEAK)]


@pytest.mark.parametrize(
    ("controls", "told"),
    [
        ((), "none was tried"),
        ((FAILED,), "were not shown to be told apart"),
        ((PASSED,), None),
        ((FAILED, PASSED), None),
    ],
)
def test_what_was_not_shown_is_weak_without_a_control_that_was_passed(
    controls: tuple[Finding, ...], told: str | None
) -> None:
    rated = [{"listener": n, "trial": "1", "first": "out", "second": "in", "rating": r} for n, r in ("a1", "b2")]
    given = inputs(
        session(),
        sheets=[
            sheet("abx", [*abx_rows("a", 5, 5), *abx_rows("b", 5, 5)]),
            sheet("paired-preference", [*preference_rows("a", 2, 2), *preference_rows("b", 2, 2)], entry=1),
            replace(sheet("grading", rated, entry=2), scale="comparison"),
        ],
        findings=(*AT_BOTH, *controls),
    )
    for analyser, quantity in (
        (ForcedChoice(), "proportion_correct"), (Preference(), "preference_share"), (Grading(), "rating_difference"),
    ):  # fmt: skip
        over_all = only(analyser.analyse(given).findings, quantity)
        assert over_all.verdict == "not-shown"
        assert says_weak(over_all) == [] if told is None else told in says_weak(over_all)[0]
        assert says_weak(only(analyser.analyse(given).findings, quantity, listener="a")) == []


def test_what_was_shown_needs_no_control() -> None:
    assert says_weak(only(choices(sheet("abx", abx_rows("a", 12, 0))), "proportion_correct")) == []
    # One listener's control says nothing of all.
    own = replace(PASSED, listener="a")
    assert says_weak(only(choices(sheet("abx", abx_rows("a", 5, 5)), findings=(own,)), "proportion_correct"))
