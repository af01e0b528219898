"""Checks of the level match: what counts where, and that nothing is made of nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings

from fairhearing.api import Analyser, Inputs
from fairhearing_builtins.analysers.level import Level, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import assert_symmetry, flat, inputs_of, known_symmetries, worlds

STEADY = {
    "out": {"A": [70.0, 70.02, 69.98], "B": [70.0, 70.02, 69.98]},
    "in": {"A": [70.2, 70.22, 70.18], "B": [69.9, 69.92, 69.88]},
}


@pytest.mark.parametrize("symmetry", known_symmetries(Level), ids=lambda s: s.kind)
@settings(max_examples=6, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(Level(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique():
    (made,) = fairhearing_analysers()
    assert isinstance(made, Analyser)
    findings = made.analyse(inputs_of(flat(STEADY))).findings
    assert len(set(keys(findings))) == len(findings) == 8
    assert {f.quantity for f in findings} == Level.quantities


def test_seats_are_averaged_by_weight_and_one_of_weight_0_is_told_but_not_counted():
    folder = flat(STEADY, seats={"A": 1.0, "B": 3.0})
    findings = Level().analyse(inputs_of(folder)).findings
    assert only(findings, "level_difference", seat=None).value == pytest.approx((0.2 - 3 * 0.1) / 4, abs=1e-9)
    folder = flat(STEADY, seats={"A": 1.0, "B": 0.0})
    findings = Level().analyse(inputs_of(folder)).findings
    assert only(findings, "level_difference", seat=None).value == pytest.approx(0.2, abs=1e-9)
    assert only(findings, "level_difference", seat="B").value == pytest.approx(-0.1, abs=1e-9)


def test_with_no_seat_that_counts_there_is_no_value_over_seats():
    folder = flat(STEADY, seats={"A": 0.0, "B": 0.0})
    over = only(Level().analyse(inputs_of(folder)).findings, "level_difference", seat=None)
    assert (over.value, over.verdict) == (None, "undecided")
    assert over.caveats


def test_the_amplifiers_channels_count_alike_and_have_their_own_findings():
    folder = Folder(id="made-up")
    for channel, change in (("left", 0.1), ("right", 0.3)):
        for name in ("out", "in"):
            for repeat in range(3):
                level = 0.01 * repeat + (change if name == "in" else 0.0)
                folder.add(
                    name, None, repeat + 1, grid(per_octave=12), level, channel=channel, point="amplifier-output"
                )
    findings = Level().analyse(inputs_of(folder)).findings
    over = only(findings, "level_difference", seat=None, channel=None)
    assert (over.point, over.verdict) == ("amplifier-output", "unmatched")
    assert over.value == pytest.approx(0.2, abs=1e-9)
    assert only(findings, "level_difference", channel="right").value == pytest.approx(0.3, abs=1e-9)


@pytest.mark.parametrize("kept", ["noise", "out"])
def test_where_a_condition_was_not_measured_all_is_null_with_its_reason(kept):
    inputs = inputs_of(flat(STEADY))
    takes = tuple(t for t in inputs.takes if kept in (t.kind, t.condition))
    for finding in Level().analyse(replace(inputs, takes=takes)).findings:
        assert finding.value is None
        assert any("was measured" in caveat for caveat in finding.caveats)
        assert finding.verdict in (None, "undecided")


def test_takes_that_share_no_frequencies_are_no_error():
    folder = Folder(id="made-up")
    for name in ("out", "in"):
        folder.add(name, "A", 1, grid(20, 300), 70.0)
        folder.add(name, "A", 2, grid(500, 9000), 70.0)
    for finding in Level().analyse(inputs_of(folder)).findings:
        assert finding.value is None
        assert finding.caveats


def test_a_trim_counts_for_its_own_condition_only():
    folder = flat({"out": {"A": [70.0] * 3}, "in": {"A": [70.0] * 3}, "more": {"A": [71.0] * 3}})
    folder.conditions = {"out": {}, "in": {"trim_db": 0.4}, "more": {"trim_db": -1.0}}
    findings = Level().analyse(inputs_of(folder)).findings
    assert only(findings, "level_difference", seat="A", condition="in").value == pytest.approx(0.4, abs=1e-9)
    assert only(findings, "level_difference", seat="A", condition="more").value == pytest.approx(0.0, abs=1e-9)


def test_the_interval_of_a_bass_that_differs_from_the_mid_band_is_its_own():
    """Repeats that scatter in the bass alone: by hand, 0.3 dB of standard deviation there, none in the middle."""
    folder = Folder(id="made-up")
    folder.add_silence()
    frequency = grid(per_octave=12)
    for name in ("out", "in"):
        for repeat, error in enumerate((-0.3, 0.0, 0.3)):
            folder.add(name, "A", repeat + 1, frequency, np.where(frequency < 200, 70 + error, 70.0))
    findings = Level().analyse(inputs_of(folder)).findings
    bass, middle = (only(findings, q, seat="A") for q in ("bass_level_difference", "level_difference"))
    # t(0.975, 4) = 2.7764 (from memory, any table), times 0.3 sqrt(2/3).
    assert bass.high == pytest.approx(2.7764 * 0.3 * np.sqrt(2 / 3), rel=1e-3)
    assert middle.high == pytest.approx(0.0, abs=1e-9)


def test_the_chart_shows_every_place_and_the_tolerance():
    inputs: Inputs = inputs_of(flat(STEADY))
    (chart,) = Level().analyse(inputs).charts
    assert list(chart.data["place"]) == ["all seats", "A", "B"]
    assert {rule.at for rule in chart.rules} == {-0.1, 0.0, 0.1}
    assert "+0.20 dB, unmatched" in chart.alternative


def test_the_trim_that_would_match_turns_the_sign_and_leaves_what_a_tenth_cannot_take():
    """Worked by hand: +0.26 dB; a trim of -0.26 dB, set as -0.3 dB, leaves -0.04 dB."""
    findings = (
        Level()
        .analyse(inputs_of(flat({"out": {"A": [70.0, 70.02, 69.98]}, "in": {"A": [70.26, 70.28, 70.24]}})))
        .findings
    )
    difference, trim, left = (
        only(findings, name, seat=None) for name in ("level_difference", "matching_trim", "level_left_after_trim")
    )
    assert trim.value == pytest.approx(-0.26, abs=1e-9)
    assert (trim.low, trim.high) == (-difference.high, -difference.low)
    assert left.value == pytest.approx(-0.04, abs=1e-9)
    assert left.high - left.low == pytest.approx(difference.high - difference.low, abs=1e-9)
    assert (trim.of, left.of, trim.verdict) == ("level_difference", "level_difference", None)
