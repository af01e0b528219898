"""Mean change over a range of bands, with its interval, for every place, seat and over seats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.api import Comparison, Criteria, Seat
from fairhearing_builtins.analysers.band_levels import FieldBands, enough, left_out_caveat
from fairhearing_builtins.analysers.estimates import Estimate, Estimates, estimates, parts_of


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeMean:
    """Estimates of the mean change over a range, with the caveat of the bands left out, per seat (None: over all)."""

    estimates: Estimates
    caveats: dict[str | None, tuple[str, ...]]


def range_mean(
    bands: FieldBands,
    comparison: Comparison,
    range_hz: tuple[float, float],
    seats: Sequence[Seat] | None,
    criteria: Criteria,
    shift: float = 0.0,
) -> RangeMean:
    """Mean over the usable bands of a range of (condition - reference), dB."""
    chosen = bands.chosen(range_hz)
    names = (comparison.condition.id, comparison.reference.id)
    values, repeats = {}, {}
    for place in bands.field.places(comparison):
        usable = bands.usable(place, comparison, chosen)
        if not enough(usable, chosen):
            continue
        condition, reference = (bands.cells[place, name] for name in names)
        values[place] = float(np.mean(condition.level_db[usable] - reference.level_db[usable]))
        for name in names:
            repeats[place, name] = bands.cells[place, name].take_db[:, usable].mean(axis=1)
    parts = parts_of(bands.field, names, values, repeats)
    measured = {place.seat for place in bands.field.places(comparison)}
    caveats = {seat: left_out_caveat(bands, comparison, chosen, seat) for seat in {None, *measured}}
    return RangeMean(estimates=estimates(parts, seats, criteria, shift=shift), caveats=caveats)


def reason_missing(bands: FieldBands | None, comparison: Comparison, seat: str | None) -> str:
    """Why a seat (or all seats, if None) has no value."""
    at = "at any seat" if seat is None else f"at seat {seat}"
    if bands is None:
        return f"no response was measured {at}"
    lacking = [
        condition.id
        for condition in (comparison.condition, comparison.reference)
        if not any(c == condition.id and (seat is None or p.seat == seat) for p, c in bands.cells)
    ]
    if lacking:
        return f"no response of {' and '.join(lacking)} was measured {at}"
    if not bands.field.places(comparison, None if seat is None else [seat]):
        return f"no channel has both conditions {at}"
    return f"fewer than two thirds of the bands are usable in both conditions {at}"


def numbers(estimate: Estimate | None) -> dict[str, float | int | None]:
    """value, low, high, n of an estimate, for a Finding."""
    if estimate is None:
        return {"value": None, "low": None, "high": None, "n": None}
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high, "n": estimate.n}
