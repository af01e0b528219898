"""Left against right: how far the channels stand apart in each condition, and whether the change set them apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import (
    Analyser,
    ChartRequest,
    Condition,
    Finding,
    Inputs,
    Needs,
    Result,
    Symmetry,
    Table,
    hookimpl,
)
from fairhearing_builtins.analysers.band_levels import MIDBAND_HZ, FieldBands, band_levels, enough
from fairhearing_builtins.analysers.cells import Place, gather, seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, Estimates, Part, estimates, within
from fairhearing_builtins.analysers.left_right_chart import difference_chart

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# What a channel's id says; other channels (a centre, a surround) have no opposite.
SIDES = {"left": ("left", "l"), "right": ("right", "r")}
WORDS = ("kept", "shifted")
SPANS: Mapping[str | None, str] = {
    None: "mean of the third octaves 1000-4000 Hz",
    "bass": "mean of the third octaves of the bass band",
}
UNITS = {"frequency_hz": "Hz", "condition": "", "difference_db": "dB", "low_db": "dB", "high_db": "dB"}
METHOD = "{span}, left minus right{change}; t interval from repeats, standard deviations pooled over seats and sides"
FEW_BANDS = "fewer than two thirds of the bands are usable in both channels"
NO_PAIR = "left and right were not both measured"


class LeftRight:
    """Difference between the channels, and its change."""

    name = "left-right"
    version = "1"
    quantities = frozenset({"channel_difference", "channel_difference_change"})
    needs = Needs(
        kinds=frozenset({"response", "impulse", "sweep", "noise"}), points=frozenset({"seat", "amplifier-output"})
    )
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=frozenset({"channel_difference_change"})),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each condition, and for each against the reference; none where no file names two sides."""
        findings: list[Finding] = []
        tables: list[Table] = []
        charts: list[ChartRequest] = []
        for point, playing in (("seat", "both"), ("seat", "main"), ("amplifier-output", "main")):
            field = gather(inputs, point=point, playing=playing)
            pairs = {} if field is None else side_pairs(list(field.grids))
            if field is None or not pairs:
                continue
            bands = band_levels(field, inputs.session.criteria.min_snr_db)
            sides = _Sides(inputs, bands, pairs)
            found, curves = sides.findings(), sides.curves()
            findings += found
            tables.append(Table(name=f"left-right-{point}-{playing}", columns=curves, units=UNITS))
            charts += difference_chart(inputs, point, playing, found, curves)
        return Result(findings=tuple(findings), tables=tuple(tables), charts=tuple(charts))


