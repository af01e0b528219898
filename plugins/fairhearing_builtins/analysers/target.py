"""Is the bass nearer to the target: deviation, its change at each seat, the spread over seats, what could be shown."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fairhearing.api import (
    Analyser,
    ChartRequest,
    Comparison,
    Criteria,
    Finding,
    Inputs,
    Needs,
    Result,
    Symmetry,
    hookimpl,
)
from fairhearing.statistics.pooled import pool
from fairhearing_builtins.analysers.band_levels import FieldBands, heard_bands, left_out_caveat
from fairhearing_builtins.analysers.bass_field import DATA_STOP, bass_field
from fairhearing_builtins.analysers.cells import seats_that_count
from fairhearing_builtins.analysers.estimates import (
    IN_PLACE_CAVEAT,
    Estimate,
    Estimates,
    interval,
    with_sign,
)
from fairhearing_builtins.analysers.level import HIDDEN
from fairhearing_builtins.analysers.range_means import reason_missing
from fairhearing_builtins.analysers.slept import slept
from fairhearing_builtins.analysers.target_charts import target_chart
from fairhearing_builtins.analysers.target_levels import (
    deviations,
    spreads,
)

DEVIATION_METHOD = (
    "root mean square over the third octaves of the bass band of (band level - target - a), a the mean over "
    "{a}; mean over channels, weighted mean over seats; t interval from leave-one-repeat-out pseudo-values pooled "
    "over seats, channels and conditions"
)
SPREAD_METHOD = (
    "standard deviation over seats (n - 1) of (band level - a), root mean square over the bass bands, condition minus "
    "reference; t interval from leave-one-repeat-out pseudo-values"
)
FEW_TO_SHOW = "too few repeats to say what could be shown"
FEW_SEATS = "fewer than two seats that count have usable bass bands in both conditions"
DETECTABLE_METHOD = "the change that an interval from these repeats would have shown in four cases of five"


class Target:
    """Target deviation and seat spread."""

    name = "target"
    version = "2"
    quantities = frozenset(
        {"target_deviation", "target_deviation_change", "seat_spread_change", "smallest_detectable_change"}
    )
    needs = Needs(kinds=frozenset({"response", "impulse", "sweep", "noise"}), points=frozenset({"seat"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(
            kind="swap-conditions-negates", quantities=frozenset({"target_deviation_change", "seat_spread_change"})
        ),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings and charts for every comparison."""
        heard = heard_bands(inputs)
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for comparison in inputs.comparisons:
            found = _Comparison(inputs, comparison, heard.of(comparison)).findings()
            findings += found
            charts += target_chart(inputs, comparison, found)
        return Result(findings=_unique(findings), charts=tuple(charts))


