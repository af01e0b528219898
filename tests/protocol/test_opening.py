"""Unsealing: each thing that is not as planned is named, nothing is dropped, nothing is written before all is sound."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from planned_listening import (
    COMPARED,
    DESIGN,
    GRADED,
    NAMED,
    PAIRED,
    SWITCHING,
    change,
    everything,
    fill,
    hearing,
    key_of,
    made_plan,
    right_answer,
    rows_of,
    write_rows,
)

from fairhearing.errors import Faults, InputProblem
from fairhearing.manifest import load_session
from fairhearing.protocol.design import KeyTrial
from fairhearing.protocol.opening import Opened, unseal

SHEET = "listeners/k7.csv"


def opened(plan: Path, reason: str | None = None) -> Opened:
    session = load_session(plan.parent).session
    assert session is not None
    return unseal(session, plan, reason)


def refusal(plan: Path, reason: str | None = None) -> str:
    """The words of what refuses to open a plan, after nothing was written."""
    before = everything(plan)
    with pytest.raises(InputProblem) as caught:
        opened(plan, reason)
    assert everything(plan) == before
    return str(caught.value)


def table(plan: Path, part: str) -> list[dict[str, str]]:
    with (plan / f"opened/{part}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A plan whose listeners have answered everything."""
    folder = made_plan(tmp_path).folder
    fill(folder, hearing(0.7))
    return folder


def test_every_planned_trial_is_in_one_opened_sheet_with_what_was_played_and_answered(plan: Path) -> None:
    outcome = opened(plan)
    for part, n in (("practice", 4), ("scored", 20), ("sham", 4), ("control", 6)):
        rows = table(plan, part)
        planned = {(one.listener, one.trial): one for one in key_of(plan) if one.part == part}
        assert len(rows) == len(planned) == n
        for row in rows:
            trial = planned[row["listener"], row["trial"]]
            assert row["x"] == trial.cells["x"]
            assert row["answer"] in ("in", "out")
            assert (row["programme"], row["seat"]) == (trial.programme, trial.seat)
            assert (row["block"], row["position_in_session"]) == (str(trial.block), str(trial.position))
            assert (row["played"], row["excluded"]) == ("by default", "")
    assert [(one.listener, one.part, one.n_planned, one.n_answered) for one in outcome.counts] == [
        (listener, part, n, n)
        for listener in ("k7", "m3")
        for part, n in (("practice", 2), ("scored", 10), ("sham", 2), ("control", 3))
    ]


def test_whoever_hears_everything_is_right_in_every_scored_trial(tmp_path: Path) -> None:
    plan = made_plan(tmp_path).folder
    fill(plan, right_answer)
    opened(plan)
    assert all(row["answer"] == row["x"] for part in ("scored", "control") for row in table(plan, part))


def test_opened_json_holds_hashes_counts_and_the_commitment(plan: Path) -> None:
    change(plan / SWITCHING, "4", played="yes", played_at="14:05", note="lorry outside")
    outcome = opened(plan)
    value = json.loads((plan / "opened.json").read_text(encoding="utf-8"))
    assert value["commitment"] == outcome.commitment == json.loads((plan / "seal.json").read_bytes())["commitment"]
    assert value["reason"] is None
    assert value["remarks"] == []
    assert value["listeners"]["m3"]["scored"] == {
        "planned": 10, "played": 10, "played_by_default": 10, "answered": 10, "excluded": 0,
    }  # fmt: skip
    assert value["played_by_default"] == 33
    assert value["operator_notes"] == {"k7/4": "lorry outside"}
    assert value["sheets_sha256"] == {
        path: hashlib.sha256((plan / path).read_bytes()).hexdigest() for path in (SHEET, "listeners/m3.csv", SWITCHING)
    }


def test_a_plan_is_opened_once(plan: Path) -> None:
    opened(plan)
    assert "the plan was unsealed before" in refusal(plan)


