"""Checks of `fairhearing corner`: its numbers against the trade's rules, its warnings, its words, its refusals."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from typing import Any

import pytest
from references.helper import check, load

from fairhearing.cli import main

FIFTH = ["--design-corner-hz", "100", "--setting-kohm", "20", "--load-kohm", "100"]


def refuse_constant(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


def answer(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert main(["corner", *arguments, "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    found = json.loads(printed.out, parse_constant=refuse_constant)
    assert isinstance(found, dict)
    return found


def text(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["corner", *arguments]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    return printed.out


def test_a_setting_for_a_fifth_of_the_load_is_told_as_ratio_and_octaves(capsys: pytest.CaptureFixture[str]) -> None:
    corner, octaves = load("setting-a-fifth-of-the-load"), load("setting-a-fifth-of-the-load-octaves")
    found = answer(capsys, *FIFTH)
    check(found["corner_hz"], corner.expected["corner_hz"], corner)
    check(-found["corner_octaves"], octaves.expected["octaves"], octaves)
    assert found["corner_ratio"] == pytest.approx(1 / octaves.inputs["ratio"], rel=1e-9)
    assert "0.200 times, 2.32 octaves below" in text(capsys, *FIFTH)


def test_a_corner_above_the_meant_one_and_one_as_meant_are_told_too(capsys: pytest.CaptureFixture[str]) -> None:
    above = text(capsys, "--design-corner-hz", "80", "--setting-kohm", "47", "--load-kohm", "23.5")
    assert "2.000 times, 1.00 octaves above" in above
    as_meant = text(capsys, "--design-corner-hz", "80", "--setting-kohm", "47", "--load-kohm", "47")
    assert "1.000 times, 0.00 octaves\n" in as_meant


def test_the_boost_leaves_what_the_trade_knows(capsys: pytest.CaptureFixture[str]) -> None:
    reference = load("boost-for-100-hz-behind-20-hz")
    left = {entry["frequency_hz"]: entry for entry in answer(capsys, *FIFTH)["boost_remainder"]}
    assert list(left) == [50.0, 20.0, 10.0]
    left_in_db = [round(left[f]["filter_in_db"]) for f in reference.inputs["frequency_in_hz"]]
    left_out_db = [round(left[f]["filter_out_db"]) for f in reference.inputs["frequency_out_hz"]]
    assert left_in_db == reference.expected["left_in_whole_db"]
    assert left_out_db == reference.expected["left_out_whole_db"]
    printed = text(capsys, *FIFTH)
    for line in ("      50        6.3 dB        7.0 dB", "      20       11.1 dB       14.1 dB"):
        assert line in printed.splitlines()


def test_what_the_source_takes_from_the_passband_is_not_taken_from_the_boost(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Boost (s + w_b)/s times high-pass s/(s + w_c) is (s + w_b)/(s + w_c): worked with complex numbers."""
    found = answer(
        capsys, *("--design-corner-hz", "80", "--setting-kohm", "20", "--load-kohm", "20", "--source-ohm", "2000")
    )
    for entry in found["boost_remainder"]:
        s = 1j * entry["frequency_hz"]
        left_db = 20 * math.log10(abs((s + 80) / (s + 80 * 20 / 22)))
        assert entry["filter_in_db"] == pytest.approx(left_db, abs=1e-9)


def test_both_states_are_warned_of_where_both_leave_too_much(capsys: pytest.CaptureFixture[str]) -> None:
    warnings = answer(capsys, *FIFTH)["warnings"]
    assert [warning.split(" up to ")[0] for warning in warnings] == ["with the filter in", "with the filter out"]
    assert "13.1 dB" in warnings[0]
    assert "20.0 dB" in warnings[1]
    printed = text(capsys, *FIFTH)
    assert all(f"WARNING: {warning}" in printed for warning in warnings)
    assert all("turn the boost down before this state is played" in warning for warning in warnings)


