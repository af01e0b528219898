"""Golden files: what must be read from a sample, as a JSON table beside it."""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from fairhearing.audio import RecordingFile
from fairhearing.conformance.importer_contents import Content
from fairhearing.conformance.importer_samples import ImporterSample, read_one
from fairhearing.contracts import Importer, Reading, ScoreTable

FORMAT = 1
DECIMALS = 6
# However few digits are printed, a change of 0.01 dB must show.
LARGEST_TOLERANCE = Decimal("0.005")
CURVE_COLUMNS = ("frequency_hz", "level_db", "phase_deg")

NAMES = ("seat", "channel")

Row = list[float | str | int | None]


def golden_text(readings: Sequence[Reading]) -> str:
    """What was read of a file as a JSON table, a row a line, numbers with six decimals; of several, a table each.

    Raises
    ------
    ValueError
        One is a problem.
    """
    for reading in readings:
        if reading.problem is not None:
            raise ValueError(f"{reading.path} is not read: {reading.problem}")
    if len(readings) == 1:
        parts = _parts(readings[0])
    else:
        tables = [[*(f'"{key}": {_json(name)}' for key, name in _names(one).items()), *_parts(one)] for one in readings]
        parts = ['"readings": [\n{' + "},\n{".join(",\n ".join(table) for table in tables) + "}\n]"]
    return "{\n " + ",\n ".join([f'"format": {FORMAT}', *parts]) + "\n}\n"


def _names(reading: Reading) -> dict[str, str | None]:
    """What tells the readings of one file apart."""
    return {name: getattr(reading, name) for name in NAMES}


def _parts(reading: Reading) -> list[str]:
    assert reading.content is not None
    columns, rows = _table(reading.content)
    body = ",\n  ".join(f"[{', '.join(map(_cell, row))}]" for row in rows)
    return [
        f'"columns": {_json(columns)}',
        f'"caveats": {_json(list(reading.caveats))}',
        f'"rows": [\n  {body}\n ]',
    ]


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _table(content: Content) -> tuple[list[str], list[Row]]:
    if isinstance(content, ScoreTable):
        rows: list[Row] = [
            [line, *(column[place] for column in content.columns.values())] for place, line in enumerate(content.lines)
        ]
        return ["line", *content.columns], rows
    if isinstance(content, RecordingFile):
        form = content.format
        return ["rate_hz", "n_channels", "n_frames", "subtype"], [
            [form.rate_hz, form.n_channels, form.n_frames, form.subtype]
        ]
    arrays = {name: getattr(content, name) for name in CURVE_COLUMNS if getattr(content, name) is not None}
    return list(arrays), [list(row) for row in zip(*(array.tolist() for array in arrays.values()), strict=True)]


def _cell(value: float | str | int | None) -> str:
    if isinstance(value, float):
        return f"{value:.{DECIMALS}f}"
    return _json(value)


def write_golden(importer: Importer, sample: ImporterSample) -> str:
    """Write what is read from a sample into its golden file; what changed as a unified diff, "" for nothing.

    Raises
    ------
    ValueError
        The sample is not read.
    PluginProblem
        The importer raised.
    """
    path = sample.golden_path
    new = golden_text(list(read_one(importer, sample).values()))
    old = path.read_text(encoding="utf-8") if path.exists() else ""
    if new != old:
        path.write_text(new, encoding="utf-8", newline="\n")
    lines = difflib.unified_diff(old.splitlines(True), new.splitlines(True), f"{path.name} before", f"{path.name} now")
    return "".join(lines)


def golden_difference(path: Path, readings: Sequence[Reading]) -> str | None:
    """How the readings of a file differ from its golden file; None if all numbers are the same to the printed digits.

    Raises
    ------
    ValueError
        The file is no golden file.
    """
    golden = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    if not isinstance(golden, dict) or golden.get("format") != FORMAT:
        raise ValueError(f"{path.name} is no golden file of format {FORMAT}")
    if "readings" not in golden:
        several = f"{len(readings)} readings, golden one" if len(readings) != 1 else None
        return several or _difference(golden, readings[0])
    names, wanted = [_names(one) for one in readings], [{k: one.get(k) for k in NAMES} for one in golden["readings"]]
    if names != wanted:
        return f"readings of {names}, golden {wanted}"
    for name, one, golden_one in zip(names, readings, golden["readings"], strict=True):
        found = _difference(golden_one, one)
        if found is not None:
            return f"{' '.join(part for part in name.values() if part is not None)}: {found}"
    return None


def _difference(golden: Mapping[str, Any], reading: Reading) -> str | None:
    if reading.content is None:
        return f"not read: {reading.problem}"
    columns, rows = _table(reading.content)
    if golden.get("columns") != columns:
        return f"columns {columns}, golden {golden.get('columns')}"
    if golden.get("caveats", []) != list(reading.caveats):
        return f"caveats {list(reading.caveats)}, golden {golden.get('caveats')}"
    wanted = golden.get("rows", [])
    if len(rows) != len(wanted):
        return f"{len(rows)} rows, golden {len(wanted)}"
    for number, (row, golden_row) in enumerate(zip(rows, wanted, strict=True), start=1):
        for column, value, expected in zip(columns, row, golden_row, strict=True):
            if not _same(value, expected):
                return f"{column} of row {number} is {value!r}, golden {expected}"
    return None


def _same(value: object, expected: object) -> bool:
    if not isinstance(value, float):
        return value == expected
    if not isinstance(expected, Decimal | int) or isinstance(expected, bool):
        return False
    expected = Decimal(expected)
    exponent = expected.as_tuple().exponent
    printed = Decimal(5).scaleb(exponent - 1) if isinstance(exponent, int) else LARGEST_TOLERANCE
    return abs(Decimal(value) - expected) <= min(printed, LARGEST_TOLERANCE)
