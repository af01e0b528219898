"""How often the intervals of subsonic changes hold the truth, over made-up programmes that come and go.

`python -m simulations.subsonic_coverage` from the folder tests prints a table and writes it to subsonic_coverage.md
beside this file.
"""

from __future__ import annotations

import argparse
import math
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.low_cells import CELLS_PER_HZ, FINE_TOP_HZ, slow_part, taper_of
from fairhearing.statistics.block_ratio import half_width, log_ratio_of_sums

FloatArray = npt.NDArray[np.float64]

TABLE = Path(__file__).with_suffix(".md")
RATE_HZ = 100.0  # of the stream that the low spectrum makes of a recording
LOWEST_HZ, TOP_HZ = 0.5, 20.0
CORNER_HZ = 100.0
CONFIDENCE = 0.95
SHAPE = np.sin(np.pi * (np.arange(800) + 0.5) / 800)
DB = 10 / math.log(10)
LENGTHS_S = (60, 240, 1200)


@dataclass(frozen=True, kw_only=True)
class Programme:
    """What is below 20 Hz, and what the room adds to each take; modulations: nepers of amplitude, slow by so many s."""

    pink: float = 1.0
    pink_modulation: tuple[float, float] = (0.3, 4.0)
    warp: float = 0.0  # amplitude of the tone of a warped record
    warp_modulation: tuple[float, float] = (0.2, 8.0)
    rumble: float = 0.0  # power density around 10 Hz
    rumble_modulation: tuple[float, float] = (0.4, 4.0)
    noise: float = 0.0  # of each take, white


