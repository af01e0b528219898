"""Level match: the mid-band, bass and loudness difference of each condition against the reference, and the trim."""

from __future__ import annotations

from collections.abc import Sequence

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
from fairhearing_builtins.analysers.band_levels import BASS_LEVEL_HZ, MIDBAND_HZ, FieldBands, band_levels, heard_bands
from fairhearing_builtins.analysers.cells import bass_is_hidden, gather, seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, within
from fairhearing_builtins.analysers.level_trim import trim_findings
from fairhearing_builtins.analysers.loudness_match import loudness_findings
from fairhearing_builtins.analysers.range_means import RangeMean, range_mean, reason_missing
from fairhearing_builtins.analysers.recording_pairs import ENERGY, LOW, PEAK
from fairhearing_builtins.analysers.slept import slept

HIDDEN = "measure with the subwoofer playing"
_HIDDEN_CAVEATS: tuple[str, ...] = (HIDDEN,)
METHOD = (
    "mean of the third-octave changes {low:g}-{high:g} Hz (IEC 61260-1), plus trims; t interval from repeats, "
    "standard deviations pooled over seats, channels and conditions"
)


class Level:
    """Level difference, mid-band, bass and by loudness, and the trim that would match."""

    name = "level"
    version = "3"
    quantities = frozenset({"level_difference", "bass_level_difference", "matching_trim", "level_left_after_trim"})
    needs = Needs(
        kinds=frozenset({"response", "impulse", "sweep", "noise", "recording"}),
        points=frozenset({"seat", "amplifier-output"}),
        summaries=(ENERGY, LOW, PEAK),
    )
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=quantities),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-adds", quantities=frozenset({"level_difference", "bass_level_difference"})),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="relabel-programmes-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for every comparison."""
        snr = inputs.session.criteria.min_snr_db
        heard = heard_bands(inputs)
        output = gather(inputs, point="amplifier-output", playing="main")
        output_bands = None if output is None or not output.grids else band_levels(output, snr)
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for comparison in inputs.comparisons:
            at_output = output_bands if output_bands and output_bands.field.places(comparison) else None
            at_seats = heard.of(comparison)
            found = _midband(inputs, comparison, at_output or at_seats) + loudness_findings(inputs, comparison)
            hidden = bass_is_hidden(None if at_seats is None else at_seats.field, comparison)
            given_back = comparison.condition.chain.gives_bass_back or comparison.reference.chain.gives_bass_back
            bass_bands = at_seats if given_back else at_output or at_seats
            found += _findings(inputs, comparison, bass_bands, "bass_level_difference", None, BASS_LEVEL_HZ, hidden)
            found += trim_findings(found)
            findings += found
            charts += _chart(inputs, comparison, found)
        return Result(findings=tuple(findings), charts=tuple(charts))


def _midband(inputs: Inputs, comparison: Comparison, bands: FieldBands | None) -> list[Finding]:
    variant = None if inputs.session.criteria.level_measure == "midband" else "midband"
    return _findings(inputs, comparison, bands, "level_difference", variant, MIDBAND_HZ, False)


def _findings(
    inputs: Inputs,
    comparison: Comparison,
    bands: FieldBands | None,
    quantity: str,
    variant: str | None,
    range_hz: tuple[float, float],
    hidden: bool,
) -> list[Finding]:
    """The difference over seats, per seat and per channel (at an amplifier: over all, and per channel)."""
    session = inputs.session
    at_seats = bands is None or bands.field.point == "seat"
    shift = comparison.condition.trim_db - comparison.reference.trim_db
    mean = None
    if bands is not None:
        counted = seats_that_count(inputs) if at_seats else None
        mean = range_mean(bands, comparison, range_hz, counted, session.criteria, shift)
    rows: list[tuple[str | None, str | None, Estimate | None]] = [
        (None, None, mean.estimates.over_seats if mean else None)
    ]
    if at_seats:
        rows += [(seat.id, None, mean.estimates.by_seat.get(seat.id) if mean else None) for seat in session.seats]
    if mean is not None:
        rows += [(None, channel, estimate) for channel, estimate in mean.estimates.by_channel.items()]
        if at_seats and bands is not None and bands.field.channels():
            rows += [(p.seat, p.channel, e) for p, e in mean.estimates.by_place.items() if p.channel is not None]
    return [
        _finding(inputs, comparison, bands, mean, quantity, variant, range_hz, hidden, seat, channel, estimate)
        for seat, channel, estimate in rows
    ]


def _finding(
    inputs: Inputs,
    comparison: Comparison,
    bands: FieldBands | None,
    mean: RangeMean | None,
    quantity: str,
    variant: str | None,
    range_hz: tuple[float, float],
    hidden: bool,
    seat: str | None,
    channel: str | None,
    estimate: Estimate | None,
) -> Finding:
    criteria = inputs.session.criteria
    if hidden:
        estimate, caveats = None, _HIDDEN_CAVEATS
    elif estimate is None:
        caveats = (reason_missing(bands, comparison, seat),)
    else:
        caveats = estimate.caveats + (mean.caveats.get(seat, ()) if mean else ())
    judged = quantity == "level_difference"
    if bands is not None and not judged and not hidden:
        caveats = (*caveats, *slept(bands.field, comparison, seat, channel))
    low, high = (estimate.low, estimate.high) if estimate else (None, None)
    return Finding(
        quantity=quantity,
        variant=variant,
        value=None if estimate is None else estimate.value,
        unit="dB",
        low=low,
        high=high,
        confidence=criteria.confidence if low is not None else None,
        n=None if estimate is None else estimate.n,
        method=METHOD.format(low=range_hz[0], high=range_hz[1]),
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        point=bands.field.point if bands is not None else "seat",
        playing=bands.field.playing if bands is not None else None,
        seat=seat,
        channel=channel,
        verdict=within(low, high, criteria.level_tolerance_db, ("matched", "unmatched")) if judged else None,
        caveats=caveats,
    )


def _chart(inputs: Inputs, comparison: Comparison, findings: Sequence[Finding]) -> list[ChartRequest]:
    """The level match with its tolerance: the headline by place, and what other measures say over all."""
    shown = [
        f
        for f in findings
        if f.quantity == "level_difference" and f.value is not None and (f.channel, f.programme) == (None, None)
        if f.variant is None or f.seat is None
    ]
    if not shown:
        return []
    tolerance = inputs.session.criteria.level_tolerance_db
    rows = [_row_of(finding) for finding in shown]
    stated = "; ".join(f"{row} {f.value:+.2f} dB, {f.verdict}" for row, f in zip(rows, shown, strict=True))
    return [
        ChartRequest(
            name=f"level-{comparison.condition.id}",
            title=f"Level match, {comparison.condition.label} against {comparison.reference.label}",
            alternative=f"Level difference with its interval; tolerance {tolerance:g} dB: {stated}.",
            form="interval",
            data={
                "place": rows,
                "difference": [f.value for f in shown],
                "low": [f.low for f in shown],
                "high": [f.high for f in shown],
            },
            x=Axis(column="difference", label="Level difference", unit="dB"),
            y=Axis(column="place", label="Measured at", scale="category"),
            low="low",
            high="high",
            rules=(Rule(at=-tolerance, label="tolerance"), Rule(at=0.0), Rule(at=tolerance, label="tolerance")),
        )
    ]


def _row_of(finding: Finding) -> str:
    place = finding.seat or ("all seats" if finding.point == "seat" else str(finding.point).replace("-", " "))
    return place if finding.variant is None else f"{place}, {finding.variant}"


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Level()]
