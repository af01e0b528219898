"""Takes gathered into cells (seat, channel, condition) on common grids, with their noise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.noise import scatter_noise_power
from fairhearing.api import Comparison, Inputs, Seat, Take

FloatArray = npt.NDArray[np.float64]
RESPONSE_KINDS = frozenset({"response", "impulse", "sweep"})


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where and through which channel; both are None where the files do not say."""

    seat: str | None
    channel: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The repeats of one condition at one place: power (n_repeats, n), noise_power (n,) of one take; their names."""

    repeats: tuple[str, ...]
    power: FloatArray
    noise_power: FloatArray
    noise_measured: bool  # by noise takes; else from the scatter of the repeats
    in_place: bool
    phase_deg: FloatArray | None

    @property
    def n_repeats(self) -> int:
        """How many takes."""
        return len(self.power)

    def mean_power(self, without: int | None = None) -> FloatArray:
        """Energy mean over the repeats (but `without`), less the noise; never below 1 % of what was measured."""
        kept = self.power if without is None else np.delete(self.power, without, axis=0)
        mean: FloatArray = kept.mean(axis=0)
        return np.maximum(mean - self.noise_power, 0.01 * mean)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """All cells of one point and one state of playing; a grid (hertz) per place."""

    point: str
    playing: str
    grids: Mapping[Place, FloatArray]
    cells: Mapping[tuple[Place, str], Cell]

    def places(self, comparison: Comparison, seats: Iterable[str | None] | None = None) -> tuple[Place, ...]:
        """The places that have both conditions, at these seats (all if None)."""
        wanted = None if seats is None else set(seats)
        return tuple(
            place
            for place in sorted(self.grids, key=lambda p: (p.seat or "", p.channel or ""))
            if (place, comparison.condition.id) in self.cells
            and (place, comparison.reference.id) in self.cells
            and (wanted is None or place.seat in wanted)
        )

    def channels(self) -> tuple[str, ...]:
        """The channels that files name, sorted; empty where they name none."""
        return tuple(sorted({place.channel for place in self.grids if place.channel is not None}))

    def in_place(self, comparison: Comparison) -> bool:
        """Whether any repeats were taken without moving the microphone (only at seats is there one to move)."""
        keys = (comparison.condition.id, comparison.reference.id)
        return self.point == "seat" and any(c.in_place for (_, name), c in self.cells.items() if name in keys)


def gather(inputs: Inputs, *, point: str, playing: str) -> Field | None:
    """The field of one point and playing; None if nothing was measured there."""
    takes = [
        t
        for t in inputs.takes
        if t.kind in RESPONSE_KINDS and t.point == point and t.playing == playing and t.condition is not None
    ]
    if not takes:
        return None
    noise = [t for t in inputs.takes if t.kind == "noise" and t.point == point]
    grids: dict[Place, FloatArray] = {}
    cells: dict[tuple[Place, str], Cell] = {}
    for place in sorted({Place(t.seat, t.channel) for t in takes}, key=lambda p: (p.seat or "", p.channel or "")):
        here = [t for t in takes if (t.seat, t.channel) == (place.seat, place.channel)]
        grid = _common_grid(here)
        if len(grid) < 4:
            continue
        grids[place] = grid
        for condition in sorted({str(t.condition) for t in here}):
            repeats = sorted((t for t in here if t.condition == condition), key=lambda t: (t.repeat, t.path))
            cells[place, condition] = _cell(repeats, grid, _noise_for(noise, place, condition))
    return Field(point=point, playing=playing, grids=grids, cells=cells)


def seats_that_count(inputs: Inputs) -> tuple[Seat, ...]:
    """Seats of weight above 0, in the order of session.toml."""
    return tuple(seat for seat in inputs.session.seats if seat.weight > 0)


def playings(inputs: Inputs) -> tuple[str, ...]:
    """What was playing in the responses at seats."""
    measured = {t.playing for t in inputs.takes if t.kind in RESPONSE_KINDS and t.point == "seat"}
    return tuple(name for name in ("both", "main", "sub") if name in measured)


def bass_is_hidden(heard: Field | None, comparison: Comparison) -> bool:
    """Whether a subwoofer gives the bass back and what was measured of both conditions is not with it playing."""
    given_back = comparison.condition.chain.gives_bass_back or comparison.reference.chain.gives_bass_back
    return given_back and (heard is None or heard.playing != "both" or not heard.places(comparison))


def _common_grid(takes: Sequence[Take]) -> FloatArray:
    """The first take's frequencies that all takes reach."""
    first = min(takes, key=lambda t: (t.path, t.repeat)).curve.frequency_hz
    low = max(float(t.curve.frequency_hz[0]) for t in takes)
    high = min(float(t.curve.frequency_hz[-1]) for t in takes)
    return first[(first >= low * (1 - 1e-9)) & (first <= high * (1 + 1e-9))]


def _cell(takes: Sequence[Take], grid: FloatArray, noise_takes: Sequence[Take]) -> Cell:
    power = 10 ** (np.array([on_grid(t, grid) for t in takes]) / 10)
    phases = [_phase_on_grid(t, grid) for t in takes]
    phase = None if any(p is None for p in phases) else np.array(phases)
    if noise_takes:
        noise = np.mean([10 ** (on_grid(t, grid) / 10) for t in noise_takes], axis=0)
    elif len(takes) > 1:
        noise = scatter_noise_power(grid, power, phase)
    else:
        noise = np.zeros(len(grid))
    return Cell(
        repeats=tuple(take.repeat for take in takes),
        power=power,
        noise_power=noise,
        noise_measured=bool(noise_takes),
        in_place=any(t.in_place for t in takes),
        phase_deg=phase,
    )


def _noise_for(noise: Sequence[Take], place: Place, condition: str) -> list[Take]:
    """The noise takes of this place and condition, the most specific ones that there are."""
    fitting = [
        t
        for t in noise
        if t.seat in (None, place.seat) and t.channel in (None, place.channel) and t.condition in (None, condition)
    ]
    rank = [(t.seat is not None) + (t.channel is not None) + (t.condition is not None) for t in fitting]
    return [t for t, r in zip(fitting, rank, strict=True) if r == max(rank)]


def on_grid(take: Take, grid: FloatArray) -> FloatArray:
    """The take's level on the grid, linear in dB over ln f between its points; held beyond its ends."""
    frequency = take.curve.frequency_hz
    if len(frequency) == len(grid) and np.array_equal(frequency, grid):
        return take.curve.level_db
    return np.interp(np.log(grid), np.log(frequency), take.curve.level_db)


def _phase_on_grid(take: Take, grid: FloatArray) -> FloatArray | None:
    phase = take.curve.phase_deg
    if phase is None:
        return None
    frequency = take.curve.frequency_hz
    if len(frequency) == len(grid) and np.array_equal(frequency, grid):
        return phase
    return np.interp(grid, frequency, np.rad2deg(np.unwrap(np.deg2rad(phase))))
