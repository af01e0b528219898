"""Names read by patterns: every way in which they can be, and what a pattern may not say."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.manifest.patterns import (
    Pattern,
    TooManyReadings,
    parse_pattern,
    path_faults,
    read_name,
)

ALLOWED = ("seat", "condition", "repeat", "channel", "programme", "playing")
KNOWN = {"seat": ("A", "A_b", "sofa"), "condition": ("in", "b_in", "out"), "playing": ("main", "sub", "both")}


def pattern_of(text: str) -> Pattern:
    pattern = parse_pattern(text, ALLOWED)
    assert isinstance(pattern, Pattern), pattern
    return pattern


def known_readings(text: str, name: str) -> list[dict[str, str]]:
    return [dict(reading) for reading in read_name(pattern_of(text), name, KNOWN).known]


@pytest.mark.parametrize(
    ("text", "name", "expected"),
    [
        ("{seat}_{condition}_{repeat}.csv", "sofa_in_1.csv", {"seat": "sofa", "condition": "in", "repeat": "1"}),
        ("{seat}_{condition}_{repeat}.csv", "A_b_out_x-2.csv", {"seat": "A_b", "condition": "out", "repeat": "x-2"}),
        ("{seat}/{condition}/{repeat}.csv", "A/b_in/1.csv", {"seat": "A", "condition": "b_in", "repeat": "1"}),
        ("{seat}-{repeat}.csv", "A-b-1.csv", {"seat": "A", "repeat": "b-1"}),
        ("{seat}{repeat}.csv", "sofa12.csv", {"seat": "sofa", "repeat": "12"}),
        ("{seat}/{seat}_{repeat}.csv", "A/A_1.csv", {"seat": "A", "repeat": "1"}),
        ("{playing}_{programme}.wav", "both_Präludium.wav", {"playing": "both", "programme": "Präludium"}),
        ("./x/fixed.csv", "x/fixed.csv", {}),
    ],
)
def test_a_name_that_fits_in_one_way_is_read(text: str, name: str, expected: dict[str, str]) -> None:
    assert known_readings(text, name) == [expected]


def test_a_letter_written_as_two_characters_is_the_same_letter() -> None:
    readings = read_name(pattern_of("{seat}.csv"), "Ku\u0308che.csv", {"seat": ["K\u00fcche"]})
    assert readings.known == ((("seat", "K\u00fcche"),),)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("{seat}_{repeat}.csv", "A_1.txt"),
        ("{seat}_{repeat}.csv", "A_.csv"),
        ("{seat}_{repeat}.csv", "A_1 copy.csv"),
        ("{seat}_{repeat}.csv", "sub/A_1.csv"),
        ("{programme}.csv", "one_two.csv"),
        ("{programme}.csv", "one/two.csv"),
        ("{seat}/{seat}_{repeat}.csv", "A/sofa_1.csv"),
        ("a.csv", "aXcsv"),
    ],
)
def test_a_name_that_does_not_fit_has_no_reading(text: str, name: str) -> None:
    readings = read_name(pattern_of(text), name, KNOWN)
    assert (readings.known, readings.unknown) == ((), ())


def test_two_readings_are_both_given() -> None:
    assert known_readings("{seat}_{condition}_{repeat}.csv", "A_b_in_1.csv") == [
        {"seat": "A", "condition": "b_in", "repeat": "1"},
        {"seat": "A_b", "condition": "in", "repeat": "1"},
    ]


def test_a_reading_with_an_unknown_value_is_set_apart() -> None:
    readings = read_name(pattern_of("{seat}_{condition}.csv"), "B_in.csv", KNOWN)
    assert readings.known == ()
    assert readings.unknown == ((("seat", "B"), ("condition", "in")),)


def test_the_search_gives_up_in_bounded_time() -> None:
    with pytest.raises(TooManyReadings):
        read_name(pattern_of("{seat}{condition}{channel}{programme}{playing}.csv"), "a" * 200 + ".csv", KNOWN)


word = st.text("ab1-", min_size=1, max_size=4)
identifier = st.text("ab1-_", min_size=1, max_size=5)
ids = st.lists(identifier, min_size=1, max_size=4, unique=True)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(
    st.data(), ids, ids, word, st.permutations(["seat", "condition", "repeat"]), st.sampled_from(["_", "/", "-", "."])
)
def test_a_name_made_from_ids_is_read_back(
    data: st.DataObject, seats: list[str], conditions: list[str], repeat: str, order: list[str], separator: str
) -> None:
    made = {
        "seat": data.draw(st.sampled_from(seats)),
        "condition": data.draw(st.sampled_from(conditions)),
        "repeat": repeat,
    }
    text = separator.join(f"{{{name}}}" for name in order) + ".csv"
    name = separator.join(made[part] for part in order) + ".csv"
    readings = read_name(pattern_of(text), name, {"seat": seats, "condition": conditions}).known
    if len(readings) < 2:  # two known readings end the search, whichever they are
        assert [dict(reading) for reading in readings] == [made]
    if separator in "/.":
        assert len(readings) == 1


@settings(derandomize=True, deadline=None, max_examples=100)
@given(ids, ids, st.text("ab1-_", min_size=3, max_size=12))
def test_the_readings_are_those_that_trying_every_cut_gives(seats: list[str], conditions: list[str], stem: str) -> None:
    cuts = [position for position, character in enumerate(stem) if character == "_"]
    parts = [
        (stem[:first], stem[first + 1 : second], stem[second + 1 :])
        for first, second in itertools.combinations(cuts, 2)
    ]
    expected = {
        (("seat", seat), ("condition", condition), ("repeat", repeat))
        for seat, condition, repeat in parts
        if seat in seats and condition in conditions and re.fullmatch("[ab1-]+", repeat)
    }
    readings = read_name(
        pattern_of("{seat}_{condition}_{repeat}"), stem, {"seat": seats, "condition": conditions}
    ).known
    assert set(readings) <= expected
    assert len(readings) == min(len(expected), 2)


@pytest.mark.parametrize(
    ("text", "what", "try_"),
    [
        ("../a.csv", "'../a.csv' leaves the session folder (..)", "copy the file into the session folder"),
        ("x/../a.csv", "'x/../a.csv' leaves the session folder (..)", "copy the file into the session folder"),
        ("/a.csv", "'/a.csv' is not relative to session.toml", "folder/name.csv"),
        ("C:/a.csv", "'C:/a.csv' is not relative to session.toml", "folder/name.csv"),
        ("~/a.csv", "'~/a.csv' is not relative to session.toml", "folder/name.csv"),
        ("x\\a.csv", "'x\\\\a.csv' has a backslash", "write / between folders: 'x/a.csv'"),
        ("x//a.csv", "'x//a.csv' has an empty folder name", "write one /"),
        ("x/", "'x/' has an empty folder name", "write one /"),
        ("a\0.csv", "'a\\x00.csv' is no name of a file", "name a file"),
        (" ", "' ' names no file", "name a file"),
    ],
)
def test_a_path_that_cannot_be_says_why(text: str, what: str, try_: str) -> None:
    [fault] = path_faults(text)
    assert fault.what == what
    assert try_ in fault.try_


@pytest.mark.parametrize(
    ("text", "what", "try_"),
    [
        ("{seet}.csv", "'{seet}.csv' has an unknown placeholder {seet}", "did you mean 'seat'?"),
        ("{}.csv", "'{}.csv' has an unknown placeholder {}", "known: channel, condition"),
        ("{seat.csv", "'{seat.csv' has a brace without its partner", "write {name}"),
        ("{{seat}}.csv", "'{{seat}}.csv' has a brace without its partner", "write {name}"),
        ("*.csv", "'*.csv' has a wildcard (*)", "write a placeholder for what differs: {channel}"),
        ("a?.csv", "'a?.csv' has a wildcard (?)", "write a placeholder"),
        ("a[1].csv", "'a[1].csv' has a wildcard ([ ])", "write a placeholder"),
        (".x/{seat}.csv", "'.x/{seat}.csv' names a hidden file or folder", "does not begin with ."),
    ],
)
def test_a_pattern_that_cannot_be_says_why(text: str, what: str, try_: str) -> None:
    faults = parse_pattern(text, ALLOWED)
    assert not isinstance(faults, Pattern)
    [fault] = faults
    assert fault.what == what
    assert try_ in fault.try_


def test_every_fault_of_a_pattern_is_told() -> None:
    faults = parse_pattern("../{seet}*.csv", ALLOWED)
    assert not isinstance(faults, Pattern)
    assert len(faults) == 3