@pytest.mark.parametrize(
    ("part", "damage"),
    [
        ("the key was changed after", lambda plan: (plan / "key/sealed-key.json").write_bytes(b"DO NOT OPEN\nAAAA\n")),
        ("the plan was changed after", lambda plan: _edit_json(plan / "plan.json", power=0.9)),
        ("the criteria were changed after", lambda plan: _criteria(plan, "alpha = 0.1")),
        ("the seal is missing", lambda plan: (plan / "seal.json").rename(plan.parent / "seal.txt")),
    ],
)
def test_what_does_not_match_the_seal_is_refused_also_with_a_reason(
    plan: Path, part: str, damage: Callable[[Path], object]
) -> None:
    session = load_session(plan.parent).session
    assert session is not None
    damage(plan)
    now = load_session(plan.parent).session or session  # a plan without its seal is a fault of session.toml as well
    before = everything(plan)
    with pytest.raises(InputProblem, match=part):
        unseal(now, plan, "we want to know")
    assert everything(plan) == before


def _edit_json(path: Path, **values: Any) -> None:
    path.write_text(json.dumps({**json.loads(path.read_bytes()), **values}), encoding="utf-8")


def _criteria(plan: Path, text: str) -> None:
    (plan.parent / "session.toml").write_text(f"{NAMED}[criteria]\n{text}\n", encoding="utf-8")


def test_missing_answers_are_refused_and_told_by_listener(plan: Path) -> None:
    for trial in ("3", "8"):
        change(plan / SHEET, trial, answer="")
    words = refusal(plan)
    assert "listener k7 has no answer to 2 of the planned trials: 3, 8" in words
    assert "--reason TEXT" in words
    assert "m3" not in words


def test_a_practice_trial_may_stay_without_an_answer(plan: Path) -> None:
    change(plan / SHEET, "P1", answer="")
    assert opened(plan).remarks == ()


def test_with_a_reason_it_opens_and_what_is_missing_is_recorded(plan: Path) -> None:
    change(plan / SHEET, "3", answer="")
    outcome = opened(plan, "k7 had to leave")
    value = json.loads((plan / "opened.json").read_bytes())
    assert value["reason"] == outcome.reason == "k7 had to leave"
    assert value["remarks"] == ["listener k7 has no answer to 1 of the planned trials: 3"]
    everyone = [row for part in ("scored", "sham", "control") for row in table(plan, part)]
    assert [row["answer"] for row in everyone if (row["listener"], row["trial"]) == ("k7", "3")] == [""]
    session = load_session(plan.parent).session
    assert session is not None
    assert session.listening.plan is not None
    assert session.listening.plan.opened_early == "k7 had to leave"


def test_a_reason_for_exclusion_is_kept_with_the_answer_and_counts_as_accounted_for(plan: Path) -> None:
    change(plan / SHEET, "3", excluded="telephone rang")
    change(plan / SHEET, "4", answer="", excluded="asked to leave it out")
    outcome = opened(plan)
    assert sum(one.n_excluded for one in outcome.counts if one.listener == "k7") == 2
    rows = {
        row["trial"]: row
        for part in ("scored", "sham", "control")
        for row in table(plan, part)
        if row["listener"] == "k7"
    }
    assert rows["3"]["excluded"] == "telephone rang"
    assert rows["3"]["answer"] != ""
    assert (rows["4"]["answer"], rows["4"]["excluded"]) == ("", "asked to leave it out")


def test_a_trial_that_was_not_played_and_not_answered_is_excluded_with_the_operators_note(plan: Path) -> None:
    change(plan / SWITCHING, "5", played="no", note="power cut")
    change(plan / SHEET, "5", answer="")
    outcome = opened(plan)
    rows = [row for part in ("scored", "sham", "control") for row in table(plan, part)]
    [row] = [row for row in rows if (row["listener"], row["trial"]) == ("k7", "5")]
    assert (row["played"], row["excluded"]) == ("no", "not played: power cut")
    assert sum(one.n_played for one in outcome.counts) == 33


def _add_row(path: Path, **cells: str) -> None:
    first, rows = rows_of(path)
    write_rows(path, first, [*rows, {**rows[-1], **cells}])


def _other_answer(plan: Path) -> None:
    """A second sheet of k7 in which one answer is another."""
    copy = plan / "listeners/k7 (copy).csv"
    shutil.copy(plan / SHEET, copy)
    _, rows = rows_of(copy)
    change(copy, rows[5]["trial"], answer={"A": "B", "B": "A"}[rows[5]["answer"]])


def _other_exclusion(plan: Path) -> None:
    """A second sheet of k7 in which one trial is excluded."""
    copy = plan / "listeners/k7-2.csv"
    shutil.copy(plan / SHEET, copy)
    change(copy, "5", excluded="did not like it")


