"""Tests of fairhearing_builtins.reporters.answer and .reasons: which sentences, and what they say."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from markupsafe import Markup

from fairhearing.api import AnalyserResult, Finding, Refusal, ReportInputs, Result
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.answer import Verdict, compose, has_listening, verdict_on, without_listening_words
from fairhearing_builtins.reporters.identity import Stated, stated_findings
from fairhearing_builtins.reporters.reasons import Reasons, reasons, standing

from .build_report import HALL, hall, measured, session, study

HALL_SESSION = session(HALL, setting_kohm=47.0, question="Does it help?")


def plain(text: Markup | None) -> str:
    return re.sub(r"<[^>]*>", "", str(text or "")).replace("\u202f", " ").replace("\u00a0", " ")


def stated(*findings: Finding) -> tuple[Stated, ...]:
    result = AnalyserResult(session=HALL, room="r", analyser="a", version="1", result=Result(findings=findings))
    return stated_findings(ReportInputs(sessions=(), results=(result,)))


def answer(*findings: Finding) -> Verdict:
    found = stated(*findings)
    return verdict_on(found, HALL_SESSION, "in", has_listening(found))


def sentences(*findings: Finding) -> list[str]:
    return [plain(sentence) for sentence in answer(*findings).sentences]


def lists(*findings: Finding, **result: object) -> Reasons:
    found = stated(*findings)
    one = AnalyserResult(session=HALL, room="", analyser="a", version="1", **result)  # type: ignore[arg-type]
    return reasons(found, (), HALL_SESSION, (one,), (), (), has_listening(found))


def balance(verdict: str, method: str = "parts") -> Finding:
    return measured("balance", None, None, "", verdict=verdict, method=method)


@pytest.mark.parametrize(
    ("verdict", "start"),
    [
        ("gain", "Filter in is a gain over Filter out: every requirement"),
        ("no-gain", "Filter in is no gain over Filter out"),
        ("mixed", "Filter in against Filter out is a mixed case"),
        ("undecided", "It is undecided whether Filter in is a gain over Filter out"),
    ],
)
def test_the_headline_says_the_verdict_with_the_labels_of_the_conditions(verdict: str, start: str) -> None:
    assert plain(answer(balance(verdict)).headline).startswith(start)


def test_no_gain_says_whether_a_requirement_or_the_benefits_failed() -> None:
    ratio = measured("corner_ratio", 0.2, 0.01, "1", verdict="mis-set", playing="main")
    assert plain(answer(balance("no-gain")).headline).endswith("none of the benefits looked for was shown.")
    assert plain(answer(balance("no-gain"), ratio).headline).endswith("a requirement is not met.")
    other = replace(ratio, condition="another")
    assert plain(answer(balance("no-gain"), other).headline).endswith("none of the benefits looked for was shown.")


def test_without_a_balance_the_headline_says_so() -> None:
    assert plain(answer().headline) == words.NO_BALANCE
    assert answer().verdict is None
    assert answer(balance("no such verdict")).verdict is None


def test_the_whole_answer_of_the_hall_in_order() -> None:
    found = stated_findings(hall())
    said = [plain(one) for one in verdict_on(found, hall().sessions[0], "in", True).sentences]
    assert said == [
        "The filter sits where it was meant to: its corner was measured at 89.1 Hz (86.8 to 91.4), meant was 90.0 Hz; "
        "it is 0.990 (0.964 to 1.016) times the corner that was meant, or −0.01 octaves; it falls off as a first-order "
        "filter does, order 1.02 (0.96 to 1.08).",
        "The bass moves away from the target at seat C, by +1.10 dB (+0.70 to +1.50); on the mean over the seats it "
        "comes closer: its deviation changes by −1.40 dB (−1.90 to −0.90); it comes closer at A and B.",
        "Mids and highs are left alone: the band that changes most changes by −0.12 dB (−0.32 to +0.08).",
        "The levels are matched: they differ by +0.01 dB (−0.04 to +0.06).",
        "Listeners heard a difference: 69 % (61 to 77) of 128 answers were right, p = 0.00001.",
        "Listeners preferred Filter in: it won 68 % (54 to 81) of the choices, mean over 8 listeners, p = 0.031.",
    ]


def test_a_filter_set_wrong_is_said_with_ratio_and_octaves() -> None:
    found = stated_findings(study())
    first = plain(verdict_on(found, study().sessions[0], "in", False).sentences[0])
    assert "does not sit where it was meant to" in first
    assert "0.202 (0.197 to 0.207) times" in first
    assert "−2.31 octaves" in first


def test_a_filter_that_is_not_there_is_said_with_what_was_meant() -> None:
    missing = (
        measured("corner_ratio", None, None, "1", verdict="mis-set", caveats=("no filter",)),
        measured("filter_order", None, None, "1", verdict="no-filter", caveats=("no loss",)),
        measured("expected_corner_frequency", 90.0, None, "Hz"),
    )
    (said,) = sentences(*missing)
    assert said.startswith("No filter was found, where a corner of 90.0 Hz was meant; ")
    assert "turn the boost down before this state is played" in said


def test_a_corner_that_is_too_high_warns_of_no_boost() -> None:
    high = (
        measured("corner_ratio", 1.9, 0.1, "1", verdict="mis-set"),
        measured("corner_ratio", 0.93, 0.08, "oct", verdict="mis-set", variant="octaves"),
        measured("corner_frequency", 171.0, 9.0, "Hz"),
    )
    (said,) = sentences(*high)
    assert "does not sit where it was meant to" in said
    assert "boost" not in said


def test_a_corner_without_expectation_is_said_alone() -> None:
    assert sentences(measured("corner_frequency", 89.1, None, "Hz")) == [
        "The corner of the filter was measured at 89.1 Hz."
    ]


def test_only_sentences_whose_findings_exist_are_said() -> None:
    assert sentences() == []
    assert len(sentences(measured("level_difference", 0.0, 0.05, "dB", verdict="matched"))) == 1


def test_a_worse_seat_is_said_even_without_a_finding_over_seats() -> None:
    (said,) = sentences(measured("target_deviation_change", 1.1, 0.4, "dB", seat="C", verdict="worse"))
    assert said == "The bass moves away from the target at seat C, by +1.10 dB (+0.70 to +1.50)."


CHANGE = "target_deviation_change"
SEATS_ALONE = (
    measured(CHANGE, -0.6, 0.4, "dB", verdict="undecided"),
    measured(CHANGE, 0.7, 0.5, "dB", seat="A", verdict="worse"),
    measured(CHANGE, 1.9, 0.5, "dB", seat="C", verdict="worse"),
    measured(CHANGE, -3.0, 0.5, "dB", seat="B", verdict="improved"),
)


def seat_audits(**verdicts: str) -> list[Finding]:
    values = {"A": 0.7, "B": -3.0, "C": 1.9}
    return [measured("seat_audit", values[s], 0.8, "dB", seat=s, verdict=v) for s, v in verdicts.items()]


def test_seats_that_lose_are_named_first_the_one_that_loses_most_before_all() -> None:
    (said,) = sentences(*SEATS_ALONE, *seat_audits(A="worse", B="improved", C="worse"))
    assert said.startswith(
        "The bass moves away from the target at seat C, by +1.90 dB (+1.10 to +2.70) and seat A, by +0.70 dB "
    )
    assert said.endswith("it comes closer at B.")


def test_a_seat_that_loses_only_by_itself_is_said_to_be_so_perhaps_by_chance() -> None:
    (said,) = sentences(*SEATS_ALONE, *seat_audits(A="undecided", B="improved", C="worse"))
    assert said.startswith("The bass moves away from the target at seat C, by +1.90 dB (+1.10 to +2.70); on the mean")
    assert "that it moves away at seat A, by +0.70 dB (+0.20 to +1.20) may be chance, as several seats" in said
    (said,) = sentences(*SEATS_ALONE[:2], *seat_audits(A="undecided", B="improved", C="undecided"))
    assert said.startswith("On the mean over the seats the bass comes closer to the target")
    assert "may be chance" in said


def test_a_place_that_counts_nothing_is_no_loser_where_the_seats_were_looked_at_together() -> None:
    beside = measured(CHANGE, 2.5, 0.5, "dB", seat="A2", verdict="worse")
    told = (*SEATS_ALONE, beside, *seat_audits(A="worse", B="improved", C="worse"))
    (said,) = sentences(*told)
    assert "A2" not in said
    assert not any("A2" in plain(one) for one in lists(*told).speaks_against)
    assert "seat A2" in sentences(*SEATS_ALONE, beside)[0]


def test_without_an_audit_each_seat_that_is_worse_by_itself_is_named() -> None:
    (said,) = sentences(*SEATS_ALONE)
    assert said.startswith("The bass moves away from the target at seat C, by +1.90 dB (+1.40 to +2.40) and seat A")
    assert "chance" not in said


def test_a_seat_that_loses_stands_once_in_the_lists_and_the_others_not_at_all() -> None:
    worst = measured("worst_seat_change", 1.9, 0.8, "dB", verdict="worse")
    made = lists(*SEATS_ALONE, *seat_audits(A="undecided", B="improved", C="worse"), worst)
    assert [plain(one).split(":")[0] for one in made.speaks_against] == [
        "Change at a seat, all seats looked at together, seat C",
        "Change of the bass deviation from the target, seat A",
        "Change at the seat that fares worst",
    ]
    assert made.speaks_for == ()


def test_a_finding_of_one_seat_never_stands_for_all() -> None:
    assert sentences(measured("guard_band_change", 0.2, 0.1, "dB", seat="A", verdict="untouched")) == []


def test_the_only_programme_stands_for_all_but_not_one_of_two() -> None:
    organ = measured("subsonic_level_change", -3.0, 0.5, "dB", verdict="relief", programme="organ")
    choir = measured("subsonic_level_change", -2.0, 0.5, "dB", verdict="relief", programme="choir")
    assert len(sentences(organ)) == 1
    assert sentences(organ, choir) == []


def test_undecided_bass_says_what_could_have_been_shown() -> None:
    (said,) = sentences(
        measured("target_deviation_change", -0.4, 0.9, "dB", verdict="undecided"),
        measured("smallest_detectable_change", 0.87, None, "dB", of="target_deviation_change"),
    )
    assert "undecided" in said
    assert said.endswith("the smallest change that could have been shown is 0.87 dB.")


@pytest.mark.parametrize("quantity", ["proportion_correct", "preference_share", "rating_difference"])
def test_not_shown_is_never_said_as_no_difference(quantity: str) -> None:
    (said,) = sentences(measured(quantity, 0.52, 0.1, "1", verdict="not-shown", p_value=0.4, point=None, playing=None))
    assert "not shown" in said
    assert "not the same as no" in said


@pytest.mark.parametrize("quantity", ["proportion_correct", "preference_share", "rating_difference"])
def test_not_attributable_says_why(quantity: str) -> None:
    (said,) = sentences(measured(quantity, 0.8, 0.1, "1", verdict="not-attributable", p_value=0.001))
    assert "cannot be put down to the change" in said
    assert "not shown to be matched" in said


def test_what_all_plays_stands_for_what_is_known_of_the_room() -> None:
    main = measured("guard_band_change", 0.3, 0.1, "dB", verdict="untouched", playing="main")
    all_of_it = measured("guard_band_change", 0.2, 0.1, "dB", verdict="untouched", playing="both")
    assert "+0.20 dB" in sentences(main, all_of_it)[0]


def test_no_more_than_six_sentences_are_said() -> None:
    relief = measured("subsonic_level_change", -3.0, 0.5, "dB", verdict="relief")
    found = (*(one.finding for one in stated_findings(hall()) if one.finding.value is not None), relief)
    assert len(sentences(*found)) == 6
    assert sentences(relief) == ["The amplifier is spared subsonic energy: it changes by −3.00 dB (−3.50 to −2.50)."]


def test_each_verdict_of_the_contract_stands_somewhere_and_unknown_ones_decide_nothing() -> None:
    assert {
        standing(one) for one in ("as-set", "untouched", "matched", "improved", "preferred", "better", "relief")
    } == {"for"}
    assert {standing(one) for one in ("mis-set", "touched", "unmatched", "worse", "not-preferred", "no-filter")} == {
        "against"
    }
    assert {standing(one) for one in ("undecided", "not-shown", "not-attributable")} == {"open"}
    assert {standing(one) for one in ("unchanged", "heard", "no-relief", "never seen before")} == {"neither"}


def test_the_lists_hold_headlines_and_the_seats_that_speak_against() -> None:
    change = "target_deviation_change"
    made = lists(
        measured(change, -1.0, 0.2, "dB", verdict="improved"),
        measured(change, -2.0, 0.2, "dB", seat="A", verdict="improved"),
        measured(change, 1.0, 0.2, "dB", seat="C", verdict="worse"),
        measured(change, 1.0, 0.2, "dB", variant="shape", verdict="worse"),
        measured("proportion_correct", 0.9, 0.1, "1", listener="L01", verdict="heard"),
    )
    assert [plain(one) for one in made.speaks_for] == [
        "Change of the bass deviation from the target: improved, −1.00 dB (−1.20 to −0.80)"
    ]
    assert [plain(one) for one in made.speaks_against] == [
        "Change of the bass deviation from the target, seat C: worse, +1.00 dB (+0.80 to +1.20)"
    ]
    assert made.neither == ()


def test_refusals_caveats_and_failures_are_doubts() -> None:
    finding = measured("level_difference", 0.0, 0.05, "dB", verdict="matched", caveats=("two repeats only",))
    refusal = Refusal(what="corner", why="no response below 40 Hz", try_="measure lower")
    made = lists(finding, result=Result(refusals=(refusal,)), problem="it fell over")
    said = {doubt.title: [plain(line) for line in doubt.lines] for doubt in made.doubts}
    assert said == {
        words.REFUSED: ["corner: no response below 40 Hz; to try: measure lower"],
        words.CAVEATS: ["two repeats only (Level difference)"],
        words.PROBLEMS: ["The analyser a failed: it fell over"],
    }


def test_what_was_not_done_for_one_reason_is_told_in_one_line() -> None:
    reason = {"why": "the session has no score sheets", "try_": "add them"}
    refusals = (
        Refusal(what="no findings of worth", **reason),
        Refusal(what="no findings of grading", **reason),
        Refusal(what="no findings of drift", why="no closing take", try_="add them"),
        Refusal(what="the rest", **reason),
    )
    (doubt,) = lists(measured("level_difference", 0.0, 0.05, "dB"), result=Result(refusals=refusals)).doubts
    assert [plain(line) for line in doubt.lines] == [
        "no findings of worth, grading, the rest: the session has no score sheets; to try: add them",
        "no findings of drift: no closing take; to try: add them",
    ]


def test_a_caveat_of_several_findings_is_said_once() -> None:
    one = measured("level_difference", 0.0, 0.05, "dB", verdict="matched", caveats=("two repeats only",))
    other = replace(one, quantity="guard_band_change", verdict="untouched")
    (doubt,) = lists(one, other).doubts
    assert [plain(line) for line in doubt.lines] == [
        "two repeats only (Largest change in mids and highs, Level difference)"
    ]


@pytest.mark.parametrize("word", words.LISTENING_WORDS)
def test_where_nobody_listened_quoted_clauses_about_it_are_left_out(word: str) -> None:
    text = f"improved: shown; {word.upper()}: undecided (no sheet), or so."
    assert without_listening_words(text, listening=False) == "improved: shown; […] or so."
    assert without_listening_words(text, listening=True) == text
    assert word not in without_listening_words(f"it is {word}", listening=False)


def test_a_clause_without_its_number_is_left_out() -> None:
    clauses = ("It is {a}", ", or {b}", ", and {c}")
    assert compose(clauses, {"a": Markup("1"), "b": None, "c": Markup("3")}) == "It is 1, and 3"
    assert compose(clauses, {"b": Markup("2")}) is None


def test_labels_are_escaped_before_they_stand_in_a_sentence() -> None:
    conditions = tuple(replace(one, label=f"<b>{one.id}</b>") for one in HALL_SESSION.conditions)
    hostile = replace(HALL_SESSION, conditions=conditions)
    headline = verdict_on(stated(balance("gain")), hostile, "in", False).headline
    assert "<b>" not in headline
    assert "&lt;b&gt;in&lt;/b&gt;" in headline


def test_no_sentence_of_ours_holds_a_digit() -> None:
    said: list[str] = []
    for name, value in vars(words).items():
        if name.startswith("_") or not name.isupper() or name in ("COLUMNS", "CAUTIONS", "REQUIREMENTS"):
            continue
        for one in value.values() if isinstance(value, dict) else [value]:
            said += [one] if isinstance(one, str) else [text for text in one if isinstance(text, str)]
    assert len(said) > 150
    assert [text for text in said if re.search(r"\d", text.replace("\u00a0", ""))] == []
