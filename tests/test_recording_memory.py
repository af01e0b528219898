"""Memory does not grow with the length of a recording; the three hours stand in simulations/long_recording.py."""

from __future__ import annotations

import math
from pathlib import Path

from simulations.long_recording import NOISE_EVERY_S, Measured, measured_in_a_process, write_session

MOST_BYTES = 250e6  # everything that is loaded included
BYTES_OF_SECOND = 96_000 * 2 * 8


def measured(place: Path, n_seconds: int) -> Measured:
    return measured_in_a_process(write_session(place / f"{n_seconds}", n_seconds), place / f"{n_seconds}.duckdb")


def test_three_minutes_at_96_khz_take_hardly_more_memory_than_twenty_seconds(tmp_path: Path) -> None:
    short, long = measured(tmp_path, 20), measured(tmp_path, 180)
    assert long.peak_bytes < MOST_BYTES
    # One thirtieth of what is in it would show.
    assert long.peak_bytes - short.peak_bytes < 180 * BYTES_OF_SECOND / 30
    for found in (short, long):
        # A second of noise of 0.1 in each twenty.
        assert abs(found.level_db - 10 * math.log10(0.01 / NOISE_EVERY_S)) < 0.05
