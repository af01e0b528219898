"""A file read by the pattern of another gives what it gives by itself, or is left to the careful way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fairhearing.api import MeasurementFile, Reading, ResponseCurve, SourceFile
from fairhearing_builtins.importers import response_table
from fairhearing_builtins.importers.response_table import ResponseTable
from fairhearing_builtins.importers.table_siblings import PlainTable

HEADER = "Frequency (Hz),Level (dB),Phase (deg)"
ROWS = "20,-3.25,90\n31.5,71.5,-45.5\n70.1,80.125,0\n1e3,85,179.5\n12500.25,6.075E+1,-170.25\n"
FIRST = f"{HEADER}\n{ROWS}"
NUMBERS = st.one_of(
    st.floats(-200.0, 200.0),
    st.integers(-200, 200),
    st.floats(allow_nan=False, allow_infinity=False).filter(lambda x: abs(x) < 1e300),
)


def source(text: str | bytes, name: str) -> SourceFile:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    return SourceFile(item=MeasurementFile(path=name, line=1, entry=0), path=name, data=data, size=len(data))


def second_of_two(first: str, second: str | bytes) -> Reading:
    return list(ResponseTable().read([source(first, "first.csv"), source(second, "second.csv")], None))[1]


def by_itself(first: str, second: str | bytes, monkeypatch: pytest.MonkeyPatch) -> Reading:
    """As `second_of_two`, all the careful way."""
    with monkeypatch.context() as patch:
        patch.setattr(response_table, "read_plain", lambda *_: None)
        return second_of_two(first, second)


def same(one: Reading, other: Reading) -> bool:
    if isinstance(one.content, ResponseCurve) and isinstance(other.content, ResponseCurve):
        arrays = zip(_arrays(one.content), _arrays(other.content), strict=True)
        equal = all(a.tobytes() == b.tobytes() and not a.flags.writeable for a, b in arrays)
        return equal and one.caveats == other.caveats
    return one.content is None and other.content is None and str(one.problem) == str(other.problem)


def _arrays(curve: ResponseCurve) -> list[np.ndarray]:
    return [a for a in (curve.frequency_hz, curve.level_db, curve.phase_deg) if a is not None]


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether each file that met a pattern went the quick way."""
    went: list[bool] = []
    read_plain = response_table.read_plain

    def watched(data: bytes, pattern: response_table.Pattern) -> PlainTable | None:
        table = read_plain(data, pattern)
        went.append(table is not None)
        return table

    monkeypatch.setattr(response_table, "read_plain", watched)
    return went


LIKE: dict[str, tuple[str, str]] = {
    "comma": (FIRST, FIRST.replace("85,", "84.5,")),
    "semicolon": (FIRST.replace(",", ";"), FIRST.replace(",", ";").replace("85;", "84.5;")),
    "tab": (FIRST.replace(",", "\t"), FIRST.replace(",", "\t").replace("85\t", "84.5\t")),
    "CRLF": (FIRST.replace("\n", "\r\n"), FIRST.replace("85,", "84.5,").replace("\n", "\r\n")),
    "comments above": ("# made up\n\n" + FIRST, "# made up\n\n" + FIRST.replace("85,", "84.5,")),
    "fewer rows": (FIRST, FIRST.replace("12500.25,6.075E+1,-170.25\n", "")),
    "columns in another order": (
        "Phase (deg),Hz,dB\n90,20,1\n91,21,2\n92,22,3\n93,23,4\n",
        "Phase (deg),Hz,dB\n90,20,1\n91,21,2\n92,22,3\n93,23,-4\n",
    ),
    "a column that is not read": (
        "Hz,dB,coherence\n20,1,0.5\n21,2,0.5\n22,3,0.5\n23,4,0.5\n",
        "Hz,dB,coherence\n20,1,0.5\n21,2,0.5\n22,3,0.5\n23,5,0.5\n",
    ),
    "zeros, with a sign where they have a point": (FIRST, FIRST.replace("85,", "-0.0,").replace("-45.5", "0")),
    "no phase": ("Hz,dB\n20,1\n21,2\n22,3\n23,4\n", "Hz,dB\n20,1\n21,2\n22,3\n23,5\n"),
}


