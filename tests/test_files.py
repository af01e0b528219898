"""Files are written whole or not at all, and nothing else is touched."""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.errors import OutputProblem
from fairhearing.files import RECORD_NAME, check_writable, write_files


def content(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def without_record(folder: Path) -> dict[str, bytes]:
    return {path: data for path, data in content(folder).items() if path != RECORD_NAME}


def test_missing_folders_are_made_and_the_record_lists_the_files(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "out"
    write_files(folder, {"b/c.svg": b"two", "a.html": b"one"})
    assert without_record(folder) == {"a.html": b"one", "b/c.svg": b"two"}
    assert json.loads((folder / RECORD_NAME).read_bytes())["files"] == ["a.html", "b/c.svg"]


def test_a_second_call_replaces_its_own_files_and_leaves_others_alone(tmp_path: Path) -> None:
    write_files(tmp_path, {"a": b"1", "charts/old.svg": b"1", "tables/t.csv": b"1"})
    (tmp_path / "charts" / "mine.svg").write_bytes(b"mine")
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write_files(tmp_path, {"a": b"2"})
    assert without_record(tmp_path) == {"a": b"2", "charts/mine.svg": b"mine", "notes.txt": b"mine"}
    assert not (tmp_path / "tables").exists()


@settings(derandomize=True, deadline=None, max_examples=25)
@given(
    st.lists(
        st.dictionaries(st.sampled_from(["a", "b", "x/a", "x/b", "x/y/a"]), st.binary(max_size=3), max_size=5),
        max_size=4,
    )
)
def test_after_any_number_of_calls_only_the_last_set_is_there(
    tmp_path_factory: pytest.TempPathFactory, calls: list[dict[str, bytes]]
) -> None:
    folder = tmp_path_factory.mktemp("out")
    (folder / "mine").write_bytes(b"mine")
    for files in calls:
        write_files(folder, files)
    assert without_record(folder) == {"mine": b"mine", **(calls[-1] if calls else {})}


def test_a_written_file_has_the_usual_rights(tmp_path: Path) -> None:
    write_files(tmp_path, {"a": b"1"})
    (tmp_path / "plain").write_bytes(b"1")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize("path", ["../a", "/a", "x/../../a", "", "x//a", "./a", "x\\a", "C:/a", RECORD_NAME])
def test_a_path_that_leaves_the_folder_is_refused_before_anything_is_written(tmp_path: Path, path: str) -> None:
    with pytest.raises(OutputProblem) as caught:
        write_files(tmp_path / "out", {"good": b"1", path: b"2"})
    assert caught.value.what == f"{path!r} is no path inside of the folder to write into"
    assert caught.value.where == str(tmp_path / "out")
    assert "without .." in caught.value.try_
    assert list(tmp_path.iterdir()) == []


def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "charts").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputProblem, match=r"'charts/a' would be written outside of the folder, through a link"):
        write_files(tmp_path / "out", {"a": b"1", "charts/a": b"1"})
    assert content(tmp_path) == {}


def fail_at(monkeypatch: pytest.MonkeyPatch, name: str, call: int, error: BaseException) -> None:
    real = getattr(os, name)
    n_calls = 0

    def failing(*arguments: object, **keywords: object) -> object:
        nonlocal n_calls
        n_calls += 1
        if n_calls == call:
            raise error
        return real(*arguments, **keywords)

    monkeypatch.setattr(os, name, failing)


@pytest.mark.parametrize(("name", "call"), [("fsync", 1), ("fsync", 3), ("replace", 1), ("replace", 2), ("replace", 4)])
def test_a_full_disk_leaves_all_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, call: int
) -> None:
    write_files(tmp_path, {"a": b"1", "b": b"1", "stale": b"1"})
    before = content(tmp_path)
    with monkeypatch.context() as patch:
        fail_at(patch, name, call, OSError(errno.ENOSPC, "No space left on device"))
        with pytest.raises(OutputProblem) as caught:
            write_files(tmp_path, {"a": b"2", "b": b"2", "x/c": b"2"})
    assert content(tmp_path) == before
    assert not (tmp_path / "x").exists()
    assert caught.value.what == f"the folder {str(tmp_path)!r} cannot be written: No space left on device"
    assert caught.value.try_ == "make room on the disk, or choose another folder"


def test_an_interruption_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_files(tmp_path, {"a": b"1"})
    before = content(tmp_path)
    fail_at(monkeypatch, "replace", 2, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        write_files(tmp_path, {"a": b"2", "b": b"2"})
    assert content(tmp_path) == before


def test_a_file_system_without_links_is_written_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_files(tmp_path, {"a": b"1"})
    fail_at(monkeypatch, "link", 1, OSError(errno.EPERM, "Operation not permitted"))
    write_files(tmp_path, {"a": b"2"})
    assert without_record(tmp_path) == {"a": b"2"}


def test_a_folder_in_the_place_of_a_file_is_told_and_nothing_changes(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputProblem) as caught:
        write_files(tmp_path, {"a": b"1", "b": b"1"})
    assert caught.value.where == str(tmp_path / "b")
    assert "a folder stands where a file is wanted" in caught.value.try_
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_a_changed_record_takes_nothing_away_outside_of_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write_files(folder, {"a": b"1"})
    (tmp_path / "precious").write_bytes(b"mine")
    (folder / "link").symlink_to(tmp_path)
    (folder / RECORD_NAME).write_text('{"files": ["../precious", "link/precious", 3, "a"]}')
    write_files(folder, {"b": b"1"})
    assert (tmp_path / "precious").read_bytes() == b"mine"
    assert not (folder / "a").exists()


@pytest.mark.parametrize("record", [b"", b"[]", b"\xff", b'{"files": 3}', b"[" * 100_000])
def test_a_record_that_cannot_be_read_is_written_anew(tmp_path: Path, record: bytes) -> None:
    (tmp_path / RECORD_NAME).write_bytes(record)
    write_files(tmp_path, {"a": b"1"})
    assert json.loads((tmp_path / RECORD_NAME).read_bytes())["files"] == ["a"]


def test_a_writable_folder_is_made_and_left_empty(tmp_path: Path) -> None:
    check_writable(tmp_path / "new" / "out")
    assert list((tmp_path / "new" / "out").iterdir()) == []


@pytest.mark.parametrize("rest", ["", "out", "out/further"])
def test_a_file_in_the_way_of_the_folder_is_told(tmp_path: Path, rest: str) -> None:
    (tmp_path / "taken").write_bytes(b"mine")
    with pytest.raises(OutputProblem) as caught:
        check_writable(tmp_path / "taken" / rest)
    assert "cannot be written: Not a directory" in caught.value.what
    assert "a file stands where a folder is wanted" in caught.value.try_
    assert content(tmp_path) == {"taken": b"mine"}


def test_a_folder_that_cannot_be_written_is_told_and_taken_away_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fail_at(monkeypatch, "fsync", 1, OSError(errno.EROFS, "Read-only file system"))
    with pytest.raises(OutputProblem) as caught:
        check_writable(tmp_path / "new" / "out")
    assert caught.value.what == f"the folder {str(tmp_path / 'new' / 'out')!r} cannot be written: Read-only file system"
    assert caught.value.try_ == "choose a folder on a disk that can be written"
    assert list(tmp_path.iterdir()) == []
