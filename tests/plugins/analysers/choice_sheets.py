"""Score sheets of triangle, duo-trio, same-different and tetrad trials, so many right and so many wrong."""

from __future__ import annotations

from itertools import product

from .build_inputs import Row

METHODS = ("triangle", "duo-trio", "same-different", "tetrad")
TETRADS = ("in in out out", "in out in out", "in out out in")  # the first goes with the second, third, fourth
CHANCE = {"triangle": 1 / 3, "tetrad": 1 / 3, "duo-trio": 1 / 2, "same-different": 1 / 2}


def n_kinds(method: str) -> int:
    """How many kinds of trial the method has."""
    return 3 if method in ("triangle", "tetrad") else 2


def trial(method: str, played: int, answered: int, turned: bool = False, condition: str = "in") -> dict[str, str]:
    """One trial; kinds are numbered as a listener meets them. `turned`: the two conditions exchanged."""
    one, other = (condition, "out") if turned else ("out", condition)
    if method == "triangle":
        return {"order": " ".join(one if place == played else other for place in range(3)), "answer": str(answered + 1)}
    if method == "duo-trio":
        first, second = (one, other) if played == 0 else (other, one)
        return {"standard": one, "first": first, "second": second, "answer": str(answered + 1)}
    if method == "same-different":
        answer = ("same", "different")[answered]
        return {"first": one, "second": other if played else one, "answer": answer}
    order = TETRADS[played].replace("in", "*").replace("out", one).replace("*", other)
    others = [place for place in (2, 3, 4) if place != answered + 2]
    return {"order": order, "answer": " ".join(map(str, others if turned else (1, answered + 2)))}


def choice_rows(method: str, listener: str, right: int, wrong: int, *, seat: str | None = None) -> list[Row]:
    """Trials of one listener that run through all kinds in turn."""
    rows: list[Row] = []
    for index in range(right + wrong):
        played = index % n_kinds(method)
        answered = played if index < right else (played + 1) % n_kinds(method)
        own = trial(method, played, answered, turned=index % 4 > 1)
        rows.append({"listener": listener, "trial": str(index), "seat": seat, **own})
    return rows


def counted_rows(method: str, listener: str, table: list[list[int]]) -> list[Row]:
    """Trials of one listener by a table of what was played (row) and answered (column)."""
    rows: list[Row] = []
    for played, answered in product(range(len(table)), repeat=2):
        for _ in range(table[played][answered]):
            own = trial(method, played, answered, turned=len(rows) % 2 == 1)
            rows.append({"listener": listener, "trial": str(len(rows)), **own})
    return rows
