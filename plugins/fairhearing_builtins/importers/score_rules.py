"""What the row of a score sheet must hold, method by method: the answers that a trial allows."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fairhearing.api import nearest

LISTENER_COLUMNS = ("listener", "trial", "programme", "seat")
OPTIONAL_COLUMNS = ("programme", "seat")
# the column whose empty cell makes a trial invalid instead of the sheet
ANSWER_COLUMNS = ("answer", "preferred", "rating")
# impairment: ITU-R BS.1116; quality: ITU-R BS.1534; comparison: ITU-R BS.1284
SCALES = {"impairment": (1.0, 5.0), "quality": (0.0, 100.0), "comparison": (-3.0, 3.0)}
_METHOD_COLUMNS = {
    "abx": ("x", "answer"),
    "same-different": ("first", "second", "answer"),
    "triangle": ("order", "answer"),
    "duo-trio": ("standard", "first", "second", "answer"),
    "tetrad": ("order", "answer"),
    "paired-preference": ("first", "second", "preferred"),
}
_CONDITION_COLUMNS = ("x", "first", "second", "standard", "condition")
_SEPARATOR = re.compile(r"\s*[-/,]\s*|\s+")
_TWO_PLACES = re.compile(r"([1-4])(?:\s*[-/,]\s*|\s*)([1-4])")
_PLACES = {"three": 3, "four": 4}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")

Row = Mapping[str, str | None]


class RuleError(ValueError):
    """A cell breaks a rule: the column, what is wrong with the value seen, and what to try."""

    def __init__(self, column: str, what: str, try_: str) -> None:
        super().__init__(what)
        self.column = column
        self.what = what
        self.try_ = try_


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a row may name: conditions, seats; the scale of ratings; the decimal separator if session.toml gives it."""

    conditions: tuple[str, ...]
    seats: tuple[str, ...]
    scale: str | None
    decimal: str | None


def method_columns(method: str, scale: str | None) -> tuple[str, ...]:
    """The columns of a method in the order of the session format, the optional ones included.

    >>> method_columns("grading", "comparison")[4:]
    ('first', 'second', 'rating')
    """
    if method == "grading":
        own = ("first", "second", "rating") if scale == "comparison" else ("condition", "rating")
        return (*LISTENER_COLUMNS, *own)
    return (*LISTENER_COLUMNS, *_METHOD_COLUMNS[method])


def checked_row(row: Row, method: str, known: Known) -> dict[str, str | None]:
    """The row with its answers written our way: `same`, `none`, orders parted by blanks, ratings with a point.

    Raises
    ------
    RuleError
        A cell that must not be empty is, a condition or seat is unknown, or the method allows no such answer.
    """
    checked = dict(row)
    for column in row:
        if row[column] is None and column not in (*OPTIONAL_COLUMNS, *ANSWER_COLUMNS):
            raise RuleError(column, f"the {column} is empty", "fill it in, or delete the row if there was no trial")
    seat = row.get("seat")
    if seat is not None and seat not in known.seats:
        raise RuleError("seat", f"unknown seat {seat!r}", nearest(seat, known.seats))
    for column in _CONDITION_COLUMNS:
        if column in row:
            _require_condition(column, row[column] or "", known)
    checked.update(_METHOD_RULES[method](row, known))
    return checked


def _require_condition(column: str, value: str, known: Known) -> None:
    if value not in known.conditions:
        raise RuleError(column, f"unknown condition {value!r}", nearest(value, known.conditions))


def _abx(row: Row, known: Known) -> dict[str, str | None]:
    answer = row["answer"]
    if answer is not None:
        _require_condition("answer", answer, known)
    return {}


def _one_of(column: str, value: str | None, allowed: tuple[str, ...]) -> str | None:
    if value is None or value.lower() in allowed:
        return value and value.lower()
    raise RuleError(
        column,
        f"the {column} {value!r} is none of {', '.join(allowed)}",
        f"one of {', '.join(allowed)}; leave it empty if the trial was invalid",
    )


def _same_different(row: Row, known: Known) -> dict[str, str | None]:
    return {"answer": _one_of("answer", row["answer"], ("same", "different"))}


def _duo_trio(row: Row, known: Known) -> dict[str, str | None]:
    standard, first, second = row["standard"], row["first"], row["second"]
    if (standard == first) == (standard == second):
        raise RuleError(
            "standard",
            f"the standard {standard!r} must match one of first {first!r} and second {second!r}, and one only",
            "first and second are the two conditions, one of them the standard again",
        )
    return {"answer": _one_of("answer", row["answer"], ("1", "2"))}


