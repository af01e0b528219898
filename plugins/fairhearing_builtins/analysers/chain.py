"""What the chain as written says of the corner: the one that is meant, and the one that it gives."""

from __future__ import annotations

from fairhearing.acoustics.chain import CornerRange
from fairhearing.acoustics.wiring import channels_of, given_corner_hz, given_corner_range, tolerances_of
from fairhearing.api import Analyser, Comparison, Condition, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing_builtins.analysers.chain_chart import chain_chart
from fairhearing_builtins.analysers.electrical import departure_caveat, expected_corner_hz

MEANT_METHOD = "design_corner_hz, else 1/(2 pi C (R_source + R)) with the setting, else the amplifier's input"
MEANT_LACKING = "the chain states neither a design corner nor a capacitor with a load"
PLAYS_METHOD = (
    "10 lg 2 below the passband maximum of the whole network as it plays: source, taps, series capacitor, cable, "
    "inputs, coupling capacitor (left out where not stated)"
)
MEASURED_METHOD = "the same at the amplifier's terminals with the measuring input on the line"
BOUND_METHOD = "; low and high: the worst that capacitor +-{capacitor:g} % and inputs +-{inputs:g} % allow, a bound"
GIVEN_LACKING = "the chain does not state the capacitor and amplifier_input_kohm"


class ChainAsWritten:
    """Expected and predicted corner; needs no measurement."""

    name = "chain"
    version = "2"
    quantities = frozenset({"expected_corner_frequency", "predicted_corner_frequency"})
    needs = Needs()
    symmetries: tuple[Symmetry, ...] = (
        Symmetry(kind="common-gain-invariant", quantities=quantities),
        Symmetry(kind="condition-gain-invariant", quantities=quantities),
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """The findings of each condition whose chain names a filter, and what its network does over frequency."""
        found: dict[tuple[str | None, ...], Finding] = {}
        for comparison in inputs.comparisons:
            for finding in chain_findings(comparison):
                key = (finding.quantity, finding.variant, finding.channel, finding.condition, finding.reference)
                found.setdefault(key, finding)
        return Result(findings=tuple(found.values()), charts=chain_chart(inputs.session))


def chain_findings(comparison: Comparison) -> list[Finding]:
    """Expected and predicted corner of each condition whose chain names a filter."""
    findings = []
    pairs = ((comparison.condition, comparison.reference.id), (comparison.reference, None))
    for condition, reference in pairs:
        if not condition.chain.names_filter:
            continue
        caveats: tuple[str, ...] = ()
        if reference is not None:
            caveats = (*_more_than_one(comparison), *departure_caveat(comparison))
        findings += [_meant(condition, reference, caveats), *_given(condition, reference, caveats)]
    return findings


def _more_than_one(comparison: Comparison) -> tuple[str, ...]:
    """What is to be said where more than one thing changes."""
    changed = comparison.condition.changes_from(comparison.reference)
    if len(changed) < 2:
        return ()
    return (f"more than one thing changes ({', '.join(changed)}): the result cannot tell them apart",)


def _meant(condition: Condition, reference: str | None, caveats: tuple[str, ...]) -> Finding:
    corner_hz = expected_corner_hz(condition.chain)
    return Finding(
        quantity="expected_corner_frequency",
        value=corner_hz,
        unit="Hz",
        method=MEANT_METHOD,
        condition=condition.id,
        reference=reference,
        caveats=caveats if corner_hz is not None else (*caveats, MEANT_LACKING),
    )


def _given(condition: Condition, reference: str | None, caveats: tuple[str, ...]) -> list[Finding]:
    """The corner as it plays, for each channel where they are set apart; and as the measuring input sees it."""
    channels = channels_of(condition.chain)
    findings = [] if channels == (None,) else [_apart(condition, reference, caveats)]
    for channel in channels:
        findings.append(_corner(condition, reference, channel, False, caveats))
        if condition.chain.measuring_input_kohm is not None:
            findings.append(_corner(condition, reference, channel, True, caveats))
    return findings


def _apart(condition: Condition, reference: str | None, caveats: tuple[str, ...]) -> Finding:
    """The headline where left and right are set for different loads."""
    corners = {channel: given_corner_hz(condition.chain, channel) for channel in ("left", "right")}
    named = ", ".join(f"{name} {hz:.1f} Hz" for name, hz in corners.items() if hz is not None)
    why = f"left and right are set for different loads{f' ({named})' if named else ''}: there is no common corner"
    return Finding(
        quantity="predicted_corner_frequency",
        value=None,
        unit="Hz",
        method=PLAYS_METHOD,
        condition=condition.id,
        reference=reference,
        caveats=(*caveats, why),
    )


def _corner(
    condition: Condition, reference: str | None, channel: str | None, measured: bool, caveats: tuple[str, ...]
) -> Finding:
    chain = condition.chain
    corner_hz = given_corner_hz(chain, channel, measured=measured)
    bound: CornerRange | None = given_corner_range(chain, channel, measured=measured)
    tolerances = tolerances_of(chain)
    percent = {"capacitor": tolerances.capacitor * 100.0, "inputs": tolerances.inputs * 100.0}
    return Finding(
        quantity="predicted_corner_frequency",
        variant="as-measured" if measured else None,
        value=corner_hz,
        low=None if bound is None else bound.low_hz,
        high=None if bound is None else bound.high_hz,
        unit="Hz",
        method=(MEASURED_METHOD if measured else PLAYS_METHOD) + BOUND_METHOD.format(**percent),
        condition=condition.id,
        reference=reference,
        channel=channel,
        caveats=caveats if corner_hz is not None else (*caveats, GIVEN_LACKING),
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [ChainAsWritten()]
