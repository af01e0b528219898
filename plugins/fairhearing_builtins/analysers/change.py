"""What the change did to the level of each third octave, and whether it left the guard band alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fairhearing.api import (
    Analyser,
    ChartRequest,
    Comparison,
    Finding,
    Inputs,
    Needs,
    Result,
    Symmetry,
    hookimpl,
)
from fairhearing_builtins.analysers.band_levels import (
    MIDBAND_HZ,
    FieldBands,
    band_levels,
    enough,
    heard_bands,
    left_out_caveat,
)
from fairhearing_builtins.analysers.cells import Place, gather, playings, seats_that_count
from fairhearing_builtins.analysers.change_charts import response_charts
from fairhearing_builtins.analysers.energy_means import of_means
from fairhearing_builtins.analysers.estimates import Estimate, Estimates, estimates, parts_of, within
from fairhearing_builtins.analysers.range_means import reason_missing
from fairhearing_builtins.analysers.slept import BASS_HZ, slept

FloatArray = npt.NDArray[np.float64]

CHANGE_METHOD = (
    "third-octave band level (IEC 61260-1) of the energy mean of the repeats, condition minus reference; mean over "
    "channels, weighted mean over seats; t interval, standard deviations pooled over seats, channels and conditions"
)
GUARD_METHOD = (
    "largest signed change of a third octave of the guard band after the mid-band difference at the same seats is "
    "taken out; interval simultaneous over the bands (Bonferroni)"
)


class Change:
    """Level change per band and seat; guard band."""

    name = "change"
    version = "2"
    quantities = frozenset({"level_change", "guard_band_change"})
    needs = Needs(kinds=frozenset({"response", "impulse", "sweep", "noise"}), points=frozenset({"seat"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=quantities),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-adds", quantities=frozenset({"level_change"})),
        Symmetry(kind="condition-gain-invariant", quantities=frozenset({"guard_band_change"})),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings and charts for every comparison."""
        snr = inputs.session.criteria.min_snr_db
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for playing in playings(inputs):
            field = gather(inputs, point="seat", playing=playing)
            if field is None or not field.grids:
                continue
            bands = band_levels(field, snr)
            for comparison in inputs.comparisons:
                findings += _level_changes(inputs, comparison, bands)
        heard = heard_bands(inputs)
        for comparison in inputs.comparisons:
            at_seats = heard.of(comparison)
            findings += _guard_band(inputs, comparison, at_seats)
            if at_seats is not None:
                charts += response_charts(inputs, comparison, at_seats.field)
        return Result(findings=tuple(findings), charts=tuple(charts))


def _level_changes(inputs: Inputs, comparison: Comparison, bands: FieldBands) -> list[Finding]:
    """One finding per band, over seats, per seat and per channel, and the change of the energy means."""
    findings = []
    for index in range(len(bands.bands.nominal_hz)):
        one = _band_estimates(inputs, comparison, bands, index)
        rows: list[tuple[str | None, str | None, str | None, Estimate | None]] = [(None, None, None, one.over_seats)]
        rows += [(seat.id, None, None, one.by_seat.get(seat.id)) for seat in inputs.session.seats]
        rows += [(None, channel, None, estimate) for channel, estimate in one.by_channel.items()]
        rows.append((None, None, "of-means", of_means(inputs, comparison, bands, index)))
        for seat, channel, variant, estimate in rows:
            findings.append(_change_finding(inputs, comparison, bands, index, seat, channel, variant, estimate))
    return findings


def _band_estimates(inputs: Inputs, comparison: Comparison, bands: FieldBands, index: int) -> Estimates:
    names = (comparison.condition.id, comparison.reference.id)
    values: dict[Place, float] = {}
    repeats: dict[tuple[Place, str], FloatArray] = {}
    chosen = np.arange(len(bands.bands.nominal_hz)) == index
    for place in bands.field.places(comparison):
        if not bands.usable(place, comparison, chosen).any():
            continue
        condition, reference = (bands.cells[place, name] for name in names)
        values[place] = float(condition.level_db[index] - reference.level_db[index])
        for name in names:
            repeats[place, name] = bands.cells[place, name].take_db[:, index]
    parts = parts_of(bands.field, names, values, repeats)
    return estimates(parts, seats_that_count(inputs), inputs.session.criteria)


