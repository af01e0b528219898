"""Times of trials as people write them: ISO 8601, or hours and minutes of one day."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime

_CLOCK = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)(?:[:.]([0-5]\d))?")
_DATED = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?")
_DAY_S, _HALF_DAY_S = 86_400.0, 43_200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A time: seconds since 1970 where it has a date, else since midnight; exact to `step_s`."""

    seconds: float
    step_s: float
    dated: bool
    zoned: bool = False


def moment(text: str) -> Moment:
    """The time that a text says.

    Raises
    ------
    ValueError
        It says none.

    Examples
    --------
    >>> moment("14:05").seconds, moment("14:05:30").seconds
    (50700.0, 50730.0)
    """
    found = _CLOCK.fullmatch(text)
    if found:
        hours, minutes, seconds = (float(part or 0) for part in found.groups())
        return Moment(seconds=hours * 3600.0 + minutes * 60.0 + seconds, step_s=1.0 if found[3] else 60.0, dated=False)
    dated = _DATED.match(text)
    if not dated:
        raise ValueError("neither a time of day nor a date with a time")
    when = datetime.fromisoformat(text)
    epoch = datetime(1970, 1, 1, tzinfo=UTC if when.tzinfo else None)
    return Moment(
        seconds=(when - epoch).total_seconds(),
        step_s=1.0 if dated[1] else 60.0,
        dated=True,
        zoned=when.tzinfo is not None,
    )


def is_before(one: Moment, other: Moment) -> bool | None:
    """Whether `one` is surely before `other`; None where one has a date or a zone and the other has none.

    Times of day more than twelve hours apart lie on either side of midnight. A time to the minute holds all of it.

    Examples
    --------
    >>> is_before(moment("14:05"), moment("14:05:30")), is_before(moment("23:59"), moment("00:01"))
    (False, True)
    """
    if one.dated != other.dated or one.zoned != other.zoned:
        return None
    seconds, later = one.seconds + one.step_s - 1.0, other.seconds
    if not one.dated and abs(one.seconds - other.seconds) > _HALF_DAY_S:
        later += _DAY_S if other.seconds < one.seconds else -_DAY_S
    return seconds < later
