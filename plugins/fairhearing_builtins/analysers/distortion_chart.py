"""Charts of the harmonics over the frequency that excites them, an order and condition a line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Inputs


def distortion_charts(inputs: Inputs, findings: Sequence[Finding]) -> list[ChartRequest]:
    """One chart for each point and what was playing; a panel for each seat."""
    labels = {condition.id: condition.label for condition in inputs.session.conditions}
    charts = []
    wide = [f for f in findings if f.channel is None and f.quantity == "distortion_level"]
    for point, playing in sorted({(str(f.point), str(f.playing)) for f in wide}):
        here = [f for f in wide if (f.point, f.playing) == (point, playing)]
        shown = [f for f in here if f.value is not None]
        if not shown:
            continue
        told = {(f.condition, f.variant) for f in shown}
        lines = [f for f in here if (f.condition, f.variant) in told]
        here = sorted(lines, key=lambda f: (str(f.seat), str(f.variant), list(labels).index(str(f.condition))))
        highest = max(shown, key=lambda f: f.value if f.value is not None else 0.0)
        where = "at the seats" if point == "seat" else f"at the {point.replace('-', ' ')}"
        data: Mapping[str, list[str | float | int | bool | None]] = {
            "frequency_hz": [f.nominal_hz for f in here],
            "level_db": [f.value for f in here],
            "harmonic": [f"{labels.get(str(f.condition), f.condition)}, {_order(f)}" for f in here],
            "place": [" ".join(word for word in (f.seat, f.programme) if word) or point for f in here],
        }
        charts.append(
            ChartRequest(
                name=f"distortion-{point}-{playing}",
                title=f"Harmonics {where}",
                alternative=(
                    "Level of each order of harmonics re the fundamental by third octave of the excitation; gaps where "
                    f"noise hides it. The highest is {highest.value:.1f} dB at {highest.nominal_hz:g} Hz "
                    f"({_order(highest)}, {labels.get(str(highest.condition), highest.condition)})."
                ),
                form="line",
                data=data,
                x=Axis(column="frequency_hz", label="Frequency of the excitation", unit="Hz", scale="log"),
                y=Axis(column="level_db", label="Harmonic re fundamental", unit="dB"),
                series="harmonic",
                panel="place",
            )
        )
    return charts


def _order(finding: Finding) -> str:
    return str(finding.variant).replace("-", " ")
