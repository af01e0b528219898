"""Golden files: what must be read from a sample, as a JSON table beside it."""

from __future__ import annotations

import difflib
import json
from decimal import Decimal
from pathlib import Path

from fairhearing.audio import RecordingFile
from fairhearing.conformance.importer_contents import Content
from fairhearing.conformance.importer_samples import ImporterSample, read_one
from fairhearing.contracts import Importer, Reading, ScoreTable

FORMAT = 1
DECIMALS = 6
# However few digits are printed, a change of 0.01 dB must show.
LARGEST_TOLERANCE = Decimal("0.005")
CURVE_COLUMNS = ("frequency_hz", "level_db", "phase_deg")

Row = list[float | str | int | None]


def golden_text(reading: Reading) -> str:
    """What was read as a JSON table, a row a line, numbers with six decimals.

    Raises
    ------
    ValueError
        The reading is a problem.
    """
    if reading.problem is not None or reading.content is None:
        raise ValueError(f"{reading.path} is not read: {reading.problem}")
    columns, rows = _table(reading.content)
    body = ",\n  ".join(f"[{', '.join(map(_cell, row))}]" for row in rows)
    parts = [
        f'"format": {FORMAT}',
        f'"columns": {json.dumps(columns, ensure_ascii=False)}',
        f'"caveats": {json.dumps(list(reading.caveats), ensure_ascii=False)}',
        f'"rows": [\n  {body}\n ]',
    ]
    return "{\n " + ",\n ".join(parts) + "\n}\n"


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
    return json.dumps(value, ensure_ascii=False)


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
    new = golden_text(read_one(importer, sample))
    old = path.read_text(encoding="utf-8") if path.exists() else ""
    if new != old:
        path.write_text(new, encoding="utf-8", newline="\n")
    lines = difflib.unified_diff(old.splitlines(True), new.splitlines(True), f"{path.name} before", f"{path.name} now")
    return "".join(lines)


def golden_difference(path: Path, reading: Reading) -> str | None:
    """How a reading differs from a golden file, in words; None if every number is the same within its printed digits.

    Raises
    ------
    ValueError
        The file is no golden file.
    """
    golden = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    if not isinstance(golden, dict) or golden.get("format") != FORMAT or reading.content is None:
        raise ValueError(f"{path.name} is no golden file of format {FORMAT}")
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
