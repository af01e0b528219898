"""Forced-choice sheets to valid trials of each pair of conditions and method, and which method gives the headline."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from fairhearing.api import Inputs, Refusal, Session, Sheet
from fairhearing_builtins.analysers.choice_rows import METHODS, READERS, Choice, ChoiceName, Row
from fairhearing_builtins.analysers.exclusions import reason_of
from fairhearing_builtins.analysers.listening import Pair, counted, sheet_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A valid trial: who answered, in which `[[scores]]` entry, as which trial of it, where, and the choice."""

    listener: str
    entry: int
    seat: str | None
    programme: str | None
    choice: Choice
    number: str | None = None
    first: str | None = None  # what was presented first, where the sheet says so

    @property
    def right(self) -> bool:
        """Whether what was answered is what was played."""
        return self.choice.played == self.choice.answered


@dataclass(slots=True, kw_only=True)
class PairTrials:
    """All trials of one pair by one method, of however many sheets, while they are gathered."""

    trials: list[Trial] = field(default_factory=list)
    n_left_out: int = 0
    excluded: Counter[str] = field(default_factory=Counter)
    balanced: bool = False
    caveats: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Pools by method within each pair, in the order of session.toml, and the sheets that could not be used."""

    pools: dict[Pair, dict[str, PairTrials]]
    refusals: tuple[Refusal, ...]


def gather(inputs: Inputs, methods: frozenset[ChoiceName] = METHODS) -> Gathered:
    """The trials of all sheets of these methods; sheets of the same pair and method are pooled."""
    pools: dict[Pair, dict[str, PairTrials]] = {}
    refusals = []
    for sheet in sorted((s for s in inputs.sheets if s.method in methods), key=lambda s: s.entry):
        refusal = _add_sheet(sheet, inputs.session, pools)
        if refusal is not None:
            refusals.append(refusal)
    ordered = sorted(pools, key=lambda pair: (pair.condition, pair.reference))
    return Gathered(pools={pair: pools[pair] for pair in ordered}, refusals=tuple(refusals))


def headline(pools: dict[str, PairTrials]) -> str:
    """The method that speaks for the pair: the first in session.toml with a valid trial, else the first.

    The order in session.toml is fixed before anyone listens; the better of two results would be a result too many.
    """
    return next((method for method, pool in pools.items() if pool.trials), next(iter(pools)))


def _add_sheet(sheet: Sheet, session: Session, pools: dict[Pair, dict[str, PairTrials]]) -> Refusal | None:
    """Add the sheet's trials to those of its pairs."""
    rows, reader = sheet_rows(sheet), READERS[sheet.method]
    reference = sheet.reference or session.reference.id
    named = [reader.named(row) for row in rows]
    said = {sheet.treatment} if sheet.treatment else set()
    others = sorted(({name for names in named for name in names} | said) - {reference})
    if not others:
        return Refusal(
            what=f"proportion_correct from {', '.join(sheet.paths)}",
            why=f"the sheet names no condition but the reference {reference!r}",
            try_="name the other condition in its [[scores]]: treatment = …",
        )
    # The answer of an abx trial does not say what the other one of the two was.
    unclear = sheet.method == "abx" and len(others) > 1
    wanted = [sheet.treatment] if unclear and sheet.treatment else others
    for condition in wanted:
        pair = Pair(condition=condition, reference=reference)
        pool = pools.setdefault(pair, {}).setdefault(sheet.method, PairTrials())
        if len(others) > 1:
            pool.caveats.append(_several(sheet, pair, others, unclear))
        if unclear:
            continue
        pool.balanced = pool.balanced or sheet.order == "balanced"
        for row, names in zip(rows, named, strict=True):
            if names <= {condition, reference}:
                _add_row(row, sheet, pair, pool)
    return None


def _several(sheet: Sheet, pair: Pair, others: list[str], unclear: bool) -> str:
    """The caveat of a sheet with more than two conditions."""
    paths, names = ", ".join(sheet.paths), ", ".join(sorted({*others, pair.reference}))
    if unclear:
        return (
            f"{paths} names the conditions {names}: a sheet with more than two does not say which pair was played; "
            "use one [[scores]] per pair"
        )
    return (
        f"{paths} compares {counted(len(others) + 1, 'condition', 'conditions')}: this is from the trials of "
        f"{pair.condition} against {pair.reference} alone"
    )


def _add_row(row: Row, sheet: Sheet, pair: Pair, pool: PairTrials) -> None:
    listener, choice, why = row.get("listener"), READERS[sheet.method].read(row, pair), reason_of(row)
    if why is not None:
        pool.excluded[why] += 1
    elif listener is None or choice is None:
        pool.n_left_out += 1
    else:
        pool.trials.append(
            Trial(
                listener=listener,
                entry=sheet.entry,
                number=row.get("trial"),
                first=_first_in(row),
                seat=row.get("seat"),
                programme=row.get("programme"),
                choice=choice,
            )
        )


def _first_in(row: Row) -> str | None:
    """What was presented first: of an order of several, the first of them."""
    order = (row.get("order") or "").split()
    return order[0] if order else row.get("first")
