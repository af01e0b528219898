"""Whether a change is a gain on balance: the requirements, benefits and harms of the criteria weighed together."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Comparison, Finding, Inputs, Needs, Result, Symmetry, Table, hookimpl
from fairhearing_builtins.analysers.balance_parts import QUANTITIES_READ, Part, parts_of, seat_caveats

REASONS = {
    "gain": "every requirement shown, a benefit shown, nothing worse",
    "mixed": "a benefit shown, but a requirement refuted or a harm shown",
    "no-gain": "a requirement refuted, or every benefit decided and none shown",
    "undecided": "neither a gain, nor mixed, nor no gain",
}
ROLE_TITLES = (("requirement", "requirements"), ("benefit", "benefits"), ("harm", "harms"))
NO_FILTER_CAVEAT = (
    "as-set is required, but no chain names a filter: without it no gain can be shown; see criteria.require"
)
NO_BENEFIT_CAVEAT = "criteria.benefit lists none: there is nothing that could be a gain"
NOT_ATTRIBUTABLE_CAVEAT = "a listening result is not put down to the change: the levels were not shown to be matched"


class Balance:
    """One verdict per condition from the findings of the other analysers."""

    name = "balance"
    version = "2"
    quantities = frozenset({"balance"})
    needs = Needs(points=frozenset(), findings=QUANTITIES_READ)
    symmetries = (
        Symmetry(kind="row-order-invariant", quantities=quantities),
        Symmetry(kind="relabel-seats-invariant", quantities=quantities),
        Symmetry(kind="common-gain-invariant", quantities=quantities),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """A balance for each condition against the reference, and a table of all their parts."""
        weighed = [(comparison, parts_of(inputs, comparison)) for comparison in inputs.comparisons]
        return Result(
            findings=tuple(_finding(inputs, comparison, parts) for comparison, parts in weighed),
            tables=(_table(weighed),),
        )


def verdict_of(parts: Sequence[Part]) -> str:
    """The first that fits: gain, mixed, no-gain, undecided."""
    requirements = [part.state for part in parts if part.role == "requirement"]
    benefits = [part.state for part in parts if part.role == "benefit"]
    benefit = "shown" in benefits
    harm = any(part.state == "shown" for part in parts if part.role == "harm")
    refuted = "refuted" in requirements
    if benefit and not harm and all(state == "shown" for state in requirements):
        return "gain"
    if benefit and (refuted or harm):
        return "mixed"
    none_shown = bool(benefits) and not benefit and "undecided" not in benefits
    return "no-gain" if refuted or none_shown else "undecided"


def _finding(inputs: Inputs, comparison: Comparison, parts: Sequence[Part]) -> Finding:
    verdict = verdict_of(parts)
    lines = [
        f"{title}: " + ("; ".join(part.words for part in parts if part.role == role) or "none listed")
        for role, title in ROLE_TITLES
    ]
    criteria = inputs.session.criteria
    caveats = []
    if "as-set" in criteria.require and not inputs.session.names_filter:
        caveats.append(NO_FILTER_CAVEAT)
    if not criteria.benefit:
        caveats.append(NO_BENEFIT_CAVEAT)
    if any(part.finding is not None and part.finding.verdict == "not-attributable" for part in parts):
        caveats.append(NOT_ATTRIBUTABLE_CAVEAT)
    caveats += seat_caveats(inputs, comparison)
    return Finding(
        quantity="balance",
        value=None,
        unit="",
        method=f"{REASONS[verdict]}. " + ". ".join(lines),
        condition=comparison.condition.id,
        reference=comparison.reference.id,
        verdict=verdict,
        caveats=tuple(caveats),
    )


def _table(weighed: Sequence[tuple[Comparison, Sequence[Part]]]) -> Table:
    rows = [(comparison, part) for comparison, parts in weighed for part in parts]
    findings = [part.finding for _, part in rows]
    columns: dict[str, list[str | float | None]] = {
        "condition": [comparison.condition.id for comparison, _ in rows],
        "part": [part.word for _, part in rows],
        "role": [part.role for _, part in rows],
        "state": [part.state for _, part in rows],
        "quantity": [part.quantity for _, part in rows],
        "seat": [None if finding is None else finding.seat for finding in findings],
        "verdict": [None if finding is None else finding.verdict for finding in findings],
        "value": [None if finding is None else finding.value for finding in findings],
        "low": [None if finding is None else finding.low for finding in findings],
        "high": [None if finding is None else finding.high for finding in findings],
        "unit": [None if finding is None else finding.unit for finding in findings],
    }
    return Table(name="balance", columns=columns, units=dict.fromkeys(columns, ""))


@hookimpl
def fairhearing_analysers() -> list[Balance]:
    """The analyser of the balance."""
    return [Balance()]