def _triangle(row: Row, known: Known) -> dict[str, str | None]:
    conditions = _order(row["order"] or "", known, "three", "'in out out'")
    if len(set(conditions)) != 2:
        raise RuleError(
            "order",
            f"the order {row['order']!r} has {len(set(conditions))} different conditions, not two",
            "a triangle has one condition once and another twice, such as 'in out out'",
        )
    return {"order": " ".join(conditions), "answer": _one_of("answer", row["answer"], ("1", "2", "3"))}


def _tetrad(row: Row, known: Known) -> dict[str, str | None]:
    conditions = _order(row["order"] or "", known, "four", "'in out out in'")
    if sorted(map(conditions.count, conditions)) != [2, 2, 2, 2]:
        raise RuleError(
            "order",
            f"the order {row['order']!r} is not two conditions twice each",
            "a tetrad has one condition twice and another twice, such as 'in out out in'",
        )
    answer = row["answer"]
    if answer is None:
        return {"order": " ".join(conditions), "answer": None}
    found = _TWO_PLACES.fullmatch(answer)
    places = sorted(found.groups()) if found else []
    if len(set(places)) != 2:
        raise RuleError(
            "answer",
            f"the answer {answer!r} does not name two of the positions 1 to 4",
            "the two that belong together, parted by a blank, such as '1 4'; leave it empty if the trial was invalid",
        )
    return {"order": " ".join(conditions), "answer": " ".join(places)}


def _order(order: str, known: Known, n_in_words: str, example: str) -> tuple[str, ...]:
    """The conditions of an order, of which there must be so many, and one way to read them."""
    n_places = _PLACES[n_in_words]
    parsed = order_readings(order, known.conditions, n_places)
    if not parsed:
        words = [word for word in re.split(r"[\s/,]+", order) if word]
        strange = [word for word in words if word not in known.conditions]
        raise RuleError(
            "order",
            f"the order {order!r} is not {n_in_words} conditions",
            nearest(strange[0], known.conditions)
            if len(words) == n_places and strange
            else f"{n_in_words} condition ids parted by blanks, such as {example}",
        )
    if len(parsed) > 1:
        raise RuleError("order", f"the order {order!r} reads two ways", f"part the {n_in_words} conditions by blanks")
    return parsed[0]


def order_readings(order: str, conditions: tuple[str, ...], n_places: int) -> list[tuple[str, ...]]:
    """Every way to read an order as so many conditions; ids may hold the hyphen that may also part them.

    >>> order_readings("in-out-out", ("in", "out"), 3)
    [('in', 'out', 'out')]
    """

    def readings(rest: str, n_left: int) -> set[tuple[str, ...]]:
        found: set[tuple[str, ...]] = set()
        for condition in conditions:
            if not rest.startswith(condition):
                continue
            after = rest[len(condition) :]
            separator = _SEPARATOR.match(after)
            if n_left == 1 and not after:
                found.add((condition,))
            elif n_left > 1 and separator is not None:
                found |= {(condition, *more) for more in readings(after[separator.end() :], n_left - 1)}
        return found

    return sorted(readings(order.strip(), n_places))


def _paired_preference(row: Row, known: Known) -> dict[str, str | None]:
    preferred, pair = row["preferred"], (row["first"], row["second"])
    if preferred is None or preferred in pair:
        return {}
    if preferred.lower() == "none":
        return {"preferred": "none"}
    raise RuleError(
        "preferred",
        f"preferred is {preferred!r}, which is neither first {pair[0]!r} nor second {pair[1]!r}",
        "the condition id of one of the two, or none",
    )


def _grading(row: Row, known: Known) -> dict[str, str | None]:
    rating, scale = row["rating"], known.scale or ""
    if rating is None:
        return {}
    low, high = SCALES[scale]
    text = rating.replace(",", ".") if known.decimal == "," or (known.decimal is None and "." not in rating) else rating
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if math.isnan(value):
        raise RuleError("rating", f"the rating {rating!r} is not a number", f"a number from {low:g} to {high:g}")
    if not low <= value <= high:
        raise RuleError(
            "rating",
            f"the rating {rating!r} is outside the scale {scale!r} ({low:g} to {high:g})",
            f"a number from {low:g} to {high:g}, or another scale for this entry in session.toml",
        )
    return {"rating": text}


_METHOD_RULES: dict[str, Callable[[Row, Known], dict[str, str | None]]] = {
    "abx": _abx,
    "same-different": _same_different,
    "triangle": _triangle,
    "duo-trio": _duo_trio,
    "tetrad": _tetrad,
    "paired-preference": _paired_preference,
    "grading": _grading,
}
