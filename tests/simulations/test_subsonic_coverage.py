"""A short run of the coverage of subsonic changes: intervals hold as often as they say, and narrower ones would not."""

from __future__ import annotations

import math

import pytest

from simulations.subsonic_coverage import PROGRAMMES, TABLE, Outcome, run, share, truth

N_SESSIONS, SECONDS, SEED = 400, 60.0, 4711
NAMES = ("pink noise, noise in the room", "warp and rumble")


@pytest.fixture(scope="module", params=NAMES)
def found(request: pytest.FixtureRequest) -> list[Outcome]:
    programme = PROGRAMMES[request.param]
    return run(N_SESSIONS, SEED, programme, SECONDS, truth(programme, SEED + 1, n_hours=3))


def least() -> float:
    """93 %, less three standard deviations of the simulation itself."""
    return 0.93 - 3 * math.sqrt(0.93 * 0.07 / N_SESSIONS)


def test_intervals_hold_the_truth_as_often_as_they_say(found: list[Outcome]) -> None:
    assert least() <= share(found) <= 0.97 + 3 * math.sqrt(0.97 * 0.03 / N_SESSIONS)


def test_intervals_of_six_tenths_the_width_would_fail(found: list[Outcome]) -> None:
    assert share(found, 0.6) < least()


def test_the_long_run_is_written_down_and_every_row_of_it_holds() -> None:
    text = TABLE.read_text(encoding="utf-8")
    n = int(text.split("--sessions ")[1].split()[0])
    rows = [line for line in text.splitlines() if line.startswith("| ")][1:]
    held = {line.split("|")[1].strip(): [float(cell.split("%")[0]) for cell in line.split("|")[3:6]] for line in rows}
    assert set(PROGRAMMES) <= set(held)
    error = 100 * math.sqrt(0.95 * 0.05 / n)
    assert all(93 - 2 * error <= value <= 97 + 2 * error for name in PROGRAMMES for value in held[name])
