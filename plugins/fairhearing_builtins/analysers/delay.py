"""Whether a condition comes later than the reference, or with turned polarity: where the takes have phase."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.delay import FEWEST_POINTS, Delay, delay_against, is_turned
from fairhearing.api import (
    Analyser,
    Axis,
    ChartRequest,
    Comparison,
    Finding,
    Inputs,
    Needs,
    Result,
    Rule,
    Symmetry,
    hookimpl,
)
from fairhearing_builtins.analysers.cells import Cell, Field, Place, gather, seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, Estimates, estimates, parts_of

# Below this a high-pass's own phase is steep enough to pass for a delay (100 Hz: 0.06 ms at 500 Hz).
LOWEST_HZ = 500.0
# What is heard first, then where there is no room in the phase.
FIELDS = (("seat", "both"), ("seat", "main"), ("amplifier-output", "main"), ("amplifier-input", "main"))
METHOD = (
    "slope of the phase against the first reference take, {low:g}-{high:g} Hz, least squares weighted by mean power; "
    "mean over takes and channels, weighted mean over seats; t interval, standard deviations pooled over seats, "
    "channels and conditions"
)
IN_PLACE = (
    "repeats were taken in place: what the place of the microphone adds (10 mm is 0.03 ms) is not in the interval"
)
NO_PHASE = "no takes of both conditions with phase from {low:g} to {high:g} Hz"
TURNED = "the polarity is turned"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Delays:
    """Delays of one comparison against the first reference take of each place, and where the polarity is turned."""

    field: Field
    estimates: Estimates
    turned: tuple[Place, ...]
    in_place: frozenset[str | None]


class DelayDifference:
    """Delay difference."""

    name = "delay"
    version = "1"
    quantities = frozenset({"delay_difference"})
    needs = Needs(kinds=frozenset({"response", "impulse", "sweep", "noise"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=quantities),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for every comparison; none where no takes of both conditions have phase."""
        fields = [gather(inputs, point=point, playing=playing) for point, playing in FIELDS]
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for comparison in inputs.comparisons:
            found = next((d for f in fields if f is not None and (d := _delays(inputs, comparison, f))), None)
            if found is not None:
                made = _findings(inputs, comparison, found)
                findings += made
                charts.append(_chart(comparison, made))
        return Result(findings=tuple(findings), charts=tuple(charts))


def _range_hz(inputs: Inputs) -> tuple[float, float]:
    low, high = inputs.session.criteria.guard_band_hz
    return max(low, LOWEST_HZ), high


def _delays(inputs: Inputs, comparison: Comparison, field: Field) -> _Delays | None:
    """Everything at the places whose takes have phase in both conditions; None if there is no such place."""
    names = (comparison.condition.id, comparison.reference.id)
    values: dict[Place, float] = {}
    repeats: dict[tuple[Place, str], npt.NDArray[np.float64]] = {}
    turned = []
    for place in field.places(comparison):
        condition, reference = (field.cells[place, name] for name in names)
        found = _against_first(field.grids[place], condition, reference, _range_hz(inputs))
        if found is None:
            continue
        for name, delays in zip(names, found, strict=True):
            repeats[place, name] = np.array([1e3 * delay.delay_s for delay in delays])
        values[place] = float(repeats[place, names[0]].mean() - repeats[place, names[1]].mean())
        phases = [np.angle(sum(np.exp(1j * np.deg2rad(d.phase_deg)) for d in delays)) for delays in found]
        if is_turned(float(np.rad2deg(np.angle(np.exp(1j * (phases[0] - phases[1])))))):
            turned.append(place)
    if not values:
        return None
    # The placement spread of the criteria is a level; none is known of the delay.
    criteria = replace(inputs.session.criteria, placement_sd_db=0.0)
    counted = seats_that_count(inputs) if field.point == "seat" else None
    in_place = {p.seat for p in values if field.point == "seat" and any(field.cells[p, n].in_place for n in names)}
    return _Delays(
        field=field,
        estimates=estimates(parts_of(field, names, values, repeats), counted, criteria),
        turned=tuple(turned),
        in_place=frozenset(in_place),
    )


