"""Reads the impedance of a loudspeaker that [chain] names: rows of hertz, ohm and perhaps degrees."""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass
from pathlib import Path

from fairhearing.errors import ImportProblem, unreadable
from fairhearing.session import ImpedanceTable, Session

FEWEST_ROWS = 4
_COMMENTS = ("#", "*", "%", "!", '"', "//")
_COLUMNS = (
    ("frequency", re.compile(r"(frequency|freq|f)?\W*(hz)?\W*", re.IGNORECASE)),
    ("impedance", re.compile(r"\W*(impedance|magnitude|z)?\W*(ohms?|Ω|Ω)?\W*", re.IGNORECASE)),
    ("phase", re.compile(r"(phase)?\W*(degrees?|deg|°)?\W*", re.IGNORECASE)),
)
_WANTED = "rows of Hz and ohm, with degrees as a third column if they are known"


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpedanceFile:
    """A table with the sha256 and the size of the file that it stands in."""

    table: ImpedanceTable
    sha256: str
    size: int


def impedance_paths(session: Session) -> tuple[str, ...]:
    """The files that the chains of a session name, each once."""
    named = (condition.chain.loudspeaker_impedance for condition in session.conditions)
    return tuple(dict.fromkeys(path for path in named if path is not None))


def read_impedance(folder: Path, path: str) -> ImpedanceFile:
    """The table in a file of the session folder.

    Raises
    ------
    ImportProblem
        The file cannot be read, or a row is not what it should be; the line is named.
    """
    try:
        data = (folder / path).read_bytes()
    except OSError as error:
        raise unreadable(error, path) from error
    return ImpedanceFile(table=_table(path, _text(path, data)), sha256=hashlib.sha256(data).hexdigest(), size=len(data))


def _text(path: str, data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ImportProblem(
            f"the file is not UTF-8: byte 0x{data[error.start]:02x}",
            where=f"{path}, line {line}",
            try_="save it with the encoding UTF-8",
        ) from error


def _table(path: str, text: str) -> ImpedanceTable:
    rows: list[tuple[float, ...]] = []
    lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1)]
    lines = [(number, line) for number, line in lines if line and not line.startswith(_COMMENTS)]
    for index, (number, line) in enumerate(lines):
        fields = _fields(line)
        if index == 0 and not any(_number(field) is not None for field in fields):
            _check_header(path, number, fields)
            continue
        row = _row(path, number, fields)
        if rows and len(row) != len(rows[0]):
            raise _fault(path, number, f"the row has {len(row)} columns, the first one has {len(rows[0])}")
        if rows and row[0] <= rows[-1][0]:
            raise _fault(path, number, f"the frequency {row[0]:g} Hz does not rise (before it: {rows[-1][0]:g} Hz)")
        rows.append(row)
    if len(rows) < FEWEST_ROWS:
        last = lines[-1][0] if lines else 1
        raise _fault(path, last, f"the table has {len(rows)} rows; an impedance needs at least {FEWEST_ROWS}")
    columns = list(zip(*rows, strict=True))
    phase = columns[2] if len(columns) == 3 else None
    return ImpedanceTable(path=path, frequency_hz=columns[0], magnitude_ohm=columns[1], phase_deg=phase)


def _fields(line: str) -> list[str]:
    for delimiter in (";", "\t"):
        if delimiter in line:
            return [field.strip().replace(",", ".") for field in line.split(delimiter)]
    return [field.strip() for field in line.split(",")] if "," in line else line.split()


def _number(field: str) -> float | None:
    try:
        return float(field)
    except ValueError:
        return None


def _check_header(path: str, line: int, fields: list[str]) -> None:
    if len(fields) not in (2, 3):
        raise _fault(path, line, f"the header names {len(fields)} columns")
    for field, (name, pattern) in zip(fields, _COLUMNS, strict=False):
        if pattern.fullmatch(field) is None:
            raise _fault(path, line, f"the header has {field!r} where the {name} was looked for")


def _row(path: str, line: int, fields: list[str]) -> tuple[float, ...]:
    if len(fields) not in (2, 3):
        raise _fault(path, line, f"the row has {len(fields)} columns")
    numbers = []
    for field in fields:
        number = _number(field)
        if number is None or not math.isfinite(number):
            raise _fault(path, line, f"{field!r} is not a finite number")
        numbers.append(number)
    if not numbers[0] > 0:
        raise _fault(path, line, f"the frequency is {numbers[0]:g} Hz, not above 0")
    if not numbers[1] > 0:
        raise _fault(path, line, f"the impedance is {numbers[1]:g} ohm, not above 0")
    if len(numbers) == 3 and not -90.0 <= numbers[2] <= 90.0:
        raise _fault(path, line, f"the phase is {numbers[2]:g} degrees; a loudspeaker's lies between -90 and 90")
    return tuple(numbers)


def _fault(path: str, line: int, what: str) -> ImportProblem:
    return ImportProblem(what, where=f"{path}, line {line}", try_=f"write {_WANTED}")
