"""Times as people write them, and which of two was first."""

from __future__ import annotations

import pytest

from fairhearing.protocol.times import is_before, moment


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("0:00", 0.0), ("9:05", 32_700.0), ("14:05:30", 50_730.0), ("14.05", 50_700.0), ("23:59:59", 86_399.0)],
)
def test_a_time_of_day_is_seconds_since_midnight(text: str, seconds: float) -> None:
    assert (moment(text).seconds, moment(text).dated) == (seconds, False)


@pytest.mark.parametrize(
    "text", ["2026-05-09T14:05:30", "2026-05-09 14:05:30", "2026-05-09T14:05:30+00:00", "2026-05-09T16:05:30+02:00"]
)
def test_iso_8601_is_read_with_its_zone(text: str) -> None:
    # 9 May 2026 is day 20582 since 1970: 56 years of 365 days, 14 leap days, 128 days of the year.
    assert moment(text).seconds == (56 * 365 + 14 + 128) * 86_400 + 50_730


@pytest.mark.parametrize("text", ["", "soon", "24:00", "12:60", "2026-05-09", "2026-13-09T14:05", "14:05 and more"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"time|month"):
        moment(text)


@pytest.mark.parametrize(
    ("one", "other", "before"),
    [
        ("14:05", "14:06", True), ("14:06", "14:05", False), ("14:05", "14:05", False),
        ("14:05", "14:05:59", False),  # it may have been in the last second of that minute
        ("14:05:58", "14:05:59", True), ("14:05:59", "14:05:59", False),
        ("23:59:59", "0:00:01", True), ("0:01", "23:58", False),  # on either side of midnight
        ("2026-05-09T14:05", "2026-05-09T14:06", True), ("2026-05-10T00:01", "2026-05-09T23:59", False),
        ("14:05", "2026-05-09T14:06", None), ("2026-05-09T14:05", "2026-05-09T14:06+02:00", None),
    ],
)  # fmt: skip
def test_before_is_said_only_where_it_is_sure(one: str, other: str, before: bool | None) -> None:
    assert is_before(moment(one), moment(other)) is before
