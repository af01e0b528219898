"""plan.json and the key back to a design and its trials; both have passed the seal when they come here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, cast

from fairhearing.errors import InputProblem
from fairhearing.protocol.design import Design, KeyTrial
from fairhearing.session import Look

_LISTS = frozenset({"conditions", "listeners", "programmes", "seats"})


def design_of(plan: Mapping[str, object]) -> Design:
    """The design that plan.json holds.

    Raises
    ------
    InputProblem
        Another version wrote it, and it lacks something.
    """
    try:
        values = {one.name: plan[one.name] for one in fields(Design)}
        for name in _LISTS:
            values[name] = tuple(cast("list[str]", values[name]))
        values["looks"] = tuple(Look(**look) for look in cast("list[dict[str, Any]]", values["looks"]))
        return Design(**cast("dict[str, Any]", values))
    except (KeyError, TypeError) as error:
        raise _foreign("plan.json") from error


def trials_of(key: Mapping[str, object]) -> tuple[KeyTrial, ...]:
    """The trials that the key holds.

    Raises
    ------
    InputProblem
        Another version wrote it, and it lacks something.
    """
    try:
        trials = cast("list[dict[str, Any]]", key["trials"])
        return tuple(KeyTrial(**{**trial, "plays": tuple(trial["plays"])}) for trial in trials)
    except (KeyError, TypeError) as error:
        raise _foreign("the sealed key") from error


def _foreign(name: str) -> InputProblem:
    return InputProblem(
        f"{name} is sealed, and not as this version writes it",
        where=name,
        try_="unseal it with the version that wrote it",
    )
