"""Tests of what the answer says of a planned listening: what was shown, what was not, what could not have been."""

from __future__ import annotations

import re

import pytest

from fairhearing.api import AnalyserResult, Finding, ReportInputs, Result
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.answer import has_listening, verdict_on
from fairhearing_builtins.reporters.identity import stated_findings
from fairhearing_builtins.reporters.numbers import is_share
from fairhearing_builtins.reporters.reasons import decided, reasons

from .build_report import HALL, measured, session

HALL_SESSION = session(HALL, setting_kohm=47.0, question="Does it help?")
NEW = (
    "control_correct", "sham_difference_share", "sham_correct_share", "answered_share", "second_half_change",
    "equivalence", "detectable_share", "guess_share",
)  # fmt: skip


def result_of(*findings: Finding) -> AnalyserResult:
    return AnalyserResult(session=HALL, room="r", analyser="a", version="1", result=Result(findings=findings))


def sentence(*findings: Finding) -> str:
    stated = stated_findings(ReportInputs(sessions=(), results=(result_of(*findings),)))
    (one,) = verdict_on(stated, HALL_SESSION, "in", has_listening(stated)).sentences
    return re.sub(r"<[^>]*>", "", str(one)).replace("\u202f", " ").replace("\u00a0", " ")


def right(verdict: str, value: float = 0.55, **more: object) -> Finding:
    return measured("proportion_correct", value, 0.1, "1", verdict=verdict, n=60, p_value=0.26, **more)


def control(verdict: str, value: float = 0.95) -> Finding:
    return measured("control_correct", value, 0.04, "1", verdict=verdict, n=24)


SMALLEST = measured("detectable_share", 0.66, None, "1", of="proportion_correct")


def margin(verdict: str, of: str = "proportion_correct") -> Finding:
    return measured("equivalence", 0.5, 0.05, "1", verdict=verdict, of=of)


def test_what_was_not_shown_comes_with_what_would_have_been() -> None:
    told = sentence(right("not-shown"), control("passed"), SMALLEST)
    assert "That listeners heard a difference was not shown: 55 % (45 to 65) of 60 answers were right" in told
    assert "; these listeners did tell the positive control apart, 95 % (91 to 99) of the time" in told
    assert told.endswith("; so many trials would most likely have shown 66 % right, and less they may have missed.")


@pytest.mark.parametrize(
    ("more", "words_told"),
    [
        ((), "there was no positive control, so it is not known whether these listeners could have heard a difference"),
        ((control("not-passed", 0.5),), "the positive control was not told apart either, so this says little"),
    ],
)
def test_without_a_control_that_was_passed_it_says_so(more: tuple[Finding, ...], words_told: str) -> None:
    assert words_told in sentence(right("not-shown"), *more)


@pytest.mark.parametrize(
    ("verdict", "told"),
    [("equivalent", "; it was shown to lie within the margin"), ("not-shown", "; nor was it shown to lie within")],
)
def test_the_margin_of_the_same_quantity_is_told(verdict: str, told: str) -> None:
    assert told in sentence(right("not-shown"), margin(verdict))
    assert "the margin" not in sentence(right("not-shown"), margin(verdict, "preference_share"))


def test_what_was_heard_needs_nothing_beside_it() -> None:
    told = sentence(right("heard", 0.8), control("passed"), SMALLEST, margin("not-shown"))
    assert told == "Listeners heard a difference: 80 % (70 to 90) of 60 answers were right, p = 0.260."


@pytest.mark.parametrize(
    ("verdict", "start"),
    [
        ("heard", "Listeners heard a difference: the boundary of a planned look was crossed after 60 trials, 70 % "),
        (
            "not-shown",
            "That listeners heard a difference was not shown: no boundary of a planned look was crossed in 60 ",
        ),
        (
            "not-attributable",
            "Listeners told the conditions apart: the boundary of a planned look was crossed after 60 ",
        ),
    ],
)
def test_with_looks_it_is_the_result_by_the_looks_that_is_told(verdict: str, start: str) -> None:
    assert sentence(right("heard", 0.9), right(verdict, 0.7, variant="sequential")).startswith(start)


@pytest.mark.parametrize(("quantity", "unit"), [("preference_share", "1"), ("rating_difference", "comparison")])
def test_what_no_result_could_have_shown_is_told_in_the_sentence(quantity: str, unit: str) -> None:
    few = ("3 listeners: no result could have shown it (the smallest possible p is 0.25)",)
    said = {"verdict": "not-shown", "n": 3, "p_value": 0.25}
    told = sentence(measured(quantity, 0.7, 0.2, unit, caveats=few, **said))
    assert told.endswith("; with so few listeners no result could have shown it.")
    assert "so few" not in sentence(measured(quantity, 0.7, 0.2, unit, **said))


def test_too_few_trials_for_anything_to_be_shown_are_told_in_the_sentence() -> None:
    nothing = measured("detectable_share", None, None, "1", of="proportion_correct", n=3, caveats=("too few trials",))
    told = sentence(right("not-shown"), nothing)
    assert told.endswith("; so few trials could not have shown it even if every answer had been right.")
    assert "so few" not in sentence(right("heard"), nothing)


@pytest.mark.parametrize("quantity", ["preference_share", "proportion_correct"])
def test_one_listener_is_told_and_is_no_mean_over_listeners(quantity: str) -> None:
    alone = ("one listener: this is about that person only",)
    told = sentence(measured(quantity, 0.9, 0.1, "1", verdict="not-shown", n=1, p_value=0.1, caveats=alone))
    assert told.endswith("; there was one listener, and it is about that person alone.")
    assert "mean over" not in told


def test_what_the_lists_weigh_is_the_result_by_the_looks() -> None:
    result = result_of(
        right("not-shown", 0.6),
        right("heard", 0.7, variant="sequential"),
        right("heard", 0.8, variant="beta-binomial"),
        right("not-shown", 0.5, seat="A"),
    )
    stated = stated_findings(ReportInputs(sessions=(), results=(result,)))
    (shown,) = decided(stated)
    assert (shown.finding.value, shown.finding.variant) == (0.7, "sequential")


def test_preferences_and_ratings_that_show_nothing_name_the_control_too() -> None:
    for quantity, unit in (("preference_share", "1"), ("rating_difference", "comparison")):
        told = sentence(measured(quantity, 0.5, 0.1, unit, verdict="not-shown", n=6, p_value=0.4), control("passed"))
        assert "tell the positive control apart" in told


def test_every_new_quantity_has_words_and_is_of_listeners() -> None:
    assert set(NEW) <= set(words.QUANTITIES)
    assert set(NEW) <= words.LISTENING_QUANTITIES
    assert is_share(control("passed"))
    assert is_share(margin("equivalent"))
    assert not is_share(measured("equivalence", 0.2, 0.1, "comparison", verdict="equivalent"))


def test_a_control_that_was_not_passed_is_open_and_one_that_was_decides_nothing() -> None:
    for verdict, place in (("passed", "neither"), ("not-passed", "doubts")):
        result = result_of(control(verdict))
        stated = stated_findings(ReportInputs(sessions=(), results=(result,)))
        found = reasons(stated, (), HALL_SESSION, (result,), (), (), True)
        assert "Positive control told apart" in str(getattr(found, place))