def test_a_filter_as_set_is_warned_of_only_for_the_state_without_it(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "--design-corner-hz", "80", "--setting-kohm", "47", "--load-kohm", "47")
    assert [entry["filter_in_db"] for entry in found["boost_remainder"]] == pytest.approx([0.0] * 3, abs=1e-9)
    assert [warning.split(" up to ")[0] for warning in found["warnings"]] == ["with the filter out"]


def test_a_boost_of_less_than_three_decibels_is_not_warned_of(capsys: pytest.CaptureFixture[str]) -> None:
    """At 10 Hz the boost for f_c leaves 10 lg(1 + (f_c/10)^2): 3 dB just below 10 Hz."""
    quiet = answer(capsys, "--design-corner-hz", "9.9", "--setting-kohm", "47", "--load-kohm", "47")
    loud = answer(capsys, "--design-corner-hz", "10.1", "--setting-kohm", "47", "--load-kohm", "47")
    assert quiet["warnings"] == []
    assert len(loud["warnings"]) == 1
    assert "WARNING" not in text(capsys, "--design-corner-hz", "9.9", "--setting-kohm", "47", "--load-kohm", "47")


def test_cable_and_source_are_in_the_corner_and_in_the_passband(capsys: pytest.CaptureFixture[str]) -> None:
    reference = load("cable-on-100-kohm")
    capacitor = ["--design-corner-hz", "100", "--setting-kohm", "100"]
    found = answer(capsys, *capacitor, "--load-kohm", "100", "--source-ohm", "150", "--cable-pf", "300")
    check(found["corner_hz"], reference.expected["corner_hz"], reference)
    assert round(found["capacitance_nf"], 1) == reference.inputs["capacitance_nf_rounded"]
    bare = answer(capsys, *capacitor, "--load-kohm", "100", "--source-ohm", "150")
    check(bare["corner_hz"], reference.expected["corner_without_cable_hz"], reference)

    source = load("A09")
    nanofarad = str(source.inputs["capacitance_f"] * 1e9)
    found = answer(capsys, "--capacitance-nf", nanofarad, "--load-kohm", "20", "--source-ohm", "1000")
    check(found["corner_hz"], source.expected["corner_hz"], source)
    check(found["passband_db"], source.expected["passband_db"], source)
    assert "level in the passband   -0.42 dB" in text(
        capsys, "--capacitance-nf", nanofarad, "--load-kohm", "20", "--source-ohm", "1000"
    )


def test_the_tolerance_of_the_parts_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    reference = load("tolerance-of-100-hz")
    arguments = ("--design-corner-hz", "100", "--setting-kohm", "47", "--load-kohm", "47")
    found = answer(capsys, *arguments)
    check(found["corner_low_hz"], reference.expected["low_hz"], reference)
    check(found["corner_high_hz"], reference.expected["high_hz"], reference)
    assert "79.4 to 131.6 Hz with capacitor +-5%, input resistance +-20%" in text(capsys, *arguments)


def test_the_level_at_20_hz_meets_the_octave_table(capsys: pytest.CaptureFixture[str]) -> None:
    """20 Hz is a quarter of 80 Hz."""
    reference = load("A05")
    index = reference.inputs["frequency_over_corner"].index(0.25)
    found = answer(capsys, "--design-corner-hz", "80", "--setting-kohm", "47", "--load-kohm", "47")
    check(found["level_at_20_hz_db"], reference.expected["level_db"][index], reference)


