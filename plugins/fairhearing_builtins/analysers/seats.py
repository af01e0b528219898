"""Which seats gain and which lose, looked at together: bass level and shape apart, and the places around each seat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fairhearing.api import Analyser, ChartRequest, Comparison, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.band_levels import FieldBands, heard_bands, left_out_caveat
from fairhearing_builtins.analysers.bass_field import DATA_STOP, BassField, Measure, bass_field
from fairhearing_builtins.analysers.cells import seats_that_count
from fairhearing_builtins.analysers.estimates import Estimate, with_sign
from fairhearing_builtins.analysers.level import HIDDEN
from fairhearing_builtins.analysers.range_means import reason_missing
from fairhearing_builtins.analysers.seat_charts import audit_charts
from fairhearing_builtins.analysers.seat_positions import other_sign, position_spreads
from fairhearing_builtins.analysers.seats_together import Together, together, worst_of
from fairhearing_builtins.analysers.slept import slept
from fairhearing_builtins.analysers.target_levels import bass_levels, deviations, level_distances

SIMULTANEOUS = (
    "t interval from repeats that holds for all seats that count together (studentized maximum modulus, standard "
    "deviations pooled over seats, channels and conditions)"
)
METHODS: Mapping[str | None, str] = {
    None: "change of the deviation of the bass from the target, level and shape together, as target_deviation_change",
    "shape": "change of the deviation of the shape alone: the level is taken from the bass band itself",
    "level": "change of the distance of the bass as a whole from the target: mean over the bass bands of (band level - "
    "target - a), without its sign",
}
SIGNED_METHOD = "change of the mean over the bass bands of (band level - target - a), a the mean over 1000-4000 Hz"
WORST_METHOD = (
    "the largest change of any seat that counts; low and high: the largest of the seats' lower and of their upper "
    "limits, which hold together"
)
NO_LEVEL = "the data stop below 4 kHz: nothing says how loud the bass is against the mid-band"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facet:
    """One way to look at the seats: a quantity and variant, what is measured, and how the level is fixed."""

    quantity: str
    variant: str | None
    measure: Measure
    shape: bool
    judged: bool = True


class Seats:
    """The seats one by one, with intervals and verdicts that hold for all of them at once."""

    name = "seats"
    version = "2"
    quantities = frozenset({"seat_audit", "seat_bass_level_change", "worst_seat_change", "seat_position_spread"})
    needs = Needs(
        kinds=frozenset({"response", "impulse", "sweep", "noise"}),
        points=frozenset({"seat"}),
        findings=frozenset({"drift"}),
    )
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="swap-conditions-negates", quantities=frozenset({"seat_audit", "seat_bass_level_change"})),
        Symmetry(kind="swap-conditions-invariant", quantities=frozenset({"seat_position_spread"})),
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
            found = _Audit(inputs, comparison, heard.of(comparison)).findings()
            findings += found
            charts += audit_charts(inputs, comparison, found)
        return Result(findings=tuple(findings), charts=tuple(charts))


class _Audit:
    """The audit of one comparison; holds what its findings share."""

    def __init__(self, inputs: Inputs, comparison: Comparison, bands: FieldBands | None) -> None:
        self.inputs = inputs
        self.comparison = comparison
        self.bass: BassField = bass_field(inputs, comparison, bands)
        self.criteria = inputs.session.criteria
        self.seats = [seat.id for seat in seats_that_count(inputs)]
        self.stops = self.bass.data_stop()

    def findings(self) -> list[Finding]:
        """Level and shape together, each alone, the level with its sign, the worst seat, the places around a seat."""
        facets = (
            Facet(quantity="seat_audit", variant=None, measure=deviations, shape=self.stops),
            Facet(quantity="seat_audit", variant="shape", measure=deviations, shape=True),
            Facet(quantity="seat_audit", variant="level", measure=level_distances, shape=False),
            Facet(
                quantity="seat_bass_level_change", variant=None, measure=bass_levels, shape=False, judged=False
            ),
        )  # fmt: skip
        found: list[Finding] = []
        for facet in facets:
            seats = together(self.bass, facet.measure, self.seats, shape=facet.shape)
            found += [self._at_seat(facet, seat, seats) for seat in self.seats]
            if facet.measure is deviations:
                found.append(self._worst(facet.variant, seats))
        return [*found, *self._position_spreads()]

    def _at_seat(self, facet: Facet, seat: str, seats: Together | None) -> Finding:
        estimate = None if seats is None else seats.by_seat.get(seat)
        smallest = self.criteria.smallest_change_db
        verdict = None
        caveats: tuple[str, ...] = self._stop_caveats(facet)
        if facet.judged:
            verdict = with_sign(estimate.low, estimate.high, smallest) if estimate else "undecided"
        if facet.quantity == "seat_audit" and facet.variant is None and seats is not None and estimate is not None:
            if verdict != "worse" and seat in seats.worse_alone(smallest):
                caveats = (*caveats, _chance(seats.n_seats))
            caveats = (*caveats, *other_sign(self.inputs, seats.single, seat, smallest), *self._drifts(seat))
        method = f"{METHODS[facet.variant] if facet.judged else SIGNED_METHOD}; {SIMULTANEOUS}"
        return self._finding(facet.quantity, facet.variant, seat, estimate, verdict, method, caveats)

    def _worst(self, variant: str | None, seats: Together | None) -> Finding:
        """Over seats: the change of the seat that fares worst, with the seats that lose named first."""
        estimate = None if seats is None else worst_of(seats)
        verdict, caveats = "undecided", []
        if seats is not None and estimate is not None:
            smallest = self.criteria.smallest_change_db
            verdict = with_sign(estimate.low, estimate.high, smallest)
            losers = seats.losers(smallest)
            chance = [seat for seat in seats.worse_alone(smallest) if seat not in losers]
            absent = [seat for seat in self.seats if seat not in seats.by_seat]
            if losers:
                caveats.append("worse at " + ", ".join(f"{s} ({seats.by_seat[s].value:+.1f} dB)" for s in losers))
            if chance:
                caveats.append(f"at {', '.join(chance)}: {_chance(seats.n_seats)}")
            if absent:
                caveats.append(f"no value at {', '.join(absent)}")
                verdict = verdict if verdict == "worse" else "undecided"
            caveats += self._drifts(None) if variant is None else ()
        stop = (DATA_STOP,) if self.stops and variant is None else ()
        return self._finding(
            "worst_seat_change", variant, None, estimate, verdict, f"{WORST_METHOD}; {METHODS[variant]}",
            (*stop, *caveats),
        )  # fmt: skip

    def _position_spreads(self) -> list[Finding]:
        found = self.bass.estimates(self.bass.names, deviations, shape=self.stops)
        by_seat = {} if found is None else found.by_seat
        return [
            self._finding("seat_position_spread", None, one.seat, one.estimate, None, one.method, one.caveats)
            for one in position_spreads(self.inputs, by_seat)
        ]

    def _stop_caveats(self, facet: Facet) -> tuple[str, ...]:
        if not self.stops or facet.variant == "shape":
            return ()
        return (DATA_STOP,) if facet.shape else (NO_LEVEL,)

    def _drifts(self, seat: str | None) -> tuple[str, ...]:
        """A caveat for each closing take whose bass differs: of this seat, or of all (None)."""
        drifted = [
            f
            for f in self.inputs.findings
            if f.verdict == "drifted" and f.variant != "level" and f.condition in self.bass.names
        ]
        here = {f.seat for f in drifted if f.seat is not None and seat in (None, f.seat)}
        return (f"drifted before the end of the session: at {', '.join(sorted(here))}",) if here else ()

    def _finding(
        self,
        quantity: str,
        variant: str | None,
        seat: str | None,
        estimate: Estimate | None,
        verdict: str | None,
        method: str,
        caveats: Sequence[str],
    ) -> Finding:
        bands = self.bass.bands
        left: tuple[str, ...] = ()
        if self.bass.hidden:
            caveats = (HIDDEN,)
        elif bands is not None:
            left = left_out_caveat(bands, self.comparison, bands.chosen(self.criteria.bass_band_hz), seat)
            left = (*left, *slept(bands.field, self.comparison, seat))
        explained = self.bass.hidden or quantity == "seat_position_spread" or NO_LEVEL in caveats
        if estimate is None and not explained:
            caveats = (*caveats, reason_missing(bands, self.comparison, seat))
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
            condition=self.comparison.condition.id,
            reference=self.comparison.reference.id,
            point="seat",
            playing=None if bands is None else bands.field.playing,
            seat=seat,
            verdict=verdict,
            caveats=tuple(dict.fromkeys((*(estimate.caveats if estimate else ()), *caveats, *left))),
        )


def _chance(n_seats: int) -> str:
    return f"worse by itself, but that may be chance: {n_seats} seats were looked at"


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Seats()]
