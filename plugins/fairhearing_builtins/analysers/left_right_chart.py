"""Chart of the difference between the channels over frequency, in each condition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Rule

PLACES = {
    ("seat", "both"): "over seats, everything playing",
    ("seat", "main"): "over seats, the main loudspeakers playing",
}


def difference_chart(
    inputs: Inputs,
    point: str,
    playing: str,
    findings: Sequence[Finding],
    curves: Mapping[str, Sequence[float | str | None]],
) -> list[ChartRequest]:
    """Left minus right in each third octave, a line for each condition."""
    if not any(value is not None for value in curves["difference_db"]):
        return []
    labels = {c.id: c.label for c in inputs.session.conditions}
    wide = [f for f in findings if f.quantity == "channel_difference" and f.seat is None and f.variant is None]
    said = "; ".join(f"{labels[str(f.condition)]} {f.value:+.2f} dB" for f in wide if f.value is not None)
    where = PLACES.get((point, playing), "at the amplifier")
    return [
        ChartRequest(
            name=f"left-right-{point}-{playing}",
            title=f"Left minus right, {where}",
            alternative=f"Level of the left channel less that of the right by third octave; 1000-4000 Hz: {said}.",
            form="line",
            data={**curves, "condition": [labels[str(name)] for name in curves["condition"]]},
            x=Axis(column="frequency_hz", label="Frequency", unit="Hz", scale="log"),
            y=Axis(column="difference_db", label="Left minus right", unit="dB"),
            series="condition",
            low="low_db",
            high="high_db",
            rules=(Rule(at=0.0),),
        )
    ]
