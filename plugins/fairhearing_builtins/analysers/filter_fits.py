"""All fits of one comparison: over seats, per seat, per channel, with free order, and the loss where nothing shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.acoustics.chain import first_order_level_db
from fairhearing.acoustics.high_pass_fit import Model
from fairhearing.api import Comparison, Inputs
from fairhearing_builtins.analysers.cells import Field, Place, seats_that_count
from fairhearing_builtins.analysers.corners import Fitted, estimate, fit_places, lowest_usable_hz, order, signed_loss
from fairhearing_builtins.analysers.electrical import expected_corner_hz
from fairhearing_builtins.analysers.estimates import Estimate

# Where no corner is known: a filter at 40 Hz must show before "no filter" is said (contract).
CORNER_IF_UNKNOWN_HZ = 40.0
NO_FILTER_LOSS_DB = 1.0
VISIBLE_LOSS_DB = 3.0
FIRST_ORDER = (0.75, 1.25)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterFits:
    """The fits of one comparison; None where there are no usable frequencies."""

    field: Field
    model: Model
    over: Fitted | None
    by_seat: Mapping[str, Fitted]
    by_channel: Mapping[str, Fitted]
    order: Estimate | None
    order_at_bound: bool
    loss: Estimate | None  # at the lowest usable frequency; None where the reference has a filter of its own
    lowest_hz: float | None
    verdict: str  # of filter_order


def fit_filter(inputs: Inputs, comparison: Comparison, field: Field) -> FilterFits:
    """Fit everything that the findings of one comparison need."""
    criteria = inputs.session.criteria
    in_reference = comparison.reference.chain.names_filter
    model = Model(in_condition=comparison.condition.chain.names_filter or not in_reference, in_reference=in_reference)
    seats = None if field.point != "seat" else [seat.id for seat in seats_that_count(inputs)]
    places = field.places(comparison, seats)

    def fit(some: tuple[Place, ...]) -> Fitted | None:
        return fit_places(field, comparison, some, model, criteria.min_snr_db) if some else None

    every_seat = () if field.point != "seat" else tuple(seat.id for seat in inputs.session.seats)
    by_seat = {seat: fitted for seat in every_seat if (fitted := fit(field.places(comparison, [seat]))) is not None}
    by_channel = {
        channel: fitted
        for channel in field.channels()
        if (fitted := fit(tuple(p for p in places if p.channel == channel))) is not None
    }
    over = fit(places)
    free = Model(in_condition=model.in_condition, in_reference=in_reference, free_order=True)
    freed = fit_places(field, comparison, places, free, criteria.min_snr_db) if over is not None else None
    found_order = None
    if freed is not None and not freed.at_bound:
        found_order = estimate(freed, [freed], order, criteria, free.n_corners)
    loss = None
    if over is not None and model == Model():
        loss = estimate(over, [over], signed_loss, criteria, None)
    lowest = None if over is None else lowest_usable_hz(over)
    return FilterFits(
        field=field,
        model=model,
        over=over,
        by_seat=by_seat,
        by_channel=by_channel,
        order=found_order,
        order_at_bound=freed is not None and freed.at_bound,
        loss=loss,
        lowest_hz=lowest,
        verdict=_verdict(comparison, loss, lowest, found_order),
    )


def _verdict(comparison: Comparison, loss: Estimate | None, lowest_hz: float | None, found: Estimate | None) -> str:
    if _shows_no_filter(comparison, loss, lowest_hz):
        return "no-filter"
    if found is None or found.low is None or found.high is None:
        return "undecided"
    if found.low >= FIRST_ORDER[0] and found.high <= FIRST_ORDER[1]:
        return "first-order"
    if found.high < FIRST_ORDER[0] or found.low > FIRST_ORDER[1]:
        return "other"
    return "undecided"


def _shows_no_filter(comparison: Comparison, loss: Estimate | None, lowest_hz: float | None) -> bool:
    """The loss at the lowest usable frequency is below 1 dB, where a filter as expected would lose 3 dB or more."""
    if loss is None or lowest_hz is None or loss.high is None or loss.high >= NO_FILTER_LOSS_DB:
        return False
    expected = expected_corner_hz(comparison.condition.chain) or CORNER_IF_UNKNOWN_HZ
    return -first_order_level_db(lowest_hz, expected) >= VISIBLE_LOSS_DB