PROGRAMMES: Mapping[str, Programme] = {
    "pink noise that comes and goes": Programme(),
    "pink noise, noise in the room": Programme(noise=0.03),
    "warped record": Programme(warp=0.5),
    "warped record, noise in the room": Programme(warp=0.5, noise=0.03),
    "warp and rumble": Programme(warp=0.3, rumble=0.3),
    "warp and rumble, noise in the room": Programme(warp=0.3, rumble=0.3, noise=0.03),
}
SLOW: Mapping[str, Programme] = {
    "beyond what it is made for: changes slower than 20 s": Programme(
        pink_modulation=(0.6, 20.0), rumble=1.0, rumble_modulation=(0.6, 20.0)
    )
}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One interval: error and half width in dB."""

    error_db: float
    half_width_db: float

    def covers(self, factor: float = 1.0) -> bool:
        """Whether an interval of `factor` times the width holds the truth."""
        return abs(self.error_db) <= factor * self.half_width_db


def modulation(drawn: np.random.Generator, n: int, said: tuple[float, float]) -> FloatArray:
    """A slow positive factor: exponential of a broken line between independent normal values."""
    strength, slow_s = said
    knot = slow_s * RATE_HZ
    values = drawn.normal(size=math.ceil(n / knot) + 2)
    found: FloatArray = np.exp(strength * np.interp(np.arange(n) / knot, np.arange(len(values)), values))
    return found


def programme(drawn: np.random.Generator, seconds: float, said: Programme) -> FloatArray:
    """The stream of one programme."""
    n = round(seconds * RATE_HZ)
    frequency = np.fft.rfftfreq(n, 1 / RATE_HZ)

    def shaped(density: FloatArray) -> FloatArray:
        return np.fft.irfft(np.fft.rfft(drawn.normal(size=n)) * np.sqrt(density), n)

    pink = np.where(frequency > 0.2, said.pink / np.maximum(frequency, 0.2), 0.0)
    found = modulation(drawn, n, said.pink_modulation) * shaped(pink)
    if said.warp:
        turn = 2 * np.pi * (100 / 180 * np.arange(n) / RATE_HZ + drawn.uniform())
        found = found + modulation(drawn, n, said.warp_modulation) * said.warp * np.sin(turn)
    if said.rumble:
        bump = said.rumble * np.exp(-0.5 * ((frequency - 10.0) / 2.0) ** 2)
        found = found + modulation(drawn, n, said.rumble_modulation) * shaped(bump)
    return found


def high_passed(stream: FloatArray) -> FloatArray:
    """Behind a capacitor: first order, 100 Hz."""
    ratio = 1j * np.fft.rfftfreq(len(stream), 1 / RATE_HZ) / CORNER_HZ
    return np.fft.irfft(np.fft.rfft(stream) * ratio / (1 + ratio), len(stream))


def powers(stream: FloatArray) -> tuple[float, FloatArray]:
    """What the analyser takes from a recording: its power from 0.5 to 20 Hz, and that of its windows."""
    n_windows = max(0, len(stream) // (len(SHAPE) // 2) - 1)
    windows = np.empty((n_windows, round(FINE_TOP_HZ * len(SHAPE) / RATE_HZ), 1))
    limits = (LOWEST_HZ, TOP_HZ, 30.0)
    found = slow_part(stream[None], RATE_HZ, lambda frequency: np.ones(len(frequency)), limits, SHAPE, windows)
    inside = slice(round(LOWEST_HZ * CELLS_PER_HZ), round(TOP_HZ * CELLS_PER_HZ))
    # The ends are faded: whole windows between them.
    n_faded, hop = len(taper_of(len(stream), RATE_HZ)), len(SHAPE) // 2
    starts = np.arange(n_windows) * hop
    full = (starts >= n_faded) & (starts + len(SHAPE) <= len(stream) - n_faded)
    per_window = windows[full, : round(TOP_HZ * len(SHAPE) / RATE_HZ), 0].sum(axis=1)
    return float(found["cell_power"][inside].sum()), per_window


def takes(drawn: np.random.Generator, seconds: float, said: Programme) -> tuple[FloatArray, FloatArray]:
    """Filter in and filter out of the same programme, each with noise of its own."""
    stream = programme(drawn, seconds, said)
    noise_in, noise_out = said.noise * drawn.normal(size=(2, len(stream)))
    return high_passed(stream) + noise_in, stream + noise_out


def truth(said: Programme, seed: int, n_hours: int = 20) -> float:
    """Logarithm of the ratio of the expected energies, from hours of it."""
    drawn = np.random.default_rng(seed)
    over = under = 0.0
    for _ in range(3 * n_hours):
        filter_in, filter_out = takes(drawn, 1200.0, said)
        over += powers(filter_in)[0]
        under += powers(filter_out)[0]
    return math.log(over / under)


def run(n_sessions: int, seed: int, said: Programme, seconds: float, log_truth: float) -> list[Outcome]:
    """So many sessions."""
    found = []
    for index in range(n_sessions):
        filter_in, filter_out = takes(np.random.default_rng([seed, index]), seconds, said)
        (over, over_windows), (under, under_windows) = powers(filter_in), powers(filter_out)
        error = log_ratio_of_sums(over_windows, under_windows)
        half = half_width(error.standard_error, error.degrees_of_freedom, CONFIDENCE)
        found.append(Outcome(error_db=DB * (math.log(over / under) - log_truth), half_width_db=DB * half))
    return found


def share(found: Sequence[Outcome], factor: float = 1.0) -> float:
    """How many hold the truth."""
    return sum(outcome.covers(factor) for outcome in found) / len(found)


def row(name: str, said: Programme, n_sessions: int, seed: int) -> str:
    """A line of the table."""
    log_truth = truth(said, seed + 1)
    cells = []
    for seconds in LENGTHS_S:
        found = run(n_sessions, seed, said, seconds, log_truth)
        width = float(np.median([outcome.half_width_db for outcome in found]))
        cells.append(f"{100 * share(found):.1f} % (±{width:.2f} dB)")
    return f"| {name} | {DB * log_truth:.2f} dB | " + " | ".join(cells) + " |"


def main() -> None:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20261125)
    said = parser.parse_args()
    lines = [
        "# How often nominal 95 % intervals of the subsonic change hold the truth",
        "",
        f"    python -m simulations.subsonic_coverage --sessions {said.sessions} --seed {said.seed}",
        "",
        f"From the folder tests, with Python {platform.python_version()}, numpy {np.__version__}. Made-up programmes "
        f"in and out of a first-order high-pass of {CORNER_HZ:g} Hz; energy from {LOWEST_HZ:g} to {TOP_HZ:g} Hz; the "
        "truth is the ratio of expected energies, from twenty hours. In brackets the half width in the median.",
        "",
        "| programme | true change | 1 min | 4 min | 20 min |",
        "|---|---|---|---|---|",
    ]
    for index, (name, programme_) in enumerate((PROGRAMMES | SLOW).items()):
        lines.append(row(name, programme_, said.sessions, said.seed + 100 * index))
        print(lines[-1], flush=True)
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
