"""Reads the plan that `fairhearing plan` wrote and sealed: plan.json, seal.json and, once opened, opened.json."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, get_args

from fairhearing.errors import nearest
from fairhearing.manifest.faults import shown
from fairhearing.manifest.reader import as_number
from fairhearing.session import OPENED_NAME, PLAN_FORMAT, PLAN_NAME, SEAL_NAME, ListeningPlan, Look, Method, Question

Word = TypeVar("Word", bound=str)


class PlanFault(ValueError):
    """A file of the plan is not what `fairhearing plan` writes; the text begins with its name."""


def load_plan(place: Path, *, conditions: Collection[str], seats: Collection[str]) -> ListeningPlan:
    """The plan in a folder that `fairhearing plan` wrote.

    Raises
    ------
    PlanFault
        A file is missing or is not what was written; the text begins with its name.
    """
    plan = _Values(PLAN_NAME, _object(place, PLAN_NAME))
    seal = _Values(SEAL_NAME, _object(place, SEAL_NAME))
    opened = _Values(OPENED_NAME, _object(place, OPENED_NAME)) if (place / OPENED_NAME).exists() else None
    if plan.integer("format") != PLAN_FORMAT:
        raise PlanFault(f"{PLAN_NAME} has format {plan.integer('format')}; this version reads format {PLAN_FORMAT}")
    for condition in (*plan.texts("conditions"), plan.text("condition"), plan.text("reference")):
        if condition not in conditions:
            raise PlanFault(f"{PLAN_NAME} is of condition {condition!r}, which session.toml does not have")
    for seat in plan.texts("seats"):
        if seat not in seats:
            raise PlanFault(f"{PLAN_NAME} is of seat {seat!r}, which session.toml does not have")
    return ListeningPlan(
        question=plan.word("question", get_args(Question)),
        method=plan.word("method", get_args(Method)),
        scale=plan.optional_text("scale"),
        conditions=plan.texts("conditions"),
        condition=plan.text("condition"),
        reference=plan.text("reference"),
        alpha=plan.number("alpha"),
        power=plan.number("power"),
        effect=plan.number("effect"),
        margin=None if plan.values.get("margin") is None else plan.number("margin"),
        listeners=plan.texts("listeners"),
        n_trials=plan.integer("n_trials"),
        n_practice=plan.integer("n_practice"),
        n_sham=plan.integer("n_sham"),
        n_control=plan.integer("n_control"),
        control=plan.optional_text("control"),
        looks=tuple(_look(_Values(PLAN_NAME, look)) for look in plan.objects("looks")),
        spending=plan.optional_text("spending"),
        programmes=plan.texts("programmes"),
        seats=plan.texts("seats"),
        commitment=seal.text("commitment"),
        sealed=opened is None,
        opened_early=None if opened is None else opened.optional_text("reason"),
    )


def _look(values: _Values) -> Look:
    return Look(
        n_trials=values.integer("n_trials"),
        n_right_needed=None if values.values.get("n_right_needed") is None else values.integer("n_right_needed"),
        alpha_spent=values.number("alpha_spent"),
    )


def _object(place: Path, name: str) -> dict[str, object]:
    try:
        value = json.loads((place / name).read_bytes())
    except FileNotFoundError as error:
        raise PlanFault(f"{name} is missing") from error
    except OSError as error:
        raise PlanFault(f"{name} cannot be read: {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise PlanFault(f"{name} is not JSON: {' '.join(str(error).split())}") from error
    if not isinstance(value, dict):
        raise PlanFault(f"{name} is {shown(value)}, not an object")
    return value


@dataclass(frozen=True, slots=True)
class _Values:
    """The values of one JSON object, each of the form that is wanted."""

    name: str
    values: dict[str, object]

    def text(self, key: str) -> str:
        value = self.values.get(key)
        if isinstance(value, str) and value:
            return value
        raise self.fault(key, "text")

    def optional_text(self, key: str) -> str | None:
        return None if self.values.get(key) is None else self.text(key)

    def number(self, key: str) -> float:
        number = as_number(self.values.get(key))
        if number is not None and math.isfinite(number):
            return number
        raise self.fault(key, "a number")

    def integer(self, key: str) -> int:
        value = self.values.get(key)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return value
        raise self.fault(key, "a whole number from 0")

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.values.get(key)
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            raise self.fault(key, "a list of texts")
        return tuple(value)

    def objects(self, key: str) -> list[dict[str, object]]:
        value = self.values.get(key)
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            raise self.fault(key, "a list of objects")
        return value

    def word(self, key: str, words: tuple[Word, ...]) -> Word:
        value = self.values.get(key)
        for word in words:
            if word == value:
                return word
        raise PlanFault(f"{self.name} has {key} = {shown(value)}: {nearest(str(value), words)}")

    def fault(self, key: str, wanted: str) -> PlanFault:
        return PlanFault(f"{self.name} has {key} = {shown(self.values.get(key))}, not {wanted}")
