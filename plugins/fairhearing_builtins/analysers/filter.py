"""Is the filter where it was meant to be: corner, order, implied load, against what the chain says."""

from __future__ import annotations

from fairhearing.api import Analyser, ChartRequest, Comparison, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.cells import Field, gather
from fairhearing_builtins.analysers.filter_charts import corner_chart
from fairhearing_builtins.analysers.filter_findings import (
    fitted_findings,
    hidden_findings,
    unmeasured_findings,
)
from fairhearing_builtins.analysers.filter_fits import fit_filter

# Where the corner is read, in this order: the nearer to the filter, the less room is in it.
POINTS = ("amplifier-output", "amplifier-input", "seat")
FITTED = frozenset({"corner_frequency", "filter_order", "corner_ratio", "passband_gain"})
GAIN = frozenset({"passband_gain"})
LOAD = frozenset({"implied_load"})
# The search for a corner ends within some 1e-8 of it: at 90 Hz a microhertz, of a load of 47 kohm half a milliohm.
FIT_TOLERANCE = 1e-5
LOAD_TOLERANCE_OHM = 0.01


class Filter:
    """Corner, order, gain and load of the filter."""

    name = "filter"
    version = "1"
    quantities = FITTED | LOAD
    needs = Needs(kinds=frozenset({"response", "impulse", "sweep", "noise"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="common-gain-invariant", quantities=FITTED, tolerance=FIT_TOLERANCE),
        Symmetry(kind="common-gain-invariant", quantities=LOAD, tolerance=LOAD_TOLERANCE_OHM),
        Symmetry(kind="condition-gain-adds", quantities=GAIN, tolerance=FIT_TOLERANCE),
        Symmetry(kind="condition-gain-invariant", quantities=FITTED - GAIN, tolerance=FIT_TOLERANCE),
        Symmetry(kind="condition-gain-invariant", quantities=LOAD, tolerance=LOAD_TOLERANCE_OHM),
        Symmetry(kind="row-order-invariant", quantities=FITTED, tolerance=FIT_TOLERANCE),
        Symmetry(kind="row-order-invariant", quantities=LOAD, tolerance=LOAD_TOLERANCE_OHM),
        Symmetry(kind="relabel-seats-invariant", quantities=FITTED, tolerance=FIT_TOLERANCE),
        Symmetry(kind="relabel-seats-invariant", quantities=LOAD, tolerance=LOAD_TOLERANCE_OHM),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for every comparison; none where no chain names a filter."""
        if not inputs.session.names_filter:
            return Result()
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for comparison in inputs.comparisons:
            field = _field(inputs, comparison)
            if field is None:
                only_both = gather(inputs, point="seat", playing="both")
                hidden = only_both is not None and bool(only_both.places(comparison))
                findings += (hidden_findings if hidden else unmeasured_findings)(comparison)
                continue
            fits = fit_filter(inputs, comparison, field)
            findings += fitted_findings(inputs, comparison, fits)
            charts += corner_chart(inputs, comparison, fits)
        return Result(findings=_unique(findings), charts=tuple(charts))


def _field(inputs: Inputs, comparison: Comparison) -> Field | None:
    """The point nearest to the filter that has both conditions."""
    for point in POINTS:
        field = gather(inputs, point=point, playing="main")
        if field is not None and field.places(comparison):
            return field
    return None


def _unique(findings: list[Finding]) -> tuple[Finding, ...]:
    """With several conditions the reference's own chain would be told once for each: the first one stands."""
    seen: dict[tuple[object, ...], Finding] = {}
    for f in findings:
        key = (f.quantity, f.variant, f.condition, f.reference, f.point, f.playing, f.seat, f.channel)
        seen.setdefault(key, f)
    return tuple(seen.values())


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [Filter()]
