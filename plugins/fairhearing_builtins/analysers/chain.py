"""What the chain as written says of the corner: the one that is meant, and the one that it gives."""

from __future__ import annotations

from fairhearing.api import Analyser, Comparison, Condition, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.electrical import expected_corner_hz, predicted_corner_hz


class ChainAsWritten:
    """Expected and predicted corner; needs no measurement."""

    name = "chain"
    version = "1"
    quantities = frozenset({"expected_corner_frequency", "predicted_corner_frequency"})
    needs = Needs()
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Two findings for each condition whose chain names a filter."""
        findings = [finding for comparison in inputs.comparisons for finding in chain_findings(comparison)]
        seen = {(f.quantity, f.condition, f.reference): f for f in reversed(findings)}
        return Result(findings=tuple(f for f in findings if seen[f.quantity, f.condition, f.reference] is f))


def chain_findings(comparison: Comparison) -> list[Finding]:
    """Expected and predicted corner of each condition whose chain names a filter."""
    findings = []
    pairs = ((comparison.condition, comparison.reference.id), (comparison.reference, None))
    for condition, reference in pairs:
        if not condition.chain.names_filter:
            continue
        meant = expected_corner_hz(condition.chain)
        given = predicted_corner_hz(condition.chain)
        findings += [
            _stated(
                "expected_corner_frequency",
                meant,
                condition,
                reference,
                "design_corner_hz, else 1/(2 pi C (R_source + R)) with the setting, else the amplifier's input",
                "the chain states neither a design corner nor a capacitor with a load",
            ),
            _stated(
                "predicted_corner_frequency",
                given,
                condition,
                reference,
                "10 lg 2 below the passband maximum of source, capacitor, cable and input (0 where not stated)",
                "the chain does not state the capacitor and amplifier_input_kohm",
            ),
        ]
    return findings


def _stated(
    quantity: str, value: float | None, condition: Condition, reference: str | None, method: str, lacking: str
) -> Finding:
    return Finding(
        quantity=quantity,
        value=value,
        unit="Hz",
        method=method,
        condition=condition.id,
        reference=reference,
        caveats=() if value is not None else (lacking,),
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [ChainAsWritten()]