def test_the_table_holds_every_setting_on_every_load(capsys: pytest.CaptureFixture[str]) -> None:
    """Without source and cable the corner is the meant one times setting over load."""
    found = answer(capsys, "--design-corner-hz", "90", "--setting-kohm", "15", "--load-kohm", "82")
    settings = [row["setting_kohm"] for row in found["table"]]
    assert settings == sorted(settings)
    assert 15.0 in settings
    assert 82.0 not in settings
    for row in found["table"]:
        loads = [cell["load_kohm"] for cell in row["loads"]]
        assert loads == sorted(loads)
        assert 82.0 in loads
        for cell in row["loads"]:
            expected_ratio = row["setting_kohm"] / cell["load_kohm"]
            assert cell["corner_ratio"] == pytest.approx(expected_ratio, rel=1e-9)
            assert cell["corner_hz"] == pytest.approx(90.0 * expected_ratio, rel=1e-9)
            assert 2 ** cell["corner_octaves"] == pytest.approx(expected_ratio, rel=1e-9)


def test_the_printed_tables_are_aligned_and_hold_the_json_s_numbers(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("--design-corner-hz", "90", "--setting-kohm", "15", "--load-kohm", "82", "--source-ohm", "200")
    found, printed = answer(capsys, *arguments), text(capsys, *arguments)
    for title, key, places in (
        ("Corner in Hz", "corner_hz", 1),
        ("Ratio to the meant corner", "corner_ratio", 3),
        ("Octaves above the meant corner", "corner_octaves", 2),
    ):
        block = next(part for part in printed.split("\n\n") if part.startswith(title))
        head, *rows = block.splitlines()[1:]
        assert len({len(line) for line in (head, *rows)}) == 1
        assert head.split()[2:] == [f"{cell['load_kohm']:g}" for cell in found["table"][0]["loads"]]
        for line, row in zip(rows, found["table"], strict=True):
            numbers = [float(part) for part in line.split()]
            assert numbers[0] == row["setting_kohm"]
            assert numbers[1:] == [round(cell[key], places) for cell in row["loads"]]


def test_a_capacitor_alone_is_compared_with_the_given_load(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "--capacitance-nf", "37.6", "--load-kohm", "47")
    assert [found[key] for key in ("design_corner_hz", "setting_kohm", "corner_ratio", "corner_octaves")] == [None] * 4
    assert found["boost_remainder"] == []
    assert found["compared_with_hz"] == found["corner_hz"]
    (row,) = found["table"]
    assert row["setting_kohm"] is None
    given = next(cell for cell in row["loads"] if cell["load_kohm"] == 47.0)
    assert (given["corner_ratio"], given["corner_octaves"]) == (1.0, 0.0)
    other = next(cell for cell in row["loads"] if cell["load_kohm"] == 10.0)
    assert other["corner_ratio"] == pytest.approx(4.7, rel=1e-9)
    printed = text(capsys, "--capacitance-nf", "37.6", "--load-kohm", "47")
    assert "meant" not in printed
    assert "WARNING" not in printed


def test_a_tap_moves_the_corner_as_the_trade_knows(capsys: pytest.CaptureFixture[str]) -> None:
    reference = load("tap-of-150-kohm")
    for load_ohm, expected in zip(reference.inputs["load_ohm"], reference.expected["corner_ratio"], strict=True):
        kohm = str(load_ohm / 1e3)
        set_for = ("--design-corner-hz", "100", "--setting-kohm", kohm, "--load-kohm", kohm)
        found = answer(capsys, *set_for, "--tap-kohm", str(reference.inputs["tap_ohm"] / 1e3))
        check(found["corner_ratio"], expected, reference)
        assert found["tap_kohm"] == [150.0]
        ahead = answer(capsys, *set_for, "--tap-before-kohm", "150", "--source-ohm", "150")
        bare = answer(capsys, *set_for, "--source-ohm", "150")
        hardly = load("tap-of-150-kohm-ahead")
        check(ahead["corner_hz"] / bare["corner_hz"], hardly.expected["corner_ratio"], hardly)


AS_MEANT = ("--design-corner-hz", "100", "--setting-kohm", "100", "--load-kohm", "100")


def test_the_measuring_input_is_told_apart_from_what_plays(capsys: pytest.CaptureFixture[str]) -> None:
    reference = load("measuring-input-of-10-kohm")
    found = answer(capsys, *AS_MEANT, "--measuring-input-kohm", "10")
    check(found["as_measured_corner_hz"] / found["corner_hz"], reference.expected["corner_ratio"], reference)
    assert found["corner_hz"] == pytest.approx(100.0, rel=1e-9)
    assert answer(capsys, *AS_MEANT)["as_measured_corner_hz"] is None
    printed = text(capsys, *AS_MEANT, "--measuring-input-kohm", "10")
    assert "corner as measured      1100.0 Hz with 10 kOhm on the line\n" in printed


def test_a_second_input_and_several_taps_stand_side_by_side(capsys: pytest.CaptureFixture[str]) -> None:
    """100 with 100 and 50 kOhm is 25 kOhm; with another 25 it is 12.5."""
    loads = ("--second-input-kohm", "100", "--tap-kohm", "50", "--tap-kohm", "25")
    assert answer(capsys, *AS_MEANT, *loads)["corner_hz"] == pytest.approx(800.0, rel=1e-9)
    printed = text(capsys, *AS_MEANT, *loads)
    assert "taps behind             50, 25 kOhm\n" in printed
    assert "second input            100 kOhm\n" in printed


def test_a_coupling_capacitor_in_a_row_with_the_other_raises_the_corner(capsys: pytest.CaptureFixture[str]) -> None:
    """Capacitors in series: 100 nF with 0.3 uF make 75 nF."""
    parts = ("--capacitance-nf", "100", "--load-kohm", "20", "--coupling-capacitor-uf", "0.3")
    expected_hz = 1 / (2 * math.pi * 75e-9 * 20e3)
    assert answer(capsys, *parts)["corner_hz"] == pytest.approx(expected_hz, rel=1e-9)
    assert "coupling capacitor      0.3 uF\n" in text(capsys, *parts)


def test_a_balanced_line_has_a_capacitor_in_each_leg(capsys: pytest.CaptureFixture[str]) -> None:
    parts = ("--capacitance-nf", "100", "--load-kohm", "20")
    one, legs = answer(capsys, *parts), answer(capsys, *parts, "--balanced")
    assert legs["corner_hz"] == pytest.approx(2 * one["corner_hz"], rel=1e-9)
    assert (legs["capacitance_nf"], legs["capacitance_per_leg_nf"]) == (50.0, 100.0)
    assert one["capacitance_per_leg_nf"] is None
    assert "series capacitor        50 nF, 100 nF in each leg\n" in text(capsys, *parts, "--balanced")


def test_other_tolerances_give_another_range(capsys: pytest.CaptureFixture[str]) -> None:
    said = ("--capacitor-tolerance-percent", "1", "--input-tolerance-percent", "0")
    found = answer(capsys, *AS_MEANT, *said)
    assert (found["corner_low_hz"], found["corner_high_hz"]) == pytest.approx((100 / 1.01, 100 / 0.99), rel=1e-9)
    assert (found["capacitance_tolerance"], found["input_resistance_tolerance"]) == (0.01, 0.0)
    assert "99.0 to 101.0 Hz with capacitor +-1%, input resistance +-0%\n" in text(capsys, *AS_MEANT, *said)


def test_the_cautions_are_said_in_both_forms(capsys: pytest.CaptureFixture[str]) -> None:
    cautions = " ".join(answer(capsys, *FIFTH)["cautions"])
    printed = " ".join(text(capsys, *FIFTH).split())
    for words in ("let the supplies discharge", "mains and stored charge", "licensed people", "local codes"):
        assert words in cautions
        assert words in printed


@pytest.mark.parametrize("size", ["1e-6", "1e9"])
def test_the_smallest_and_the_largest_values_give_finite_numbers(size: str, capsys: pytest.CaptureFixture[str]) -> None:
    parts = ("--load-kohm", size, "--source-ohm", size, "--cable-pf", size)
    assert answer(capsys, "--capacitance-nf", size, *parts)["corner_hz"] > 0.0
    assert answer(capsys, "--design-corner-hz", size, "--setting-kohm", size, *parts)["corner_hz"] > 0.0
    assert text(capsys, "--capacitance-nf", size, *parts)
    coupled = answer(capsys, "--capacitance-nf", size, *parts, "--coupling-capacitor-uf", "1")
    assert coupled["corner_high_hz"] >= coupled["corner_hz"] >= coupled["corner_low_hz"] > 0.0


BAD = [
    ("--load-kohm 47", "nothing says what the capacitor is"),
    ("--load-kohm 47 --capacitance-nf 10 --design-corner-hz 80 --setting-kohm 47", "--design-corner-hz both say"),
    ("--load-kohm 47 --capacitance-nf 10 --setting-kohm 47", "--capacitance-nf and --setting-kohm both say"),
    ("--load-kohm 47 --design-corner-hz 80", "--design-corner-hz stands without --setting-kohm"),
    ("--load-kohm 47 --setting-kohm 47", "--setting-kohm stands without --design-corner-hz"),
    ("--capacitance-nf 10", "Missing option '--load-kohm'"),
    ("--load-kohm 0 --capacitance-nf 10", "--load-kohm is '0'"),
    ("--load-kohm -47 --capacitance-nf 10", "--load-kohm is '-47'"),
    ("--load-kohm nan --capacitance-nf 10", "--load-kohm is 'nan'"),
    ("--load-kohm inf --capacitance-nf 10", "--load-kohm is 'inf'"),
    ("--load-kohm 1e300 --capacitance-nf 10", "--load-kohm is '1e300'"),
    ("--load-kohm 47k --capacitance-nf 10", "--load-kohm is '47k', which is not a number"),
    ("--load-kohm 47 --capacitance-nf 10,5", "--capacitance-nf is '10,5', which is not a number"),
    ("--load-kohm 47 --capacitance-nf 0", "--capacitance-nf is '0'"),
    ("--load-kohm 47 --design-corner-hz 0 --setting-kohm 47", "--design-corner-hz is '0'"),
    ("--load-kohm 47 --design-corner-hz 80 --setting-kohm nan", "--setting-kohm is 'nan'"),
    ("--load-kohm 47 --capacitance-nf 10 --source-ohm -1", "--source-ohm is '-1'"),
    ("--load-kohm 47 --capacitance-nf 10 --cable-pf nan", "--cable-pf is 'nan'"),
    ("--load-kohm 47 --capacitance-nf 10 --tap-kohm 150 --tap-kohm 0", "--tap-kohm is '0'"),
    ("--load-kohm 47 --capacitance-nf 10 --measuring-input-kohm x", "--measuring-input-kohm is 'x'"),
    ("--load-kohm 47 --capacitance-nf 10 --coupling-capacitor-uf -1", "--coupling-capacitor-uf is '-1'"),
    ("--load-kohm 47 --capacitance-nf 10 --capacitor-tolerance-percent 100", "--capacitor-tolerance-percent is '100'"),
]


@pytest.mark.parametrize(("line", "words"), BAD)
def test_a_bad_question_is_refused_in_three_lines(line: str, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["corner", *line.split(), "--json"]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    what, where, try_ = printed.err.splitlines()
    assert words in what
    assert where == "  where: the command line of 'fairhearing corner'"
    assert try_.startswith("  try:   ")


@pytest.mark.parametrize(("line", "words"), [BAD[0], BAD[6], BAD[8]])
def test_a_refusal_reaches_the_shell(line: str, words: str) -> None:
    command = [sys.executable, "-m", "fairhearing", "corner", *line.split()]
    finished = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (finished.returncode, finished.stdout) == (2, "")
    assert words in finished.stderr
    assert len(finished.stderr.splitlines()) == 3
