"""A session at fault, one thing at a time: exit code 2, three lines with the place, and nothing changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from bad_input.cases import CASES
from bad_input.console import Console
from bad_input.sound_session import SESSION_ID, sound_files, write_session


@pytest.mark.parametrize("name", CASES)
def test_a_fault_is_told_with_its_place_and_changes_nothing(
    name: str, store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    case = CASES[name]
    folder = write_session(tmp_path / "broken", case.files())
    for command in ("run", "import"):
        more = ["--out", tmp_path / "out"] if command == "run" else []
        said = console(command, folder, *more, "--store", store)
        assert said.code == 2
        assert said.out == ""
        ((what, where, try_),) = said.faults
        assert case.what in what
        assert where == f"{folder}/{case.where}"
        assert case.try_ in try_
        unchanged()


@pytest.mark.parametrize("name", CASES)
def test_check_tells_the_same_fault_and_writes_nothing(name: str, console: Console, tmp_path: Path) -> None:
    case = CASES[name]
    folder = write_session(tmp_path / "broken", case.files())
    before = sorted(tmp_path.rglob("*"))
    said = console("check", folder, "--json")
    assert (said.code, said.err) == (2, "")
    (session,) = json.loads(said.out)["sessions"]
    (problem,) = session["problems"]
    assert case.what in problem["what"]
    assert problem["where"] == case.where
    assert case.try_ in problem["try"]
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("name", ["an unknown key", "a binary file", "a trial twice"])
def test_a_run_without_a_store_leaves_no_folder_behind(name: str, console: Console, tmp_path: Path) -> None:
    folder = write_session(tmp_path / "broken", CASES[name].files())
    assert console("run", folder, "--out", tmp_path / "new" / "out").code == 2
    assert not (tmp_path / "new").exists()


def test_the_session_that_the_cases_break_is_sound(console: Console, tmp_path: Path) -> None:
    folder = write_session(tmp_path / "sound", sound_files())
    said = console("check", folder)
    assert said.code == 0
    assert said.out.splitlines()[-1] == "no fault"


def test_every_fault_of_every_session_is_told_with_its_folder(
    store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    write_session(tmp_path / "all" / "first", CASES["a trial twice"].files())
    write_session(tmp_path / "all" / "second", sound_files("other"))
    third = CASES["an unknown key"].files()
    third["session.toml"] = third["session.toml"].replace(b"format = 1", b"format = 1\nlegend = 2")
    write_session(tmp_path / "all" / "third", third)
    said = console("run", tmp_path / "all", "--out", tmp_path / "out", "--store", store)
    assert said.code == 2
    assert [where for _, where, _ in said.faults] == [
        f"{tmp_path}/all/first/scores/abx.csv, line 7",
        f"{tmp_path}/all/third/session.toml, line 2",
        f"{tmp_path}/all/third/session.toml, line 13",
    ]
    unchanged()


def test_one_fault_among_several_sessions_and_none_is_imported(
    store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    sound = write_session(tmp_path / "sound", sound_files("other"))
    broken = write_session(tmp_path / "broken", CASES["an empty file"].files())
    said = console("import", sound, broken, "--store", store)
    assert said.code == 2
    assert len(said.faults) == 1
    unchanged()


def test_keep_going_imports_the_sound_session_and_tells_the_fault(
    store: Path, console: Console, tmp_path: Path
) -> None:
    sound = write_session(tmp_path / "sound", sound_files("other"))
    broken = write_session(tmp_path / "broken", CASES["an empty file"].files())
    said = console("run", broken, sound, "--out", tmp_path / "out", "--store", store, "--keep-going")
    assert said.code == 3
    ((what, where, _),) = said.faults
    assert "the file is empty" in what
    assert where.startswith(f"{broken}/responses/bench_in_2.csv")
    assert said.out.splitlines()[-1] == f"{tmp_path}/out/report.html"
    findings = json.loads((tmp_path / "out" / "findings.json").read_text(encoding="utf-8"))
    assert {finding["session"] for finding in findings["findings"]} == {"other"}


def test_keep_going_with_no_sound_session_changes_nothing(
    store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    broken = write_session(tmp_path / "broken", CASES["an empty file"].files())
    said = console("run", broken, tmp_path / "gone", "--out", tmp_path / "out", "--store", store, "--keep-going")
    assert said.code == 2
    assert len(said.faults) == 2
    unchanged()


def test_the_same_id_in_two_folders_is_a_fault_that_names_both(
    store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    first = write_session(tmp_path / "first", sound_files())
    second = write_session(tmp_path / "second", sound_files())
    said = console("import", first, second, "--store", store)
    assert said.code == 2
    ((what, where, try_),) = said.faults
    assert what == f"2 of the sessions given have the id {SESSION_ID!r}"
    assert where == f"{first}/session.toml and {second}/session.toml"
    assert "an id of its own" in try_
    unchanged()


def test_keep_going_leaves_out_both_folders_with_one_id(store: Path, console: Console, tmp_path: Path) -> None:
    first = write_session(tmp_path / "first", sound_files("twin"))
    second = write_session(tmp_path / "second", sound_files("twin"))
    third = write_session(tmp_path / "third", sound_files("other"))
    said = console("import", first, second, third, "--store", store, "--keep-going")
    assert said.code == 3
    assert len(said.faults) == 1
    assert said.out == "other: revision 1, 12 measurements, 16 trials\n"


def test_a_folder_named_twice_is_read_once(store: Path, console: Console, tmp_path: Path) -> None:
    folder = write_session(tmp_path / "sound", sound_files("other"))
    said = console("import", folder, tmp_path / "sound" / ".." / "sound", "--store", store)
    assert (said.code, said.err) == (0, "")
    assert said.out == "other: revision 1, 12 measurements, 16 trials\n"


def test_findings_of_a_store_are_the_same_after_a_refused_import(store: Path, console: Console, tmp_path: Path) -> None:
    assert console("report", "--store", store, "--out", tmp_path / "before").code == 0
    folder = write_session(tmp_path / "broken", CASES["frequencies out of order"].files())
    assert console("import", folder, "--store", store).code == 2
    assert console("report", "--store", store, "--out", tmp_path / "after").code == 0
    before = (tmp_path / "before" / "findings.json").read_bytes()
    assert (tmp_path / "after" / "findings.json").read_bytes() == before
    assert json.loads(before)["findings"]