def _unique(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The reference's own deviation is told once, from the first comparison that has a value for it."""
    seen: dict[tuple[object, ...], Finding] = {}
    for f in findings:
        key = (f.quantity, f.variant, f.of, f.condition, f.reference, f.playing, f.seat)
        if key not in seen or (seen[key].value is None and f.value is not None):
            seen[key] = f
    return tuple(seen.values())


class _Comparison:
    """The findings of one comparison; holds what they share."""

    def __init__(self, inputs: Inputs, comparison: Comparison, bands: FieldBands | None) -> None:
        self.inputs = inputs
        self.comparison = comparison
        self.names = (comparison.condition.id, comparison.reference.id)
        self.bands = bands
        self.criteria: Criteria = inputs.session.criteria
        self.bass = bass_field(inputs, comparison, bands)

    def findings(self) -> list[Finding]:
        """All of them: the headline from the mid-band, the variant `shape`, the spread over seats."""
        headline_shape = self.bass.data_stop()
        return [
            *self._deviations(None, shape=headline_shape),
            *self._deviations("shape", shape=True),
            self._spread(shape=headline_shape),
        ]

    def _deviations(self, variant: str | None, *, shape: bool) -> list[Finding]:
        stop = (DATA_STOP,) if shape and variant is None else ()
        method = DEVIATION_METHOD.format(a="the bass band itself" if shape else "1000-4000 Hz")
        findings = []
        for name in self.names:
            one = self.bass.estimates((name,), deviations, shape=shape)
            findings += [
                self._finding("target_deviation", variant, name, None, seat, estimate, method, stop, None)
                for seat, estimate in self.bass.rows(one)
            ]
        change = self.bass.estimates(self.names, deviations, shape=shape)
        findings += self._changes(variant, change, method, stop)
        if variant is None:
            findings += [self._detectable("target_deviation_change", s, e) for s, e in self.bass.rows(change)]
        return findings

    def _changes(
        self, variant: str | None, change: Estimates | None, method: str, caveats: tuple[str, ...]
    ) -> list[Finding]:
        """The change per seat and over seats; over seats `improved` only if no seat that counts is worse."""
        smallest = self.criteria.smallest_change_db
        verdicts = {
            seat: with_sign(e.low, e.high, smallest) if e else "undecided" for seat, e in self.bass.rows(change)
        }
        counted = {seat.id for seat in seats_that_count(self.inputs)}
        worse = [seat for seat, verdict in verdicts.items() if seat in counted and verdict == "worse"]
        losers: tuple[str, ...] = ()
        if verdicts[None] == "improved" and worse:
            verdicts[None] = "undecided"
            losers = (f"better on the mean over seats, but worse at {', '.join(map(str, worse))}",)
        return [
            self._finding(
                "target_deviation_change",
                variant,
                self.names[0],
                self.names[1],
                seat,
                estimate,
                method,
                (*caveats, *(losers if seat is None else ())),
                verdicts[seat],
            )
            for seat, estimate in self.bass.rows(change)
        ]

    def _finding(
        self,
        quantity: str,
        variant: str | None,
        condition: str,
        reference: str | None,
        seat: str | None,
        estimate: Estimate | None,
        method: str,
        caveats: tuple[str, ...],
        verdict: str | None,
        of: str | None = None,
    ) -> Finding:
        left: tuple[str, ...] = ()
        if self.bass.hidden:
            caveats = (HIDDEN,)
        elif estimate is None and not set(caveats) & {FEW_TO_SHOW, FEW_SEATS}:
            caveats = (*caveats, reason_missing(self.bands, self.comparison, seat))
        if self.bands is not None and not self.bass.hidden:
            chosen = self.bands.chosen(self.criteria.bass_band_hz)
            left = left_out_caveat(self.bands, self.comparison, chosen, seat)
            left = (*left, *slept(self.bands.field, self.comparison, seat))
        low, high = (estimate.low, estimate.high) if estimate else (None, None)
        return Finding(
            quantity=quantity,
            variant=variant,
            value=None if estimate is None else estimate.value,
            unit="dB",
            low=low,
            high=high,
            confidence=self.criteria.confidence if low is not None else None,
            n=None if estimate is None else estimate.n,
            method=method,
            condition=condition,
            reference=reference,
            point="seat",
            playing=None if self.bands is None else self.bands.field.playing,
            seat=seat,
            of=of,
            verdict=verdict,
            caveats=(*(estimate.caveats if estimate else ()), *caveats, *left),
        )

    def _detectable(self, of: str, seat: str | None, estimate: Estimate | None) -> Finding:
        there = None
        if estimate is not None and estimate.detectable is not None:
            there = Estimate(value=estimate.detectable, low=None, high=None, n=estimate.n)
        caveats = () if there is not None or estimate is None else (FEW_TO_SHOW,)
        return self._finding(
            "smallest_detectable_change",
            None,
            self.names[0],
            self.names[1],
            seat,
            there,
            DETECTABLE_METHOD,
            caveats,
            None,
            of,
        )

    def _spread(self, *, shape: bool) -> Finding:
        estimate = self._spread_estimate(shape=shape)
        caveats: tuple[str, ...] = ()
        if estimate is None and self.bands is not None:
            caveats = (FEW_SEATS,)
        verdict = with_sign(estimate.low, estimate.high, self.criteria.smallest_change_db) if estimate else "undecided"
        stop = (DATA_STOP,) if shape else ()
        return self._finding(
            "seat_spread_change", None, *self.names, None, estimate, SPREAD_METHOD, (*stop, *caveats), verdict
        )

    def _spread_estimate(self, *, shape: bool) -> Estimate | None:
        """Mean over channels of the change of the spread."""
        relative = self.bass.relative
        if relative is None or self.bands is None:
            return None
        counted = {seat.id for seat in seats_that_count(self.inputs)}
        places = [place for place in self.bass.places(shape=shape) if place.seat in counted]
        channels = sorted({place.channel for place in places}, key=lambda c: c or "")
        groups = [[place for place in places if place.channel == channel] for channel in channels]
        groups = [group for group in groups if len(group) >= 2]
        if not groups:
            return None
        changes, moved = [], []
        for group in groups:
            found = [spreads(relative, group, name, shape=shape) for name in self.names]
            changes.append(found[0][0] - found[1][0])
            moved += [d / len(groups) for _, by_place in found for d in by_place.values()]
        cells = [self.bands.field.cells[place, name] for g in groups for place in g for name in self.names]
        in_place = [any(self.bands.field.cells[p, name].in_place for g in groups for p in g) for name in self.names]
        extra = sum(in_place) * self.criteria.placement_sd_db**2
        factor = sum(1 / cell.n_repeats for cell in cells)
        n = min(cell.n_repeats for cell in cells)
        caveats = (IN_PLACE_CAVEAT,) if extra > 0 else ()
        value = float(np.mean(changes))
        return interval(value, pool(moved), factor, self.criteria.confidence, extra, 1, n, caveats)


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Target()]
