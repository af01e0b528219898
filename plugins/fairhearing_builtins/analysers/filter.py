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


class Filter:
    """Corner, order, gain and load of the filter."""

    name = "filter"
    version = "1"
    quantities = frozenset(
        {
            "corner_frequency",
            "filter_order",
            "corner_ratio",
            "implied_load",
            "passband_gain",
        }
    )
    needs = Needs(kinds=frozenset({"response", "impulse", "sweep", "noise"}))
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
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
