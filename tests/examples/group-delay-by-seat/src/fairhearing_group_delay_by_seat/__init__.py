"""The analyser of group delay at each seat, from the phase of the responses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.api import (
    Analyser,
    Axis,
    ChartRequest,
    Finding,
    Inputs,
    Needs,
    Refusal,
    Result,
    Symmetry,
    Take,
    hookimpl,
)
from fairhearing.statistics.pooled import FEWEST_DEGREES_OF_FREEDOM, half_width, pool

RANGE_HZ = (60.0, 200.0)
LARGEST_TURN_DEG = 120.0
DELAY, CHANGE = "group_delay", "group_delay_change"
METHOD = f"turn of the phase from {RANGE_HZ[0]:g} to {RANGE_HZ[1]:g} Hz over the distance, mean of the repeats"
NOT_MEASURED = f"no phase from {RANGE_HZ[0]:g} to {RANGE_HZ[1]:g} Hz that can be followed"
FEW_REPEATS = "too few repeats for an interval"
IN_PLACE = "the microphone stayed in its place between repeats: the interval leaves out its placement"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Place:
    """What is compared with itself: the same loudspeakers, seat, channel and programme. "" stands for none."""

    playing: str
    seat: str
    channel: str
    programme: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The delays of the repeats of one condition at one place, in milliseconds, sorted."""

    delays_ms: tuple[float, ...]
    in_place: bool


class GroupDelayBySeat:
    """Mean group delay of each condition at each seat, and its change against the reference."""

    name = "group-delay-by-seat"
    version = "1"
    quantities = frozenset({DELAY, CHANGE})
    needs = Needs(kinds=frozenset({"response"}), points=frozenset({"seat"}))
    symmetries = (
        Symmetry(kind="swap-conditions-negates", quantities=frozenset({CHANGE})),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings at every place with the reference or a condition, and a chart of the delays by seat."""
        if not any(take.curve.phase_deg is not None for take in inputs.takes):
            refusal = Refusal(
                what="group delay", why="no response has a phase", try_="export the responses with their phase"
            )
            return Result(findings=tuple(findings(inputs)), refusals=(refusal,))
        found = tuple(findings(inputs))
        return Result(findings=found, charts=tuple(charts(found)))


def findings(inputs: Inputs) -> Iterator[Finding]:
    """The delay of each condition and the change, place by place."""
    session = inputs.session
    places = sorted({place_of(take) for take in inputs.takes})
    for place in places:
        cells = {
            condition.id: cell_of([t for t in inputs.takes if place_of(t) == place and t.condition == condition.id])
            for condition in session.conditions
        }
        for condition in session.conditions:
            cell = cells[condition.id]
            yield finding(DELAY, place, [(1.0, cell)], session.criteria.confidence, condition.id, None)
        for comparison in inputs.comparisons:
            condition, reference = comparison.condition.id, comparison.reference.id
            pair = [(1.0, cells[condition]), (-1.0, cells[reference])]
            yield finding(CHANGE, place, pair, session.criteria.confidence, condition, reference)


def place_of(take: Take) -> Place:
    """Where a take belongs."""
    return Place(playing=take.playing, seat=take.seat or "", channel=take.channel or "", programme=take.programme or "")


def cell_of(takes: Sequence[Take]) -> Cell:
    """The delays of the takes that have one."""
    delays_ms = [delay for take in takes if (delay := mean_group_delay_ms(take)) is not None]
    return Cell(delays_ms=tuple(sorted(delays_ms)), in_place=any(take.in_place for take in takes))


def mean_group_delay_ms(take: Take) -> float | None:
    """Minus the turn of the phase over the range, divided by its width; None where the phase cannot be followed."""
    curve = take.curve
    if curve.phase_deg is None:
        return None
    inside = (curve.frequency_hz >= RANGE_HZ[0]) & (curve.frequency_hz <= RANGE_HZ[1])
    inside &= np.isfinite(curve.phase_deg)
    frequency_hz, phase_deg = curve.frequency_hz[inside], curve.phase_deg[inside]
    if len(frequency_hz) < 2:
        return None
    turns_deg = (np.diff(phase_deg) + 180.0) % 360.0 - 180.0
    if np.max(np.abs(turns_deg)) > LARGEST_TURN_DEG:
        return None
    return float(-np.sum(turns_deg) / 360.0 / (frequency_hz[-1] - frequency_hz[0]) * 1000.0)


def finding(
    quantity: str,
    place: Place,
    cells: Sequence[tuple[float, Cell]],
    confidence: float,
    condition: str,
    reference: str | None,
) -> Finding:
    """A sum of cells with their signs, with the t interval that the spread of the repeats gives."""
    n_repeats = min(len(cell.delays_ms) for _, cell in cells)
    value = low = high = None
    caveats = [NOT_MEASURED]
    if n_repeats:
        value = sum(sign * float(np.mean(cell.delays_ms)) for sign, cell in cells)
        spread = pool([np.array(cell.delays_ms) for _, cell in cells])
        caveats = [IN_PLACE] if any(cell.in_place for _, cell in cells) else []
        if spread.degrees_of_freedom >= FEWEST_DEGREES_OF_FREEDOM:
            half = half_width(spread, sum(1 / len(cell.delays_ms) for _, cell in cells), confidence)
            low, high = value - half, value + half
        else:
            caveats.append(FEW_REPEATS)
    return Finding(
        quantity=quantity,
        value=value,
        unit="ms",
        low=low,
        high=high,
        confidence=None if low is None else confidence,
        n=n_repeats,
        method=METHOD,
        condition=condition,
        reference=reference,
        point="seat",
        playing=place.playing,
        seat=place.seat or None,
        channel=place.channel or None,
        programme=place.programme or None,
        caveats=tuple(caveats),
    )


def charts(found: Sequence[Finding]) -> Iterator[ChartRequest]:
    """The delays by seat, a colour for each condition; what has no value is a gap."""
    shown = [one for one in found if one.quantity == DELAY]
    if not any(one.value is not None for one in shown):
        return
    yield ChartRequest(
        name="group-delay",
        title=f"Mean group delay from {RANGE_HZ[0]:g} to {RANGE_HZ[1]:g} Hz, seat by seat",
        alternative="The mean group delay of the bass at each seat in each condition.",
        form="interval",
        data={
            "place": [", ".join(part for part in (one.seat, one.channel, one.playing) if part) for one in shown],
            "condition": [one.condition for one in shown],
            "delay_ms": [one.value for one in shown],
            "low_ms": [one.low for one in shown],
            "high_ms": [one.high for one in shown],
        },
        x=Axis(column="delay_ms", label="Group delay", unit="ms"),
        y=Axis(column="place", label="Seat", scale="category"),
        series="condition",
        low="low_ms",
        high="high_ms",
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [GroupDelayBySeat()]
