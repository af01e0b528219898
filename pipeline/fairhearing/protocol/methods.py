"""What each method plays, what it asks, and what an answer on a blind sheet means once the order is known."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from fairhearing.session import Method

SHARED_COLUMNS = ("listener", "trial", "programme", "seat")
# impairment: ITU-R BS.1116; quality: ITU-R BS.1534; comparison: ITU-R BS.1284
SCALES: dict[str, tuple[float, float]] = {
    "impairment": (1.0, 5.0),
    "quality": (0.0, 100.0),
    "comparison": (-3.0, 3.0),
}
SCALE_WORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "impairment": (
        ("5", "imperceptible"),
        ("4", "perceptible, not annoying"),
        ("3", "slightly annoying"),
        ("2", "annoying"),
        ("1", "very annoying"),
    ),
    "quality": (
        ("100 to 80", "excellent"),
        ("80 to 60", "good"),
        ("60 to 40", "fair"),
        ("40 to 20", "poor"),
        ("20 to 0", "bad"),
    ),
    "comparison": (
        ("3", "second much better"),
        ("2", "second better"),
        ("1", "second slightly better"),
        ("0", "the same"),
        ("-1", "second slightly worse"),
        ("-2", "second worse"),
        ("-3", "second much worse"),
    ),
}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_TWO_PLACES = re.compile(r"([1-4])(?:\s*[-/,]\s*|\s*)([1-4])")


class AnswerError(ValueError):
    """An answer that the method does not know; the text says what it takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A method on paper: places that sound, question, the words that may be answered (none: a number on the scale).

    `n_right`: how many right answers there are, each equally likely; 0 where no answer is right.
    """

    n_right: int
    places: tuple[str, ...]
    columns: tuple[str, ...]
    answer_column: str
    words: tuple[str, ...]
    asks: str

    @property
    def chance(self) -> Fraction | None:
        """Probability of a right answer by guessing."""
        return Fraction(1, self.n_right) if self.n_right else None


_FORMS: dict[str, Form] = {
    "abx": Form(
        n_right=2,
        places=("A", "B", "X"),
        columns=("x", "answer", "first", "second"),
        answer_column="answer",
        words=("A", "B"),
        asks="Is X the same as A or as B?",
    ),
    "same-different": Form(
        n_right=2,
        places=("first", "second"),
        columns=("first", "second", "answer"),
        answer_column="answer",
        words=("same", "different"),
        asks="Were the two the same or different?",
    ),
    "triangle": Form(
        n_right=3,
        places=("1", "2", "3"),
        columns=("order", "answer"),
        answer_column="answer",
        words=("1", "2", "3"),
        asks="Two of the three were the same. Which was the odd one?",
    ),
    "duo-trio": Form(
        n_right=2,
        places=("standard", "1", "2"),
        columns=("standard", "first", "second", "answer"),
        answer_column="answer",
        words=("1", "2"),
        asks="Which of the two was the same as the standard?",
    ),
    "tetrad": Form(
        n_right=3,
        places=("1", "2", "3", "4"),
        columns=("order", "answer"),
        answer_column="answer",
        words=("1 2", "1 3", "1 4"),
        asks="The four were two pairs. Which one belonged with the first?",
    ),
    "paired-preference": Form(
        n_right=0,
        places=("1", "2"),
        columns=("first", "second", "preferred"),
        answer_column="preferred",
        words=("1", "2", "none"),
        asks="Which did you prefer? (none: no preference)",
    ),
}
_COMPARISON = Form(
    n_right=0,
    places=("first", "second"),
    columns=("first", "second", "rating"),
    answer_column="rating",
    words=(),
    asks="How much better was the second than the first?",
)
_GRADING = Form(
    n_right=0,
    places=("sound",),
    columns=("condition", "rating"),
    answer_column="rating",
    words=(),
    asks="Which grade do you give to what you hear?",
)


def form_of(method: Method, scale: str | None) -> Form:
    """The form of a method; a grading's depends on its scale.

    >>> form_of("triangle", None).chance
    Fraction(1, 3)
    """
    if method == "grading":
        return _COMPARISON if scale == "comparison" else _GRADING
    return _FORMS[method]


def grades_one_at_a_time(method: Method, scale: str | None) -> bool:
    """Whether each trial is one condition by itself, so that what was heard before may carry over."""
    return method == "grading" and scale != "comparison"


def cells_of(method: Method, pair: tuple[str, str], turn: int, right: int) -> dict[str, str]:
    """The columns of a trial of two conditions without its answer.

    Parameters
    ----------
    method : Method
    pair : reference, condition
    turn : 0 or 1
        Which of the two comes first (abx: is A; triangle: is the odd one; duo-trio: is the standard).
    right : int, 0 to n_right - 1
        Which answer is right: abx, which of the pair X is; same-different, 0 for same; triangle and duo-trio, the place
        from 0; tetrad, which of the second to the fourth goes with the first.

    Examples
    --------
    >>> cells_of("triangle", ("out", "in"), turn=1, right=2)
    {'order': 'out out in'}
    """
    one, other = (pair[turn], pair[1 - turn])
    if method == "abx":
        return {"x": pair[right], "first": one, "second": other}
    if method == "same-different":
        return {"first": one, "second": other if right else one}
    if method == "triangle":
        return {"order": " ".join(one if place == right else other for place in range(3))}
    if method == "tetrad":
        return {"order": " ".join(one if place in (0, right + 1) else other for place in range(4))}
    if method == "duo-trio":
        first, second = (other, one) if right else (one, other)
        return {"standard": one, "first": first, "second": second}
    return {"first": one, "second": other}


def plays_of(cells: Mapping[str, str]) -> tuple[str, ...]:
    """The conditions that sound in a trial with these columns, place by place.

    >>> plays_of({"x": "in", "first": "out", "second": "in"})
    ('out', 'in', 'in')
    """
    if "order" in cells:
        return tuple(cells["order"].split())
    return tuple(cells[name] for name in ("standard", "first", "second", "x", "condition") if name in cells)


def opened_answer(method: Method, scale: str | None, cells: Mapping[str, str], answer: str) -> str:
    """What an answer on a blind sheet is in the columns of the session format.

    Raises
    ------
    AnswerError
        The method knows no such answer.

    Examples
    --------
    >>> opened_answer("abx", None, {"x": "in", "first": "out", "second": "in"}, "B")
    'in'
    """
    text = " ".join(answer.split())
    if method == "grading":
        return _grade(text, SCALES[scale or ""])
    if method == "tetrad":
        return _two_places(text)
    words = {word.casefold(): word for word in form_of(method, scale).words}
    word = words.get(text.casefold())
    if word is None:
        raise AnswerError(f"it takes {', '.join(words.values())}")
    meanings = {"abx": {"A": "first", "B": "second"}, "paired-preference": {"1": "first", "2": "second"}}
    column = meanings.get(method, {}).get(word)
    return word if column is None else cells[column]


def is_right(method: Method, cells: Mapping[str, str], answer: str) -> bool:
    """Whether an opened answer is what was played; only for methods that have right answers.

    >>> is_right("tetrad", {"order": "in out out in"}, "2 3")
    True
    """
    if method == "abx":
        return answer == cells["x"]
    if method == "same-different":
        return answer == ("same" if cells["first"] == cells["second"] else "different")
    if method == "duo-trio":
        return cells["first" if answer == "1" else "second"] == cells["standard"]
    order = cells["order"].split()
    chosen = {order[int(place) - 1] for place in answer.split()}
    others = {order[place] for place in range(len(order)) if str(place + 1) not in answer.split()}
    return len(chosen) == len(others) == 1


def _two_places(text: str) -> str:
    """Two of the four that belong together, the earlier first."""
    if text in ("2", "3", "4"):  # the one that belongs with the first
        return f"1 {text}"
    found = _TWO_PLACES.fullmatch(text)
    places = sorted(found.groups()) if found else []
    if len(set(places)) != 2:
        raise AnswerError("it takes the two places that belong together, such as 1 3")
    return " ".join(places)


def _grade(text: str, limits: tuple[float, float]) -> str:
    low, high = limits
    number = text.replace(",", ".").replace("\N{MINUS SIGN}", "-")
    value = float(number) if _NUMBER.fullmatch(number) else math.nan
    if not low <= value <= high:
        raise AnswerError(f"it takes a number from {low:g} to {high:g}")
    return number
