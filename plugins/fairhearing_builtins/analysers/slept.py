"""Repeats without the bass that the others of their seat and condition have: as if a subwoofer had slept."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import mean_over_log_frequency
from fairhearing.api import Comparison
from fairhearing_builtins.analysers.cells import Cell, Field, Place

FloatArray = npt.NDArray[np.float64]

BASS_HZ, MIDBAND_HZ = (20.0, 80.0), (1000.0, 4000.0)
# Common practice, no source: a microphone put back moves the mean of two octaves of bass by a few decibels.
LACKING_DB = 10.0
_FEWEST_OCTAVES = 1.0


def slept(field: Field, comparison: Comparison, seat: str | None = None, channel: str | None = None) -> tuple[str, ...]:
    """A caveat for each doubtful repeat of both conditions: at a seat and of a channel, or of all (None)."""
    said: list[str] = []
    if field.point == "seat":
        for place in field.places(comparison, None if seat is None else [seat]):
            if channel is None or place.channel == channel:
                for name in (comparison.reference.id, comparison.condition.id):
                    said += _doubtful(field.grids[place], field.cells[place, name], place, name)
    return tuple(said)


def _doubtful(grid: FloatArray, cell: Cell, place: Place, condition: str) -> Iterator[str]:
    """The repeats whose bass, against their own mids where these were measured, is far from that of the others."""
    lower_hz, upper_hz = max(BASS_HZ[0], float(grid[0])), min(BASS_HZ[1], float(grid[-1]))
    if cell.n_repeats < 2 or not upper_hz > lower_hz * 2**_FEWEST_OCTAVES:
        return
    bass_db = _level_db(grid, cell.power, lower_hz, upper_hz)
    has_mids = grid[0] <= MIDBAND_HZ[0] and grid[-1] >= MIDBAND_HZ[1]
    mids_db = _level_db(grid, cell.power, *MIDBAND_HZ) if has_mids else np.zeros(cell.n_repeats)
    relative_db = bass_db - mids_db
    if not np.isfinite(relative_db).all():
        return
    band = f"at {lower_hz:.0f}-{upper_hz:.0f} Hz" + (" against its 1000-4000 Hz" if has_mids else "")
    parts = (f"seat {place.seat}", place.channel and f"channel {place.channel}", f"condition {condition}")
    where = ", ".join(part for part in parts if part)
    if cell.n_repeats == 2:
        low, high = int(np.argmin(relative_db)), int(np.argmax(relative_db))
        less_db = float(relative_db[high] - relative_db[low])
        if less_db > LACKING_DB:
            yield (
                f"{where}: repeat {cell.repeats[low]} has {less_db:.0f} dB less {band} than repeat "
                f"{cell.repeats[high]}: one of the two is doubtful; did a subwoofer sleep?"
            )
        return
    others = [np.median(np.delete(relative_db, index)) for index in range(cell.n_repeats)]
    off_db = relative_db - others
    lacking = np.flatnonzero(off_db < -LACKING_DB).tolist()
    for index in lacking:
        yield (
            f"{where}: repeat {cell.repeats[index]} has {-off_db[index]:.0f} dB less {band} than its repeats: "
            "a subwoofer that slept?"
        )
    for index in [] if lacking else np.flatnonzero(off_db > LACKING_DB).tolist():
        yield (
            f"{where}: repeat {cell.repeats[index]} has {off_db[index]:.0f} dB more {band} than its repeats: "
            "did a subwoofer sleep through those?"
        )


def _level_db(grid: FloatArray, power: FloatArray, lower_hz: float, upper_hz: float) -> FloatArray:
    """Level of each repeat between two frequencies, mean over ln f."""
    mean = mean_over_log_frequency(grid, power, np.array([lower_hz]), np.array([upper_hz]))[:, 0]
    with np.errstate(divide="ignore"):
        level_db: FloatArray = 10 * np.log10(mean)
    return level_db
