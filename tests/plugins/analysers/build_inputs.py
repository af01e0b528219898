"""Builds sessions, score sheets and findings for the tests of analysers that read listening trials or findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from fairhearing.api import Chain, Condition, Criteria, Finding, Inputs, Room, Seat, Session, Sheet

Row = Mapping[str, str | None]


def session(
    *,
    conditions: Sequence[str] = ("out", "in"),
    seats: Mapping[str, float] | None = None,
    chain: Chain | None = None,
    **criteria: Any,
) -> Session:
    """A session whose first condition is the reference; `seats` maps ids to weights."""
    return Session(
        id="made-up",
        date=None,
        question="",
        room=Room(id="room"),
        conditions=tuple(
            Condition(
                id=name,
                label=f"Filter {name}",
                reference=index == 0,
                chain=Chain() if index == 0 else chain or Chain(design_corner_hz=90.0),
            )
            for index, name in enumerate(conditions)
        ),
        seats=tuple(Seat(id=name, weight=weight) for name, weight in (seats or {"A": 1.0, "B": 1.0}).items()),
        measurements=(),
        scores=(),
        criteria=Criteria(**criteria),
        folder=Path("nowhere"),
    )


def sheet(method: str, rows: Sequence[Row], *, entry: int = 0, **said: Any) -> Sheet:
    """A score sheet; `said`: reference, treatment, order, scale, role as session.toml would say them."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    return Sheet(
        method=method,  # type: ignore[arg-type]
        entry=entry,
        paths=(f"scores/{entry}.csv",),
        reference=said.get("reference"),
        treatment=said.get("treatment"),
        order=said.get("order", "independent"),
        scale=said.get("scale"),
        role=said.get("role", "scored"),
        trials=pd.DataFrame({name: [row.get(name) for row in rows] for name in columns}, dtype=object),
    )


def abx_rows(listener: str, right: int, wrong: int, *, seat: str | None = None, played: str = "in") -> list[Row]:
    """Trials of one listener in which the same condition is played; wrong answers name `out` (or `in`)."""
    other = "out" if played == "in" else "in"
    return [
        {"listener": listener, "trial": str(index), "seat": seat, "x": played, "answer": answer}
        for index, answer in enumerate([played] * right + [other] * wrong)
    ]


def preference_rows(
    listener: str, wins: int, losses: int, neither: int = 0, *, seat: str | None = None, condition: str = "in"
) -> list[Row]:
    """Trials of one listener, the condition first in every other one."""
    preferred = [condition] * wins + ["out"] * losses + ["none"] * neither
    rows: list[Row] = []
    for index, answer in enumerate(preferred):
        first, second = (condition, "out") if index % 2 == 0 else ("out", condition)
        rows.append(
            {
                "listener": listener,
                "trial": str(index),
                "seat": seat,
                "first": first,
                "second": second,
                "preferred": answer,
            }
        )
    return rows


def finding(quantity: str, verdict: str | None, value: float | None = 0.0, **said: Any) -> Finding:
    """A headline finding of `in` against `out` at point seat, over all seats, unless said otherwise."""
    return Finding(
        **{
            "unit": "dB",
            "method": "made up",
            "condition": "in",
            "reference": "out",
            "point": "seat",
            "caveats": () if value is not None else ("made up without a value",),
            **said,
            "quantity": quantity,
            "value": value,
            "verdict": verdict,
        }
    )


def matched(**said: Any) -> Finding:
    """Levels that are matched, over seats unless said otherwise."""
    return finding("level_difference", "matched", 0.02, **said)


def inputs(session: Session, *, sheets: Sequence[Sheet] = (), findings: Sequence[Finding] = ()) -> Inputs:
    """What an analyser gets."""
    return Inputs(session=session, sheets=tuple(sheets), findings=tuple(findings))


def only(findings: Sequence[Finding], quantity: str, **said: Any) -> Finding:
    """The one finding of this quantity with these fields; listener and variant None unless said."""
    wanted = {"listener": None, "variant": None, **said}
    found = [
        one
        for one in findings
        if one.quantity == quantity and all(getattr(one, name) == value for name, value in wanted.items())
    ]
    assert len(found) == 1, (quantity, wanted, len(found))
    return found[0]


def keys(findings: Sequence[Finding]) -> list[tuple[object, ...]]:
    """What has to be unique in a session and an analyser."""
    return [
        (f.quantity, f.variant, f.of, f.point, f.playing, f.seat, f.condition, f.reference, f.channel, f.programme,
         f.listener, f.band_hz)
        for f in findings
    ]  # fmt: skip
