"""A store or an output folder that cannot be used, a path that is no session: exit code 2 and nothing changed."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import pytest
from bad_input.console import Console, contents_of
from bad_input.sound_session import sound_files, write_session

HOLD = "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('held', flush=True); sys.stdin.read()"


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    return write_session(tmp_path / "sound", sound_files())


def garbage(place: Path) -> None:
    place.write_bytes(b"no database at all\n" * 400)


def empty_file(place: Path) -> None:
    place.write_bytes(b"")


def directory(place: Path) -> None:
    place.mkdir()


def foreign(place: Path) -> None:
    with duckdb.connect(str(place)) as connection:
        connection.execute("CREATE TABLE invoices (number INTEGER)")


def foreign_with_meta(place: Path) -> None:
    with duckdb.connect(str(place)) as connection:
        connection.execute("CREATE TABLE meta (author VARCHAR)")


def cut(place: Path) -> None:
    with duckdb.connect(str(place)) as connection:
        connection.execute("CREATE TABLE numbers AS SELECT range AS n FROM range(100000)")
    place.write_bytes(place.read_bytes()[:6000])


BAD_STORES = {
    garbage: ("the store 's.duckdb' cannot be used: it is no database; it has 7600 bytes", "give the path of a store"),
    empty_file: ("the store 's.duckdb' cannot be used: it is no database; it is empty", "give the path of a store"),
    directory: ("the store 's.duckdb' cannot be used: it is a folder", "give the path of a store"),
    foreign: ("this database is no store of fairhearing: it holds invoices", "give the path of a store"),
    foreign_with_meta: ("this database is no store of fairhearing: it holds meta", "give the path of a store"),
    cut: ("the store 's.duckdb' cannot be used: ", "give the path of a store"),
}


def bytes_below(folder: Path) -> dict[Path, bytes | None]:
    return {path: path.read_bytes() if path.is_file() else None for path in sorted(folder.rglob("*"))}


def commands(sound: Path, out: Path, store: Path) -> list[list[str | Path]]:
    return [
        ["run", sound, "--out", out, "--store", store],
        ["import", sound, "--store", store],
        ["analyse", "--store", store],
        ["report", "--store", store, "--out", out],
    ]


@pytest.mark.parametrize("make", BAD_STORES)
def test_what_is_no_store_is_refused_and_left_as_it_is(
    make: Callable[[Path], None], sound: Path, console: Console, tmp_path: Path
) -> None:
    what, try_ = BAD_STORES[make]
    make(tmp_path / "s.duckdb")
    before = bytes_below(tmp_path)
    for command in commands(sound, tmp_path / "out", tmp_path / "s.duckdb"):
        said = console(*command)
        assert (said.code, said.out) == (2, "")
        ((told, where, advice),) = said.faults
        assert told.startswith(what)
        assert where == str(tmp_path / "s.duckdb")
        assert advice.startswith(try_)
        assert bytes_below(tmp_path) == before


def test_a_bad_default_store_in_the_report_folder_is_refused_and_left(
    sound: Path, console: Console, tmp_path: Path
) -> None:
    (tmp_path / "out").mkdir()
    garbage(tmp_path / "out" / "store.duckdb")
    before = bytes_below(tmp_path)
    said = console("run", sound, "--out", tmp_path / "out")
    assert said.code == 2
    assert [where for _, where, _ in said.faults] == [f"{tmp_path}/out/store.duckdb"]
    assert bytes_below(tmp_path) == before


def test_a_store_of_a_later_schema_is_refused_in_words(
    store: Path, sound: Path, console: Console, tmp_path: Path
) -> None:
    with duckdb.connect(str(store)) as connection:
        connection.execute("UPDATE meta SET value = '7' WHERE key = 'schema_version'")
    before = contents_of(store)
    for command in commands(sound, tmp_path / "out", store):
        said = console(*command)
        assert said.code == 2
        ((what, where, try_),) = said.faults
        assert what == "the store has schema version 7, this program knows versions up to 3"
        assert where == str(store)
        assert try_.startswith("update fairhearing")
    assert contents_of(store) == before
    assert not (tmp_path / "out").exists()


@contextmanager
def held(store: Path) -> Iterator[int]:
    """Another process has the store open; its id."""
    command = [sys.executable, "-c", HOLD, str(store)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        yield holder.pid
        holder.stdin.close()


def test_a_store_that_another_process_holds_is_refused_and_the_process_named(
    store: Path, sound: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    with held(store) as pid:
        for command in commands(sound, tmp_path / "out", store):
            said = console(*command)
            assert said.code == 2
            ((what, where, try_),) = said.faults
            assert what.startswith(f"the store is held by process {pid} (")
            assert where == str(store)
            assert try_.startswith("wait until that process has ended")
    unchanged()


@pytest.mark.parametrize("command", ["analyse", "report"])
def test_a_store_that_is_not_there_is_not_made(command: str, console: Console, tmp_path: Path) -> None:
    more = ["--out", tmp_path / "out"] if command == "report" else []
    said = console(command, "--store", tmp_path / "new" / "s.duckdb", *more)
    assert said.code == 2
    ((what, where, try_),) = said.faults
    assert what == "there is no store 's.duckdb'"
    assert where == f"{tmp_path}/new/s.duckdb"
    assert try_.startswith("import a session first")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", ["analyse", "report"])
def test_a_store_without_a_session_has_nothing_to_analyse(command: str, console: Console, tmp_path: Path) -> None:
    from fairhearing.store import open_store

    with open_store(tmp_path / "s.duckdb", create=True):
        pass
    more = ["--out", tmp_path / "out"] if command == "report" else []
    said = console(command, "--store", tmp_path / "s.duckdb", *more)
    assert said.code == 2
    ((what, _, try_),) = said.faults
    assert (what, try_) == ("the store holds no session", "import a session folder into it first")
    assert [child.name for child in tmp_path.iterdir()] == ["s.duckdb"]


# The tests may run as a user who may write anywhere, so the place itself is impossible.
IMPOSSIBLE = {
    "a file in its place": ("note.txt", "a file stands where a folder is wanted: choose another folder"),
    "below a file": ("note.txt/out", "a file stands where a folder is wanted: choose another folder"),
    "a name that is too long": ("n" * 300, "choose a shorter name"),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_a_report_folder_that_cannot_be_written_is_told_before_anything_changes(
    name: str, store: Path, sound: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    (tmp_path / "note.txt").write_text("mine")
    place, advice = IMPOSSIBLE[name]
    for command in (["run", sound, "--store", store], ["report", "--store", store]):
        said = console(*command, "--out", tmp_path / place)
        assert said.code == 2
        ((what, where, try_),) = said.faults
        assert what.startswith(f"the folder '{tmp_path}/{place}' cannot be written: ")
        assert where.startswith(str(tmp_path))
        assert try_ == advice
    assert (tmp_path / "note.txt").read_text() == "mine"
    unchanged()


def test_a_folder_below_proc_cannot_be_written(
    store: Path, sound: Path, console: Console, unchanged: Callable[[], None]
) -> None:
    said = console("run", sound, "--store", store, "--out", "/proc/fairhearing/out")
    assert said.code == 2
    ((what, where, _),) = said.faults
    assert what.startswith("the folder '/proc/fairhearing/out' cannot be written: ")
    assert where == "/proc/fairhearing"
    unchanged()


def test_a_new_store_is_not_left_behind_where_the_report_folder_is_impossible(
    sound: Path, console: Console, tmp_path: Path
) -> None:
    (tmp_path / "note.txt").write_text("mine")
    said = console("run", sound, "--store", tmp_path / "new" / "s.duckdb", "--out", tmp_path / "note.txt")
    assert said.code == 2
    assert sorted(child.name for child in tmp_path.iterdir()) == ["note.txt", "sound"]


def test_a_folder_in_the_place_of_the_report_leaves_store_and_folder_as_they_were(
    store: Path, sound: Path, console: Console, tmp_path: Path
) -> None:
    (sound / "session.toml").write_bytes((sound / "session.toml").read_bytes() + b"\n# changed\n")
    (tmp_path / "out" / "report.html").mkdir(parents=True)
    before, files = contents_of(store), sorted(tmp_path.rglob("*"))
    said = console("run", sound, "--store", store, "--out", tmp_path / "out")
    assert said.code == 2
    ((_, where, try_),) = said.faults
    assert where == f"{tmp_path}/out/report.html"
    assert try_ == "a folder stands where a file is wanted: choose another folder"
    assert contents_of(store) == before
    assert sorted(tmp_path.rglob("*")) == files


def test_a_store_below_a_file_is_refused(sound: Path, console: Console, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("mine")
    for place in ("note.txt/s.duckdb", "note.txt/more/s.duckdb"):
        said = console("import", sound, "--store", tmp_path / place)
        assert said.code == 2
        ((_, where, try_),) = said.faults
        assert where.startswith(f"{tmp_path}/note.txt")
        assert "you may write to" in try_
    assert sorted(child.name for child in tmp_path.iterdir()) == ["note.txt", "sound"]


NO_SESSIONS = {
    "gone": ("there is no folder '{}'", "check the spelling"),
    "note.txt": ("'{}' is a file, not a session folder", "name the folder that holds session.toml"),
    "bare": ("there is no session.toml in '{}', and it has no sub-folders", "name a folder that holds a session.toml"),
    "nested": (
        "there is no session.toml in '{}', nor in its sub-folders (inner)",
        "name a folder that holds a session.toml",
    ),
}


@pytest.mark.parametrize("name", NO_SESSIONS)
def test_a_path_that_is_no_session_is_told(
    name: str, store: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    (tmp_path / "note.txt").write_text("mine")
    (tmp_path / "bare").mkdir()
    (tmp_path / "nested" / "inner").mkdir(parents=True)
    path = tmp_path / name
    told, advice = NO_SESSIONS[name]
    for more in (["run", "--out", tmp_path / "out", "--store", store], ["import", "--store", store], ["check"]):
        said = console(more[0], path, *more[1:])
        assert (said.code, said.out) == (2, "")
        ((what, where, try_),) = said.faults
        assert what == told.format(path)
        assert where == str(path)
        assert try_.startswith(advice)
        unchanged()


USAGE = {
    "run {sound} --out {out} --stor {store}": ("No such option: --stor", "fairhearing run"),
    "run {sound}": ("Missing option '--out'", "fairhearing run"),
    "run --out {out}": ("Missing argument 'SESSION", "fairhearing run"),
    "import {sound}": ("Missing option '--store'", "fairhearing import"),
    "analyse": ("Missing option '--store'", "fairhearing analyse"),
    "report --out {out}": ("Missing option '--store'", "fairhearing report"),
    "rum {sound} --out {out}": ("No such command 'rum'", "fairhearing"),
}


@pytest.mark.parametrize("words", USAGE)
def test_a_fault_of_the_command_line_is_told_in_three_lines(
    words: str, store: Path, sound: Path, console: Console, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    told, command = USAGE[words]
    said = console(*words.format(sound=sound, out=tmp_path / "out", store=store).split())
    assert (said.code, said.out) == (2, "")
    ((what, where, try_),) = said.faults
    assert told in what
    assert where == f"the command line of '{command}'"
    assert try_ == f"'{command} --help' shows what it takes"
    unchanged()


@pytest.mark.parametrize("option", ["--capacitance-nf", "--load-kohm"])
def test_a_corner_with_zero_is_refused_with_the_option_named(option: str, console: Console) -> None:
    values = {"--capacitance-nf": "37.6", "--load-kohm": "47", option: "0"}
    said = console("corner", *[word for pair in values.items() for word in pair])
    assert (said.code, said.out) == (2, "")
    ((what, where, _),) = said.faults
    assert "0" in what
    assert option in what + where
