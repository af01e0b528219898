"""[listening] of session.toml: how it was run, the plan that it names, and the sheets of an opened one."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from planned_listening import DESIGN, NAMED, TOML, fill, hearing, made_plan, made_session

from fairhearing.manifest import load_session
from fairhearing.protocol.opening import unseal
from fairhearing.session import Listening, ListeningPlan, Session

PLAN_LINE = NAMED.splitlines().index('plan = "listening"') + 1
WHOLE = """\
switching = "relay"
gap_s = 0.5
gap_equal = true
operator_blind = true
operator_screened = false
switch_check = "Both inputs on one cable: 8 of 16 right."
switch_check_passed = true
guesses = "guesses.csv"
"""


def with_listening(folder: Path, text: str) -> str:
    return TOML.partition("[listening]")[0] + "[listening]\n" + text


def problems(folder: Path, toml: str) -> list[str]:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(toml, encoding="utf-8")
    return [str(problem) for problem in load_session(folder).problems]


def loaded(folder: Path) -> Session:
    session = load_session(folder).session
    assert session is not None, load_session(folder).problems
    return session


def test_every_key_is_read(tmp_path: Path) -> None:
    (tmp_path / "guesses.csv").write_text("listener,guess\nk7,in\n", encoding="utf-8")
    session = made_session(tmp_path, with_listening(tmp_path, WHOLE))
    assert session.listening == Listening(
        switching="relay",
        gap_s=0.5,
        gap_equal=True,
        operator_blind=True,
        operator_screened=False,
        switch_check="Both inputs on one cable: 8 of 16 right.",
        switch_check_passed=True,
        guesses="guesses.csv",
    )
    assert session.warnings == ()  # the guesses are claimed


def test_without_the_table_nothing_is_said(tmp_path: Path) -> None:
    assert made_session(tmp_path, TOML.partition("[listening]")[0]).listening == Listening()


@pytest.mark.parametrize(
    ("text", "what", "try_"),
    [
        ("swiching = 'relay'", "unknown key 'swiching' in [listening]", "did you mean 'switching'?"),
        ("switching = 'rely'", "switching = 'rely' in [listening] is not a known word", "did you mean 'relay'?"),
        ("gap_s = -1", "gap_s = -1 in [listening] is out of range", "write a number at least 0"),
        ("gap_equal = 'yes'", "gap_equal = 'yes' in [listening] is text, not true or false", "without quotes"),
        ("guesses = 'gueses.csv'", "guesses = 'gueses.csv' in [listening] is no file", "did you mean 'guesses.csv'?"),
        ("plan = 'listning'", "plan = 'listning' in [listening] is no folder", "did you mean 'listening'?"),
        ("plan = '../other'", "plan in [listening]: ", ""),
        ("plan = 3", "plan = 3 in [listening] is a number, not text", ""),
        ("plan_folder = 'x'", "unknown key 'plan_folder' in [listening]", ""),
    ],
)
def test_a_fault_names_its_line_and_the_nearest_word(tmp_path: Path, text: str, what: str, try_: str) -> None:
    (tmp_path / "guesses.csv").write_text("listener,guess\nk7,in\n", encoding="utf-8")
    (tmp_path / "listening").mkdir()
    [problem] = problems(tmp_path, with_listening(tmp_path, text + "\n"))
    line = TOML[: TOML.index("[listening]")].count("\n") + 2
    assert problem.startswith(what)
    assert f"session.toml, line {line}" in problem
    assert try_ in problem


def test_a_role_of_a_score_sheet_is_read_and_scored_is_what_stands_for_nothing(tmp_path: Path) -> None:
    for name in ("one", "two", "three"):
        (tmp_path / f"{name}.csv").write_text("listener,trial,x,answer\nk7,1,in,in\n", encoding="utf-8")
    entry = '[[scores]]\nfiles = "{}.csv"\nmethod = "abx"\n'
    roles = ['role = "control"\n', 'role = "sham"\n', ""]
    entries = [entry.format(name) + role for name, role in zip(("one", "two", "three"), roles, strict=True)]
    session = made_session(tmp_path, TOML + "".join(entries))
    assert [one.role for one in session.scores] == ["control", "sham", "scored"]
    [problem] = problems(tmp_path, TOML + entry.format("one") + 'role = "controll"\n')
    assert "did you mean 'control'?" in problem


def test_a_sealed_plan_is_read_without_its_order_and_its_files_are_claimed(tmp_path: Path) -> None:
    written = made_plan(tmp_path)
    session = loaded(tmp_path)
    plan = session.listening.plan
    assert isinstance(plan, ListeningPlan)
    for name in ListeningPlan.__slots__:
        if name not in ("commitment", "sealed", "opened_early"):
            assert getattr(plan, name) == getattr(DESIGN, name)
    assert (plan.commitment, plan.sealed, plan.opened_early) == (written.commitment, True, None)
    assert session.scores == ()
    assert session.warnings == (
        "listening holds a plan that is still sealed: none of its answers is read before it is unsealed",
    )


def test_a_plan_that_is_not_named_is_one_warning(tmp_path: Path) -> None:
    made_plan(tmp_path)
    session = made_session(tmp_path, TOML)
    assert session.listening.plan is None
    assert session.warnings == (
        'listening holds a plan that session.toml does not name: write plan = "listening" in [listening]',
    )


def test_an_opened_plan_brings_a_sheet_for_each_role_after_those_of_session_toml(tmp_path: Path) -> None:
    plan = made_plan(tmp_path).folder
    fill(plan, hearing(0.7))
    unseal(loaded(tmp_path), plan)
    (tmp_path / "own.csv").write_text("listener,trial,x,answer\nk7,1,in,in\n", encoding="utf-8")
    own = '[[scores]]\nfiles = "own.csv"\nmethod = "abx"\n'
    session = made_session(tmp_path, NAMED + own)
    assert [(one.path, one.entry, one.role) for one in session.scores] == [
        ("own.csv", 0, "scored"),
        ("listening/opened/scored.csv", 1, "scored"),
        ("listening/opened/control.csv", 2, "control"),
        ("listening/opened/sham.csv", 3, "sham"),
    ]
    opened = session.scores[1]
    assert (opened.method, opened.reference, opened.treatment, opened.order) == ("abx", "out", "in", "independent")
    assert opened.line == PLAN_LINE
    assert session.warnings == ()
    assert session.listening.plan is not None
    assert not session.listening.plan.sealed


@pytest.mark.parametrize("files", ["listening/listeners/k7.csv", "listening/opened/scored.csv"])
def test_an_entry_that_names_a_file_of_the_plan_is_a_fault(tmp_path: Path, files: str) -> None:
    plan = made_plan(tmp_path).folder
    fill(plan, hearing(0.7))
    unseal(loaded(tmp_path), plan)
    [problem] = problems(tmp_path, NAMED + f'[[scores]]\nfiles = "{files}"\nmethod = "abx"\n')
    assert f"{files!r} belongs to the plan of the listening" in problem


def test_a_pattern_does_not_match_files_of_the_plan(tmp_path: Path) -> None:
    plan = made_plan(tmp_path).folder
    [problem] = problems(tmp_path, NAMED + '[[scores]]\nfiles = "listening/listeners/{listener}.csv"\nmethod = "abx"\n')
    assert "matches nothing" in problem
    assert plan.is_dir()


def _edit(name: str, **values: Any) -> Callable[[Path], object]:
    def work(plan: Path) -> None:
        value = json.loads((plan / name).read_bytes())
        (plan / name).write_text(json.dumps({**value, **values}), encoding="utf-8")

    return work


DAMAGES: list[tuple[str, Callable[[Path], object]]] = [
    ("listening/plan.json is missing", lambda plan: (plan / "plan.json").unlink()),
    ("listening/seal.json is missing", lambda plan: (plan / "seal.json").unlink()),
    ("listening/plan.json is not JSON", lambda plan: (plan / "plan.json").write_bytes(b"{")),
    ("listening/plan.json is [1], not an object", lambda plan: (plan / "plan.json").write_bytes(b"[1]")),
    ("listening/opened.json is not JSON", lambda plan: (plan / "opened.json").write_bytes(b"")),
    ("plan.json has format 2; this version reads format 1", _edit("plan.json", format=2)),
    ("plan.json has question = 'herd': did you mean 'heard'?", _edit("plan.json", question="herd")),
    ("plan.json has method = 'abz': did you mean 'abx'?", _edit("plan.json", method="abz")),
    ("plan.json has alpha = '0.05', not a number", _edit("plan.json", alpha="0.05")),
    ("plan.json has n_trials = -1, not a whole number from 0", _edit("plan.json", n_trials=-1)),
    ("plan.json has n_sham = true, not a whole number from 0", _edit("plan.json", n_sham=True)),
    ("plan.json has listeners = 'k7', not a list of texts", _edit("plan.json", listeners="k7")),
    ("plan.json has looks = [3], not a list of objects", _edit("plan.json", looks=[3])),
    ("plan.json is of condition 'inn', which session.toml does not have", _edit("plan.json", condition="inn")),
    ("plan.json is of seat 'C', which session.toml does not have", _edit("plan.json", seats=["C"])),
    ("seal.json has commitment = None, not text", _edit("seal.json", commitment=None)),
]


@pytest.mark.parametrize(("words", "damage"), DAMAGES, ids=[words for words, _ in DAMAGES])
def test_a_damaged_plan_is_a_fault_on_the_line_that_names_it(
    tmp_path: Path, words: str, damage: Callable[[Path], object]
) -> None:
    plan = made_plan(tmp_path).folder
    damage(plan)
    [problem] = problems(tmp_path, NAMED)
    assert words in problem
    assert f"session.toml, line {PLAN_LINE}" in problem


def test_a_plan_moved_with_its_session_stays_what_it_is(tmp_path: Path) -> None:
    made_plan(tmp_path / "here")
    before = loaded(tmp_path / "here").listening
    shutil.move(tmp_path / "here", tmp_path / "there")
    assert loaded(tmp_path / "there").listening == before
