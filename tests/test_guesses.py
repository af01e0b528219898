"""Checks of the file of guesses: what is read of it, faults with their line, and what the session keeps."""

from __future__ import annotations

from pathlib import Path

import pytest

from fairhearing.errors import ImportProblem
from fairhearing.guesses import read_guesses
from fairhearing.importing import read_session
from fairhearing.session import Guess, Session
from fairhearing.store.codec import decode, encode

CONDITIONS = ("out", "in")
MANIFEST = """\
format = 1
[session]
id = "s"
[room]
id = "r"
[conditions.out]
reference = true
[conditions.in]
[listening]
guesses = "guesses.csv"
"""


def written(folder: Path, text: str | bytes) -> Path:
    (folder / "guesses.csv").write_bytes(text.encode() if isinstance(text, str) else text)
    (folder / "session.toml").write_text(MANIFEST)
    return folder


@pytest.mark.parametrize(
    "text",
    [
        "listener,guess\na,in\n007,none\n",
        "\ufeffListener , Guess\r\n007, none\r\na,in\r\n\r\n",
        "note,guess,listener\n,none,007\nlate,in,a\n",
    ],
)
def test_guesses_are_read_by_listener(tmp_path: Path, text: str) -> None:
    found = read_guesses(written(tmp_path, text), "guesses.csv", CONDITIONS).guesses
    assert found == (Guess(listener="007", guess="none"), Guess(listener="a", guess="in"))


@pytest.mark.parametrize(
    ("text", "what", "where"),
    [
        ("listener,answer\na,in\n", "no column 'guess', but listener, answer", "line 1"),
        ("", "no column 'listener', but no header", "line 1"),
        ("listener,guess\na,in\nb,inn\n", "the guess 'inn' is no condition and not 'none'", "line 3"),
        ("listener,guess\n,in\n", "the cell of the listener is empty", "line 2"),
        ("listener,guess\na,in\na,out\n", "listener 'a' has a guess already", "line 3"),
        ("listener,guess\na\n", "the guess '' is no condition", "line 2"),
        (b"listener,guess\n\xe4,in\n", "the file is not UTF-8", "guesses.csv"),
    ],
)
def test_a_fault_is_named_with_its_line(tmp_path: Path, text: str | bytes, what: str, where: str) -> None:
    with pytest.raises(ImportProblem) as raised:
        read_guesses(written(tmp_path, text), "guesses.csv", CONDITIONS)
    assert what in raised.value.what
    assert where in (raised.value.where or "")


def test_the_session_keeps_guesses_and_names_their_file(tmp_path: Path) -> None:
    content = read_session(written(tmp_path, "listener,guess\na,in\n"), [])
    assert content.problems == ()
    assert content.session is not None
    assert content.session.guesses == (Guess(listener="a", guess="in"),)
    assert decode(Session, encode(content.session)).guesses == content.session.guesses
    (note,) = content.sources
    assert (note.path, note.importer) == ("guesses.csv", "guesses")


def test_a_fault_in_the_file_is_a_problem_of_the_session(tmp_path: Path) -> None:
    content = read_session(written(tmp_path, "listener,guess\na,sub\n"), [])
    assert [problem.where for problem in content.problems] == ["guesses.csv, line 2"]
