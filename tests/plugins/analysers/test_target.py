"""Checks of target deviation and seat spread on levels chosen by hand."""

from __future__ import annotations

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings
from scipy import stats

from fairhearing.api import Analyser
from fairhearing_builtins.analysers.target import FEW_SEATS, FEW_TO_SHOW, Target, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import assert_symmetry, inputs_of, known_symmetries, worlds

FREQUENCY = grid(per_octave=12)


def shelves(heights: dict[str, dict[str, list[float]]], **said) -> Folder:
    """So much more below 230 Hz than above: condition, seat, one entry per repeat."""
    seats = said.pop("seats", dict.fromkeys(next(iter(heights.values())), 1.0))
    folder = Folder(id="made-up", seats=seats, conditions={name: {} for name in heights}, **said)
    folder.add_silence()
    for condition, by_seat in heights.items():
        for seat, repeats in by_seat.items():
            for index, height in enumerate(repeats):
                folder.add(condition, seat, index + 1, FREQUENCY, np.where(FREQUENCY < 230, 70 + height, 70.0))
    return folder


def findings_of(folder: Folder):
    return Target().analyse(inputs_of(folder)).findings


@pytest.mark.parametrize("symmetry", known_symmetries(Target), ids=lambda s: s.kind)
@settings(max_examples=6, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(Target(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique_with_three_conditions():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    folder = shelves({"out": {"A": [6.0] * 3}, "in": {"A": [3.0] * 3}, "more": {"A": [1.0] * 3}})
    folder.chain = {"bass_given_back": False}
    findings = findings_of(folder)
    assert len(set(keys(findings))) == len(findings)
    assert only(findings, "target_deviation", condition="out", seat="A").value == pytest.approx(6.0, abs=0.1)
    assert only(findings, "target_deviation_change", condition="more", seat="A").value == pytest.approx(-5.0, abs=0.1)


def chain_free(folder: Folder) -> Folder:
    folder.chain = {"bass_given_back": False}
    return folder


def test_a_level_bass_has_no_shape_whatever_its_height():
    folder = chain_free(
        shelves({"out": {"A": [6.0] * 3}, "in": {"A": [-4.0] * 3}}, criteria={"bass_band_hz": [20.0, 160.0]})
    )
    findings = findings_of(folder)
    for name, height in (("out", 6.0), ("in", 4.0)):
        said = {"condition": name, "seat": "A"}
        assert only(findings, "target_deviation", **said).value == pytest.approx(height, abs=1e-3)
        assert only(findings, "target_deviation", variant="shape", **said).value == pytest.approx(0.0, abs=1e-9)


def test_a_target_that_the_bass_follows_leaves_nothing():
    folder = chain_free(
        shelves({"out": {"A": [5.0] * 3}, "in": {"A": [2.0] * 3}}, criteria={"bass_band_hz": [20.0, 160.0]})
    )
    folder.target = (np.array([10.0, 170.0, 900.0]), np.array([5.0, 5.0, 0.0]))
    findings = findings_of(folder)
    assert only(findings, "target_deviation", condition="out", seat="A").value == pytest.approx(0.0, abs=1e-3)
    assert only(findings, "target_deviation", condition="in", seat="A").value == pytest.approx(3.0, abs=1e-3)


def test_a_seat_that_does_not_count_may_get_worse():
    heights = {"out": {"A": [6.0, 6.1, 5.9], "B": [0.0, 0.1, -0.1]}, "in": {"A": [1.0, 1.1, 0.9], "B": [3.0, 3.1, 2.9]}}
    for weight, verdict in ((0.0, "improved"), (0.5, "undecided")):
        findings = findings_of(chain_free(shelves(heights, seats={"A": 1.0, "B": weight})))
        assert only(findings, "target_deviation_change", seat="B").verdict == "worse"
        over = only(findings, "target_deviation_change", seat=None)
        assert over.verdict == verdict
        assert any("worse at B" in caveat for caveat in over.caveats) == (weight > 0)


def test_the_interval_is_that_of_the_pseudo_values_pooled():
    """A shelf's deviation is its height: leaving repeats out gives back the heights themselves."""
    heights = {"out": {"A": [6.0, 6.2, 5.8]}, "in": {"A": [3.1, 3.0, 2.9]}}
    findings = findings_of(chain_free(shelves(heights, criteria={"bass_band_hz": [20.0, 160.0]})))
    stated = only(findings, "target_deviation_change", seat="A")
    variance = (np.var([6.0, 6.2, 5.8], ddof=1) + np.var([3.1, 3.0, 2.9], ddof=1)) / 2
    half = stats.t.ppf(0.975, 4) * np.sqrt(variance * 2 / 3)
    assert stated.high - stated.value == pytest.approx(half, rel=0.02)
    detectable = only(findings, "smallest_detectable_change", of="target_deviation_change", seat="A")
    assert detectable.value == pytest.approx(half * (1 + stats.t.ppf(0.8, 4) / stats.t.ppf(0.975, 4)), rel=0.02)


@pytest.mark.parametrize("seats", [("A",), ("A", "B")])
def test_the_spread_needs_two_seats_that_count(seats):
    heights = {name: {seat: [float(k + h)] * 3 for k, seat in enumerate("AB")} for h, name in enumerate(("out", "in"))}
    folder = chain_free(shelves(heights, seats={seat: float(seat in seats) for seat in "AB"}))
    stated = only(findings_of(folder), "seat_spread_change")
    assert (stated.value is None) == (len(seats) < 2)
    if len(seats) == 2:
        assert (stated.value, stated.verdict) == (pytest.approx(0.0, abs=1e-6), "unchanged")
    else:
        assert stated.verdict == "undecided"
        assert stated.caveats


def test_a_null_names_its_own_reason_and_no_other():
    once = chain_free(shelves({"out": {"A": [6.0]}, "in": {"A": [3.0]}}))
    shown = [f for f in findings_of(once) if f.quantity == "smallest_detectable_change"]
    assert [f.value for f in shown] == [None, None]
    assert {f.caveats for f in shown} == {(FEW_TO_SHOW,)}
    assert only(findings_of(once), "seat_spread_change").caveats == (FEW_SEATS,)
