"""Positions near a seat, closing takes and a sloped target in session.toml: what is read, and what is at fault."""

from __future__ import annotations

from pathlib import Path

import pytest
from session_text import HEAD

from fairhearing.errors import ManifestProblem
from fairhearing.manifest import load_session
from fairhearing.session import Seat, Session

BASE = f"""{HEAD}[conditions.out]
reference = true
[conditions.in]
[seats.A]
[seats.A2]
near = "A"
[seats.B]
weight = 2.0
[[measurements]]
files = "m/{{seat}}_{{condition}}_{{repeat}}.csv"
[[measurements]]
files = "end/{{seat}}_{{condition}}_{{repeat}}.csv"
closing = true
[criteria]
target_slope_db_per_octave = -1.5
"""
FILES = {"m/A_out_1.csv": "1", "m/A_in_1.csv": "22", "m/A2_in_1.csv": "333", "end/A_out_1.csv": "4444"}


def load(
    folder: Path, text: str = BASE, files: dict[str, str] = FILES
) -> tuple[Session | None, tuple[ManifestProblem, ...]]:
    (folder / "session.toml").write_text(text, encoding="utf-8")
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(content)
    loaded = load_session(folder)
    return loaded.session, loaded.problems


def fault(folder: Path, old: str, new: str) -> tuple[str, str, str]:
    assert BASE.count(old) == 1
    _, (problem,) = load(folder, BASE.replace(old, new))
    what, where, try_ = str(problem).split("\n")
    return what, where.split("line ")[1], try_


def test_a_position_near_a_seat_counts_nothing_by_itself(tmp_path: Path) -> None:
    session, problems = load(tmp_path)
    assert session is not None, problems
    assert session.seats == (
        Seat(id="A", weight=1.0),
        Seat(id="A2", weight=0.0, near="A"),
        Seat(id="B", weight=2.0),
    )
    assert session.criteria.target_slope_db_per_octave == -1.5


def test_a_closing_take_may_bear_the_number_of_a_repeat(tmp_path: Path) -> None:
    session, _ = load(tmp_path)
    assert session is not None
    assert {file.path: file.closing for file in session.measurements} == {
        path: path.startswith("end/") for path in FILES
    }


def test_a_closing_take_that_is_a_copy_of_a_repeat_is_an_error(tmp_path: Path) -> None:
    _, problems = load(tmp_path, files={**FILES, "end/A_out_1.csv": FILES["m/A_out_1.csv"]})
    assert ["same bytes" in str(problem) for problem in problems] == [True]


@pytest.mark.parametrize(
    ("old", "new", "line", "what", "try_"),
    [
        ('near = "A"', 'near = "C"', "11", "near = 'C' in [seats.A2] names no other seat", "known: A, B"),
        ('near = "A"', 'near = "A2"', "11", "near = 'A2' in [seats.A2] names no other seat", "A"),
        ("weight = 2.0", 'near = "A2"', "13", "near = 'A2' in [seats.B] is near another itself", "A"),
        ('near = "A"', 'near = "A"\nweight = 1.0', "12", "would count twice", "leave the line out"),
        ("closing = true", 'closing = "yes"', "18", "not true or false", "closing = true"),
        ("closing = true", 'closing = true\nkind = "noise"', "18", "does not belong to kind 'noise'", "response"),
        ("-1.5", '-1.5\ntarget = "m/A_in_1.csv"', "20", "stands beside target = 'm/A_in_1.csv'", "leave one"),
        ("-1.5", "-20", "20", "is out of range", "at least -12 and at most 12"),
    ],
)
def test_what_cannot_be_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, line: str, what: str, try_: str
) -> None:
    found = fault(tmp_path, old, new)
    assert what in found[0]
    assert found[1] == line
    assert try_ in found[2]


def test_a_slope_beside_a_flat_target_is_no_fault(tmp_path: Path) -> None:
    session, problems = load(tmp_path, BASE + 'target = "flat"\n')
    assert session is not None, problems