ZEROS = "# commitment: " + "0" * 64
FAULTS: list[tuple[str, Callable[[Path], object]]] = [
    ("listener 'z9' was not planned\n  where: listeners/z9.csv, line 3", lambda plan: _stranger(plan)),
    ("listener k7 has two sheets that differ: answer of trial 4 is", _other_answer),
    ("excluded of trial 5 is 'did not like it' in listeners/k7-2.csv", lambda plan: _other_exclusion(plan)),
    ("trial P1 is practice, and the sheet says 'listening'", lambda plan: change(plan / SHEET, "P1", part="listening")),
    ("trial 2 is listening, and the sheet says 'practice'", lambda plan: change(plan / SHEET, "2", part="practice")),
    ("listener k7 has no trial '99'", lambda plan: _add_row(plan / SHEET, trial="99")),
    ("trial 15 of listener k7 stands there twice", lambda plan: _add_row(plan / SHEET)),
    ("the answer 'C' is none that abx knows", lambda plan: change(plan / SHEET, "2", answer="C")),
    ("it takes A, B; leave it empty if there is no answer", lambda plan: change(plan / SHEET, "2", answer="in")),
    ("and the sheet says 'opera'", lambda plan: change(plan / SHEET, "2", programme="opera")),
    ("and the sheet says 'balcony'", lambda plan: change(plan / SHEET, "2", seat="balcony")),
    ("there is no sheet of listener 'm3'", lambda plan: (plan / "listeners/m3.csv").unlink()),
    ("answered_at is 'later', which is no time", lambda plan: change(plan / SHEET, "2", answered_at="later")),
    ("played_at is '25:00', which is no time", lambda plan: change(plan / SWITCHING, "2", played_at="25:00")),
    ("played_at is 'perhaps', which is no time", lambda plan: change(plan / SWITCHING, "2", played="perhaps")),
    ("played is 'perhaps'", lambda plan: change(plan / SWITCHING, "2", played="perhaps", played_at="14:05")),
    ("the sheet has no column 'answer'", lambda plan: _rename(plan / SHEET, "answer", "said")),
    ("the sheet has no column 'played'", lambda plan: _rename(plan / SWITCHING, "played", "done")),
    ("the sheet is missing\n  where: operator/switching.csv", lambda plan: (plan / SWITCHING).unlink()),
    ("trial 15 of listener m3 is missing", lambda plan: _drop_last(plan / SWITCHING)),
    ("listener 'q1' was not planned", lambda plan: _add_row(plan / SWITCHING, listener="q1")),
    ("the sheet has no commitment, the seal", lambda plan: _drop_first_line(plan / SHEET)),
    ("the sheet has the commitment 00000000 00000000", lambda plan: _first_line(plan / SHEET, ZEROS)),
    ("the sheet is no CSV", lambda plan: (plan / SHEET).write_bytes(b"PK\x03\x04\0\0")),
]  # fmt: skip


@pytest.mark.parametrize(("words", "damage"), FAULTS, ids=[words.split("\n")[0] for words, _ in FAULTS])
def test_each_fault_of_a_sheet_is_named_and_a_reason_does_not_help(
    plan: Path, words: str, damage: Callable[[Path], object]
) -> None:
    damage(plan)
    assert words in refusal(plan)
    assert words in refusal(plan, "never mind")


def _stranger(plan: Path) -> None:
    first, rows = rows_of(plan / SHEET)
    write_rows(plan / "listeners/z9.csv", first, [{**row, "listener": "z9"} for row in rows])


def _rename(path: Path, column: str, other: str) -> None:
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(f",{column},", f",{other},", 1), encoding="utf-8")


def _drop_last(path: Path) -> None:
    first, rows = rows_of(path)
    write_rows(path, first, rows[:-1])


def _drop_first_line(path: Path) -> None:
    path.write_text(path.read_text(encoding="utf-8").partition("\n")[2], encoding="utf-8")


def _first_line(path: Path, line: str) -> None:
    path.write_text(f"{line}\n{path.read_text(encoding='utf-8').partition(chr(10))[2]}", encoding="utf-8")


def test_a_stranger_is_told_once_and_not_once_for_each_row(plan: Path) -> None:
    _stranger(plan)
    assert refusal(plan).count("was not planned") == 1


