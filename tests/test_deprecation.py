"""Names that will go: each use warns with the day and what to use instead, where it is used."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType

import pytest

from fairhearing.deprecation import Moved, Until, deprecated, moved_attributes, moved_names, until_of

DAY = "2027-06-01"


@deprecated(DAY, use="doubled")
def twice(number: int, *, times: int = 2) -> int:
    """A number of times the number."""
    return number * times


@deprecated(DAY, use="Bowl")
@dataclass(frozen=True, slots=True, kw_only=True)
class Cup:
    """What was drunk from."""

    depth_mm: float


class Mug(Cup):
    """A cup that stays."""


def warned_here(use: Callable[[], object], line: str) -> object:
    with pytest.warns(DeprecationWarning, match=re.escape(line)) as told:
        result = use()
    assert [str(one.message) for one in told] == [line]
    assert told[0].filename == __file__
    return result


def test_a_function_works_and_warns_where_it_is_called() -> None:
    assert warned_here(lambda: twice(3, times=4), f"twice works until {DAY}; use doubled instead") == 12
    assert (twice.__name__, twice.__doc__) == ("twice", "A number of times the number.")


def test_a_class_stays_a_class_and_warns_where_one_is_made() -> None:
    cup = warned_here(lambda: Cup(depth_mm=80.0), f"Cup works until {DAY}; use Bowl instead")
    assert isinstance(cup, Cup)
    assert cup.depth_mm == 80.0


def test_the_attribute_of_a_module_is_still_there_and_warns_where_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    module = ModuleType("made_up_tools")
    until = Until(date=DAY, use="SPEED_M_PER_S")
    module.__getattr__ = moved_attributes("made_up_tools", {"SPEED": Moved(value=343.0, until=until)})
    monkeypatch.setitem(sys.modules, "made_up_tools", module)
    line = f"made_up_tools.SPEED works until {DAY}; use SPEED_M_PER_S instead"
    assert warned_here(lambda: module.SPEED, line) == 343.0
    with pytest.raises(AttributeError, match="module 'made_up_tools' has no attribute 'SPED'"):
        _ = module.SPED
    assert moved_names(module.__getattr__) == {"SPEED": until}


def test_what_is_marked_can_be_asked_and_a_subclass_is_not_marked() -> None:
    assert until_of(twice) == Until(date=DAY, use="doubled")
    assert until_of(Cup) == Until(date=DAY, use="Bowl")
    for thing in (Mug, warned_here, 3, None):
        assert until_of(thing) is None
    assert moved_names(None) == {}


@pytest.mark.parametrize("date", ["2027-6-1", "June 2027", "2027-02-30", "20270601", "", "2027-06-01T00:00"])
def test_a_day_that_is_none_is_refused(date: str) -> None:
    with pytest.raises(ValueError, match=r"isoformat|day"):
        deprecated(date, use="doubled")


def test_that_nothing_is_named_instead_is_refused() -> None:
    with pytest.raises(ValueError, match="say what to use instead"):
        deprecated(DAY, use=" ")
