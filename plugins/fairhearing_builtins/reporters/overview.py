"""Charts for analysers that have findings and drew none: their values, or, for the balance, where each part stands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Rule
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.answer import verdict_text
from fairhearing_builtins.reporters.identity import Stated
from fairhearing_builtins.reporters.numbers import is_signed
from fairhearing_builtins.reporters.reasons import PARTS, Standing, decided, places, standing

MOST_ROWS = 40
COLUMNS: tuple[Standing, ...] = ("for", "against", "open", "neither")


def _name(one: Stated) -> str:
    finding = one.finding
    said = [words.QUANTITIES.get(finding.quantity, finding.quantity)]
    said += [f"{words.WHERE[part]} {getattr(finding, part)}" for part in PARTS if getattr(finding, part) is not None]
    said += [finding.variant] if finding.variant else []
    said += [f"{finding.nominal_hz or finding.band_hz[0]:g} Hz"] if finding.band_hz else []
    return ", ".join(said)


def balance_chart(stated: Sequence[Stated], analyser: str | None = None) -> ChartRequest | None:
    """Every part of the verdict in a grid: speaks for, neither, open, against. None if no part has a verdict.

    Parameters
    ----------
    stated : sequence of Stated
        All findings of a session, or those of one analyser.
    analyser : str, optional
        The analyser whose findings they are; the chart is then called after it.
    """
    parts = sorted(decided(stated), key=lambda one: COLUMNS.index(standing(one.finding.verdict or "")))
    if not parts:
        return None
    several = len({one.finding.condition for one in parts}) > 1
    told = places(parts)
    names = [_with_verdict(one, several, told.get(one.id, "")) for one in parts]
    stands = [standing(one.finding.verdict or "") for one in parts]
    grid = [(name, place, column) for name, place in zip(names, stands, strict=True) for column in COLUMNS]
    said = {
        kind: "; ".join(name for name, place in zip(names, stands, strict=True) if place == kind) or words.NONE_OF_THEM
        for kind in ("for", "against")
    }
    return ChartRequest(
        name="parts" if analyser is None else "overview",
        title=words.BALANCE_TITLE if analyser is None else words.OVERVIEW_TITLE.format(analyser=analyser),
        alternative=words.BALANCE_TEXT.format(**said),
        form="grid",
        data={
            "part": [name for name, _, _ in grid],
            "standing": [words.STANDINGS[column] for _, _, column in grid],
            "mark": [words.STANDINGS[column] if place == column else None for _, place, column in grid],
        },
        x=Axis(column="standing", label="", scale="category"),
        y=Axis(column="part", label="", scale="category"),
        value=Axis(column="mark", label=words.VERDICT, scale="category"),
    )


def _with_verdict(one: Stated, several: bool, place: str) -> str:
    condition = f" ({one.finding.condition})" if several and one.finding.condition else ""
    return f"{_name(one)}{f', {place}' if place else ''}{condition}: {verdict_text(one.finding.verdict)}"


def overview_chart(analyser: str, stated: Sequence[Stated]) -> ChartRequest | None:
    """The values of an analyser with their intervals, those of its commonest unit. None if it has no values.

    Parameters
    ----------
    analyser : str
    stated : sequence of Stated
        Its findings in one session.
    """
    with_value = [one for one in stated if one.finding.value is not None]
    wide = [one for one in with_value if one.finding.band_hz is None] or with_value
    if not wide:
        return None
    unit = Counter(one.finding.unit for one in wide).most_common(1)[0][0]
    shown = [one for one in wide if one.finding.unit == unit][:MOST_ROWS]
    signed = all(is_signed(one.finding) for one in shown)
    return ChartRequest(
        name="overview",
        title=words.OVERVIEW_TITLE.format(analyser=analyser),
        alternative=words.OVERVIEW_TEXT.format(analyser=analyser),
        form="interval",
        data={
            "finding": [_name(one) for one in shown],
            "value": [one.finding.value for one in shown],
            "low": [one.finding.low for one in shown],
            "high": [one.finding.high for one in shown],
        },
        x=Axis(column="value", label=words.DIFFERENCE if signed else words.COLUMNS["value"], unit=unit),
        y=Axis(column="finding", label="", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.0),) if signed else (),
    )
