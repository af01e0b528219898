"""Differences of conditions with intervals from repeats: per place, per seat, per channel and over seats."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import Criteria, Seat
from fairhearing.statistics.pooled import PooledSpread, half_width, pool
from fairhearing_builtins.analysers.cells import Field, Place

FloatArray = npt.NDArray[np.float64]

IN_PLACE_CAVEAT = (
    "repeats were taken in place: the placement spread of the criteria was added, since such repeats do not show it"
)
# Common practice, no source: a session is said to be able to show what it would show in four cases of five.
POWER = 0.8
FEW_REPEATS_CAVEAT = "too few repeats for an interval: fewer than 3 degrees of freedom"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with its interval; low and high None where the repeats allow none. `n`: the smaller number of repeats.

    `detectable`: the smallest change that this session would have shown in four cases of five.
    """

    value: float
    low: float | None
    high: float | None
    n: int
    caveats: tuple[str, ...] = ()
    detectable: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One place's share: value, and of each condition in it the repeats' own values and whether in place."""

    place: Place
    value: float
    repeats: tuple[FloatArray, ...]
    in_place: tuple[bool, ...]

    @property
    def n(self) -> int:
        """The smaller number of repeats."""
        return min(len(repeat) for repeat in self.repeats)

    @property
    def factor(self) -> float:
        """Variance of the value over the variance of one repeat."""
        return sum(1 / len(repeat) for repeat in self.repeats)


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimates:
    """The same difference for every place, seat and channel, and over seats."""

    by_seat: Mapping[str | None, Estimate]
    by_place: Mapping[Place, Estimate]
    by_channel: Mapping[str, Estimate]
    over_seats: Estimate | None


def parts_of(
    field: Field,
    conditions: Sequence[str],
    values: Mapping[Place, float],
    repeats: Mapping[tuple[Place, str], FloatArray],
) -> list[Part]:
    """Parts from each place's value and each cell's repeats; a place whose value is NaN is left out."""
    return [
        Part(
            place=place,
            value=value,
            repeats=tuple(repeats[place, name] for name in conditions),
            in_place=tuple(field.point == "seat" and field.cells[place, name].in_place for name in conditions),
        )
        for place, value in values.items()
        if math.isfinite(value)
    ]


def estimates(
    parts: Sequence[Part],
    seats: Sequence[Seat] | None,
    criteria: Criteria,
    *,
    comparisons: int = 1,
    shift: float = 0.0,
) -> Estimates:
    """Every estimate that the parts allow; `shift` is added to each value (a trim).

    `seats`: those that count over seats; None at an amplifier, where all places count alike.
    """
    spread = pool([repeat for part in parts for repeat in part.repeats])
    by_seat: dict[str | None, list[Part]] = {}
    for part in parts:
        by_seat.setdefault(part.place.seat, []).append(part)

    def combine(weighted: Sequence[tuple[float, list[Part]]]) -> Estimate:
        return _combined(weighted, spread, criteria, comparisons, shift)

    weights: dict[str | None, float] = dict.fromkeys(by_seat, 1.0)
    if seats is not None:
        weights = {seat.id: seat.weight for seat in seats}
    counted = [(weights[seat], group) for seat, group in by_seat.items() if seat in weights]
    channels = sorted({part.place.channel for part in parts if part.place.channel is not None})
    by_channel = {}
    for channel in channels:
        group = [(w, [p for p in g if p.place.channel == channel]) for w, g in counted]
        if any(g for _, g in group):
            by_channel[channel] = combine([(w, g) for w, g in group if g])
    return Estimates(
        by_seat={seat: combine([(1.0, group)]) for seat, group in by_seat.items()},
        by_place={part.place: combine([(1.0, [part])]) for part in parts},
        by_channel=by_channel,
        over_seats=combine(counted) if counted else None,
    )


def _combined(
    weighted: Sequence[tuple[float, list[Part]]],
    spread: PooledSpread,
    criteria: Criteria,
    comparisons: int,
    shift: float,
) -> Estimate:
    """Weighted mean over seats of the mean over channels."""
    total = sum(weight for weight, _ in weighted)
    value = sum(w * float(np.mean([p.value for p in group])) for w, group in weighted) / total + shift
    factor = sum((w / total) ** 2 * sum(p.factor for p in g) / len(g) ** 2 for w, g in weighted)
    # Channels of one seat share the place of the microphone: their placement errors do not average out.
    placement = sum((w / total) ** 2 * _in_place_conditions(g) for w, g in weighted) * criteria.placement_sd_db**2
    parts = [part for _, group in weighted for part in group]
    caveats = (IN_PLACE_CAVEAT,) if placement > 0 else ()
    n = min(part.n for part in parts)
    return interval(value, spread, factor, criteria.confidence, placement, comparisons, n, caveats)


def _in_place_conditions(group: Sequence[Part]) -> int:
    return sum(any(moved) for moved in zip(*(part.in_place for part in group), strict=True))


def interval(
    value: float,
    spread: PooledSpread,
    factor: float,
    confidence: float,
    extra_variance: float,
    comparisons: int,
    n: int,
    caveats: tuple[str, ...] = (),
) -> Estimate:
    """An estimate with its t interval, and the caveats that belong to it."""
    half = half_width(spread, factor, confidence, extra_variance, comparisons)
    if not math.isfinite(half):
        return Estimate(value=value, low=None, high=None, n=n, caveats=(*caveats, FEW_REPEATS_CAVEAT))
    power = half_width(spread, factor, 2 * POWER - 1, extra_variance)
    return Estimate(value=value, low=value - half, high=value + half, n=n, caveats=caveats, detectable=half + power)


def within(low: float | None, high: float | None, tolerance: float, words: tuple[str, str]) -> str:
    """Verdict by a tolerance: words[0] if the whole interval lies within +-tolerance, words[1] if wholly outside."""
    if low is None or high is None:
        return "undecided"
    if -tolerance <= low and high <= tolerance:
        return words[0]
    if low > tolerance or high < -tolerance:
        return words[1]
    return "undecided"


def with_sign(low: float | None, high: float | None, smallest_change: float) -> str:
    """Verdict with a sign: unchanged, improved (high < 0), worse (low > 0), else undecided."""
    if low is None or high is None:
        return "undecided"
    if -smallest_change <= low and high <= smallest_change:
        return "unchanged"
    if high < 0:
        return "improved"
    return "worse" if low > 0 else "undecided"
