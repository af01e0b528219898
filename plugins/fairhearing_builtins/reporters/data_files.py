"""The findings as JSON and CSV, and the curves beside them: what other programs read."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from fairhearing.api import OutputFile, ReportInputs, Table
from fairhearing_builtins.reporters.identity import FIELDS, Stated, stated_findings
from fairhearing_builtins.reporters.names import UniqueNames

FORMAT = 1
Value = str | float | int | bool | list[float] | list[str] | None


def plain(value: object) -> Value:
    """A value as JSON knows it: a number of any library as Python's own, minus zero as zero, a tuple as a list."""
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, tuple | list):
        return [item if isinstance(item, str) else float(item) for item in value]  # type: ignore[return-value]
    if isinstance(value, float):
        return float(value) + 0.0
    if isinstance(value, int):
        return int(value)
    return float(str(value)) + 0.0


def finding_fields(stated: Stated) -> dict[str, Value]:
    """All fields of a finding as findings.json gives them."""
    own = {"id": stated.id, "session": stated.session, "room": stated.room, "analyser": stated.analyser}
    return {name: plain(own[name] if name in own else getattr(stated.finding, name)) for name in FIELDS}


def findings_json(inputs: ReportInputs) -> bytes:
    """findings.json, format 1: strict JSON in UTF-8, sorted, a finding a line."""
    sessions = json.dumps(sorted(session.id for session in inputs.sessions), ensure_ascii=False)
    lines = ",\n".join(
        json.dumps(finding_fields(stated), ensure_ascii=False, allow_nan=False) for stated in stated_findings(inputs)
    )
    body = f"\n{lines}\n" if lines else ""
    return f'{{"format": {FORMAT}, "sessions": {sessions}, "findings": [{body}]}}\n'.encode()


def findings_csv(inputs: ReportInputs) -> bytes:
    """Every finding, one row each; the edges of a band in two columns, caveats joined by " | ", null as empty."""
    header: list[str] = []
    for name in FIELDS:
        header += ["band_low_hz", "band_high_hz"] if name == "band_hz" else [name]
    rows: list[list[object]] = []
    for stated in stated_findings(inputs):
        fields = finding_fields(stated)
        row: list[object] = []
        for name in FIELDS:
            value = fields[name]
            if name == "band_hz":
                row += value if isinstance(value, list) else [None, None]
            else:
                row.append(" | ".join(map(str, value)) if isinstance(value, list) else value)
        rows.append(row)
    return _csv(header, rows)


def column_header(column: str, unit: str) -> str:
    """A column's name with its unit: as it is if it ends in the unit, else with the unit in brackets.

    >>> column_header("level_db", "dB"), column_header("frequency", "Hz"), column_header("seat", "")
    ('level_db', 'frequency [Hz]', 'seat')
    """
    said = re.sub(r"[^0-9a-z]+", "_", unit.lower()).strip("_")
    if unit in ("", "1") or (said and column.lower().endswith("_" + said)):
        return column
    return f"{column} [{unit}]"


def table_csv(table: Table) -> bytes:
    """A table's columns side by side; a gap is an empty cell."""
    header = [column_header(column, table.units.get(column, "")) for column in table.columns]
    columns = [list(column) for column in table.columns.values()]
    length = max(map(len, columns), default=0)
    rows = [[column[index] if index < len(column) else None for column in columns] for index in range(length)]
    return _csv(header, rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableFile:
    """A table and the session that it is of ("" for one over many)."""

    session: str
    table: Table


def table_files(inputs: ReportInputs) -> dict[str, TableFile]:
    """Path in the report folder -> table, for every table of every result."""
    names = UniqueNames(taken=("findings",))
    return {
        names.path("tables", (result.session, result.analyser, table.name), ".csv"): TableFile(
            session=result.session, table=table
        )
        for result in sorted(inputs.results, key=lambda result: (result.session, result.analyser))
        for table in result.result.tables
    }


def _csv(header: list[str], rows: Iterable[Iterable[object]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([None if isinstance(cell, float) and not math.isfinite(cell) else cell for cell in row])
    return text.getvalue().encode()


class DataFiles:
    """findings.json, tables/findings.csv and a CSV for each table of the results."""

    name = "data-files"
    version = "1"

    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        """The files; same input, same bytes.

        Parameters
        ----------
        inputs : ReportInputs

        Returns
        -------
        iterable of OutputFile

        Raises
        ------
        ValueError
            A finding holds a number that JSON has no word for.
        """
        yield OutputFile(path="findings.json", data=findings_json(inputs))
        yield OutputFile(path="tables/findings.csv", data=findings_csv(inputs))
        for path, file in table_files(inputs).items():
            yield OutputFile(path=path, data=table_csv(file.table))
