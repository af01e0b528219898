"""Checks of the level change per band and of the guard band, on takes built by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from end_to_end.session_writer import Folder, grid
from hypothesis import given, settings

from fairhearing.api import Analyser
from fairhearing_builtins.analysers.change import Change, fairhearing_analysers
from fairhearing_builtins.analysers.level import Level

from .build_inputs import keys, only
from .build_measured import assert_symmetry, flat, inputs_of, known_symmetries, worlds

FREQUENCY = grid(per_octave=12)


@pytest.mark.parametrize("symmetry", known_symmetries(Change), ids=lambda s: s.kind)
@settings(max_examples=4, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(Change(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique():
    (made,) = fairhearing_analysers()
    assert isinstance(made, Analyser)
    findings = made.analyse(inputs_of(flat({"out": {"A": [70.0]}, "in": {"A": [71.0]}}))).findings
    assert len(set(keys(findings))) == len(findings)
    assert {f.quantity for f in findings} == Change.quantities


def band(findings, nominal_hz: float, **said: object):
    return only(findings, "level_change", nominal_hz=nominal_hz, **{"seat": "A", "channel": None, **said})


def test_bands_are_stated_by_their_exact_edges_and_their_nominal_frequency():
    """IEC 61260-1:2014: the band of 1 kHz reaches from 10^2.95 to 10^3.05 Hz, 31.5 Hz from 10^1.45 to 10^1.55."""
    findings = Change().analyse(inputs_of(flat({"out": {"A": [70.0]}, "in": {"A": [71.0]}}))).findings
    assert band(findings, 1000.0).band_hz == pytest.approx((891.2509, 1122.0185), abs=1e-4)
    assert band(findings, 31.5).band_hz == pytest.approx((28.1838, 35.4813), abs=1e-4)
    assert band(findings, 1000.0).value == pytest.approx(1.0, abs=1e-9)
    assert {f.nominal_hz for f in findings if f.value is None} == {12500.0, 16000.0, 20000.0}


def test_a_band_level_is_the_mean_power_over_ln_f():
    """A power that rises with ln f from 1 to 3 across the band of 100 Hz has the mean 2."""
    low, high = 10**1.95, 10**2.05
    frequency = np.array([10.0, 50.0, low, high, 300.0, 1000.0])
    folder = Folder(id="made-up")
    folder.add("out", "A", 1, frequency, 0.0)
    folder.add("in", "A", 1, frequency, 10 * np.log10([1.0, 1.0, 1.0, 3.0, 3.0, 3.0]))
    inputs = inputs_of(folder)
    assert band(Change().analyse(inputs).findings, 100.0).value == pytest.approx(10 * np.log10(2.0), abs=1e-4)


def test_the_noise_take_of_a_seat_counts_before_one_for_all():
    folder = flat({"out": {"A": [70.0, 70.1], "B": [70.0, 70.1]}, "in": {"A": [69.0, 69.1], "B": [69.0, 69.1]}})
    folder.curves = [c for c in folder.curves if c.kind != "noise"]
    folder.add(None, None, 1, FREQUENCY, 60.0, kind="noise")
    folder.add(None, "B", 1, FREQUENCY, 20.0, kind="noise")
    findings = Change().analyse(inputs_of(folder)).findings
    assert band(findings, 500.0).value is None
    assert any("noise" in caveat for caveat in band(findings, 500.0).caveats)
    assert band(findings, 500.0, seat="B").value == pytest.approx(-1.0, abs=1e-3)
    assert band(findings, 500.0, seat=None).value == pytest.approx(-1.0, abs=1e-3)


def test_a_seat_of_which_one_channel_is_covered_by_noise_has_no_value():
    folder = Folder(id="made-up")
    for channel in ("left", "right"):
        for name in ("out", "in"):
            folder.add(name, "A", 1, FREQUENCY, 70.0, channel=channel)
    folder.add(None, "A", 1, FREQUENCY, 20.0, channel="left", kind="noise")
    folder.add(None, "A", 1, FREQUENCY, 65.0, channel="right", kind="noise")
    findings = Change().analyse(inputs_of(folder)).findings
    assert band(findings, 500.0).value is None
    assert band(findings, 500.0, seat=None, channel=None).value is None


def test_a_band_that_one_channel_lacks_is_left_out_of_the_mean_over_channels_of_a_range():
    """The right channel's noise covers 2 kHz, where the left has 3 dB of change: neither channel's 2 kHz counts."""
    folder = Folder(id="made-up")
    low, high = 10**3.25, 10**3.35
    # Straight up at the lower edge and down at the upper one: nothing of it in the neighbouring bands.
    frequency = np.sort(np.concatenate([FREQUENCY, [low * 0.9999, low, high, high * 1.0001]]))
    inside = (frequency > low * 0.99995) & (frequency < high * 1.00005)
    for channel in ("left", "right"):
        for name in ("out", "in"):
            level = np.where(inside & (name == "in"), 73.0, 70.0)
            folder.add(name, "A", 1, frequency, level, channel=channel)
        noise = np.where(inside & (channel == "right"), 65.0, 0.0)
        folder.add(None, "A", 1, frequency, noise, channel=channel, kind="noise")
    inputs = inputs_of(folder)
    level = only(Level().analyse(inputs).findings, "level_difference", seat="A", channel=None)
    assert level.value == pytest.approx(0.0, abs=0.01)
    assert any("2000 Hz" in caveat for caveat in level.caveats)
    assert band(Change().analyse(inputs).findings, 2000.0).value is None


def test_the_confidence_of_the_criteria_is_used():
    folder = flat({"out": {"A": [70.0, 70.4, 69.6]}, "in": {"A": [69.0, 69.4, 68.6]}})
    wide, narrow = (
        band(Change().analyse(inputs_of(replace(folder, criteria={"confidence": share}))).findings, 500.0)
        for share in (0.95, 0.8)
    )
    assert (wide.confidence, narrow.confidence) == (0.95, 0.8)
    # t(0.9, 4) = 1.5332 and t(0.975, 4) = 2.7764: any table of Student's t, from memory.
    assert (narrow.high - narrow.low) / (wide.high - wide.low) == pytest.approx(1.5332 / 2.7764, rel=1e-4)


def test_channels_that_only_one_condition_has_are_no_change():
    folder = Folder(id="made-up")
    for name, channel in (("out", "left"), ("in", "right")):
        folder.add(name, "A", 1, FREQUENCY, 70.0, channel=channel)
    stated = band(Change().analyse(inputs_of(folder)).findings, 500.0)
    assert stated.value is None
    assert stated.caveats == ("no channel has both conditions at seat A",)


def test_the_guard_band_of_the_criteria_is_looked_at():
    def shifted(frequency_hz):
        return np.where(frequency_hz > 3000, 71.0, 70.0)

    folder = flat({"out": {"A": [70.0, 70.01, 69.99]}, "in": {}}, seats={"A": 1.0})
    for repeat, error in enumerate((0.0, 0.01, -0.01)):
        folder.add("in", "A", repeat + 1, FREQUENCY, shifted(FREQUENCY) + error)
    wide = only(Change().analyse(inputs_of(folder)).findings, "guard_band_change", seat="A")
    narrow = only(
        Change().analyse(inputs_of(replace(folder, criteria={"guard_band_hz": [500.0, 800.0]}))).findings,
        "guard_band_change",
        seat="A",
    )
    # Of seven mid-bands that of 4 kHz, and part of that of 3.15 kHz, are 1 dB up.
    assert wide.verdict == "touched"
    assert 1 - 2 / 7 < wide.value < 1 - 1 / 7
    assert (narrow.verdict, narrow.value) == ("untouched", pytest.approx(wide.value - 1.0, abs=1e-3))


def test_the_chart_shows_both_conditions_at_every_seat_that_has_them():
    folder = flat({"out": {"A": [70.0], "B": [70.0]}, "in": {"A": [69.0]}})
    (chart,) = Change().analyse(inputs_of(folder)).charts
    assert set(chart.data["seat"]) == {"A"}
    assert set(chart.data["condition"]) == {"Filter out", "Filter in"}