def _against_first(
    grid: npt.NDArray[np.float64], condition: Cell, reference: Cell, range_hz: tuple[float, float]
) -> tuple[list[Delay], list[Delay]] | None:
    """Delay of every take of both conditions against the first of the reference; None where phase or levels lack."""
    band = (grid >= range_hz[0] * (1 - 1e-9)) & (grid <= range_hz[1] * (1 + 1e-9))
    if condition.phase_deg is None or reference.phase_deg is None or np.count_nonzero(band) < FEWEST_POINTS:
        return None
    if not all(np.all(np.isfinite(cell.power[:, band])) for cell in (condition, reference)):
        return None
    takes = [
        np.sqrt(cell.power[:, band]) * np.exp(1j * np.deg2rad(cell.phase_deg[:, band]))
        for cell in (condition, reference)
        if cell.phase_deg is not None
    ]
    # The same weights for every take: then it does not matter which one the others are held against.
    weight = np.sqrt(condition.power[:, band].mean(axis=0) * reference.power[:, band].mean(axis=0))
    late, base = ([delay_against(grid[band], takes[1][0], take, weight) for take in of] for of in takes)
    return late, base


def _findings(inputs: Inputs, comparison: Comparison, found: _Delays) -> list[Finding]:
    """Over seats, per seat, per channel, and per seat and channel where files name channels."""
    made = found.estimates
    rows: list[tuple[str | None, str | None, Estimate | None]] = [(None, None, made.over_seats)]
    if found.field.point == "seat":
        rows += [(seat.id, None, made.by_seat.get(seat.id)) for seat in inputs.session.seats]
    rows += [(None, channel, estimate) for channel, estimate in made.by_channel.items()]
    if found.field.point == "seat":
        rows += [(p.seat, p.channel, estimate) for p, estimate in made.by_place.items() if p.channel is not None]
    return [_finding(inputs, comparison, found, *row) for row in rows]


def _finding(
    inputs: Inputs,
    comparison: Comparison,
    found: _Delays,
    seat: str | None,
    channel: str | None,
    estimate: Estimate | None,
) -> Finding:
    low_hz, high_hz = _range_hz(inputs)
    caveats: tuple[str, ...] = (NO_PHASE.format(low=low_hz, high=high_hz),)
    if estimate is not None:
        in_place = bool(found.in_place) if seat is None else seat in found.in_place
        caveats = (*estimate.caveats, *_turned(found.turned, seat, channel), *((IN_PLACE,) if in_place else ()))
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    return Finding(
        quantity="delay_difference",
        value=None if estimate is None else estimate.value,
        unit="ms",
        low=low,
        high=high,
        confidence=inputs.session.criteria.confidence if low is not None else None,
        n=None if estimate is None else estimate.n,
        method=METHOD.format(low=low_hz, high=high_hz),
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=found.field.point,
        playing=found.field.playing,
        seat=seat,
        channel=channel,
        caveats=caveats,
    )


def _turned(turned: Sequence[Place], seat: str | None, channel: str | None) -> tuple[str, ...]:
    """A caveat that names the places of this seat and channel where the polarity is turned."""
    there = [p for p in turned if (seat is None or p.seat == seat) and (channel is None or p.channel == channel)]
    if not there:
        return ()
    names = [" ".join(word for word in (p.seat, p.channel) if word) for p in there]
    at = ", ".join(name for name in names if name)
    return (f"{TURNED} ({at})" if at else TURNED,)


def _chart(comparison: Comparison, findings: Sequence[Finding]) -> ChartRequest:
    """The delay at each place with its interval."""
    shown = [f for f in findings if f.value is not None and f.channel is None]
    rows = [f.seat or ("all seats" if f.point == "seat" else str(f.point)) for f in shown]
    stated = "; ".join(f"{row} {f.value:+.3f} ms" for row, f in zip(rows, shown, strict=True))
    data: Mapping[str, list[str | float | int | bool | None]] = {
        "place": [*rows],
        "delay": [f.value for f in shown],
        "low": [f.low for f in shown],
        "high": [f.high for f in shown],
    }
    return ChartRequest(
        name=f"delay-{comparison.condition.id}",
        title=f"Delay of {comparison.condition.label} against {comparison.reference.label}",
        alternative=f"How much later the condition comes, with its interval: {stated}.",
        form="interval",
        data=data,
        x=Axis(column="delay", label="Later by", unit="ms"),
        y=Axis(column="place", label="Measured at", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.0),),
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [DelayDifference()]
