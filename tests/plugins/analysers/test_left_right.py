"""Checks of the channels' difference on levels chosen by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings
from references.helper import check, load
from scipy import stats

from fairhearing.api import Analyser, Result
from fairhearing_builtins.analysers.left_right import LeftRight, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import assert_symmetry, inputs_of, known_symmetries, worlds

FREQUENCY = grid(per_octave=12)


def sided(
    levels: dict[str, dict[str, dict[str, list[float]]]], *, weights=None, point="seat", in_place=False
) -> Folder:
    """Levels below and above 230 Hz alike: condition, seat, channel, one entry per repeat."""
    first = next(iter(levels.values()))
    folder = Folder(
        id="made-up", seats=weights or dict.fromkeys(first, 1.0), conditions={name: {} for name in levels},
        chain={"bass_given_back": False},
    )  # fmt: skip
    folder.add_silence()
    for condition, by_seat in levels.items():
        for seat, by_channel in by_seat.items():
            for channel, repeats in by_channel.items():
                for k, level in enumerate(repeats):
                    where = None if point != "seat" else seat
                    folder.add(
                        condition, where, k + 1, FREQUENCY, level, channel=channel, point=point, in_place=in_place
                    )
    return folder


def findings_of(folder: Folder):
    return LeftRight().analyse(inputs_of(folder)).findings


def curve_of(result: Result, condition: str) -> dict[float, float | None]:
    """Left minus right by nominal frequency, from the table."""
    columns = result.tables[0].columns
    rows = zip(columns["frequency_hz"], columns["condition"], columns["difference_db"], strict=True)
    return {f: value for f, name, value in rows if name == condition}


PLAIN = {
    "out": {
        "A": {"left": [70.2, 70.3, 70.1], "right": [70.0, 70.1, 69.9]},
        "B": {"left": [71.0, 71.1, 70.9], "right": [72.0, 72.2, 71.8]},
    },
    "in": {
        "A": {"left": [71.2, 71.3, 71.1], "right": [70.0, 70.1, 69.9]},
        "B": {"left": [70.0, 70.1, 69.9], "right": [71.0, 71.1, 70.9]},
    },
}
POOLED = [cell for by_seat in PLAIN.values() for sides in by_seat.values() for cell in sides.values()]


@pytest.mark.parametrize("symmetry", known_symmetries(LeftRight), ids=lambda s: s.kind)
@settings(max_examples=4, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(LeftRight(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    found = findings_of(sided(PLAIN))
    assert len(set(keys(found))) == len(found)


@pytest.mark.parametrize("variant", [None, "bass"])
def test_left_minus_right_and_its_change_at_each_seat_and_over_seats(variant):
    found = findings_of(sided(PLAIN, weights={"A": 1.0, "B": 3.0}))
    wanted = {"out": {"A": 0.2, "B": -1.0}, "in": {"A": 1.2, "B": -1.0}}
    for name, by_seat in wanted.items():
        over = (by_seat["A"] + 3 * by_seat["B"]) / 4
        for seat, value in {**by_seat, None: over}.items():
            said = {"condition": name, "seat": seat, "variant": variant}
            stated = only(found, "channel_difference", **said)
            assert stated.value == pytest.approx(value, abs=4e-3)
            assert (stated.reference, stated.verdict) == (None, None)
    for seat, value, verdict in (("A", 1.0, "shifted"), ("B", 0.0, "kept"), (None, 0.25, "kept")):
        stated = only(found, "channel_difference_change", seat=seat, variant=variant)
        assert (stated.value, stated.verdict) == (pytest.approx(value, abs=4e-3), verdict)


def test_the_interval_pools_all_seats_sides_and_conditions():
    found = findings_of(sided(PLAIN))
    two = {name: {"A": by_seat["A"]} for name, by_seat in PLAIN.items()}
    stated = only(found, "channel_difference_change", seat="A", variant=None)
    error = np.sqrt(np.mean([np.var(cell, ddof=1) for cell in POOLED]) * 4 / 3)
    assert stated.high - stated.value == pytest.approx(stats.t.ppf(0.975, 16) * error, rel=1e-3)
    alone = only(findings_of(sided(two)), "channel_difference", condition="out", seat="A", variant=None)
    half = stats.t.ppf(0.975, 4) * 0.1 * np.sqrt(2 / 3)
    assert alone.high - alone.value == pytest.approx(half, rel=1e-3)


def test_repeats_in_place_add_a_placement_for_each_side():
    placed, left = (
        only(findings_of(sided(PLAIN, in_place=how)), "channel_difference", condition="out", seat="A")
        for how in (False, True)
    )
    quantile = stats.t.ppf(0.975, 8)
    widened = np.sqrt(((placed.high - placed.value) / quantile) ** 2 + 2 * 0.3**2) * quantile
    assert left.high - left.value == pytest.approx(widened, rel=1e-6)


def test_two_corners_of_one_filter_differ_in_that_band_by_what_their_formula_gives():
    """95 Hz on the left and 105 Hz on the right; the band of 100 Hz is narrow enough for the value at 100 Hz."""
    reference = load("CORNERS-95-105")
    folder = sided({"out": {"A": {}}, "in": {"A": {}}})
    fine = grid(per_octave=48)
    for k in range(3):
        for side, corner in zip(("left", "right"), reference.inputs["corners_hz"], strict=True):
            loss = 10 * np.log10(1 + (corner / fine) ** 2)
            folder.add("out", "A", k + 1, fine, 70.0, channel=side)
            folder.add("in", "A", k + 1, fine, 70.0 - loss, channel=side)
    result = LeftRight().analyse(inputs_of(folder))
    curve = curve_of(result, "in")
    check(curve[reference.inputs["at_hz"]], reference.expected["difference_db"], reference)
    assert only(result.findings, "channel_difference_change", seat="A", variant=None).verdict == "kept"


@pytest.mark.parametrize(("left", "right"), [("L", "R"), ("Left", "RIGHT"), ("l", "right")])
def test_the_sides_are_known_by_their_usual_names(left, right):
    names = {"left": left, "right": right}
    renamed = {
        condition: {seat: {names[side]: cell for side, cell in sides.items()} for seat, sides in by_seat.items()}
        for condition, by_seat in PLAIN.items()
    }
    found = findings_of(sided(renamed))
    stated = only(found, "channel_difference", condition="in", seat="A", variant=None)
    assert stated.value == pytest.approx(1.2, abs=2e-3)


def test_without_two_sides_nothing_is_said_and_a_seat_with_one_says_so():
    centre = {
        name: {seat: {"centre": s["left"], "right": s["right"]} for seat, s in seats.items()}
        for name, seats in PLAIN.items()
    }
    assert findings_of(sided(centre)) == ()
    half = {
        name: {"A": seats["A"], "B": {"left": seats["B"]["left"]}}
        for name, seats in PLAIN.items()
    }  # fmt: skip
    missing = only(findings_of(sided(half)), "channel_difference_change", seat="B", variant=None)
    assert (missing.value, missing.verdict) == (None, "undecided")
    assert missing.caveats == ("left and right were not both measured",)


def test_at_the_amplifier_there_is_no_seat_and_no_placement():
    at_amplifier = {name: {"A": by_seat["A"]} for name, by_seat in PLAIN.items()}
    found = findings_of(sided(at_amplifier, point="amplifier-output", in_place=True))
    assert {(f.point, f.seat) for f in found} == {("amplifier-output", None)}
    stated = only(found, "channel_difference_change", variant=None)
    assert stated.value == pytest.approx(1.0, abs=1e-3)
    half = stats.t.ppf(0.975, 8) * 0.1 * np.sqrt(4 / 3)
    assert stated.high - stated.value == pytest.approx(half, rel=1e-3)


def test_a_band_that_one_side_lacks_is_a_gap():
    inputs = inputs_of(sided(PLAIN))
    short = tuple(
        replace(t, curve=replace(t.curve, frequency_hz=t.curve.frequency_hz[20:], level_db=t.curve.level_db[20:]))
        if t.channel == "left"
        else t
        for t in inputs.takes
    )
    result = LeftRight().analyse(replace(inputs, takes=short))
    assert curve_of(result, "in")[20.0] is None
    assert curve_of(result, "in")[1000.0] is not None
    bass = only(result.findings, "channel_difference", condition="in", seat="A", variant="bass")
    assert (bass.value, bass.caveats) == (None, ("fewer than two thirds of the bands are usable in both channels",))
