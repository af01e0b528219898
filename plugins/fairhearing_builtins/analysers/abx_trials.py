"""ABX sheets to valid trials of each pair of conditions."""

from __future__ import annotations

from dataclasses import dataclass, field

from fairhearing.api import Refusal, Session, Sheet
from fairhearing_builtins.analysers.listening import Pair, sheet_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A valid answer. `played`, `answered`: whether it was the condition (else the reference)."""

    listener: str
    entry: int
    seat: str | None
    programme: str | None
    played: bool
    answered: bool
    answered_first: bool | None  # whether the answer names what was presented first; None: the sheet does not say


@dataclass(slots=True, kw_only=True)
class PairTrials:
    """All trials of one pair, of however many sheets, while they are gathered."""

    trials: list[Trial] = field(default_factory=list)
    n_left_out: int = 0
    balanced: bool = False
    caveats: list[str] = field(default_factory=list)


def gather(sheet: Sheet, session: Session, gathered: dict[Pair, PairTrials]) -> Refusal | None:
    """Add the sheet's trials to those of its pair."""
    rows = sheet_rows(sheet)
    reference = sheet.reference or session.reference.id
    found = {cell for row in rows for cell in (row.get("x"), row.get("answer")) if cell is not None}
    others = sorted((found | ({sheet.treatment} if sheet.treatment else set())) - {reference})
    if not others:
        return Refusal(
            what=f"proportion_correct from {', '.join(sheet.paths)}",
            why=f"the sheet names no condition but the reference {reference!r}",
            try_="name the other condition in its [[scores]]: treatment = …",
        )
    if len(others) > 1:
        caveat = (
            f"{', '.join(sheet.paths)} names the conditions {', '.join(sorted({*others, reference}))}: a sheet with "
            "more than two does not say which pair was played; use one [[scores]] per pair"
        )
        for condition in [sheet.treatment] if sheet.treatment else others:
            pool = gathered.setdefault(Pair(condition=condition, reference=reference), PairTrials())
            pool.caveats.append(caveat)
        return None
    pair = Pair(condition=others[0], reference=reference)
    pool = gathered.setdefault(pair, PairTrials())
    pool.balanced = pool.balanced or sheet.order == "balanced"
    for row in rows:
        trial = _trial(row, sheet.entry, pair)
        if trial is None:
            pool.n_left_out += 1
        else:
            pool.trials.append(trial)
    return None


def _trial(row: dict[str, str | None], entry: int, pair: Pair) -> Trial | None:
    """The row as a trial; None if it is not valid."""
    listener, x, answer = row.get("listener"), row.get("x"), row.get("answer")
    if listener is None or x is None or answer is None:
        return None
    first, second = row.get("first"), row.get("second")
    placed = first is not None and second is not None and first != second and answer in (first, second)
    return Trial(
        listener=listener,
        entry=entry,
        seat=row.get("seat"),
        programme=row.get("programme"),
        played=x == pair.condition,
        answered=answer == pair.condition,
        answered_first=(answer == first) if placed else None,
    )