def side_pairs(places: Sequence[Place]) -> dict[str | None, tuple[Place, Place]]:
    """The left and the right place of each seat (None: the amplifier) that has both, by the channels' ids."""
    found: dict[str | None, dict[str, Place]] = {}
    for place in places:
        for side, names in SIDES.items():
            if place.channel is not None and place.channel.lower() in names:
                found.setdefault(place.seat, {})[side] = place
    return {seat: (sides["left"], sides["right"]) for seat, sides in found.items() if len(sides) == 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """A range of bands that is averaged."""

    variant: str | None
    chosen: BoolArray


class _Sides:
    """The findings at one point with one thing playing."""

    def __init__(self, inputs: Inputs, bands: FieldBands, pairs: Mapping[str | None, tuple[Place, Place]]) -> None:
        self.inputs = inputs
        self.bands = bands
        self.pairs = pairs
        self.at_seats = bands.field.point == "seat"

    def findings(self) -> list[Finding]:
        """Mid-band and bass, over seats and per seat: of each condition, and the change."""
        chosen = self.bands.chosen
        spans = (
            _Span(variant=None, chosen=chosen(MIDBAND_HZ)),
            _Span(variant="bass", chosen=chosen(self.inputs.session.criteria.bass_band_hz)),
        )
        sets: list[tuple[Condition, ...]] = [(condition,) for condition in self.inputs.session.conditions]
        sets += [(one.condition, one.reference) for one in self.inputs.comparisons]
        return [
            finding
            for span in spans
            for conditions in sets
            for finding in self._rows(span, conditions, self._estimates(span, conditions))
        ]

    def curves(self) -> dict[str, list[float | str | None]]:
        """Left minus right in each third octave over seats, in each condition, with its interval."""
        nominal = self.bands.bands.nominal_hz.tolist()
        columns: dict[str, list[float | str | None]] = {
            name: [] for name in ("frequency_hz", "condition", "difference_db", "low_db", "high_db")
        }
        for condition in self.inputs.session.conditions:
            for index, frequency_hz in enumerate(nominal):
                span = _Span(variant=None, chosen=np.arange(len(nominal)) == index)
                one = self._estimates(span, (condition,)).over_seats
                row = (None, None, None) if one is None else (one.value, one.low, one.high)
                for name, cell in zip(columns, (frequency_hz, condition.id, *row), strict=True):
                    columns[name].append(cell)
        return columns

    def _usable(self, span: _Span, sides: tuple[Place, Place], conditions: Sequence[Condition]) -> BoolArray | None:
        """The bands that both sides have in all of these conditions; None where too few."""
        cells = [(place, c.id) for place in sides for c in conditions]
        if any(cell not in self.bands.cells for cell in cells):
            return None
        lacking = np.any([np.isnan(self.bands.cells[cell].level_db) for cell in cells], axis=0)
        usable: BoolArray = span.chosen & ~lacking
        return usable if enough(usable, span.chosen) else None

    def _estimates(self, span: _Span, conditions: Sequence[Condition]) -> Estimates:
        """Left minus right of one condition, or of the first less that of the second."""
        parts = []
        for seat, sides in self.pairs.items():
            usable = self._usable(span, sides, conditions)
            if usable is None:
                continue
            value, repeats, in_place = 0.0, [], []
            for sign, condition in zip((1.0, -1.0), conditions, strict=False):
                for side, place in zip((1.0, -1.0), sides, strict=True):
                    cell = self.bands.cells[place, condition.id]
                    value += sign * side * float(np.mean(cell.level_db[usable]))
                    repeats.append(cell.take_db[:, usable].mean(axis=1))
                    in_place.append(self.at_seats and self.bands.field.cells[place, condition.id].in_place)
            parts.append(
                Part(place=Place(seat, None), value=value, repeats=tuple(repeats), in_place=tuple(in_place))
            )  # fmt: skip
        counted = seats_that_count(self.inputs) if self.at_seats else None
        return estimates(parts, counted, self.inputs.session.criteria)

    def _rows(self, span: _Span, conditions: Sequence[Condition], found: Estimates) -> list[Finding]:
        rows: list[tuple[str | None, Estimate | None]] = [(None, found.over_seats)]
        if self.at_seats:
            rows += [(seat.id, found.by_seat.get(seat.id)) for seat in self.inputs.session.seats]
        return [self._finding(span, conditions, seat, estimate) for seat, estimate in rows]

    def _finding(
        self, span: _Span, conditions: Sequence[Condition], seat: str | None, estimate: Estimate | None
    ) -> Finding:  # fmt: skip
        criteria = self.inputs.session.criteria
        changes = len(conditions) > 1
        low, high = (estimate.low, estimate.high) if estimate else (None, None)
        reason = FEW_BANDS if seat is None or seat in self.pairs else NO_PAIR
        return Finding(
            quantity="channel_difference_change" if changes else "channel_difference",
            variant=span.variant,
            value=None if estimate is None else estimate.value,
            unit="dB",
            low=low,
            high=high,
            confidence=criteria.confidence if low is not None else None,
            n=None if estimate is None else estimate.n,
            method=METHOD.format(span=SPANS[span.variant], change=", condition minus reference" if changes else ""),
            condition=conditions[0].id,
            reference=conditions[1].id if changes else None,
            point=self.bands.field.point,
            playing=self.bands.field.playing,
            seat=seat,
            verdict=within(low, high, criteria.smallest_change_db, WORDS) if changes else None,
            caveats=(reason,) if estimate is None else estimate.caveats,
        )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [LeftRight()]
