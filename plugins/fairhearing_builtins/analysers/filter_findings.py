"""Findings of the filter: what the chain says, what was fitted, and what follows from the two."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fairhearing.api import Comparison, Criteria, Finding, Inputs
from fairhearing_builtins.analysers.corners import (
    Fitted,
    Statistic,
    estimate,
    log_corner,
    log_reference_corner,
    mean_gain,
)
from fairhearing_builtins.analysers.electrical import (
    expected_corner_hz,
    load_behind,
    meter_caveat,
    meter_shift_octaves,
)
from fairhearing_builtins.analysers.estimates import Estimate
from fairhearing_builtins.analysers.filter_fits import FilterFits

HIDDEN = "the subwoofer hides the filter"
UNMEASURED = "no response of both conditions was measured with the main loudspeakers alone"
AT_BOUND = "the fit ended at a bound of its search"
NO_FILTER = "no filter shows: the loss at the lowest usable frequency is below 1 dB"
NOTHING_USABLE = "too few frequencies stand clear of the noise for a fit"
FIT_METHOD = (
    "least squares in dB of a first-order high-pass on the ratio of the conditions, point by point on the measured "
    "grid, gain free for each seat and channel; t interval on ln f_c from leave-one-repeat-out deviations pooled over "
    "seats, channels and conditions"
)


def hidden_findings(comparison: Comparison) -> list[Finding]:
    """Null findings where a subwoofer was playing in every measurement."""
    return _null_findings(comparison, HIDDEN, "both")


def unmeasured_findings(comparison: Comparison) -> list[Finding]:
    """Null findings where nothing was measured that could show the filter."""
    return _null_findings(comparison, UNMEASURED, None)


def _null_findings(comparison: Comparison, caveat: str, playing: str | None) -> list[Finding]:
    verdicts = {"filter_order": "undecided", "corner_ratio": "undecided"}
    units = {
        "corner_frequency": "Hz",
        "filter_order": "1",
        "corner_ratio": "1",
        "implied_load": "ohm",
        "passband_gain": "dB",
    }
    return [
        Finding(
            quantity=quantity,
            value=None,
            unit=unit,
            method=FIT_METHOD,
            condition=comparison.condition.id,
            reference=comparison.reference.id,
            point="seat",
            playing=playing,
            verdict=verdicts.get(quantity),
            caveats=(caveat,),
        )
        for quantity, unit in units.items()
    ]


def fitted_findings(inputs: Inputs, comparison: Comparison, fits: FilterFits) -> list[Finding]:
    """Every finding that comes from the fits of one comparison."""
    weights = {seat.id: seat.weight for seat in inputs.session.seats}
    make = _Maker(inputs.session.criteria, comparison, fits, weights)
    findings = [make.order()]
    if fits.model.in_condition:
        findings += make.corners(log_corner, 0, comparison.condition.id, comparison.reference.id)
        findings += make.from_corner()
    else:
        findings.append(make.no_filter_named())
    if fits.model.in_reference:
        parameter = fits.model.n_corners - 1
        findings += make.corners(log_reference_corner, parameter, comparison.reference.id, None)
    return [*(_with_meter(finding, comparison) for finding in findings), *make.gains()]


def _with_meter(finding: Finding, comparison: Comparison) -> Finding:
    """With a caveat where a measuring input hung on the line that was measured."""
    condition = comparison.condition if finding.condition == comparison.condition.id else comparison.reference
    caveats = meter_caveat(condition.chain, finding.point or "") if finding.quantity != "filter_order" else ()
    return replace(finding, caveats=(*finding.caveats, *caveats))


class _Maker:
    """Findings of one comparison; holds what they share."""

    def __init__(
        self, criteria: Criteria, comparison: Comparison, fits: FilterFits, weights: Mapping[str, float]
    ) -> None:
        self.criteria = criteria
        self.comparison = comparison
        self.fits = fits
        self.weights = weights
        self.is_null = fits.verdict == "no-filter"

    def finding(
        self,
        quantity: str,
        unit: str,
        value: Estimate | None,
        *,
        condition: str | None = None,
        reference: str | None = "",
        seat: str | None = None,
        channel: str | None = None,
        variant: str | None = None,
        verdict: str | None = None,
        method: str = FIT_METHOD,
        caveats: Sequence[str] = (),
    ) -> Finding:
        """A finding at the point of the fits."""
        low, high = (value.low, value.high) if value else (None, None)
        own = value.caveats if value else ()
        return Finding(
            quantity=quantity,
            variant=variant,
            value=None if value is None else value.value,
            unit=unit,
            low=low,
            high=high,
            confidence=self.criteria.confidence if low is not None else None,
            n=None if value is None else value.n,
            method=method,
            condition=condition or self.comparison.condition.id,
            reference=self.comparison.reference.id if reference == "" else reference,
            point=self.fits.field.point,
            playing=self.fits.field.playing,
            seat=seat,
            channel=channel,
            verdict=verdict,
            caveats=(*own, *caveats),
        )

    def why_null(self, fitted: Fitted | None) -> str | None:
        """Why a fit gives no corner; None if it gives one."""
        if self.is_null:
            return NO_FILTER
        if fitted is None:
            return NOTHING_USABLE
        return AT_BOUND if fitted.at_bound else None

    def order(self) -> Finding:
        """filter_order with its verdict."""
        caveat: tuple[str, ...] = ()
        if self.is_null and self.fits.lowest_hz is not None:
            caveat = (f"{NO_FILTER} ({self.fits.lowest_hz:.1f} Hz)",)
        elif self.fits.order is None:
            caveat = (AT_BOUND if self.fits.order_at_bound else NOTHING_USABLE,)
        return self.finding(
            "filter_order",
            "1",
            None if self.is_null else self.fits.order,
            verdict=self.fits.verdict,
            method="n of g^2/(1+(f_c/f)^(2n)), fitted as the corner",
            caveats=caveat,
        )

    def corners(self, statistic: Statistic, parameter: int, condition: str, reference: str | None) -> list[Finding]:
        """corner_frequency over seats, per seat and per channel."""
        families: list[tuple[str, dict[str, Fitted]]] = [
            ("seat", dict(self.fits.by_seat)),
            ("channel", dict(self.fits.by_channel)),
        ]
        over = self._corner(self.fits.over, [self.fits.over], statistic, parameter)
        split = self._channels_apart(statistic, parameter)
        findings = [
            self.finding(
                "corner_frequency",
                "Hz",
                over,
                condition=condition,
                reference=reference,
                caveats=self._null_caveat(self.fits.over) + split,
            )
        ]
        for kind, family in families:
            for name, fitted in family.items():
                value = self._corner(fitted, list(family.values()), statistic, parameter)
                findings.append(
                    self.finding(
                        "corner_frequency",
                        "Hz",
                        value,
                        condition=condition,
                        reference=reference,
                        seat=name if kind == "seat" else None,
                        channel=name if kind == "channel" else None,
                        caveats=self._null_caveat(fitted),
                    )
                )
        return findings

    def _null_caveat(self, fitted: Fitted | None) -> tuple[str, ...]:
        reason = self.why_null(fitted)
        return () if reason is None else (reason,)

    def _log_corner(
        self, fitted: Fitted | None, family: Sequence[Fitted | None], statistic: Statistic, parameter: int
    ) -> Estimate | None:
        if fitted is None or self.why_null(fitted) is not None:
            return None
        sound = [one for one in family if one is not None and not one.at_bound]
        return estimate(fitted, sound, statistic, self.criteria, parameter)

    def _corner(
        self, fitted: Fitted | None, family: Sequence[Fitted | None], statistic: Statistic, parameter: int
    ) -> Estimate | None:
        found = self._log_corner(fitted, family, statistic, parameter)
        return None if found is None else _mapped(found, math.exp)

    def _channels_apart(self, statistic: Statistic, parameter: int) -> tuple[str, ...]:
        """A caveat where two channels differ by more than their intervals allow."""
        family = list(self.fits.by_channel.values())
        found = {
            name: self._log_corner(fitted, family, statistic, parameter)
            for name, fitted in self.fits.by_channel.items()
        }
        there = {name: e for name, e in found.items() if e is not None and e.low is not None and e.high is not None}
        if len(there) < 2:
            return ()
        first = min(there, key=lambda name: there[name].value)
        last = max(there, key=lambda name: there[name].value)
        apart = there[last].value - there[first].value
        half = math.hypot(*((e.high or 0.0) - e.value for e in (there[first], there[last])))
        if apart <= half:
            return ()
        names = f"{first} {math.exp(there[first].value):.1f} Hz, {last} {math.exp(there[last].value):.1f} Hz"
        return (f"the channels differ ({names}): the common corner describes neither",)

    def from_corner(self) -> list[Finding]:
        """corner_ratio, the same in octaves, and implied_load."""
        chain = self.comparison.condition.chain
        expected = expected_corner_hz(chain)
        found = self._log_corner(self.fits.over, [self.fits.over], log_corner, 0)
        null = self._null_caveat(self.fits.over)
        ratio = octaves = load = None
        load_caveats = null
        if found is not None:
            if expected is not None:
                ratio = _mapped(found, lambda x: math.exp(x) / expected)
                octaves = _mapped(found, lambda x: (x - math.log(expected)) / math.log(2))
            else:
                null = ("the chain does not state the corner that is meant",)
            load, load_caveats = self._load(found)
        verdict = self._ratio_verdict(octaves, expected)
        shift = meter_shift_octaves(chain, self.fits.field.point)
        if octaves is not None and verdict != self._ratio_verdict(_mapped(octaves, lambda x: x - shift), expected):
            verdict = "undecided"  # the measuring input decides it
        return [
            self.finding("corner_ratio", "1", ratio, verdict=verdict, method=RATIO_METHOD, caveats=null),
            self.finding(
                "corner_ratio",
                "oct",
                octaves,
                variant="octaves",
                verdict=verdict,
                method="base-two logarithm of the ratio",
                caveats=null,
            ),
            self.finding("implied_load", "ohm", load, method="1/(2 pi C f_c) - R_source", caveats=load_caveats),
        ]

    def _load(self, found: Estimate) -> tuple[Estimate | None, tuple[str, ...]]:
        chain = self.comparison.condition.chain
        value = load_behind(chain, math.exp(found.value))
        if value is None:
            return None, ("the chain does not state the capacitor, or no load gives this corner",)
        ends = [None if x is None else load_behind(chain, math.exp(x)) for x in (found.high, found.low)]
        low, high = ends if None not in ends else (None, None)
        return Estimate(value=value, low=low, high=high, n=found.n, caveats=found.caveats), ()

    def _ratio_verdict(self, octaves: Estimate | None, expected: float | None) -> str:
        tolerance = self.criteria.corner_tolerance_octaves
        if self.is_null:
            return "mis-set" if expected is not None else "undecided"
        if octaves is None or octaves.low is None or octaves.high is None:
            return "undecided"
        if -tolerance <= octaves.low and octaves.high <= tolerance:
            return "as-set"
        return "mis-set" if octaves.high < -tolerance or octaves.low > tolerance else "undecided"

    def no_filter_named(self) -> Finding:
        """The condition's corner where only the reference has a filter."""
        return self.finding("corner_frequency", "Hz", None, caveats=("the chain of this condition names no filter",))

    def gains(self) -> list[Finding]:
        """passband_gain over seats and per seat."""
        rows: list[tuple[str | None, Fitted | None, list[Fitted]]] = []
        if self.fits.over is not None:
            rows.append((None, self.fits.over, [self.fits.over]))
        family = [one for one in self.fits.by_seat.values() if not one.at_bound]
        rows += [(seat, fitted, family) for seat, fitted in self.fits.by_seat.items()]
        findings = []
        for seat, fitted, among in rows:
            reason = self.why_null(fitted)
            value = None
            if reason is None and fitted is not None:
                statistic = mean_gain if seat is not None else _weighted_gain(self.weights)
                value = estimate(fitted, among, statistic, self.criteria, None)
            caveats = () if reason is None else (reason,)
            findings.append(
                self.finding("passband_gain", "dB", value, seat=seat, method="g of the fit", caveats=caveats)
            )
        return findings


def _weighted_gain(weights: Mapping[str, float]) -> Statistic:
    """Weighted mean over seats of the mean over channels of the gains, per row."""

    def gain(fitted: Fitted) -> npt.NDArray[np.float64]:
        seats = [place.seat for place in fitted.data.places]
        shares = [weights.get(seat or "", 1.0) / seats.count(seat) for seat in seats]
        return np.average(fitted.fit.gain_db, axis=1, weights=shares)

    return gain


RATIO_METHOD = "fitted over expected corner"


def _mapped(found: Estimate, function: object) -> Estimate:
    assert callable(function)
    return Estimate(
        value=function(found.value),
        low=None if found.low is None else function(found.low),
        high=None if found.high is None else function(found.high),
        n=found.n,
        caveats=found.caveats,
    )
