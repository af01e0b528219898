"""The places around a seat: how much its change hangs on a few decimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.api import Inputs
from fairhearing.statistics.pooled import FEWEST_DEGREES_OF_FREEDOM
from fairhearing.statistics.standard_deviation import standard_deviation
from fairhearing_builtins.analysers.estimates import Estimate

METHOD = (
    "standard deviation (n - 1), over a seat and the positions near it, of the change of the deviation from the "
    "target; the scatter of the repeats is in it; chi-square interval over positions"
)
FEW_POSITIONS = "too few positions for an interval: fewer than {n}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionSpread:
    """The spread around one seat; `estimate` None where it can't be had."""

    seat: str
    estimate: Estimate | None
    method: str
    caveats: tuple[str, ...]


def positions_of(inputs: Inputs, seat: str) -> list[str]:
    """The positions near a seat, in the order of session.toml."""
    return [one.id for one in inputs.session.seats if one.near == seat]


def position_spreads(inputs: Inputs, changes: Mapping[str | None, Estimate]) -> list[PositionSpread]:
    """The spread around each seat that has positions near it."""
    seats = [seat.id for seat in inputs.session.seats if positions_of(inputs, seat.id)]
    return [_spread(inputs, seat, changes) for seat in seats]


def _spread(inputs: Inputs, seat: str, changes: Mapping[str | None, Estimate]) -> PositionSpread:
    wanted = [seat, *positions_of(inputs, seat)]
    there = [changes[place] for place in wanted if place in changes]
    lacking = [place for place in wanted if place not in changes]
    caveats: tuple[str, ...] = (f"no change at {', '.join(lacking)}",) if lacking else ()
    if len(there) < 2:
        return PositionSpread(seat=seat, estimate=None, method=METHOD, caveats=caveats)
    found = standard_deviation([e.value for e in there], inputs.session.criteria.confidence)
    bounded = found.degrees_of_freedom >= FEWEST_DEGREES_OF_FREEDOM
    if not bounded:
        caveats = (*caveats, FEW_POSITIONS.format(n=FEWEST_DEGREES_OF_FREEDOM + 1))
    estimate = Estimate(
        value=found.value,
        low=found.low if bounded else None,
        high=found.high if bounded else None,
        n=min(e.n for e in there),
        caveats=(f"over {len(there)} positions: {', '.join(p for p in wanted if p in changes)}",),
    )
    return PositionSpread(seat=seat, estimate=estimate, method=METHOD, caveats=caveats)


def other_sign(
    inputs: Inputs, changes: Mapping[str | None, Estimate], seat: str, smallest_db: float
) -> tuple[str, ...]:
    """A caveat that names the positions near a seat where the change has the other sign and is not next to nothing."""
    here = changes[seat].value
    near = [p for p in positions_of(inputs, seat) if p in changes and abs(changes[p].value - here) > smallest_db]
    turned = [place for place in near if changes[place].value * here < 0]
    if not turned:
        return ()
    said = ", ".join(f"{place} ({changes[place].value:+.1f} dB)" for place in turned)
    return (f"the change has the other sign a little way off: at {said}",)
