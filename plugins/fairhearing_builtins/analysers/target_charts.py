"""Chart of the seats before and after against the target."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Comparison, Criteria, Finding, Inputs, Rule


def target_name(criteria: Criteria) -> str:
    """The target in a few words."""
    slope = criteria.target_slope_db_per_octave or 0.0
    return f"{slope:+g} dB per octave" if slope else criteria.target


def target_chart(inputs: Inputs, comparison: Comparison, findings: Sequence[Finding]) -> list[ChartRequest]:
    """Deviation from the target at each seat, before and after."""
    labels = {c.id: c.label for c in (comparison.reference, comparison.condition)}
    shown = [
        f
        for f in findings
        if f.quantity == "target_deviation" and f.variant is None and f.value is not None and f.condition in labels
    ]
    if not shown:
        return []
    shown.sort(key=lambda f: f.condition != comparison.reference.id)
    order: dict[str | None, int] = {seat.id: k for k, seat in enumerate(inputs.session.seats)}
    shown.sort(key=lambda f: order.get(f.seat, -1))
    rows = [f.seat or "all seats" for f in shown]
    said = "; ".join(f"{row}, {labels[str(f.condition)]}: {f.value:.1f} dB" for row, f in zip(rows, shown, strict=True))
    name = target_name(inputs.session.criteria)
    return [
        ChartRequest(
            name=f"target-{comparison.condition.id}",
            title=f"Distance of the bass from the target ({name}) at each seat, before and after",
            alternative=f"Root-mean-square deviation from the target in the bass band; less is better: {said}.",
            form="interval",
            data={
                "seat": rows,
                "deviation": [f.value for f in shown],
                "low": [f.low for f in shown],
                "high": [f.high for f in shown],
                "condition": [labels[str(f.condition)] for f in shown],
            },
            x=Axis(column="deviation", label="Deviation from the target", unit="dB"),
            y=Axis(column="seat", label="Seat", scale="category"),
            series="condition",
            low="low",
            high="high",
            rules=(Rule(at=0.0),),
        )
    ]