def test_all_faults_are_told_at_once(plan: Path) -> None:
    change(plan / SHEET, "2", answer="C")
    change(plan / "listeners/m3.csv", "7", answer="D")
    with pytest.raises(Faults) as caught:
        opened(plan)
    assert [problem.where.split(",")[0] for problem in caught.value.problems] == [SHEET, "listeners/m3.csv"]


BREACHES: list[tuple[str, dict[str, str], dict[str, str]]] = [
    ("listener k7 answered trial 6, which was not played", {"played": "no"}, {}),
    (
        "listener k7 answered trial 6 at 14:05, before it was played at 14:06",
        {"played_at": "14:06"},
        {"answered_at": "14:05"},
    ),
    (
        "listener k7 answered trial 6 at 2026-05-09T23:59:00, before it was played at 2026-05-10T00:01:00",
        {"played": "2026-05-10T00:01:00"},
        {"answered_at": "2026-05-09T23:59:00"},
    ),
]


@pytest.mark.parametrize(("words", "played", "answered"), BREACHES, ids=[words for words, _, _ in BREACHES])
def test_what_went_wrong_in_the_room_is_refused_and_with_a_reason_kept_and_excluded(
    plan: Path, words: str, played: dict[str, str], answered: dict[str, str]
) -> None:
    change(plan / SWITCHING, "6", **played)
    change(plan / SHEET, "6", **answered)
    assert words in refusal(plan)
    outcome = opened(plan, "it happened")
    assert len(outcome.remarks) == 1
    assert words in outcome.remarks[0]
    rows = [row for part in ("scored", "sham", "control") for row in table(plan, part)]
    [row] = [row for row in rows if (row["listener"], row["trial"]) == ("k7", "6")]
    assert row["excluded"] == words
    assert row["answer"] != ""


def test_an_answer_after_the_trial_was_played_is_none_of_these(plan: Path) -> None:
    change(plan / SWITCHING, "6", played="14:06")
    change(plan / SHEET, "6", answered_at="14:06:20")
    opened(plan)
    rows = [row for part in ("scored", "sham", "control") for row in table(plan, part)]
    [row] = [row for row in rows if (row["listener"], row["trial"]) == ("k7", "6")]
    assert (row["played"], row["played_at"], row["answered_at"]) == ("yes", "14:06", "14:06:20")


@pytest.mark.parametrize("delimiter", [";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8-sig", "latin-1"])
def test_sheets_may_come_back_as_another_spreadsheet_saves_them(plan: Path, delimiter: str, encoding: str) -> None:
    for path in (plan / SHEET, plan / SWITCHING):
        first, rows = rows_of(path)
        rows[0]["excluded" if "excluded" in rows[0] else "note"] = "gehört nicht dazu"
        write_rows(path, f'"{first}"' + delimiter * 3, rows, delimiter)
        path.write_bytes(path.read_text(encoding="utf-8").replace("\n", "\r\n").encode(encoding))
    assert opened(plan).counts[0].n_excluded == 1


def test_the_same_sheet_twice_with_the_same_answers_is_no_fault(plan: Path) -> None:
    shutil.copy(plan / SHEET, plan / "listeners/k7 (copy).csv")
    assert sum(one.n_answered for one in opened(plan).counts) == 34


def matches_standard(trial: KeyTrial) -> str:
    return "1" if trial.cells["first"] == trial.cells["standard"] else "2"


@pytest.mark.parametrize(
    ("design", "column", "said", "expected"),
    [
        (PAIRED, "preferred", lambda trial: "2" if trial.cells["second"] == "in" else "1", {"in"}),
        (COMPARED, "rating", lambda trial: "1" if trial.cells["second"] == "in" else "-1", {"1", "-1"}),
        (GRADED, "rating", lambda trial: str(len(trial.cells["condition"])), {"2", "3", "4"}),
        (replace(DESIGN, method="duo-trio"), "answer", matches_standard, {"1", "2"}),
    ],
)
def test_other_methods_open_into_the_columns_of_the_session_format(
    tmp_path: Path, design: Any, column: str, said: Any, expected: set[str]
) -> None:
    plan = made_plan(tmp_path, design).folder
    fill(plan, said, column)
    opened(plan)
    rows = table(plan, "scored")
    assert {row[column] for row in rows} == expected
    if design is COMPARED:
        assert all((row["rating"] == "1") == (row["second"] == "in") for row in rows)
