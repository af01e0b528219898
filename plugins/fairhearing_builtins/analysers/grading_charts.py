"""What gradings ask to be drawn: the difference of each listener, and of each programme, with intervals."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Rule, Session
from fairhearing_builtins.analysers.grading_findings import Case
from fairhearing_builtins.analysers.listening import chart_suffix, label


def charts_of(session: Session, case: Case, findings: Sequence[Finding]) -> list[ChartRequest]:
    """One of listeners; one of programmes and one of seats where they have findings of their own."""
    headline = case.variant(None)
    stated = [finding for finding in findings if finding.variant == headline]
    over_all = [one for one in stated if (one.listener, one.programme, one.seat) == (None, None, None)]
    listeners = [finding for finding in stated if finding.listener is not None]
    charts = [_chart(session, case, "listener", listeners, over_all)]
    for word in ("programme", "seat"):
        parts = [finding for finding in stated if getattr(finding, word) is not None]
        if parts:
            charts.append(_chart(session, case, word, parts, over_all))
    return charts


def _chart(
    session: Session, case: Case, word: str, parts: Sequence[Finding], over_all: Sequence[Finding]
) -> ChartRequest:
    names = f"{label(session, case.pair.condition)} against {label(session, case.pair.reference)}"
    everyone = f"all {word}s"
    ordered = [*parts, *over_all]
    value = over_all[0].value
    shown = "not to be had" if value is None else f"{value:+.2f}"
    return ChartRequest(
        name=f"ratings-{case.scale}-by-{word}-{chart_suffix(session, case.pair)}",
        title=f"Difference of ratings by {word}, scale {case.scale}: {names}",
        alternative=f"Mean difference of ratings for each {word}, over all of them in the last row, with intervals; "
        f"{names}. Over all: {shown} on the scale {case.scale}; above 0 the condition is rated higher.",
        form="forest",
        data={
            word: [getattr(finding, word) or everyone for finding in ordered],
            "difference": [finding.value for finding in ordered],
            "low": [finding.low for finding in ordered],
            "high": [finding.high for finding in ordered],
        },
        x=Axis(column="difference", label="Difference of ratings", unit=case.scale),
        y=Axis(column=word, label=word.capitalize(), scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.0, label="rated alike"),),
    )
