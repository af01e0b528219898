"""Tests of fairhearing_builtins.reporters.data_files and .identity."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from fairhearing.api import AnalyserResult, Finding, ReportInputs, Result, Table
from fairhearing_builtins.reporters.data_files import DataFiles, column_header, findings_json, table_csv
from fairhearing_builtins.reporters.identity import FIELDS, IDENTIFYING, finding_id, stated_findings

from .build_report import HALL, STUDY, both, hall_results

CONTRACT_KEYS = {
    "session", "room", "analyser", "quantity", "variant", "value", "unit", "low", "high", "confidence", "p_value", "n",
    "method", "condition", "reference", "point", "playing", "seat", "channel", "programme", "listener", "band_hz", "of",
    "verdict", "caveats",
}  # fmt: skip


def refuse(word: str) -> float:
    raise AssertionError(f"{word} is no JSON")


def strict(data: bytes) -> dict[str, object]:
    return json.loads(data.decode(), parse_constant=refuse)


def report_of(*findings: Finding, session: str = "hall") -> ReportInputs:
    result = AnalyserResult(session=session, room="r", analyser="a", version="1", result=Result(findings=findings))
    return ReportInputs(sessions=(), results=(result,))


def found(**fields: object) -> Finding:
    values = {"quantity": "level_change", "value": 1.0, "unit": "dB", "method": "m"} | fields
    return Finding(**values)  # type: ignore[arg-type]


def test_findings_json_is_strict_and_has_the_keys_of_the_contract() -> None:
    read = strict(findings_json(both()))
    assert list(read) == ["format", "sessions", "findings"]
    assert read["format"] == 1
    assert read["sessions"] == sorted([HALL, STUDY])
    n_findings = sum(len(result.result.findings) for result in both().results)
    assert len(read["findings"]) == n_findings  # type: ignore[arg-type]
    for finding in read["findings"]:  # type: ignore[attr-defined]
        assert set(finding) == CONTRACT_KEYS | {"id", "nominal_hz"}


def test_findings_are_sorted_with_none_first_whatever_the_order_they_come_in() -> None:
    turned = replace(both(), results=tuple(reversed(both().results)))
    read = strict(findings_json(turned))["findings"]

    def key(finding: dict[str, object]) -> list[tuple[bool, object]]:
        return [(finding[name] is not None, finding[name] if finding[name] is not None else "") for name in IDENTIFYING]

    assert [key(one) for one in read] == sorted(key(one) for one in read)  # type: ignore[attr-defined]
    assert findings_json(turned) == findings_json(both())


def test_none_stands_before_every_seat_and_bands_rise() -> None:
    bands = [(900.0, 1100.0), (90.0, 110.0)]
    inputs = report_of(*(found(seat=seat, band_hz=band) for seat in ("B", None, "A") for band in bands))
    order = [(one.finding.seat, one.finding.band_hz) for one in stated_findings(inputs)]
    assert order == [(seat, band) for seat in (None, "A", "B") for band in reversed(bands)]


def test_ids_are_unique_stable_and_safe_in_an_attribute() -> None:
    ids = [one.id for one in stated_findings(both())]
    assert len(ids) == len(set(ids))
    assert ids == [one.id for one in stated_findings(both())]
    assert all(re.fullmatch(r"[A-Za-z0-9_.%/~-]+", one) for one in ids)
    assert f"{HALL}/filter/corner_frequency/-/-/seat/main/-/in/out" in ids


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"seat": "A"}, {"condition": "A"}),
        ({"seat": "-"}, {}),
        ({"seat": ""}, {}),
        ({"seat": "a/b"}, {"seat": "a", "condition": "b"}),
        ({"seat": "a~2"}, {"seat": "a"}),
        ({"seat": "ä"}, {"seat": "a"}),
    ],
)
def test_findings_that_differ_have_ids_that_differ(one: dict[str, object], other: dict[str, object]) -> None:
    assert finding_id("hall", "a", found(**one)) != finding_id("hall", "a", found(**other))


def test_findings_alike_in_everything_still_get_two_ids() -> None:
    first, second = (one.id for one in stated_findings(report_of(found(), found())))
    assert first != second


def test_numbers_of_numpy_are_plain_and_minus_zero_is_zero() -> None:
    inputs = report_of(found(value=np.float64(-0.0), n=np.int64(4), low=np.float64(-1.5), high=1))
    (read,) = strict(findings_json(inputs))["findings"]  # type: ignore[misc]
    assert (str(read["value"]), read["n"], read["low"], read["high"]) == ("0.0", 4, -1.5, 1)


def test_a_finding_over_many_sessions_has_a_null_session() -> None:
    (read,) = strict(findings_json(report_of(found(), session="")))["findings"]  # type: ignore[misc]
    assert read["session"] is None


def test_no_results_still_make_sound_files() -> None:
    files = {file.path: file.data for file in DataFiles().render(ReportInputs(sessions=(), results=()))}
    assert strict(files["findings.json"]) == {"format": 1, "sessions": [], "findings": []}
    assert files["tables/findings.csv"].decode().count("\n") == 1


def test_findings_csv_has_a_row_for_every_finding_and_the_edges_of_bands_in_two_columns() -> None:
    files = {file.path: file.data for file in DataFiles().render(both())}
    rows = list(csv.DictReader(io.StringIO(files["tables/findings.csv"].decode())))
    read = strict(files["findings.json"])["findings"]
    assert [row["id"] for row in rows] == [one["id"] for one in read]  # type: ignore[attr-defined]
    assert set(rows[0]) == (set(FIELDS) - {"band_hz"}) | {"band_low_hz", "band_high_hz"}
    for row, one in zip(rows, read, strict=True):  # type: ignore[arg-type]
        assert row["value"] == ("" if one["value"] is None else str(one["value"]))
        edges = one["band_hz"] or ["", ""]
        assert [row["band_low_hz"], row["band_high_hz"]] == [str(edge) for edge in edges]


def test_curves_stand_beside_with_units_in_their_headers_and_gaps_empty() -> None:
    files = {file.path: file.data for file in DataFiles().render(both())}
    rows = list(csv.reader(io.StringIO(files[f"tables/{HALL}_level_change.csv"].decode())))
    assert rows[0] == ["frequency [Hz]", "level_db", "seat"]
    assert rows[1] == ["20.0", "", "A"]
    assert rows[2][1] == "-1.0"


@pytest.mark.parametrize(
    ("column", "unit", "header"),
    [("level_db", "dB", "level_db"), ("level", "dB", "level [dB]"), ("seat", "", "seat"), ("ratio", "1", "ratio"),
     ("time_s", "s", "time_s"), ("times", "s", "times [s]")],
)  # fmt: skip
def test_a_header_says_its_unit_once(column: str, unit: str, header: str) -> None:
    assert column_header(column, unit) == header


def test_not_a_number_is_an_empty_cell_and_short_columns_end_in_empty_cells() -> None:
    table = Table(name="t", columns={"a": [float("nan"), 1.0], "b": [2]}, units={})
    assert table_csv(table) == b"a,b\n,2\n1.0,\n"


def test_tables_whose_names_collide_are_all_written() -> None:
    tables = tuple(Table(name=name, columns={"a": [1]}, units={}) for name in ("x/y", "x y", "X-Y"))
    result = AnalyserResult(session="s", room="", analyser="a", version="1", result=Result(tables=tables))
    paths = [file.path for file in DataFiles().render(ReportInputs(sessions=(), results=(result,)))]
    assert len({path.lower() for path in paths}) == 2 + len(tables)


def test_no_file_of_data_names_a_folder_or_a_time() -> None:
    assert len(hall_results()) == 6
    text = findings_json(both()).decode()
    assert "nowhere" not in text  # the folder of the made-up sessions
    assert not re.search(r"\d\d:\d\d", text)