def _change_finding(
    inputs: Inputs,
    comparison: Comparison,
    bands: FieldBands,
    index: int,
    seat: str | None,
    channel: str | None,
    variant: str | None,
    estimate: Estimate | None,
) -> Finding:
    nominal = float(bands.bands.nominal_hz[index])
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    if estimate is None:
        chosen = np.arange(len(bands.bands.nominal_hz)) == index
        caveats = left_out_caveat(bands, comparison, chosen, seat) or (reason_missing(bands, comparison, seat),)
    else:
        caveats = estimate.caveats
    if BASS_HZ[0] <= nominal <= BASS_HZ[1]:
        caveats = (*caveats, *slept(bands.field, comparison, seat, channel))
    return Finding(
        quantity="level_change",
        variant=variant,
        value=None if estimate is None else estimate.value,
        unit="dB",
        low=low,
        high=high,
        confidence=inputs.session.criteria.confidence if low is not None else None,
        n=None if estimate is None else estimate.n,
        method=CHANGE_METHOD,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point="seat",
        playing=bands.field.playing,
        seat=seat,
        channel=channel,
        band_hz=(float(bands.bands.lower_hz[index]), float(bands.bands.upper_hz[index])),
        nominal_hz=nominal,
        caveats=caveats,
    )


def _guard_band(inputs: Inputs, comparison: Comparison, bands: FieldBands | None) -> list[Finding]:
    """Over seats and per seat."""
    per_band: dict[int, Estimates] = {}
    found: dict[int, Estimate | None]
    lacking: Mapping[str | None, str] = {}
    chosen = np.zeros(0, dtype=bool)
    if bands is not None:
        chosen = bands.chosen(inputs.session.criteria.guard_band_hz)
        per_band, lacking = _guard_estimates(inputs, comparison, bands, chosen)
    seats: list[str | None] = [None, *(seat.id for seat in inputs.session.seats)]
    findings = []
    for seat in seats:
        found = {index: one.over_seats if seat is None else one.by_seat.get(seat) for index, one in per_band.items()}
        there = {index: estimate for index, estimate in found.items() if estimate is not None}
        if bands is None or seat in lacking or not there:
            reason = lacking.get(seat) or reason_missing(bands, comparison, seat)
            findings.append(_guard_finding(inputs, comparison, bands, seat, {}, (reason,)))
            continue
        findings.append(
            _guard_finding(inputs, comparison, bands, seat, there, left_out_caveat(bands, comparison, chosen, seat))
        )
    return findings


def _guard_estimates(
    inputs: Inputs, comparison: Comparison, bands: FieldBands, chosen: npt.NDArray[np.bool_]
) -> tuple[dict[int, Estimates], dict[str | None, str]]:
    """Each guard band's change less the mid-band change of the same place, take by take; places that lack either."""
    names = (comparison.condition.id, comparison.reference.id)
    middle = bands.chosen(MIDBAND_HZ)
    usable, centre = {}, {}
    for place in bands.field.places(comparison):
        mid = bands.usable(place, comparison, middle)
        guard = bands.usable(place, comparison, chosen)
        if enough(mid, middle) and enough(guard, chosen):
            usable[place], centre[place] = guard, mid
    found: list[int] = np.flatnonzero(np.any(list(usable.values()), axis=0)).tolist() if usable else []
    result = {}
    for index in found:
        values, repeats = {}, {}
        for place, guard in usable.items():
            if not guard[index]:
                continue
            level = [
                bands.cells[place, name].level_db[index] - bands.cells[place, name].level_db[centre[place]].mean()
                for name in names
            ]
            values[place] = float(level[0] - level[1])
            for name in names:
                takes = bands.cells[place, name].take_db
                repeats[place, name] = takes[:, index] - takes[:, centre[place]].mean(axis=1)
        parts = parts_of(bands.field, names, values, repeats)
        result[index] = estimates(parts, seats_that_count(inputs), inputs.session.criteria, comparisons=len(found))
    lacking = {
        place.seat: reason_missing(bands, comparison, place.seat)
        for place in bands.field.places(comparison)
        if place not in usable
    }
    return result, dict(lacking)


def _guard_finding(
    inputs: Inputs,
    comparison: Comparison,
    bands: FieldBands | None,
    seat: str | None,
    found: Mapping[int, Estimate],
    caveats: tuple[str, ...],
) -> Finding:
    criteria = inputs.session.criteria
    largest = max(found, key=lambda index: abs(found[index].value)) if found else None
    estimate = None if largest is None else found[largest]
    verdicts = [within(e.low, e.high, criteria.guard_db, ("untouched", "touched")) for e in found.values()]
    verdict = "undecided"
    if "touched" in verdicts:
        verdict = "touched"
    elif verdicts and all(v == "untouched" for v in verdicts):
        verdict = "untouched"
    named: tuple[str, ...] = ()
    if bands is not None and largest is not None:
        named = (f"the largest change is in the band of {bands.bands.nominal_hz[largest]:g} Hz",)
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    return Finding(
        quantity="guard_band_change",
        value=None if estimate is None else estimate.value,
        unit="dB",
        low=low,
        high=high,
        confidence=criteria.confidence if low is not None else None,
        n=None if estimate is None else estimate.n,
        method=GUARD_METHOD,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point="seat",
        playing=None if bands is None else bands.field.playing,
        seat=seat,
        verdict=verdict,
        caveats=(*caveats, *named, *(estimate.caveats if estimate else ())),
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Change()]
