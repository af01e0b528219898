"""How long one piece of work may take and how much memory it may use, as the environment says."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.errors import InputProblem

SECONDS_VARIABLE = "FAIRHEARING_ANALYSER_SECONDS"
MEGABYTES_VARIABLE = "FAIRHEARING_ANALYSER_MB"
IN_PROCESS_VARIABLE = "FAIRHEARING_IN_PROCESS"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one call may take: `seconds` by the clock, `megabytes` (1e6 byte) on top of what a worker starts with."""

    seconds: float = 600.0
    megabytes: float = 4000.0


def limits_from(environment: Mapping[str, str] = os.environ) -> Limits | None:
    """The limits that the environment sets; None where work is to stay in this process, without limits.

    Raises
    ------
    InputProblem
        A variable holds no number above 0.

    Examples
    --------
    >>> limits_from({"FAIRHEARING_ANALYSER_SECONDS": "30"})
    Limits(seconds=30.0, megabytes=4000.0)
    >>> limits_from({"FAIRHEARING_IN_PROCESS": "1"}) is None
    True
    """
    usual = Limits()
    limits = Limits(
        seconds=_number(environment, SECONDS_VARIABLE, usual.seconds),
        megabytes=_number(environment, MEGABYTES_VARIABLE, usual.megabytes),
    )
    return None if environment.get(IN_PROCESS_VARIABLE, "0") == "1" else limits


def _number(environment: Mapping[str, str], variable: str, usual: float) -> float:
    written = environment.get(variable)
    if written is None:
        return usual
    try:
        number = float(written)
    except ValueError:
        number = math.nan
    if not 0.0 < number < math.inf:
        raise InputProblem(
            f"{variable} is {written!r}, not a number above 0",
            where="the environment",
            try_=f"set it to a number such as {usual:g}, or take it out of the environment",
        )
    return number
