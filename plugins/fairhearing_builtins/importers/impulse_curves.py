"""From impulse responses to responses: one window for all takes of a place, a phase where they share a time zero."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.impulse import Window, arrival_frame, decay_frames, quiet_frames, spectrum, values_hz
from fairhearing.api import MeasurementFile, ResponseCurve

FloatArray = npt.NDArray[np.float64]

# A room's decay is looked at for this long, and what comes just before the direct sound belongs to a limited band.
LONGEST_S = 1.0
BEFORE_S = 0.05
# Repeats whose direct sound lies within this (a third of a metre) were taken on one clock.
ONE_CLOCK_S = 0.001
# Of the lowest bass, so many periods are looked at if noise allows.
PERIODS = 4.0
# Above this share of the sample rate converters cut off (common practice).
HIGHEST_SHARE = 0.45


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpulseResponse:
    """An impulse response with what it is of.

    `place`: takes of one place are compared with each other; `cell`: repeats of each other. `arrival_s`: direct sound
    after time zero. `before_s`: what is kept before the direct sound. `gain_db` is added to the level.
    """

    place: Hashable
    cell: Hashable
    samples: FloatArray
    rate_hz: float
    arrival: int
    arrival_s: float
    zero: str
    before_s: float = BEFORE_S
    lowest_hz: float = 0.0
    highest_hz: float = np.inf
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Converted:
    """The response, None if the window leaves no frequency to tell; what was done, and what is doubtful."""

    curve: ResponseCurve | None
    caveats: tuple[str, ...]
    applied: tuple[str, ...]
    why_not: str = ""


def place_and_cell(item: MeasurementFile, seat: str | None, channel: str | None) -> tuple[Hashable, Hashable]:
    """What tells the takes that are compared with each other, and those that repeat each other."""
    place = (item.kind, item.point, item.playing, seat, channel)
    return place, (*place, item.condition, item.programme)


def impulse_response(
    item: MeasurementFile,
    seat: str | None,
    channel: str | None,
    samples: FloatArray,
    rate_hz: float,
    gain_db: float = 0.0,
    starts_s: float = 0.0,
) -> ImpulseResponse:
    """An impulse response from the samples of a file whose first one stands at `starts_s`.

    Raises
    ------
    ValueError
        There is no direct sound in it.
    """
    place, cell = place_and_cell(item, seat, channel)
    arrival = arrival_frame(samples)
    return ImpulseResponse(
        place=place,
        cell=cell,
        samples=samples,
        rate_hz=rate_hz,
        arrival=arrival,
        arrival_s=starts_s + arrival / rate_hz,
        zero="the beginning of the file" if starts_s == 0.0 else "time zero of the file",
        gain_db=gain_db,
    )


def convert(responses: Sequence[ImpulseResponse], bass_hz: tuple[float, float]) -> list[Converted]:
    """A response for each, in the same order. All takes of a place get one window: as long as any of them decays.

    Where the noise is so low that it does not count in the bass, it is at least four periods of the lowest bass.
    """
    windows: dict[Hashable, Window] = {}
    places: dict[Hashable, list[ImpulseResponse]] = {}
    for one in responses:
        places.setdefault(one.place, []).append(one)
    for place, takes in places.items():
        there_s = min((len(one.samples) - one.arrival) / one.rate_hz for one in takes)
        windows[place] = Window(
            before_s=min(one.before_s for one in takes),
            after_s=min(LONGEST_S, there_s, max(_useful_s(one, bass_hz) for one in takes)),
        )
    spreads = _spreads(responses)
    return [_converted(one, windows[one.place], spreads[one.place], bass_hz[0]) for one in responses]


def _useful_s(one: ImpulseResponse, bass_hz: tuple[float, float]) -> float:
    """How long the response says something: to its end, or to where it sinks into noise that counts."""
    behind = one.samples[one.arrival :]
    n_decay = decay_frames(behind, one.rate_hz)
    if n_decay is None:
        return len(behind) / one.rate_hz
    n_wanted = round(PERIODS * one.rate_hz / bass_hz[0])
    return quiet_frames(behind, one.rate_hz, n_decay, n_wanted, bass_hz) / one.rate_hz


def _spreads(responses: Iterable[ImpulseResponse]) -> dict[Hashable, float]:
    """For each place the largest spread (second) of the arrivals of repeats of one condition."""
    cells: dict[Hashable, list[ImpulseResponse]] = {}
    for one in responses:
        cells.setdefault(one.cell, []).append(one)
    spreads: dict[Hashable, float] = {}
    for repeats in cells.values():
        spread_s = max(one.arrival_s for one in repeats) - min(one.arrival_s for one in repeats)
        spreads[repeats[0].place] = max(spread_s, spreads.get(repeats[0].place, 0.0))
    return spreads


def _converted(one: ImpulseResponse, window: Window, spread_s: float, bass_from_hz: float) -> Converted:
    lowest_hz = max(window.lowest_honest_hz, one.lowest_hz)
    at_hz = values_hz(lowest_hz, min(HIGHEST_SHARE * one.rate_hz, one.highest_hz))
    length = f"{1e3 * window.after_s:.0f} ms behind the direct sound"
    if len(at_hz) < 4:
        why_not = f"{length} say nothing below {lowest_hz:.0f} Hz, and the file reaches no higher"
        return Converted(curve=None, caveats=(), applied=(), why_not=why_not)
    seen = spectrum(one.samples, one.arrival, window, one.rate_hz, at_hz, one.arrival - one.arrival_s * one.rate_hz)
    has_clock = spread_s <= ONE_CLOCK_S
    before_ms = 1e3 * min(window.before_s, one.arrival / one.rate_hz)
    applied = [
        f"window {before_ms:.1f} ms before to {length}, which comes at {1e3 * one.arrival_s:.2f} ms; its ends fade "
        "(half Hann windows)",
        f"lowest honest frequency {lowest_hz:.3g} Hz; each level the mean power over 1/48 octave",
        f"phase relative to {one.zero}" if has_clock else "phase left out",
    ]
    caveats = []
    if window.lowest_honest_hz > bass_from_hz:
        caveats.append(
            f"the response is too short for a bass band from {bass_from_hz:g} Hz: {length} (the decay sinks into noise "
            f"there, or the file ends) say nothing below {lowest_hz:.3g} Hz; what stands from there up can be trusted"
        )
    elif lowest_hz > bass_from_hz:
        caveats.append(f"the sweep begins at {lowest_hz:.3g} Hz, the bass band at {bass_from_hz:g} Hz")
    if not has_clock:
        caveats.append(
            f"the direct sound of repeats lies up to {1e3 * spread_s:.1f} ms apart: they were not taken on one clock, "
            "and their phase is left out"
        )
    curve = ResponseCurve(
        frequency_hz=_read_only(seen.frequency_hz),
        level_db=_read_only(seen.level_db + one.gain_db),
        phase_deg=_read_only(seen.phase_deg) if has_clock else None,
    )
    return Converted(curve=curve, caveats=tuple(caveats), applied=tuple(applied))


def _read_only(values: FloatArray) -> FloatArray:
    values = np.ascontiguousarray(values, dtype=np.float64)
    values.setflags(write=False)
    return values
