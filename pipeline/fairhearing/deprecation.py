"""Names that will go: until when they work, what to use instead, and the warning that says so."""

from __future__ import annotations

import functools
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

T = TypeVar("T", bound=Callable[..., object])
MARK = "__fairhearing_until__"
CONSTRUCTOR = "__init__"


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """The day from which a name may be gone (ISO 8601), and what to use instead."""

    date: str
    use: str

    def __post_init__(self) -> None:
        if date.fromisoformat(self.date).isoformat() != self.date:
            raise ValueError(f"{self.date!r} is not a day written as 2027-06-01")
        if not self.use.strip():
            raise ValueError("say what to use instead")

    def line(self, name: str) -> str:
        """What a user of the name is told."""
        return f"{name} works until {self.date}; use {self.use} instead"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A module's attribute that will go: its value for now, and until when."""

    value: object
    until: Until


def deprecated(date: str, *, use: str) -> Callable[[T], T]:
    """A decorator for a function or class that will go: every call warns with the day and what to use instead.

    Parameters
    ----------
    date : str
        The first day on which it may be gone, ISO 8601.
    use : str
        What to use instead, as a user would write it.

    Returns
    -------
    callable
        The same function wrapped, or the same class with a constructor that warns.

    Raises
    ------
    ValueError
        The date is no date, or nothing is said of what to use.

    Examples
    --------
    >>> @deprecated("2027-06-01", use="octaves")
    ... def octave_number(ratio):
    ...     return ratio
    >>> with warnings.catch_warnings(record=True) as told:
    ...     warnings.simplefilter("always")
    ...     _ = octave_number(2.0)
    >>> str(told[0].message)
    'octave_number works until 2027-06-01; use octaves instead'
    """
    until = Until(date=date, use=use)

    def mark(thing: T) -> T:
        if isinstance(thing, type):
            return _marked_class(thing, until)

        @functools.wraps(thing)
        def warned(*arguments: object, **options: object) -> object:
            _warn(until.line(thing.__name__))
            return thing(*arguments, **options)

        setattr(warned, MARK, until)
        return warned  # type: ignore[return-value]

    return mark


def moved_attributes(module: str, moved: Mapping[str, Moved]) -> Callable[[str], object]:
    """A module's `__getattr__` that still gives the attributes that will go, each time with a warning.

    Examples
    --------
    >>> older = {"SPEED": Moved(value=343.0, until=Until(date="2027-06-01", use="SPEED_M_PER_S"))}
    >>> look_up = moved_attributes("some.module", older)
    >>> with warnings.catch_warnings(record=True) as told:
    ...     warnings.simplefilter("always")
    ...     look_up("SPEED")
    343.0
    >>> str(told[0].message)
    'some.module.SPEED works until 2027-06-01; use SPEED_M_PER_S instead'
    """

    def look_up(name: str) -> object:
        if name not in moved:
            raise AttributeError(f"module {module!r} has no attribute {name!r}")
        _warn(moved[name].until.line(f"{module}.{name}"))
        return moved[name].value

    setattr(look_up, MARK, {name: one.until for name, one in moved.items()})
    return look_up


def until_of(thing: object) -> Until | None:
    """Until when a function or class works; None where nothing is said (a subclass does not inherit it)."""
    until = vars(thing).get(MARK) if hasattr(thing, "__dict__") else None
    return until if isinstance(until, Until) else None


def moved_names(look_up: object) -> Mapping[str, Until]:
    """The names that a module's `__getattr__` still gives, and until when; none for any other `__getattr__`."""
    names = getattr(look_up, MARK, {})
    return names if isinstance(names, Mapping) else {}


def _marked_class(thing: T, until: Until) -> T:
    made = getattr(thing, CONSTRUCTOR)

    @functools.wraps(made)
    def warned(self: object, *arguments: object, **options: object) -> None:
        _warn(until.line(thing.__name__))
        made(self, *arguments, **options)

    setattr(thing, CONSTRUCTOR, warned)
    setattr(thing, MARK, until)
    return thing


def _warn(line: str) -> None:
    warnings.warn(line, DeprecationWarning, stacklevel=3)
