"""Level difference by loudness: of each programme and seat, over seats and over programmes, with intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from fairhearing.api import Comparison, Criteria, Finding, Inputs
from fairhearing_builtins.analysers.cells import seats_that_count
from fairhearing_builtins.analysers.estimates import IN_PLACE_CAVEAT, within
from fairhearing_builtins.analysers.recording_pairs import (
    ALONG_CAVEATS,
    Difference,
    Pairs,
    Spot,
    loudness_differences,
    pairs_of,
    weighted_difference,
)

FEWEST_PROGRAMMES = 3
LOUDNESS, SAME_BLOCKS, A_WEIGHTED, C_WEIGHTED = "loudness", "loudness-same-blocks", "A-weighted", "C-weighted"
_WHAT = {
    LOUDNESS: "integrated loudness (ITU-R BS.1770-5) over the section that all recordings hold",
    SAME_BLOCKS: "loudness (ITU-R BS.1770-5) over the blocks that pass the gates in all recordings",
    A_WEIGHTED: "A-weighted level (IEC 61672-1:2013) from the spectrum of the whole recordings",
    C_WEIGHTED: "C-weighted level (IEC 61672-1:2013) from the spectrum of the whole recordings",
}
_ALONG = "t interval by the delete-one jackknife over four to eight segments along the programme"
_OVER = "mean over programmes of the dB values; t interval over programmes"
_PLACEMENT = "the interval is along the programme: what moving the microphone changes is not in it"
_NO_PAIR = (
    "the criteria ask for loudness, and no recording holds one programme in both conditions; see the variant midband"
)
_NOT_AT_SEAT = "no programme was recorded in both conditions at seat {seat}"
_NO_COUNTED_SEAT = "no seat of weight above 0 has recordings of both conditions"
_LEFT_OUT = "left out, no value: {names}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """What a finding is of, its difference, and how its interval was made."""

    variant: str | None
    seat: str | None = None
    channel: str | None = None
    programme: str | None = None
    difference: Difference
    method: str


def loudness_findings(inputs: Inputs, comparison: Comparison) -> list[Finding]:
    """Findings of `level_difference` from recordings; the headline among them if the criteria measure by loudness."""
    headline = inputs.session.criteria.level_measure == "loudness"
    pairs = pairs_of(inputs, comparison)
    if pairs is None:
        if not headline:
            return []
        null = _Row(variant=None, difference=Difference(value_db=None, caveats=(_NO_PAIR,)), method=_WHAT[LOUDNESS])
        return [_finding(inputs.session.criteria, comparison, "seat", None, null)]
    rows = []
    for measure, differences in _measures(pairs).items():
        variant = None if headline and measure == LOUDNESS else measure
        rows += [replace(row, variant=variant) for row in _rows(inputs, pairs, differences, measure)]
    return [_finding(inputs.session.criteria, comparison, pairs.point, pairs.playing, row) for row in rows]


def _measures(pairs: Pairs) -> dict[str, dict[Spot, Difference]]:
    found: dict[str, dict[Spot, Difference]] = {name: {} for name in _WHAT}
    for spot, (condition, reference) in pairs.spots.items():
        found[LOUDNESS][spot], found[SAME_BLOCKS][spot] = loudness_differences(condition, reference)
        found[A_WEIGHTED][spot] = weighted_difference(condition, reference, "A")
        found[C_WEIGHTED][spot] = weighted_difference(condition, reference, "C")
    return found


def _rows(inputs: Inputs, pairs: Pairs, differences: Mapping[Spot, Difference], measure: str) -> list[_Row]:
    """Over all; each programme; by loudness also each seat, each seat and programme, and each channel."""
    at_seats = pairs.point == "seat"
    weights = (
        {s.id: s.weight for s in seats_that_count(inputs)} if at_seats else dict.fromkeys(_seats(differences), 1.0)
    )

    def row(chosen: Mapping[Spot, Difference], **of: str) -> _Row:
        counted = {of["seat"]: 1.0} if "seat" in of else weights
        total, interval = _over_programmes(chosen, counted)
        if at_seats:
            total = _with_placement(total, pairs, {spot.seat: counted.get(spot.seat, 0.0) for spot in chosen}, inputs)
        method = f"{_WHAT[measure]}, plus trims; {interval}"
        return _Row(variant=None, difference=total, method=method, **of)

    def only(**of: str) -> dict[Spot, Difference]:
        return {s: d for s, d in differences.items() if all(getattr(s, word) == name for word, name in of.items())}

    programmes = sorted({spot.programme for spot in differences} - {""})
    rows = [row(differences), *(row(only(programme=name), programme=name) for name in programmes)]
    if measure != LOUDNESS:
        return rows
    channels = sorted({spot.channel for spot in differences} - {""})
    rows += [row(only(channel=name), channel=name) for name in channels]
    for seat in [seat.id for seat in inputs.session.seats] if at_seats else []:
        here = only(seat=seat)
        rows.append(row(here, seat=seat))
        rows += [
            row(only(seat=seat, programme=name), seat=seat, programme=name)
            for name in programmes
            if any(spot.programme == name for spot in here)
        ]
    return rows


def _seats(differences: Mapping[Spot, Difference]) -> list[str]:
    return sorted({spot.seat for spot in differences})


def _over_programmes(differences: Mapping[Spot, Difference], weights: Mapping[str, float]) -> tuple[Difference, str]:
    """Mean over programmes of the weighted means over seats of the means over channels, and how it was made."""
    by_programme: dict[str, dict[str, list[Difference]]] = {}
    for spot, difference in differences.items():
        if spot.seat in weights:
            by_programme.setdefault(spot.programme, {}).setdefault(spot.seat, []).append(difference)
    if not by_programme:
        (seat,) = weights if len(weights) == 1 else (None,)
        why = _NO_COUNTED_SEAT if seat is None else _NOT_AT_SEAT.format(seat=seat)
        return Difference(value_db=None, caveats=(why,)), _ALONG
    each = {
        programme: _mean([(weights[seat], _mean([(1.0, one) for one in group])) for seat, group in seats.items()])
        for programme, seats in by_programme.items()
    }
    known = [one for one in each.values() if one.value_db is not None]
    caveats = tuple(dict.fromkeys(caveat for one in each.values() for caveat in one.caveats))
    if not known:
        return Difference(value_db=None, caveats=caveats), _ALONG
    lost = [name or "the programme" for name, one in each.items() if one.value_db is None]
    caveats = (*([_LEFT_OUT.format(names=", ".join(lost))] if lost else []), *caveats)
    values = np.array([one.value_db for one in known])
    n = min(one.n for one in known)
    if len(known) >= FEWEST_PROGRAMMES:
        error, degrees = float(values.std(ddof=1)) / math.sqrt(len(values)), len(values) - 1
        # An interval over programmes needs none along them.
        told = tuple(caveat for caveat in caveats if caveat not in ALONG_CAVEATS)
        return Difference(
            value_db=float(values.mean()), standard_error_db=error, degrees_of_freedom=degrees, n=n, caveats=told
        ), _OVER
    variance, degrees = _sum_of_errors(known)
    error_db = None if variance is None else math.sqrt(variance)
    return Difference(
        value_db=float(values.mean()), standard_error_db=error_db, degrees_of_freedom=degrees, n=n, caveats=caveats
    ), _ALONG


def _mean(weighted: Sequence[tuple[float, Difference]]) -> Difference:
    """Weighted mean of what has a value; the errors, all of one programme, add up as they are, not in squares."""
    known = [(weight, one) for weight, one in weighted if one.value_db is not None]
    caveats = tuple(dict.fromkeys(caveat for _, one in weighted for caveat in one.caveats))
    if not known:
        return Difference(value_db=None, caveats=caveats)
    total = sum(weight for weight, _ in known)
    errors = [(weight, one.standard_error_db) for weight, one in known]
    complete = all(error is not None for _, error in errors)
    return Difference(
        value_db=sum(weight * one.value_db for weight, one in known if one.value_db is not None) / total,
        standard_error_db=sum(w * error for w, error in errors if error is not None) / total if complete else None,
        degrees_of_freedom=min(one.degrees_of_freedom for _, one in known),
        n=min(one.n for _, one in known),
        caveats=caveats,
    )


def _sum_of_errors(known: Sequence[Difference]) -> tuple[float | None, int]:
    """Variance of a mean of programmes, and its degrees of freedom by Welch and Satterthwaite, rounded down."""
    parts = [(one.standard_error_db, one.degrees_of_freedom) for one in known]
    squares = [(error**2 / len(parts) ** 2, degrees) for error, degrees in parts if error is not None]
    if len(squares) < len(parts):
        return None, 0
    variance = sum(square for square, _ in squares)
    spread = sum(square**2 / degrees for square, degrees in squares)
    degrees = math.floor(variance**2 / spread + 1e-9) if spread > 0 else min(d for _, d in squares)
    return variance, degrees


def _with_placement(one: Difference, pairs: Pairs, weights: Mapping[str, float], inputs: Inputs) -> Difference:
    """At seats: the placement spread of the criteria where no microphone was moved; else a caveat that it lacks."""
    if one.standard_error_db is None:
        return one
    in_place = {spot.seat for spot, sides in pairs.spots.items() if any(r.in_place for side in sides for r in side)}
    total = sum(weights.values())
    share = sum((weight / total) ** 2 for seat, weight in weights.items() if seat in in_place)
    if share == 0:
        return replace(one, caveats=(_PLACEMENT, *one.caveats))
    # One error of placement in each of the two conditions.
    variance = one.standard_error_db**2 + 2 * share * inputs.session.criteria.placement_sd_db**2
    return replace(one, standard_error_db=math.sqrt(variance), caveats=(IN_PLACE_CAVEAT, *one.caveats))


def _finding(criteria: Criteria, comparison: Comparison, point: str, playing: str | None, row: _Row) -> Finding:
    one = row.difference
    value = low = high = None
    if one.value_db is not None:
        value = one.value_db + comparison.condition.trim_db - comparison.reference.trim_db
        if one.standard_error_db is not None:
            quantile = float(special.stdtrit(one.degrees_of_freedom, (1 + criteria.confidence) / 2))
            low, high = value - quantile * one.standard_error_db, value + quantile * one.standard_error_db
    return Finding(
        quantity="level_difference",
        variant=row.variant,
        value=value,
        unit="dB",
        low=low,
        high=high,
        confidence=None if low is None else criteria.confidence,
        n=None if value is None else one.n,
        method=row.method,
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=point,
        playing=playing,
        seat=row.seat,
        channel=row.channel,
        programme=row.programme,
        verdict=within(low, high, criteria.level_tolerance_db, ("matched", "unmatched")),
        caveats=one.caveats,
    )
