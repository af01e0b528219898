"""Chart of the closing takes against the tolerance."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Rule

NAMES = {None: "bass deviation", "level": "mid-band level", "largest-band": "bass band that changes most"}


def drift_chart(inputs: Inputs, findings: Sequence[Finding]) -> list[ChartRequest]:
    """What had changed by the end, at each seat and condition that was measured once more."""
    shown = [f for f in findings if f.value is not None]
    if not shown:
        return []
    labels = {c.id: c.label for c in inputs.session.conditions}
    several = len({f.playing for f in shown}) > 1
    limit = inputs.session.criteria.smallest_change_db
    rows = [f"{f.seat}, {labels[str(f.condition)]}{f', {f.playing}' if several else ''}" for f in shown]
    said = "; ".join(
        f"{r}, {NAMES[f.variant]} {f.value:+.2f} dB, {f.verdict}" for r, f in zip(rows, shown, strict=True)
    )
    return [
        ChartRequest(
            name="drift",
            title="What had changed by the end of the session",
            alternative=f"Closing take minus the repeats of the same condition; tolerance {limit:g} dB: {said}.",
            form="interval",
            data={
                "place": rows,
                "drift": [f.value for f in shown],
                "low": [f.low for f in shown],
                "high": [f.high for f in shown],
                "of": [NAMES[f.variant] for f in shown],
            },
            x=Axis(column="drift", label="Closing take minus repeats", unit="dB"),
            y=Axis(column="place", label="Seat and condition", scale="category"),
            series="of",
            low="low",
            high="high",
            rules=(Rule(at=-limit, label="tolerance"), Rule(at=0.0), Rule(at=limit, label="tolerance")),
        )
    ]
