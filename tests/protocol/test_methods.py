"""Forms of the methods: what sounds, what is asked, and what an answer means once the order is known."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest

from fairhearing.protocol.methods import AnswerError, cells_of, form_of, is_right, opened_answer, plays_of
from fairhearing.session import Method

PAIR = ("out", "in")


@pytest.mark.parametrize(
    ("method", "chance"),
    # Common to ISO 4120, ISO 10399 and ASTM E2610 (tetrad): from memory.
    [("abx", (1, 2)), ("same-different", (1, 2)), ("triangle", (1, 3)), ("duo-trio", (1, 2)), ("tetrad", (1, 3))],
)
def test_guessing_is_right_as_often_as_the_standards_say(method: Method, chance: tuple[int, int]) -> None:
    assert form_of(method, None).chance == Fraction(*chance)


def test_every_order_of_a_triangle_and_a_tetrad_is_drawn() -> None:
    triangles = {plays_of(cells_of("triangle", PAIR, *drawn)) for drawn in product(range(2), range(3))}
    assert triangles == {one for one in product(PAIR, repeat=3) if len(set(one)) == 2}
    tetrads = {plays_of(cells_of("tetrad", PAIR, *drawn)) for drawn in product(range(2), range(3))}
    assert tetrads == {one for one in product(PAIR, repeat=4) if one.count("in") == 2}


@pytest.mark.parametrize(
    ("method", "scale", "cells", "answer", "opened"),
    [
        ("abx", None, {"x": "in", "first": "in", "second": "out"}, "a", "in"),
        ("abx", None, {"x": "in", "first": "in", "second": "out"}, " B ", "out"),
        ("same-different", None, {"first": "in", "second": "out"}, "Different", "different"),
        ("triangle", None, {"order": "in out out"}, "3", "3"),
        ("duo-trio", None, {"standard": "in", "first": "in", "second": "out"}, "2", "2"),
        ("tetrad", None, {"order": "in out out in"}, "4 1", "1 4"),
        ("tetrad", None, {"order": "in out out in"}, "23", "2 3"),
        ("tetrad", None, {"order": "in out out in"}, "3", "1 3"),
        ("paired-preference", None, {"first": "in", "second": "out"}, "1", "in"),
        ("paired-preference", None, {"first": "in", "second": "out"}, "2", "out"),
        ("paired-preference", None, {"first": "in", "second": "out"}, "None", "none"),
        ("grading", "quality", {"condition": "in"}, "72,5", "72.5"),
        ("grading", "comparison", {"first": "in", "second": "out"}, "\N{MINUS SIGN}1", "-1"),
        ("grading", "comparison", {"first": "in", "second": "out"}, "+2", "+2"),
    ],
)
def test_an_answer_is_opened(
    method: Method, scale: str | None, cells: dict[str, str], answer: str, opened: str
) -> None:
    assert opened_answer(method, scale, cells, answer) == opened


@pytest.mark.parametrize(
    ("method", "scale", "answer", "takes"),
    [
        ("abx", None, "in", "it takes A, B"),
        ("abx", None, "X", "it takes A, B"),
        ("same-different", None, "yes", "it takes same, different"),
        ("triangle", None, "4", "it takes 1, 2, 3"),
        ("duo-trio", None, "3", "it takes 1, 2"),
        ("tetrad", None, "1 1", "it takes the two places that belong together, such as 1 3"),
        ("tetrad", None, "1", "it takes the two places"),
        ("paired-preference", None, "in", "it takes 1, 2, none"),
        ("grading", "quality", "101", "it takes a number from 0 to 100"),
        ("grading", "comparison", "-3.1", "it takes a number from -3 to 3"),
        ("grading", "comparison", "nan", "it takes a number from -3 to 3"),
    ],
)
def test_an_answer_that_the_method_does_not_know_is_refused(
    method: Method, scale: str | None, answer: str, takes: str
) -> None:
    with pytest.raises(AnswerError, match=takes):
        opened_answer(method, scale, {"first": "in", "second": "out", "x": "in"}, answer)


@pytest.mark.parametrize("method", ["abx", "same-different", "triangle", "duo-trio", "tetrad"])
def test_just_one_answer_to_each_drawn_trial_is_right_and_it_is_the_drawn_one(method: Method) -> None:
    form = form_of(method, None)
    found = set()
    for turn, right in product(range(2), range(form.n_right)):
        cells = cells_of(method, PAIR, turn, right)
        words = [word for word in form.words if is_right(method, cells, opened_answer(method, None, cells, word))]
        assert len(words) == 1
        # For abx the drawn one is what X is, and which letter that is hangs on the turn.
        assert method == "abx" or words == [form.words[right]]
        found.add((turn, words[0]))
    assert len(found) == 2 * form.n_right


def test_naming_the_other_pair_of_a_tetrad_says_the_same() -> None:
    cells = {"order": "in out out in"}
    assert [is_right("tetrad", cells, one) for one in ("1 4", "2 3", "1 2", "3 4", "1 3")] == [True, True, *[False] * 3]
