"""Charts of the seats: the change at each with its interval, the losers first, and where they sit."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Comparison, Finding, Inputs, Rule

FACETS = ((None, "level and shape"), ("level", "level alone"), ("shape", "shape alone"))


def audit_charts(inputs: Inputs, comparison: Comparison, findings: Sequence[Finding]) -> list[ChartRequest]:
    """The change at each seat, the one that loses most first; a map where the seats' positions are known."""
    by_key = {(f.seat, f.variant): f for f in findings if f.quantity == "seat_audit" and f.value is not None}
    heads = [f for (_, variant), f in by_key.items() if variant is None]
    if not heads:
        return []
    heads.sort(key=lambda f: (-_number(f), f.seat or ""))
    rows = [(head, by_key[head.seat, v], name) for head in heads for v, name in FACETS if (head.seat, v) in by_key]
    smallest = inputs.session.criteria.smallest_change_db
    said = "; ".join(f"{f.seat} {round(_number(f), 1) + 0.0:+.1f} dB, {f.verdict}" for f in heads)
    charts = [
        ChartRequest(
            name=f"seats-{comparison.condition.id}",
            title=f"What {comparison.condition.label} does to the bass at each seat, the seats that lose first",
            alternative=(
                "Change of the deviation from the target at each seat, above zero is worse, with intervals that hold "
                f"for all seats together: {said}."
            ),
            form="interval",
            data={
                "seat": [head.seat for head, _, _ in rows],
                "change": [f.value for _, f, _ in rows],
                "low": [f.low for _, f, _ in rows],
                "high": [f.high for _, f, _ in rows],
                "of": [name for _, _, name in rows],
            },
            x=Axis(column="change", label="Change of the deviation, above zero worse", unit="dB"),
            y=Axis(column="seat", label="Seat", scale="category"),
            series="of",
            low="low",
            high="high",
            rules=(Rule(at=-smallest), Rule(at=0.0), Rule(at=smallest)),
        )
    ]
    return charts + _map(inputs, comparison, heads, said)


def _number(finding: Finding) -> float:
    return 0.0 if finding.value is None else finding.value


def _map(inputs: Inputs, comparison: Comparison, heads: Sequence[Finding], said: str) -> list[ChartRequest]:
    """Where the seats are; none where fewer than two positions are known."""
    places = {seat.id: seat.position_m for seat in inputs.session.seats if seat.position_m is not None}
    placed = [f for f in heads if f.seat in places]
    if len(placed) < 2:
        return []
    at = [places[str(f.seat)] for f in placed]
    return [
        ChartRequest(
            name=f"seat-map-{comparison.condition.id}",
            title=f"Where {comparison.condition.label} makes the bass better and where worse",
            alternative=f"The seats in the room, each with its change, above zero is worse: {said}.",
            form="seat-map",
            data={
                "x": [x for x, _, _ in at],
                "y": [y for _, y, _ in at],
                "seat": [f.seat for f in placed],
                "change": [f.value for f in placed],
            },
            x=Axis(column="x", label="Along the room", unit="m"),
            y=Axis(column="y", label="Across the room", unit="m"),
            series="seat",
            value=Axis(column="change", label="Change", unit="dB"),
        )
    ]
