"""One row of a forced-choice sheet to what was played and what was answered, method by method."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

from fairhearing_builtins.analysers.listening import Pair

ChoiceName = Literal["abx", "same-different", "triangle", "duo-trio", "tetrad"]
Row = dict[str, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A valid answer: right if `answered` is what was `played`. `position`: where the chosen one stood, from 0.

    Kinds are numbers from 0: abx: reference, condition; same-different: same, different; duo-trio and triangle: the
    place of the match, of the odd one; tetrad: which of the second to the fourth goes with the first.
    """

    played: int
    answered: int
    position: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowReader:
    """How the rows of one method are read: which conditions a row sets against each other, and the choice in it."""

    named: Callable[[Row], frozenset[str]]
    read: Callable[[Row, Pair], Choice | None]  # None: no valid trial of this pair


def _cells(*names: str) -> Callable[[Row], frozenset[str]]:
    return lambda row: frozenset(cell for cell in map(row.get, names) if cell is not None)


def _in_order(row: Row) -> frozenset[str]:
    return frozenset((row.get("order") or "").split())


def _abx(row: Row, pair: Pair) -> Choice | None:
    x, answer = row.get("x"), row.get("answer")
    if x is None or answer is None:
        return None
    first, second = row.get("first"), row.get("second")
    placed = first is not None and second is not None and first != second and answer in (first, second)
    return Choice(
        played=int(x == pair.condition),
        answered=int(answer == pair.condition),
        position=int(answer == second) if placed else None,
    )


def _same_different(row: Row, pair: Pair) -> Choice | None:
    first, second, answer = row.get("first"), row.get("second"), row.get("answer")
    if first is None or second is None or answer not in ("same", "different"):
        return None
    return Choice(played=int(first != second), answered=int(answer == "different"))


def _duo_trio(row: Row, pair: Pair) -> Choice | None:
    standard, places, answer = row.get("standard"), (row.get("first"), row.get("second")), row.get("answer")
    if set(places) != {pair.condition, pair.reference} or standard not in places or answer not in ("1", "2"):
        return None
    chosen = int(answer) - 1
    return Choice(played=places.index(standard), answered=chosen, position=chosen)


def _triangle(row: Row, pair: Pair) -> Choice | None:
    order, answer = (row.get("order") or "").split(), row.get("answer")
    if set(order) != {pair.condition, pair.reference} or len(order) != 3 or answer not in ("1", "2", "3"):
        return None
    odd = next(place for place in range(3) if order.count(order[place]) == 1)
    return Choice(played=odd, answered=int(answer) - 1, position=int(answer) - 1)


def _tetrad(row: Row, pair: Pair) -> Choice | None:
    order, answer = (row.get("order") or "").split(), (row.get("answer") or "").split()
    twice_each = len(order) == 4 and all(order.count(name) == 2 for name in (pair.condition, pair.reference))
    if not twice_each or len(set(answer)) != 2 or not set(answer) <= set("1234"):
        return None
    # Naming two of the four says as much as naming the other two.
    chosen = set(answer) if "1" in answer else set("1234") - set(answer)
    partner = int(max(chosen)) - 1
    return Choice(played=order.index(order[0], 1) - 1, answered=partner - 1)


READERS: dict[str, RowReader] = {
    "abx": RowReader(named=_cells("x", "answer"), read=_abx),
    "same-different": RowReader(named=_cells("first", "second"), read=_same_different),
    "triangle": RowReader(named=_in_order, read=_triangle),
    "duo-trio": RowReader(named=_cells("first", "second"), read=_duo_trio),
    "tetrad": RowReader(named=_in_order, read=_tetrad),
}
METHODS: frozenset[ChoiceName] = frozenset(get_args(ChoiceName))
