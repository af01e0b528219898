"""`fairhearing plan`: the numbers in plain words, the folder that it writes, and each refusal with nothing written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from planned_listening import NAMED, TOML, everything, made_session

from fairhearing.cli import main
from fairhearing.manifest import load_session

HEARD = ("--question", "heard", "--effect", "0.7")
INTO = (*HEARD, "--condition", "in", "--listener", "k7", "--listener", "m3")


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What is printed, in one line, so that where lines break does not matter."""
    capsys.readouterr()
    assert main(["plan", *arguments]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    return " ".join(printed.out.split())


def answer(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    capsys.readouterr()
    assert main(["plan", *arguments, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    assert main(["plan", *arguments]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    lines = printed.err.splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("  where: ")
    assert lines[2].startswith("  try:   ")
    return printed.err


def test_without_a_session_the_numbers_are_said_and_nothing_is_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = said(capsys, *HEARD, "--dry-run")
    # 37 and 42: see references E11.0.7_0.8.
    assert "42 trials in all" in text
    assert "(37 is the first number that works; a few more can fail)" in text
    assert "27 or more of 42 are right" in text
    assert "That nobody hears it: “not shown” is not “no difference”." in text
    assert "without --control, “not shown” is weak" in text
    assert everything(tmp_path) == {}


def test_with_five_listeners_and_a_preference_it_says_first_that_no_result_can_show_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = said(capsys, "--question", "preferred", "--effect", "0.75", "--listeners", "5", "--dry-run")
    assert text.startswith(
        "No result can show it: with 5 listeners the smallest p over listeners is 0.0625, even if all are of one mind, "
        "and alpha is 0.05. It takes 6 listeners at least."
    )
    assert "About one person alone: 9 or more of 10 trials the same way (p 0.011 one-sided, 0.021 two-sided" in text
    six = said(capsys, "--question", "preferred", "--effect", "0.75", "--listeners", "6", "--dry-run")
    assert not six.startswith("No result")
    rated = said(capsys, "--question", "better", "--effect", "0.5", "--listeners", "1", "--dry-run")
    assert rated.startswith("No result can show it: with one listener the smallest p over listeners is 1,")


def test_what_does_not_fit_the_minutes_is_said_with_what_would(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, *HEARD, "--listeners", "2", "--minutes", "25", "--dry-run")
    found = answer(capsys, *HEARD, "--listeners", "2", "--minutes", "25", "--dry-run")["schedule"]
    assert not found["fits"]
    n_fit = found["n_that_fit"]
    assert f"What would: --trials {n_fit}" in text
    fits = answer(capsys, *HEARD, "--listeners", "2", "--minutes", "25", "--trials", str(n_fit), "--dry-run")
    assert fits["schedule"]["fits"]
    more = -(-42 // n_fit)
    assert f"or {more} listeners with as many each" in text
    fits = answer(capsys, *HEARD, "--listeners", str(more), "--minutes", "25", "--trials", str(n_fit), "--dry-run")
    assert fits["schedule"]["fits"]
    assert fits["sizes"]["power"] >= 0.8


def test_looks_are_told_with_their_boundaries(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, *HEARD, "--looks", "3", "--dry-run")
    text = said(capsys, *HEARD, "--looks", "3", "--dry-run")
    for look in found["design"]["looks"]:
        assert f"at {look['n_trials']} trials with {look['n_right_needed']} right" in text
    assert found["design"]["spending"] == "obrien-fleming"
    pocock = answer(capsys, *HEARD, "--looks", "3", "--spending", "pocock", "--dry-run")
    assert pocock["design"]["looks"][0]["alpha_spent"] > found["design"]["looks"][0]["alpha_spent"]


def test_equivalence_says_its_margin_and_how_many_may_be_right(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("--question", "equivalent", "--margin", "0.6", "--dry-run")
    found = answer(capsys, *arguments)["sizes"]
    assert f"That no more than 60 % are right: if {found['n_needed']} or fewer of {found['n_total']} are." in said(
        capsys, *arguments
    )


def test_equivalence_of_preferences_and_ratings_is_told_over_listeners(capsys: pytest.CaptureFixture[str]) -> None:
    preferred = ("--question", "equivalent", "--method", "paired-preference", "--margin", "0.65", "--dry-run")
    assert "That neither is preferred in more than 65 % of trials. If nothing is there" in said(capsys, *preferred)
    rated = ("--question", "equivalent", "--method", "grading", "--margin", "0.5", "--dry-run")
    assert "That ratings differ by no more than 0.5 steps either way. If nothing is there" in said(capsys, *rated)
    assert said(capsys, *rated, "--listeners", "1").startswith(
        "No result can show it: with one listener nothing tells how far people differ. It takes 2 listeners at least."
    )


def test_too_few_trials_are_said_to_show_nothing_first_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, *HEARD, "--trials", "4", "--dry-run").startswith(
        "No result can show it: no number right of 4 trials is rare enough by guessing at alpha 0.05. It takes 42 "
        "trials to rely on it."
    )


def test_the_plan_is_written_sealed_and_the_missing_keys_are_asked_for(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    made_session(tmp_path)
    text = said(capsys, str(tmp_path), *INTO, "--seat", "A", "--programme", "organ", "--control", "bass 6 dB up")
    (tmp_path / "session.toml").write_text(NAMED, encoding="utf-8")
    plan = load_session(tmp_path).session.listening.plan  # type: ignore[union-attr]
    assert plan is not None
    assert (plan.n_trials, plan.listeners, plan.seats, plan.programmes) == (21, ("k7", "m3"), ("A",), ("organ",))
    assert (plan.n_practice, plan.n_sham, plan.n_control, plan.control) == (4, 4, 5, "bass 6 dB up")
    assert " ".join(plan.commitment[start : start + 8] for start in range(0, 64, 8)) in text
    assert 'plan = "listening"' in text
    assert "gap_equal = … # true or false: the same pause each time" in text
    assert "switching = " not in text.partition("[listening]")[2]  # the session says it
    assert "NIOSH" in text


def test_a_control_that_nobody_could_pass_by_guessing_is_planned(capsys: pytest.CaptureFixture[str]) -> None:
    # All five right by guessing: 1/32 = 0.031; three of a triangle: 1/27 = 0.037.
    for method, n_control in (("abx", 5), ("triangle", 3)):
        found = answer(capsys, *HEARD, "--method", method, "--control", "bass 6 dB up", "--dry-run")
        assert found["design"]["n_control"] == n_control


def test_a_dry_run_in_a_session_uses_its_conditions_and_criteria(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    made_session(tmp_path, TOML + "[criteria]\nalpha = 0.01\n")
    before = everything(tmp_path)
    found = answer(capsys, str(tmp_path), *HEARD, "--condition", "half", "--dry-run")
    assert (found["design"]["alpha"], found["design"]["conditions"]) == (0.01, ["out", "half"])
    assert found["written"] is None
    assert everything(tmp_path) == before


def test_gradings_of_several_conditions_are_planned_in_whole_rounds(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    made_session(tmp_path)
    options = ("--question", "better", "--scale", "quality", "--effect", "10", "--listeners", "6", "--trials", "8")
    design = answer(capsys, str(tmp_path), *options)["design"]
    assert design["conditions"] == ["out", "in", "half"]
    assert (design["n_trials"], design["n_practice"], design["n_sham"]) == (9, 6, 6)


FAULTY: list[tuple[tuple[str, ...], str, str]] = [
    (("--question", "herd"), "--question 'herd' is not a known word", "did you mean 'heard'?"),
    (("--question", "heard"), "nothing says which effect is the smallest worth finding", "--effect 0.7"),
    ((*HEARD, "--method", "abz"), "--method 'abz' is not a known word", "did you mean 'abx'?"),
    ((*HEARD, "--method", "grading"), "--method grading does not answer --question heard", "abx"),
    (("--question", "heard", "--effect", "0.5"), "--effect 0.5 is not between 0.5 and 1", ""),
    (("--question", "heard", "--effect", "70"), "--effect 70 is not between 0.5 and 1", ""),
    (("--question", "heard", "--effect", "0,7"), "--effect '0,7' is not a number", "write it with a point"),
    (("--question", "heard", "--effect", "nan"), "--effect nan is out of range", ""),
    (("--question", "preferred", "--effect", "1"), "--effect 1 is not between 0.5 and 1", ""),
    (("--question", "better", "--effect", "7"), "--effect 7 is not between 0 and 6", ""),
    (("--question", "better", "--effect", "1", "--scale", "impairment"), "impairment can only say worse", "comparison"),
    ((*HEARD, "--scale", "quality"), "--scale belongs to grading", ""),
    ((*HEARD, "--alpha", "0.6"), "--alpha 0.6 is out of range", ""),
    ((*HEARD, "--power", "1"), "--power 1 is out of range", ""),
    ((*HEARD, "--margin", "0.6"), "--margin does not belong to --question heard", ""),
    (("--question", "equivalent"), "--question equivalent has no margin", "--margin 0.6"),
    (("--question", "equivalent", "--margin", "0.5"), "--margin 0.5 is not between 0.5 and 1", ""),
    (("--question", "equivalent", "--margin", "1"), "--margin 1 is not between 0.5 and 1", ""),
    (("--question", "equivalent", "--method", "grading", "--margin", "6"), "--margin 6 is not between 0 and 6", ""),
    (("--question", "equivalent", "--method", "same-different"), "--method same-different does not answer", "triangle"),
    ((*HEARD, "--listeners", "0"), "--listeners 0 is out of range", "from 1 to 500"),
    ((*HEARD, "--listeners", "two"), "--listeners 'two' is not a whole number", ""),
    ((*HEARD, "--listeners", "2", "--listener", "k7"), "--listeners and --listener both say who listens", ""),
    ((*HEARD, "--listener", "../k7"), "--listener '../k7' is no id", ""),
    ((*HEARD, "--listener", "k7", "--listener", "K7"), "--listener 'K7' is said twice", ""),
    ((*HEARD, "--programme", "a b"), "--programme 'a b' is no id", ""),
    ((*HEARD, "--looks", "0"), "--looks 0 is out of range", ""),
    ((*HEARD, "--looks", "2", "--method", "same-different"), "--looks belongs to counts of right answers", ""),
    ((*HEARD, "--spending", "pocok"), "--spending 'pocok' is not a known word", "did you mean 'pocock'?"),
    ((*HEARD, "--control", " "), "--control is empty", ""),
    ((*HEARD, "--trials", "3000"), "--trials 3000 is out of range", ""),
    ((*HEARD, "--minutes", "-5"), "--minutes -5 is out of range", ""),
]


@pytest.mark.parametrize(("arguments", "what", "try_"), FAULTY, ids=[" ".join(one) for one, _, _ in FAULTY])
def test_a_faulty_option_is_refused_in_three_lines(
    arguments: tuple[str, ...], what: str, try_: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = refused(capsys, *arguments, "--dry-run")
    assert what in words.splitlines()[0]
    assert try_ in words.splitlines()[2]


IN_SESSION: list[tuple[tuple[str, ...], str]] = [
    (HEARD, "abx sets one condition against the reference, and there are in, half"),
    ((*HEARD, "--condition", "inn"), "--condition 'inn' names no condition"),
    ((*HEARD, "--condition", "out"), "--condition 'out' names no condition"),
    ((*INTO, "--seat", "C"), "--seat 'C' names no seat"),
    ((*INTO, "--alpha", "0.1"), "--alpha is 0.1, and the criteria, by which the session is judged, say 0.05"),
    ((*HEARD, "--condition", "in"), "nobody said who listens"),
    ((*INTO, "--minutes", "12"), "do not fit into 12"),
]


@pytest.mark.parametrize(("arguments", "what"), IN_SESSION, ids=[what for _, what in IN_SESSION])
def test_what_the_session_cannot_have_is_refused_and_nothing_is_written(
    arguments: tuple[str, ...], what: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    made_session(tmp_path)
    before = everything(tmp_path)
    assert what in refused(capsys, str(tmp_path), *arguments)
    assert everything(tmp_path) == before


def test_a_plan_without_a_session_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert "no session is named" in refused(capsys, *HEARD, "--listeners", "1")


def test_a_folder_that_is_no_session_or_at_fault_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "there is no session.toml in" in refused(capsys, str(tmp_path), *INTO)
    assert "there is no session.toml in" in refused(capsys, str(tmp_path / "nowhere"), *INTO)
    (tmp_path / "session.toml").write_text(TOML + "[criteria]\nalfa = 0.1\n", encoding="utf-8")
    assert "unknown key 'alfa'" in refused(capsys, str(tmp_path), *INTO)
    assert list(everything(tmp_path)) == ["session.toml"]


def test_a_second_plan_is_refused_and_the_first_stays(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    made_session(tmp_path)
    said(capsys, str(tmp_path), *INTO)
    before = everything(tmp_path)
    assert "a plan is never written over" in refused(capsys, str(tmp_path), *INTO)
    assert everything(tmp_path) == before


def test_a_condition_called_control_would_be_read_as_the_control(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    made_session(tmp_path, TOML.replace("[conditions.half]", "[conditions.control]"))
    words = refused(capsys, str(tmp_path), *INTO, "--control", "bass 6 dB up")
    assert "a condition is called 'control'" in words
