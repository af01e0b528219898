"""The version of the plug-in interface: how it is written, and which needs it meets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing.api import API_VERSION
from fairhearing.api_version import is_later, unmet_need, version_parts

NUMBERS = st.integers(min_value=0, max_value=9999)


@given(NUMBERS, NUMBERS, NUMBERS, NUMBERS)
def test_the_same_major_and_no_later_minor_is_met(major: int, minor: int, ours: int, our_minor: int) -> None:
    needed, offered = f"{major}.{minor}", f"{ours}.{our_minor}"
    met = major == ours and minor <= our_minor
    assert unmet_need(needed, offered) == (
        None if met else f"needs plug-in interface {needed}; this fairhearing offers {offered}"
    )
    assert is_later(needed, offered) == (major > ours or (major == ours and minor > our_minor))


def test_what_is_offered_meets_itself() -> None:
    assert unmet_need(API_VERSION) is None


def test_parts_are_numbers_not_text() -> None:
    assert unmet_need("1.9", offered="1.10") is None
    assert unmet_need("1.10", offered="1.9") is not None


@pytest.mark.parametrize(
    "version",
    ["1", "1.", ".1", "1.0.0", "v1.0", "1.0 ", "1.0\n", "01.0", "1.٣", "", "1,0", 1.0, 1, (1, 0), None, b"1.0"],
)
def test_what_is_written_otherwise_is_refused_with_the_value_seen(version: object) -> None:
    with pytest.raises(ValueError, match="is no version of the plug-in interface") as told:
        version_parts(version)
    assert str(told.value).startswith(repr(version))
