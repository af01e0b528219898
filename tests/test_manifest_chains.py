"""Checks of how chains and the states of the equipment are read: values, faults with their line, warnings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from references.helper import load
from session_text import HEAD, assert_told, line_of, loaded

from fairhearing.session import Chain, Equipment, Session

BASE = f"""{HEAD}[seats.A]
[conditions.out]
reference = true
[conditions.in]
"""
FIFTH = "[chain]\ndesign_corner_hz = 100\nsetting_kohm = 20\namplifier_input_kohm = 100\n"


def session_of(folder: Path, more: str) -> Session:
    found = loaded(folder, BASE + more)
    assert found.session is not None, found.problems
    return found.session


def chain_of(folder: Path, more: str, condition: str = "in") -> Chain:
    return next(one.chain for one in session_of(folder, more).conditions if one.id == condition)


def test_every_key_of_the_chain_is_read(tmp_path: Path) -> None:
    more = (
        "[chain]\ntap_kohm = 150\ntap_before_kohm = [100, 47.5]\nsecond_input_kohm = 22\nbalanced = true\n"
        "measuring_input_kohm = 10\ncoupling_capacitor_uf = 0.47\ncapacitor_tolerance_percent = 1\n"
        "input_tolerance_percent = 0\nsetting_left_kohm = 20\nsetting_right_kohm = 22\n"
    )
    assert chain_of(tmp_path, more) == Chain(
        tap_kohm=(150.0,),
        tap_before_kohm=(100.0, 47.5),
        second_input_kohm=22.0,
        balanced=True,
        measuring_input_kohm=10.0,
        coupling_capacitor_uf=0.47,
        capacitor_tolerance_percent=1.0,
        input_tolerance_percent=0.0,
        setting_left_kohm=20.0,
        setting_right_kohm=22.0,
    )
    at_reference = chain_of(tmp_path, more, "out")
    assert (at_reference.setting_left_kohm, at_reference.tap_kohm, at_reference.balanced) == (None, (150.0,), True)


def test_a_condition_can_take_the_taps_away(tmp_path: Path) -> None:
    assert chain_of(tmp_path, "[chain]\ntap_kohm = [150, 220]\n[conditions.in.chain]\ntap_kohm = []\n").tap_kohm == ()


def test_how_the_equipment_is_set_is_read(tmp_path: Path) -> None:
    more = (
        "[conditions.in.chain]\ndesign_corner_hz = 90\n"
        '[conditions.in.equipment]\nfilter = "in"\nboost = "off"\nboost_corner_hz = 100\nboost_db = 12\n'
        'subwoofer_level_db = -3\nsubwoofer_polarity = "inverted"\n'
    )
    out, in_ = session_of(tmp_path, more).conditions
    assert out.equipment == Equipment()
    assert in_.equipment == Equipment(
        filter="in",
        boost="off",
        boost_corner_hz=100.0,
        boost_db=12.0,
        subwoofer_level_db=-3.0,
        subwoofer_polarity="inverted",
    )


def test_a_condition_with_the_filter_out_does_not_take_the_filter_over(tmp_path: Path) -> None:
    more = FIFTH + 'bass_given_back = true\n[conditions.past.equipment]\nfilter = "out"\n'
    assert chain_of(tmp_path, more, "past") == Chain(amplifier_input_kohm=100.0)
    assert chain_of(tmp_path, more, "in").design_corner_hz == 100.0


# (more, on the line with, what, try)
FAULTS = [
    ("[chain]\ntap_khom = 1\n", "khom", "unknown key 'tap_khom' in [chain]", "did you mean 'tap_kohm'?"),
    ("[chain]\ntap_kohm = 0\n", "tap", "tap_kohm = 0 in [chain] is out of range", "write a number above 0"),
    ("[chain]\ntap_kohm = [150, -1]\n", "tap", "is no list of numbers above 0", "write tap_kohm = [100.0, 150.0]"),
    ('[chain]\ntap_kohm = [150, "a"]\n', "tap", "is no list of numbers above 0", "write tap_kohm ="),
    ('[chain]\ntap_kohm = "150"\n', "tap", "is text, not a number", "write it without quotes: tap_kohm = 150"),
    ("[chain]\nmeasuring_input_kohm = 0\n", "measuring", "is out of range", "above 0"),
    ("[chain]\nmeasuring_input_kom = 1\n", "measuring", "unknown key", "did you mean 'measuring_input_kohm'?"),
    ("[chain]\ncapacitor_tolerance_percent = 100\n", "tolerance", "is out of range", "at least 0 and below 100"),
    ("[chain]\nbalanced = 1\n", "balanced", "is a number, not true or false", "balanced = true"),
    (
        '[conditions.in.equipment]\nboots = "on"\n',
        "boots",
        "unknown key 'boots' in [conditions.in.equipment]",
        "did you mean 'boost'?",
    ),
    ('[conditions.in.equipment]\nboost = "onn"\n', "boost", "is not a known word", "did you mean 'on'?"),
    (
        '[conditions.in.equipment]\nsubwoofer_polarity = "inverse"\n',
        "polarity",
        "is not a known word",
        "did you mean 'inverted'?",
    ),
    ("[conditions.in.equipment]\nboost_db = -1\n", "boost_db", "is out of range", "at least 0"),
    (
        '[conditions.in.equipment]\nfilter = "in"\n',
        "filter",
        "filter = 'in' in [conditions.in.equipment] has no filter: the chain of this condition gives none",
        "write design_corner_hz or capacitance_nf below [conditions.in.chain]",
    ),
    (
        '[conditions.in.chain]\ncapacitance_nf = 1\n[conditions.in.equipment]\nfilter = "out"\n',
        "filter",
        "contradicts capacitance_nf in [conditions.in.chain] (line 11)",
        "leave one of the two out",
    ),
    (
        "[chain]\ncapacitance_nf = 80\nsetting_left_kohm = 20\n[conditions.high]\n",
        "left",
        "setting_left_kohm = 20 in [chain] stands beside capacitance_nf",
        "leave capacitance_nf out",
    ),
    (
        "[chain]\ncapacitance_nf = 80\n[conditions.in.chain]\nsetting_right_kohm = 20\n",
        "right",
        "setting_right_kohm = 20 in [conditions.in.chain] stands beside capacitance_nf",
        "leave capacitance_nf out",
    ),
]


@pytest.mark.parametrize(("more", "at", "what", "try_"), FAULTS, ids=lambda text: text[:50])
def test_a_fault_is_told_once_with_its_line(tmp_path: Path, more: str, at: str, what: str, try_: str) -> None:
    (problem,) = loaded(tmp_path, BASE + more).problems
    assert_told(problem, what, line_of(BASE + more, at), try_)


def test_more_than_one_change_is_a_warning_of_the_session(tmp_path: Path) -> None:
    more = (
        "[conditions.in.chain]\ndesign_corner_hz = 90\nsetting_kohm = 47\n"
        "[conditions.out.equipment]\nsubwoofer_level_db = 0\n[conditions.in.equipment]\nsubwoofer_level_db = -3\n"
        'filter = "in"\n'
    )
    things = "the filter, subwoofer_level_db"
    assert session_of(tmp_path, more).warnings == (
        f"2 things change between in and out: {things}: the result cannot tell them apart",
    )


def test_one_change_is_no_warning_and_a_trim_is_none(tmp_path: Path) -> None:
    more = "trim_db = 0.5\n[conditions.in.chain]\ndesign_corner_hz = 90\nsetting_kohm = 47\n"
    assert session_of(tmp_path, more).warnings == ()


@pytest.mark.parametrize(
    ("out", "in_", "changed"),
    [
        ("amplifier_input_kohm = 47", "amplifier_input_kohm = 22", ("amplifier_input_kohm",)),
        ("", "amplifier_input_kohm = 22\nloudspeaker_ohm = 8", ()),
        ("", "tap_kohm = 150\nsecond_input_kohm = 20", ("tap_kohm", "second_input_kohm")),
        ("balanced = false", "tap_kohm = []", ()),
        ("capacitance_nf = 80", "capacitance_nf = 100\nbalanced = true", ("the filter", "balanced")),
        ("", "design_corner_hz = 80\nsetting_kohm = 20\ninput_tolerance_percent = 5", ("the filter",)),
    ],
)
def test_what_counts_as_a_change(tmp_path: Path, out: str, in_: str, changed: tuple[str, ...]) -> None:
    session = session_of(tmp_path, f"[conditions.out.chain]\n{out}\n[conditions.in.chain]\n{in_}\n")
    assert session.treatments[0].changes_from(session.reference) == changed


def decibels(warning: str) -> list[float]:
    """The levels at 50, 20 and 10 Hz that a warning of a boost names."""
    return [float(level) for level in re.findall(r"(\S+) dB at ", warning)]


def test_a_boost_behind_a_filter_set_for_a_fifth_is_a_hazard(tmp_path: Path) -> None:
    reference = load("boost-for-100-hz-behind-20-hz")
    more = FIFTH + 'bass_given_back = false\n[conditions.in.equipment]\nboost = "on"\n'
    boosted = [line for line in session_of(tmp_path, more).warnings if "boost made" in line]
    (warning,) = boosted
    assert warning.startswith("condition in: the boost made for 100 Hz stands behind a corner of 20.0 Hz (0.200 times)")
    assert warning.endswith("a danger to the driver: turn the boost down before this state is played")
    assert [round(level) for level in decibels(warning)] == reference.expected["left_in_whole_db"]


def test_a_boost_left_on_with_the_filter_out_is_a_hazard(tmp_path: Path) -> None:
    reference = load("boost-for-100-hz-behind-20-hz")
    more = "[conditions.in.chain]\ndesign_corner_hz = 100\n" + '[conditions.out.equipment]\nboost = "on"\n'
    (warning,) = [line for line in session_of(tmp_path, more).warnings if "boost made" in line]
    assert warning.startswith("condition out: the boost made for 100 Hz plays with the filter out and leaves too")
    assert [round(level) for level in decibels(warning)][1:] == reference.expected["left_out_whole_db"]


def test_where_the_bass_is_given_back_a_boost_for_the_meant_corner_is_reckoned_with(tmp_path: Path) -> None:
    (warning,) = [line for line in session_of(tmp_path, FIFTH).warnings if "boost made" in line]
    assert "a boost made for 100 Hz, if one is on, stands behind a corner of 20.0 Hz" in warning
    assert "leaves too much by 6.3 dB at 50 Hz" in warning


@pytest.mark.parametrize(
    "more",
    [
        FIFTH + "bass_given_back = false\n",
        FIFTH + '[conditions.in.equipment]\nboost = "off"\nboost_db = 20\n',
        FIFTH + '[conditions.in.equipment]\nboost = "on"\nboost_db = 3\n',
        FIFTH.replace("amplifier_input_kohm = 100", "amplifier_input_kohm = 20"),
        FIFTH.replace("amplifier_input_kohm = 100\n", ""),
    ],
    ids=["nothing given back", "off", "a small one", "as set", "input not known"],
)
def test_a_boost_that_does_no_harm_is_not_warned_of(tmp_path: Path, more: str) -> None:
    assert [line for line in session_of(tmp_path, more).warnings if "boost made" in line] == []


def test_the_channel_that_fares_worst_is_named(tmp_path: Path) -> None:
    more = FIFTH.replace("amplifier_input_kohm = 100", "amplifier_input_kohm = 20") + "setting_right_kohm = 4\n"
    (warning,) = [line for line in session_of(tmp_path, more).warnings if "boost made" in line]
    assert "stands behind a corner right of 20.0 Hz" in warning
