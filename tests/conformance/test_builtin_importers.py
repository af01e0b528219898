"""The built-in importers, found as any other, keep every rule on the samples that they bring along."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from conformance.kit_counts import RunOnce

from fairhearing.api import Importer
from fairhearing.conformance import ImporterSample, importer_cases
from fairhearing.conformance.importer_samples import as_samples
from fairhearing.conformance.kit import Case
from fairhearing.registry import load_plugins

PLUGINS = load_plugins()
BUILT_IN = {note.name for note in PLUGINS.notes.importers if note.distribution == "fairhearing"}
IMPORTERS = {importer.name: importer for importer in PLUGINS.importers if importer.name in BUILT_IN}
ALL_CASES = {
    name: importer_cases(
        importer, samples=importer.samples, others=[other for other in IMPORTERS.values() if other is not importer]
    )
    for name, importer in IMPORTERS.items()
}
CASES = [(name, case) for name, found in ALL_CASES.items() for case in found]
outcome_of = RunOnce("importer")
# What the kit cannot look at: two importers of one kind, text, decimals, numbers in rows.
SKIPPED = {
    "aes69": {"crlf", "byte-order-mark", "decimal-comma", "spoiled-row"},
    "impulse": {"crlf", "byte-order-mark", "decimal-comma", "spoiled-row"},
    "recording": {"claims-nobody-elses", "crlf", "byte-order-mark", "decimal-comma", "spoiled-row"},
    "response-table": set(),
    "score-sheet": {"claims-nobody-elses", "decimal-comma", "spoiled-row"},
    "sweep": {"claims-nobody-elses", "crlf", "byte-order-mark", "decimal-comma", "spoiled-row"},
    "universal-file": set(),
}
CORNER_HZ, LEVEL_DB = 90.0, 80.0


@pytest.mark.parametrize(("name", "case"), CASES, ids=[f"{name}-{case.rule.name}" for name, case in CASES])
def test_every_built_in_importer_keeps(name: str, case: Case, record_property: Callable[[str, object], None]) -> None:
    outcome_of.must_keep(name, case, record_property)


def test_all_built_in_importers_are_there() -> None:
    assert set(IMPORTERS) == set(SKIPPED)


@pytest.mark.parametrize("name", SKIPPED)
def test_nothing_is_skipped_but_what_cannot_be_looked_at(name: str) -> None:
    outcomes = [outcome_of(name, case) for case in ALL_CASES[name]]
    assert {outcome.rule for outcome in outcomes if outcome.state == "skipped"} == SKIPPED[name]


def samples(importer: Importer) -> tuple[ImporterSample, ...]:
    return as_samples(importer.samples)  # type: ignore[attr-defined]


def golden(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


def rows(path: Path) -> list[list[float]]:
    return golden(path)["rows"]


def of_one_take(name: str) -> list[Path]:
    """The golden files of the samples that give one reading each."""
    paths = [sample.golden_path for sample in samples(IMPORTERS[name])]
    return [path for path in paths if "readings" not in golden(path)]


def test_every_sample_has_a_golden_file() -> None:
    built_in = [sample for name in SKIPPED for sample in samples(IMPORTERS[name])]
    assert [sample.golden_path.name for sample in built_in if not sample.golden_path.is_file()] == []
    assert len(built_in) == 15


def test_the_golden_responses_hold_the_high_pass_that_the_samples_were_made_of() -> None:
    """|H|^2 = 1/(1 + (f_c/f)^2), phase atan(f_c/f): the first-order high-pass."""
    point, comma = (sample.golden_path for sample in samples(IMPORTERS["response-table"]))
    assert len(rows(point)) == len(rows(comma)) == 31
    for frequency_hz, level_db, *phase_deg in [*rows(point), *rows(comma)]:
        ratio = CORNER_HZ / frequency_hz
        assert level_db == pytest.approx(LEVEL_DB - 10 * math.log10(1 + ratio**2), abs=0.0006)
        assert phase_deg == pytest.approx([math.degrees(math.atan(ratio))] * len(phase_deg), abs=0.006)
    assert {len(row) for row in rows(comma)} == {3}


@pytest.mark.parametrize(("name", "n_rows"), [("aes69", (31,)), ("universal-file", (50, 31))])
def test_the_golden_responses_of_containers_hold_the_same_high_pass(name: str, n_rows: tuple[int, ...]) -> None:
    """Six digits in the last of the samples: 5e-6 of the value, which is 0.00005 dB and 0.0003 degree."""
    tables = [rows(path) for path in of_one_take(name)]
    assert tuple(map(len, tables)) == n_rows
    for frequency_hz, level_db, phase_deg in [row for table in tables for row in table]:
        ratio = CORNER_HZ / frequency_hz
        assert level_db == pytest.approx(LEVEL_DB - 10 * math.log10(1 + ratio**2), abs=0.0001)
        assert phase_deg == pytest.approx(math.degrees(math.atan(ratio)), abs=0.0005)


def test_the_golden_recordings_have_the_format_that_they_were_written_in() -> None:
    wav, flac = (sample.golden_path for sample in samples(IMPORTERS["recording"]))
    assert rows(wav) == [[8000, 2, 1200, "PCM_16"]]
    assert rows(flac) == [[8000, 2, 1200, "PCM_24"]]


@pytest.mark.parametrize(
    ("name", "gain", "lowest_hz", "tolerance_db"), [("impulse", 0.5, 10.0, 0.02), ("sweep", 0.8, 15.0, 0.15)]
)
def test_the_golden_sounds_hold_the_high_pass_that_the_samples_were_made_of(
    name: str, gain: float, lowest_hz: float, tolerance_db: float
) -> None:
    """A first-order high-pass made for 8 kHz by the bilinear transform: f_c/f becomes a ratio of tangents."""
    for path in of_one_take(name):
        found = [row for row in rows(path) if row[0] >= lowest_hz]
        assert len(found) > 350
        for frequency_hz, level_db, _ in found:
            ratio = math.tan(math.pi * CORNER_HZ / 8000.0) / math.tan(math.pi * frequency_hz / 8000.0)
            expected_db = 20 * math.log10(gain) - 10 * math.log10(1 + ratio**2)
            assert level_db == pytest.approx(expected_db, abs=tolerance_db), frequency_hz


@pytest.mark.parametrize(
    ("name", "file", "gains", "rate_hz"),
    [
        (
            "aes69",
            "high_pass_fir.sofa",
            {("B", "1"): 1.0, ("B", "2"): 0.5, ("A", "1"): 0.25, ("A", "2"): 0.125},
            1000.0,
        ),
        ("impulse", "high_pass_two_channels.flac", {(None, "1"): 0.5, (None, "2"): 0.25}, 1000.0),
        ("universal-file", "high_pass_two_points.uff", {(None, "12-z"): 1e4, (None, "13-z"): 5e3}, None),
    ],
)
def test_the_golden_files_of_several_takes_hold_each_with_its_own_gain(
    name: str, file: str, gains: dict[tuple[str | None, str], float], rate_hz: float | None
) -> None:
    """The high-pass of the samples: as it stands, or made for a sample rate by the bilinear transform."""
    (path,) = (sample.golden_path for sample in samples(IMPORTERS[name]) if sample.path.name == file)
    readings = {(one["seat"], one["channel"]): one["rows"] for one in golden(path)["readings"]}
    assert list(readings) == list(gains)

    def warped(frequency_hz: float) -> float:
        return frequency_hz if rate_hz is None else math.tan(math.pi * frequency_hz / rate_hz)

    for key, gain in gains.items():
        found = [row for row in readings[key] if row[0] >= 15.0]
        assert len(found) > 30
        for frequency_hz, level_db, _ in found:
            expected_db = 20 * math.log10(gain) - 10 * math.log10(1 + (warped(CORNER_HZ) / warped(frequency_hz)) ** 2)
            assert level_db == pytest.approx(expected_db, abs=0.02), (key, frequency_hz)
