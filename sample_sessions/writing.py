"""Files of one session: tables of takes and score sheets as rounded text, so that the last bits do not matter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
from listeners import Row
from manifests import manifest
from rooms import Complex, Real, Scatter, generator, take
from scenarios import Scenario, Table, amplifier_response, seat_response

POINTS_PER_OCTAVE = 24
# A voltmeter repeats to a few thousandths of a decibel, and no room is in the way.
AMPLIFIER_SCATTER = Scatter(placement_db=0.003, take_db=0.003)
# Not the dialect of the session's other files: these come from another instrument.
AMPLIFIER_TABLE = Table(suffix="csv", delimiter=",", decimal=".", columns=("Hz", "dB"))


def frequencies_hz() -> Real:
    """Grid from 10 Hz to 20 kHz, 24 points an octave, rounded as it is printed: the curves hold at what is printed."""
    n = int(POINTS_PER_OCTAVE * np.log2(20e3 / 10.0)) + 1
    return np.round(10.0 * 2 ** (np.arange(n) / POINTS_PER_OCTAVE), 2)


def response_text(table: Table, frequency_hz: Real, measured: Complex, decimals: int) -> str:
    """A response as delimited text."""
    kilo = "kHz" in table.columns[0]
    level_db = 20 * np.log10(np.abs(measured))
    phase_deg = np.degrees(np.angle(measured))
    lines = [*table.comments, table.delimiter.join(table.columns)]
    for frequency, level, phase in zip(frequency_hz, level_db, phase_deg, strict=True):
        words = [f"{frequency / 1000:.5f}" if kilo else f"{frequency:.2f}", f"{level:.{decimals}f}", f"{phase:.1f}"]
        row = table.delimiter.join(words[: len(table.columns)])
        lines.append(row.replace(".", table.decimal))
    return "\n".join(lines) + "\n"


def score_text(rows: list[Row], delimiter: str) -> str:
    """A score sheet as delimited text."""
    lines = [delimiter.join(rows[0])] + [delimiter.join(row.values()) for row in rows]
    return "\n".join(lines) + "\n"


def response_name(scenario: Scenario, playing: str, seat: str, channel: str, condition: str, repeat: int) -> str:
    """Where a take at a seat lies, relative to the session's folder."""
    if scenario.folder == "loudspeaker-moved":
        return f"responses/{seat}/{condition}_{repeat}.{scenario.table.suffix}"
    words = [playing] if scenario.subwoofer_measured else []
    words += [seat, channel, condition, str(repeat)]
    return "responses/" + "_".join(word for word in words if word) + "." + scenario.table.suffix


def seat_files(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """Name and text of every take at a seat."""
    frequency_hz = frequencies_hz()
    for playing in ("main", "both") if scenario.subwoofer_measured else ("main",):
        for seat in scenario.seats:
            for channel in scenario.channels:
                for condition in scenario.conditions:
                    exact = seat_response(scenario, condition, seat, channel, playing, frequency_hz)
                    for repeat in range(1, scenario.n_repeats + 1):
                        name = response_name(scenario, playing, seat, channel, condition, repeat)
                        measured = take(exact, frequency_hz, scenario.scatter, generator(scenario.id, name))
                        yield name, response_text(scenario.table, frequency_hz, measured, 2)


def amplifier_files(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """Name and text of every take at the amplifier's output."""
    frequency_hz = frequencies_hz()
    for channel in scenario.amplifier_channels:
        for condition in scenario.conditions:
            exact = amplifier_response(scenario, condition, frequency_hz)
            for repeat in range(1, scenario.n_amplifier_repeats + 1):
                name = f"amplifier/{channel}_{condition}_{repeat}.csv"
                measured = take(exact, frequency_hz, AMPLIFIER_SCATTER, generator(scenario.id, name))
                yield name, response_text(AMPLIFIER_TABLE, frequency_hz, measured, 3)


def session_files(scenario: Scenario, sheets: dict[str, list[Row]]) -> dict[str, str]:
    """Every file of the session: name relative to its folder, text."""
    files = {"session.toml": manifest(scenario)}
    files |= dict(seat_files(scenario))
    files |= dict(amplifier_files(scenario))
    suffix, delimiter = ("tsv", "\t") if scenario.folder == "cable-turned-round" else ("csv", ",")
    for name, rows in sheets.items():
        files[f"scores/{name}.{suffix}"] = score_text(rows, delimiter)
    return files


def write_files(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write every file below the folder, text in UTF-8 with plain line ends on every system."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
