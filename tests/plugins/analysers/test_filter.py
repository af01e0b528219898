"""Checks of the filter's findings at the ends of what can be said, on takes built by hand."""

from __future__ import annotations

import numpy as np
import pytest
from end_to_end.made_rooms import add_takes, unchanged
from end_to_end.session_writer import Folder, grid, high_pass
from hypothesis import given, settings

from fairhearing.api import Analyser
from fairhearing_builtins.analysers.filter import Filter, fairhearing_analysers

from .build_inputs import keys, only
from .build_measured import assert_symmetry, inputs_of, known_symmetries, worlds

CHAIN = {"design_corner_hz": 80.0, "bass_given_back": False}


def made(change, *, chain=CHAIN, repeats=3, seats=("A", "B"), **said):
    folder = Folder(id="made-up", seats=dict.fromkeys(seats, 1.0), chain=chain)
    folder.add_silence()
    return add_takes(folder, {"out": unchanged, "in": change}, seed=1, repeats=repeats, placement_sd_db=0.02, **said)


def findings_of(folder):
    return Filter().analyse(inputs_of(folder)).findings


@pytest.mark.parametrize("symmetry", known_symmetries(Filter), ids=lambda s: s.kind)
@settings(max_examples=4, deadline=None, derandomize=True)
@given(inputs=worlds())
def test_the_declared_symmetries_hold(symmetry, inputs):
    assert_symmetry(Filter(), symmetry, inputs)


def test_it_is_an_analyser_and_its_findings_are_unique():
    (analyser,) = fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    folder = made(lambda f: high_pass(f, 80.0), channels=("left", "right"))
    folder.conditions = {**folder.conditions, "more": {"chain": {"design_corner_hz": 40.0}}}
    add_takes(folder, {"more": lambda f: high_pass(f, 40.0)}, seed=1, channels=("left", "right"))
    findings = findings_of(folder)
    assert len(set(keys(findings))) == len(findings)
    assert {f.quantity for f in findings} <= Filter.quantities
    assert only(findings, "corner_frequency", condition="more", seat=None, channel=None).value == pytest.approx(
        40, rel=0.05
    )


def test_a_slope_all_over_the_data_is_no_corner():
    """6 dB per octave from end to end: the corner lies above all data, and the search ends at its bound."""
    findings = findings_of(made(lambda f: 1j * f / 20_000.0, frequency_hz=grid(15, 900, 12)))
    corner = only(findings, "corner_frequency", seat=None)
    ratio = only(findings, "corner_ratio")
    assert (corner.value, ratio.value, ratio.verdict) == (None, None, "undecided")
    assert corner.caveats == ("the fit ended at a bound of its search",)


def test_one_take_of_each_gives_a_corner_without_an_interval():
    findings = findings_of(made(lambda f: high_pass(f, 80.0), repeats=1))
    corner, ratio = only(findings, "corner_frequency", seat=None), only(findings, "corner_ratio")
    assert corner.value == pytest.approx(80.0, rel=0.01)
    assert (corner.low, corner.high, corner.n, ratio.verdict) == (None, None, 1, "undecided")
    assert only(findings, "filter_order").verdict == "undecided"
    assert any("degrees of freedom" in caveat for caveat in corner.caveats)


def test_too_few_frequencies_are_no_fit():
    findings = findings_of(made(lambda f: high_pass(f, 80.0), frequency_hz=np.array([20.0, 50.0, 80.0])))
    assert only(findings, "corner_frequency", seat=None).value is None
    assert only(findings, "filter_order").verdict == "undecided"


def test_the_load_is_said_only_where_the_capacitor_is_known():
    without = only(findings_of(made(lambda f: high_pass(f, 80.0))), "implied_load")
    assert (without.value, without.unit) == (None, "ohm")
    assert "capacitor" in without.caveats[0]
    setting = only(
        findings_of(made(lambda f: high_pass(f, 40.0), chain={**CHAIN, "setting_kohm": 10.0})), "implied_load"
    )
    # Half the corner, so twice the load that the box was set for.
    assert setting.value == pytest.approx(20_000.0, rel=0.01)
    assert setting.low < 20_000.0 * 1.005
    assert setting.high > 20_000.0 * 0.995


def test_a_capacitor_too_small_for_any_load_says_so():
    """1 nF and 1 MOhm of source alone put the corner at 159 Hz: no load can bring it to 300 Hz."""
    chain = {**CHAIN, "capacitance_nf": 1.0, "source_output_ohm": 1e6}
    load = only(findings_of(made(lambda f: high_pass(f, 300.0), chain=chain)), "implied_load")
    assert load.value is None
    assert load.caveats


def test_a_gain_is_told_per_seat_and_is_no_part_of_the_corner():
    findings = findings_of(made(lambda f: 0.5 * high_pass(f, 80.0)))
    for seat in (None, "A", "B"):
        assert only(findings, "passband_gain", seat=seat).value == pytest.approx(-6.0206, abs=0.02)
        assert only(findings, "corner_frequency", seat=seat).value == pytest.approx(80.0, rel=0.005)


def test_the_gain_over_seats_is_the_weighted_mean_of_the_seats_gains():
    folder = Folder(id="made-up", seats={"A": 3.0, "B": 1.0, "C": 0.0}, chain=CHAIN)
    folder.add_silence()
    for seat, gain in (("A", 1.0), ("B", 0.5), ("C", 0.1)):
        changes = {"out": unchanged, "in": lambda f, gain=gain: gain * high_pass(f, 80.0)}
        add_takes(folder, changes, seed=ord(seat), placement_sd_db=0.02, seats=[seat], channels=("left", "right"))
    over = only(findings_of(folder), "passband_gain", seat=None)
    # A quarter of -6.02 dB.
    assert over.value == pytest.approx(-1.505, abs=0.01)
    assert over.low < -1.505 < over.high


def test_the_chart_shows_measured_and_fitted():
    (chart,) = Filter().analyse(inputs_of(made(lambda f: high_pass(f, 80.0)))).charts
    assert chart.form == "line"
    assert "80" in chart.alternative
