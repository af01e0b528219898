"""Charts of the amplifier's relief: voltages with and without, and the headroom won."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Rule, Session
from fairhearing_builtins.analysers.relief_changes import DOUBLING_DB

OVER_ALL = "all programmes"


def charts_of(session: Session, findings: Sequence[Finding], how: str) -> list[ChartRequest]:
    """Bars of voltage for each programme and condition, and the headroom won with its intervals."""
    labels = {condition.id: condition.label for condition in session.conditions}
    return [*_voltages(findings, labels, how), *_headroom(findings, labels, how)]


def _name(how: str, findings: Sequence[Finding], what: str) -> str:
    parts = (findings[0].point, None if findings[0].playing == "main" else findings[0].playing)
    return "-".join(part for part in ("relief", what, how, *parts) if part is not None)


def _where(how: str, findings: Sequence[Finding]) -> str:
    if how == "forecast":
        return "forecast from programme files"
    return f"recorded at the {(findings[0].point or '').replace('-', ' ')}"


def _voltages(findings: Sequence[Finding], labels: dict[str, str], how: str) -> list[ChartRequest]:
    charts = []
    for quantity, word, label in (
        ("amplifier_voltage", "voltage", "Voltage, root mean square"),
        ("amplifier_peak_voltage", "peak", "Voltage, highest peak"),
    ):
        shown = [f for f in findings if f.quantity == quantity and f.value is not None]
        if not shown:
            continue
        charts.append(
            ChartRequest(
                name=_name(how, shown, word),
                title=f"{label}, {_where(how, shown)}",
                alternative=f"{label} in volt for each programme, with and without the change, "
                f"{_where(how, shown)}: {', '.join(_told(f, labels) for f in shown)}.",
                form="bar",
                data={
                    "programme": [f.programme or OVER_ALL for f in shown],
                    "voltage": [f.value for f in shown],
                    "condition": [labels.get(f.condition or "", "") for f in shown],
                },
                x=Axis(column="programme", label="Programme", scale="category"),
                y=Axis(column="voltage", label=label, unit="V"),
                series="condition",
            )
        )
    return charts


def _told(finding: Finding, labels: dict[str, str]) -> str:
    return f"{finding.programme or OVER_ALL}, {labels.get(finding.condition or '', '')} {finding.value:.3g} V"


def _headroom(findings: Sequence[Finding], labels: dict[str, str], how: str) -> list[ChartRequest]:
    charts = []
    for condition in dict.fromkeys(f.condition for f in findings):
        shown = [f for f in findings if f.quantity == "headroom_won" and f.variant is None and f.condition == condition]
        if not shown:
            continue
        shown.sort(key=lambda f: (f.programme is None, f.programme or ""))
        charts.append(
            ChartRequest(
                name=f"{_name(how, shown, 'headroom')}-{condition}",
                title=f"Headroom won by {labels.get(condition or '', '')}, {_where(how, shown)}",
                alternative="How much louder each programme can be played before the amplifier's peak voltage is "
                f"reached, with intervals; {DOUBLING_DB:.2f} dB is what doubling the power of the supply would give.",
                form="interval",
                data={
                    "programme": [f.programme or OVER_ALL for f in shown],
                    "headroom_db": [f.value for f in shown],
                    "low": [f.low for f in shown],
                    "high": [f.high for f in shown],
                },
                x=Axis(column="headroom_db", label="Headroom won", unit="dB"),
                y=Axis(column="programme", label="Programme", scale="category"),
                low="low",
                high="high",
                rules=(Rule(at=DOUBLING_DB, label="double power"),),
            )
        )
    return charts