@pytest.mark.parametrize("name", LIKE)
def test_a_plain_file_like_one_before_it_goes_the_quick_way_to_the_same_curve(
    name: str, quick: list[bool], monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = LIKE[name]
    reading = second_of_two(first, second)
    assert quick == [True]
    assert isinstance(reading.content, ResponseCurve)
    assert same(reading, by_itself(first, second, monkeypatch))


UNLIKE: dict[str, str | bytes] = {
    "another header": FIRST.replace("Level", "level"),
    "no line end": FIRST.removesuffix("\n"),
    "a comment behind": FIRST + "# the end\n",
    "a comment between": FIRST.replace("70.1", "# made up\n70.1"),
    "a blank line": FIRST.replace("70.1", "\n70.1"),
    "a blank behind a comma": FIRST.replace("70.1,", "70.1, "),
    "a field too many in one row and too few in the next": FIRST.replace("90\n31.5,", "90,31.5\n"),
    "a field too many": FIRST.replace("85,", "85,1,"),
    "an empty field": FIRST.replace("85,", ","),
    "not a number": FIRST.replace("85,", "nan,"),
    "NaN": FIRST.replace("85,", "NaN,"),
    "infinity": FIRST.replace("85,", "-Infinity,"),
    "too large": FIRST.replace("85,", "1e999,"),
    "far too many digits": FIRST.replace("85,", "9" * 400 + ","),
    "a plus": FIRST.replace("85,", "+85,"),
    "no digit before the point": FIRST.replace("85,", ".85,"),
    "no digit behind the point": FIRST.replace("85,", "85.,"),
    "a zero with a sign, which no integer has": FIRST.replace("85,", "-0,"),
    "a zero with a sign at the end": FIRST.replace("-170.25", "-0"),
    "a zero before": FIRST.replace("85,", "085,"),
    "hexadecimal": FIRST.replace("85,", "0x85,"),
    "an underscore": FIRST.replace("85,", "8_5,"),
    "a list": FIRST.replace("85,", "[85],"),
    "text": FIRST.replace("85,", '"85",'),
    "true": FIRST.replace("85,", "true,"),
    "null": FIRST.replace("85,", "null,"),
    "a row at 0 Hz": FIRST.replace("\n20,", "\n0,"),
    "a frequency twice": FIRST.replace("31.5", "20"),
    "falling frequencies": FIRST.replace("31.5", "19"),
    "three rows": "\n".join(FIRST.split("\n")[:4]) + "\n",
    "no rows": HEADER + "\n",
    "a semicolon": FIRST.replace("85,", "85;"),
    "decimal commas": FIRST.replace("-3.25", "-3,25"),
    "a carriage return inside": FIRST.replace("85,", "85\r,"),
    "a zero byte": FIRST.replace("85,", "85\0,"),
    "a no-break space": FIRST.replace("85,", "85\u00a0,"),
    "an odd byte": FIRST.encode().replace(b"85,", b"85\xff,"),
    "two line ends": FIRST + "\n",
}


@pytest.mark.parametrize("name", UNLIKE)
def test_anything_unusual_goes_the_careful_way(name: str, quick: list[bool], monkeypatch: pytest.MonkeyPatch) -> None:
    reading = second_of_two(FIRST, UNLIKE[name])
    assert quick == [False]
    assert same(reading, by_itself(FIRST, UNLIKE[name], monkeypatch))


NO_PATTERN = {
    "no header": ROWS,
    "a commented header": "# " + FIRST,
    "blanks": FIRST.replace(",", " ").replace("Frequency (Hz) Level (dB) Phase (deg)", "Hz dB deg"),
    "decimal comma": FIRST.replace(",", ";").replace(".", ","),
    "kilohertz": FIRST.replace("(Hz)", "(kHz)"),
    "radian": FIRST.replace("(deg)", "(rad)"),
    "real and imaginary": FIRST.replace(HEADER, "Hz,re,im"),
    "a row at 0 Hz": FIRST.replace("\n20,", "\n0,"),
    "a delimiter at the end of each line": FIRST.replace("\n", ",\n"),
    "UTF-8 in the header": FIRST.replace("Phase (deg)", "Phase (°)"),
}


@pytest.mark.parametrize("name", NO_PATTERN)
def test_a_file_that_could_be_read_otherwise_or_must_be_converted_sets_no_pattern(name: str, quick: list[bool]) -> None:
    reading = second_of_two(NO_PATTERN[name], NO_PATTERN[name])
    assert isinstance(reading.content, ResponseCurve)
    assert quick == []


def test_files_with_other_options_do_not_share_a_pattern(quick: list[bool]) -> None:
    from fairhearing.api import ReadOptions

    item = MeasurementFile(path="b.csv", line=1, entry=1, options=ReadOptions(delimiter=","))
    other = SourceFile(item=item, path="b.csv", data=FIRST.encode(), size=len(FIRST))
    list(ResponseTable().read([source(FIRST, "a.csv"), other], None))
    assert quick == []


def test_plain_files_with_the_same_frequencies_share_one_array_of_them() -> None:
    files = [FIRST, FIRST.replace("85,", "84,"), FIRST.replace("-45.5", "45"), FIRST.replace("31.5", "31"), FIRST]
    readings = list(ResponseTable().read([source(text, f"{n}.csv") for n, text in enumerate(files)], None))
    _, second, third, other, last = [reading.content.frequency_hz for reading in readings]
    assert second is third is last
    assert not second.flags.writeable
    np.testing.assert_array_equal(second, [20, 31.5, 70.1, 1e3, 12500.25])
    np.testing.assert_array_equal(other, [20, 31, 70.1, 1e3, 12500.25])


DECIMALS = st.decimals(allow_nan=False, allow_infinity=False, min_value="-1e30", max_value="1e30").map(str)


@given(
    st.one_of(
        DECIMALS,
        st.floats(allow_nan=False, allow_infinity=False).map(lambda x: f"{x:.25e}"),
        st.floats(5e-324, 2.3e-308).map(repr),
        st.tuples(st.integers(-(10**40), 10**40), st.integers(-345, 250)).map(lambda x: f"{x[0]}e{x[1]}"),
    )
)
@example("-0")
@example("2.4703282292062328e-324")
@example("9007199254740993")
@example("0.500000000000000166533453693773481063544750213623046875")
def test_a_number_in_any_form_is_the_nearest_float(text: str) -> None:
    reading = second_of_two(FIRST, FIRST.replace("85,", f"{text},"))
    if not np.isfinite(float(text)):
        assert reading.problem is not None
        return
    assert isinstance(reading.content, ResponseCurve)
    assert reading.content.level_db[3].tobytes() == np.float64(text).tobytes()


@given(st.lists(st.tuples(st.integers(1, 10**9), NUMBERS, NUMBERS), min_size=4, max_size=12, unique_by=lambda r: r[0]))
def test_the_numbers_are_the_same_to_the_last_bit(rows: Sequence[tuple[int, float, float]]) -> None:
    lines = [f"{frequency / 1000},{level!r},{phase!r}" for frequency, level, phase in sorted(rows)]
    reading = second_of_two(FIRST, "\n".join([HEADER, *lines]) + "\n")
    assert isinstance(reading.content, ResponseCurve)
    expected = np.array([[float(field) for field in line.split(",")] for line in lines])
    for column, array in enumerate(_arrays(reading.content)):
        np.testing.assert_array_equal(array, expected[:, column])


@given(place=st.integers(0, len(FIRST) - 1), byte=st.sampled_from(b' ,;\t\r\n.-+eE019\0#"x\xff'), insert=st.booleans())
def test_one_changed_byte_is_read_or_refused_as_by_itself(place: int, byte: int, insert: bool) -> None:
    data = bytearray(FIRST.encode())
    data[place : place if insert else place + 1] = bytes([byte])
    with pytest.MonkeyPatch.context() as monkeypatch:
        assert same(second_of_two(FIRST, bytes(data)), by_itself(FIRST, bytes(data), monkeypatch))
