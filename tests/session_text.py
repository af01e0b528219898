"""A session.toml of a test with the files that it names, what is read of it, and on which line something stands."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from fairhearing.errors import FairHearingError
from fairhearing.manifest import LoadedSession, load_session

HEAD = """\
format = 1
[session]
id = "s"
[room]
id = "r"
"""


def written(folder: Path, text: str, paths: Iterable[str] = ()) -> Path:
    """The folder with session.toml and files at these paths, the bytes of which differ from file to file."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(text, encoding="utf-8")
    for path in paths:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(path)
    return folder


def loaded(folder: Path, text: str, paths: Iterable[str] = ()) -> LoadedSession:
    """What is read: a session, or at least one fault."""
    found = load_session(written(folder, text, paths))
    assert (found.session is None) == bool(found.problems)
    return found


def line_of(text: str, snippet: str, nth: int | None = None) -> int:
    """The number of the only line that holds the snippet, or of the `nth` one."""
    numbers = [number for number, line in enumerate(text.split("\n"), 1) if snippet in line]
    assert nth is not None or len(numbers) == 1, (snippet, numbers)
    return numbers[(nth or 1) - 1]


def assert_told(problem: FairHearingError, what: str, line: int, try_: str) -> None:
    """The fault says this, on that line of session.toml, and what to try."""
    assert what in problem.what
    assert problem.where == f"session.toml, line {line}"
    assert try_ in problem.try_
