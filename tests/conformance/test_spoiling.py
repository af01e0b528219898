"""Files written otherwise or spoiled: what is changed, and that nothing else is."""

from __future__ import annotations

import pytest

from fairhearing.conformance.spoiling import (
    decimal_of,
    hostile,
    other_decimals,
    other_line_ends,
    other_mark,
    spoiled_rows,
    text_of,
)

MARK = b"\xef\xbb\xbf"
TABLE = b"Hz,dB\n20.5,85.1\n25,84\n31.5,-83e0\n"


def test_line_ends_and_marks_turn_into_the_other_and_back() -> None:
    assert other_line_ends(b"a\nb\n") == b"a\r\nb\r\n"
    assert other_line_ends(b"a\r\nb\r\n") == b"a\nb\n"
    assert other_line_ends(MARK + b"a\n") == MARK + b"a\r\n"
    assert other_mark(b"a\n") == MARK + b"a\n"
    assert other_mark(MARK + b"a\n") == b"a\n"


@pytest.mark.parametrize(
    ("data", "other"),
    [
        (b"20.5;85.1", b"20,5;85,1"),
        (b"20,5;85,1", b"20.5;85.1"),
        (b"-0.5\t1.25", b"-0,5\t1,25"),
        (b'{"hertz": 20.5}', b'{"hertz": 20,5}'),
        (b"20.5,85.1", b"20,5,85,1"),
        (b"f=20.5e3 Hz, version 1.2.3", b"f=20,5e3 Hz, version 1.2.3"),
        (b"1,2,in", None),
        (b"made on 2026-05-09", None),
    ],
)
def test_decimals_are_written_with_the_other_separator(data: bytes, other: bytes | None) -> None:
    assert other_decimals(data) == other


def test_the_decimal_separator_is_told_from_the_delimiter() -> None:
    assert [decimal_of(text) for text in ("1.5,2", "1,5;2", "1,5\t2", "1,5", "1;2")] == [".", ",", ",", None, None]


@pytest.mark.parametrize("data", [b"", b"\0\1", b"\xff\xfe2\0", b"  \n"])
def test_what_is_no_text_is_not_changed(data: bytes) -> None:
    assert text_of(data) is None
    assert (other_line_ends(data), other_mark(data), other_decimals(data)) == (None, None, None)
    assert list(spoiled_rows(data, last_only=False)) == []


def test_each_number_of_a_middle_row_is_spoiled_in_turn_with_its_line() -> None:
    spoilt = list(spoiled_rows(TABLE, last_only=False))
    assert {one.line for one in spoilt} == {3}
    assert [one.data.split(b"\n")[2] for one in spoilt] == [
        b"spoiled,84", b'"spoiled",84', b"25,spoiled", b'25,"spoiled"',
    ]  # fmt: skip
    assert all(one.data.split(b"\n")[:2] == TABLE.split(b"\n")[:2] for one in spoilt)
    assert [one.data.split(b"\n")[2] for one in spoiled_rows(TABLE, last_only=True)] == [
        b"25,spoiled", b'25,"spoiled"',
    ]  # fmt: skip


def test_a_number_with_a_decimal_comma_or_an_exponent_is_spoiled_whole() -> None:
    assert b"\nspoiled;2\n" in next(spoiled_rows(b"1,5;2\n1,5e-3;2\n1,5;2\n", last_only=False)).data
    assert next(spoiled_rows(MARK + b"1\n2\n", last_only=False)).data == MARK + b"1\nspoiled\n"


def test_hostile_files_are_each_another_and_hold_what_they_say() -> None:
    found = {one.what: one.data for one in hostile(TABLE)}
    assert len(set(found.values())) == len(found)
    assert found["an empty file"] == b""
    cut = [data for what, data in found.items() if what.startswith("the sample cut after")]
    assert len(cut) >= 20
    assert all(TABLE.startswith(data) and data != TABLE for data in cut)
    assert max(map(len, found.values())) >= 300_000
    assert found["the sample in utf-16"].decode("utf-16") == TABLE.decode()
