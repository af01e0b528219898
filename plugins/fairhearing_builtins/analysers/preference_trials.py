"""Paired-preference sheets to valid trials of each condition against the reference."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from fairhearing.api import Inputs, Refusal, Session, Sheet
from fairhearing_builtins.analysers.exclusions import reason_of
from fairhearing_builtins.analysers.listening import Pair, sheet_rows

NEITHER = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A valid trial. `halves`: 2 the condition is preferred, 1 neither, 0 the reference."""

    listener: str
    entry: int
    number: str | None
    seat: str | None
    programme: str | None
    halves: int
    preferred_first: bool
    condition_first: bool


@dataclass(slots=True, kw_only=True)
class PairTrials:
    """All trials of one pair, of however many sheets, while they are gathered."""

    trials: list[Trial] = field(default_factory=list)
    n_invalid: int = 0
    n_same: int = 0
    excluded: Counter[str] = field(default_factory=Counter)
    caveats: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Trials by pair, in the order of the ids, and the sheets that could not be used."""

    pools: dict[Pair, PairTrials]
    refusals: tuple[Refusal, ...]


def gather(inputs: Inputs) -> Gathered:
    """The trials of all sheets of preferences; sheets of the same pair are pooled."""
    pools: dict[Pair, PairTrials] = {}
    sheets = sorted((s for s in inputs.sheets if s.method == "paired-preference"), key=lambda s: s.entry)
    told = [_add_sheet(sheet, inputs.session, pools) for sheet in sheets]
    ordered = sorted(pools, key=lambda pair: (pair.condition, pair.reference))
    return Gathered(
        pools={pair: pools[pair] for pair in ordered}, refusals=tuple(refusal for refusal in told if refusal)
    )


def _add_sheet(sheet: Sheet, session: Session, gathered: dict[Pair, PairTrials]) -> Refusal | None:
    """Add the sheet's trials of each condition against the reference to those of that pair."""
    rows = sheet_rows(sheet)
    reference = sheet.reference or session.reference.id
    found = {cell for row in rows for cell in (row.get("first"), row.get("second")) if cell is not None}
    others = sorted((found | ({sheet.treatment} if sheet.treatment else set())) - {reference})
    if not others:
        return Refusal(
            what=f"preference_share from {', '.join(sheet.paths)}",
            why=f"the sheet names no condition but the reference {reference!r}",
            try_="name the other condition in its [[scores]]: treatment = …",
        )
    pools = {condition: gathered.setdefault(Pair(condition=condition, reference=reference), PairTrials())
             for condition in others}  # fmt: skip
    for condition, pool in pools.items():
        if len(others) > 1:
            pool.caveats.append(
                f"{', '.join(sheet.paths)} compares {len(others) + 1} conditions: this is from the trials of "
                f"{condition} against {reference} alone; worth is over all of them"
            )
    for row in rows:
        _add(row, sheet.entry, reference, pools)
    return None


def _add(row: dict[str, str | None], entry: int, reference: str, pools: dict[str, PairTrials]) -> None:
    """Put one row into the pool of its pair, or count it as left out."""
    first, second, preferred, why = row.get("first"), row.get("second"), row.get("preferred"), reason_of(row)
    condition = second if first == reference else first
    if why is not None:
        for pool in [pools[condition]] if condition in pools and {first, second} <= {condition, reference} else []:
            pool.excluded[why] += 1
        return
    if first == second or first is None or second is None:
        for pool in pools.values() if condition not in pools else [pools[condition]]:
            pool.n_same += first is not None and first == second
            pool.n_invalid += first is None or second is None
        return
    if reference not in (first, second) or condition is None:
        return
    pool = pools[condition]
    listener = row.get("listener")
    if listener is None or preferred not in (first, second, NEITHER):
        pool.n_invalid += 1
        return
    halves = 1 if preferred == NEITHER else 2 * (preferred == condition)
    pool.trials.append(
        Trial(
            listener=listener,
            entry=entry,
            number=row.get("trial"),
            seat=row.get("seat"),
            programme=row.get("programme"),
            halves=halves,
            preferred_first=preferred == first,
            condition_first=first == condition,
        )
    )
