"""Estimates at the seats whose intervals hold for all seats at once, and what follows from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fairhearing.statistics.pooled import FEWEST_DEGREES_OF_FREEDOM, pool
from fairhearing.statistics.simultaneous import widening
from fairhearing_builtins.analysers.bass_field import BassField, Measure
from fairhearing_builtins.analysers.cells import seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, estimates, with_sign


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """By seat: with intervals for all together (seats that count), and each with its own (all seats)."""

    by_seat: Mapping[str, Estimate]
    single: Mapping[str | None, Estimate]

    @property
    def n_seats(self) -> int:
        """How many seats are looked at together."""
        return len(self.by_seat)

    def losers(self, smallest_db: float) -> list[str]:
        """The seats that are worse, the one that loses most first."""
        lost = [s for s, e in self.by_seat.items() if with_sign(e.low, e.high, smallest_db) == "worse"]
        return sorted(lost, key=lambda seat: (-self.by_seat[seat].value, seat))

    def worse_alone(self, smallest_db: float) -> list[str]:
        """The seats that are worse by their own interval, the one that loses most first."""
        own = {seat: self.single[seat] for seat in self.by_seat}
        lost = [seat for seat, e in own.items() if with_sign(e.low, e.high, smallest_db) == "worse"]
        return sorted(lost, key=lambda seat: (-own[seat].value, seat))


def together(bass: BassField, measure: Measure, seats: Sequence[str], *, shape: bool) -> Together | None:
    """The change of what is measured at each seat; None where there is no bass to measure."""
    parts = bass.parts(bass.names, measure, shape=shape)
    if parts is None:
        return None
    criteria = bass.inputs.session.criteria
    single = estimates(parts, seats_that_count(bass.inputs), criteria).by_seat
    counted = {seat: single[seat] for seat in seats if seat in single}
    degrees = pool([repeat for part in parts for repeat in part.repeats]).degrees_of_freedom
    factor = 1.0
    if counted and degrees >= FEWEST_DEGREES_OF_FREEDOM:
        factor = widening(len(counted), degrees, criteria.confidence)
    return Together(by_seat={seat: widened(e, factor) for seat, e in counted.items()}, single=single)


def widened(estimate: Estimate, factor: float) -> Estimate:
    """The estimate with its interval wider by a factor."""
    if estimate.low is None or estimate.high is None:
        return estimate
    low = estimate.value - factor * (estimate.value - estimate.low)
    high = estimate.value + factor * (estimate.high - estimate.value)
    return replace(estimate, low=low, high=high, detectable=None)


def worst_of(seats: Together) -> Estimate | None:
    """The largest change of any seat. Limits that hold for all seats at once bound the largest of them too."""
    if not seats.by_seat:
        return None
    found = list(seats.by_seat.values())
    lows = [e.low for e in found if e.low is not None]
    highs = [e.high for e in found if e.high is not None]
    bounded = len(lows) == len(highs) == len(found)
    return Estimate(
        value=max(e.value for e in found),
        low=max(lows) if bounded else None,
        high=max(highs) if bounded else None,
        n=min(e.n for e in found),
        caveats=tuple(dict.fromkeys(caveat for e in found for caveat in e.caveats)),
    )
