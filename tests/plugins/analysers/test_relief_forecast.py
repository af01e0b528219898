"""Checks of the forecast: a pink noise of the handbook, the network of the chain, channels set apart."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from references.helper import check, load

from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.api import Chain
from fairhearing_builtins.analysers.relief_forecast import ReliefForecast

from .build_relief import FILTER, FULL_SCALE_V, PLAIN, found, inputs_of, programme, tone, with_chains


def forecast(*pairs, of=None):
    return ReliefForecast().analyse(inputs_of(of or with_chains(), *pairs))


def pink(seconds=240, rate_hz=48_000, low_hz=20.0, high_hz=20_000.0):
    """Of the same power in each ratio of frequencies, with phases by chance; long, as every fourth stretch is read."""
    n = seconds * rate_hz
    frequency = np.fft.rfftfreq(n, 1 / rate_hz)
    inside = (frequency >= low_hz) & (frequency <= high_hz)
    size = np.where(inside, 1 / np.sqrt(np.maximum(frequency, 1.0)), 0.0)
    turned = np.exp(2j * np.pi * np.random.default_rng(3).uniform(size=len(frequency)))
    samples = np.fft.irfft(size * turned, n)
    return 0.1 * samples / samples.std()


def test_pink_noise_loses_what_the_handbook_says():
    result = forecast(programme(pink(), rate_hz=48_000))
    loss, below = load("D30.100"), load("pink-below-100-hz")
    assert found(result, "amplifier_voltage_change").value == pytest.approx(loss.expected["Z"], abs=0.01)
    check(found(result, "energy_share_below_corner").value, below.expected["share"], below)


def test_a_tone_at_the_corner_loses_half_its_power():
    result = forecast(programme(tone(100.0, 0.4, 30.0)))
    ratio = (
        found(result, "amplifier_power", condition="in").value / found(result, "amplifier_power", condition="out").value
    )
    assert ratio == pytest.approx(0.5, abs=1e-3)
    assert found(result, "amplifier_power", condition="out").value == pytest.approx(
        (0.4 * FULL_SCALE_V) ** 2 / 16, rel=1e-6
    )
    assert all(f.point == "programme" and "forecast" in f.method for f in result.findings)


def test_source_and_cable_divide_the_passband_only_where_they_differ():
    source = 1000.0
    reference, condition = (replace(chain, source_output_ohm=source) for chain in (PLAIN, FILTER))
    result = forecast(programme(tone(2000.0, 0.4, 8.0)), of=with_chains(reference, condition))
    assert found(result, "amplifier_voltage", condition="out").value == pytest.approx(0.4 * FULL_SCALE_V / math.sqrt(2))
    tapped = replace(condition, tap_kohm=(20.0,))
    result = forecast(programme(tone(800.0, 0.4, 8.0, 48_000), rate_hz=48_000), of=with_chains(reference, tapped))
    # 10 kohm behind 1 kohm instead of 20 kohm
    corner_hz = 1 / (2 * math.pi * 11e3 * FILTER.capacitance_nf * 1e-9)
    expected = 20 * math.log10((10 / 11) / (20 / 21)) - 10 * math.log10(1 + (corner_hz / 800) ** 2)
    assert found(result, "amplifier_voltage_change").value == pytest.approx(expected, abs=0.003)


def test_a_coupling_capacitor_gives_two_corners_and_the_references_own():
    coupled = with_chains(*(replace(chain, coupling_capacitor_uf=0.47) for chain in (PLAIN, FILTER)))
    (one, two) = ReliefForecast().summaries_for(coupled)
    assert isinstance(one, FilteredLevels)
    assert one.corners_hz == pytest.approx((1 / (2 * math.pi * 20e3 * 0.47e-6),), rel=1e-6)
    # with nothing hung between them two capacitors in series are one
    series_f = 1 / (1 / 0.47e-6 + 1e9 / FILTER.capacitance_nf)
    assert two.corners_hz == pytest.approx((1 / (2 * math.pi * 20e3 * series_f),), rel=1e-6)
    tapped = with_chains(coupled.reference.chain, replace(coupled.treatments[0].chain, tap_kohm=(150.0,)))
    assert sorted(len(one.corners_hz) for one in ReliefForecast().summaries_for(tapped)) == [1, 2]


def test_a_chain_that_states_its_corner_only_is_taken_at_that():
    of = with_chains(Chain(loudspeaker_ohm=8.0), Chain(design_corner_hz=100.0, loudspeaker_ohm=8.0))
    result = forecast(programme(tone(100.0, 0.4, 30.0)), of=of)
    change = found(result, "amplifier_power_change")
    assert change.value == pytest.approx(-3.0103, abs=0.01)
    assert any("its meant corner is taken" in caveat for caveat in change.caveats)


def test_a_filter_of_which_too_little_is_said_gives_nothing():
    of = with_chains(PLAIN, Chain(capacitance_nf=80.0, loudspeaker_ohm=8.0))
    result = forecast(programme(tone(100.0, 0.4)), of=of)
    assert found(result, "headroom_won").value is None
    assert "does not say enough" in found(result, "headroom_won").caveats[0]
    assert found(result, "amplifier_voltage", condition="out").value is not None


APART = Chain(design_corner_hz=100.0, setting_left_kohm=20.0, setting_right_kohm=40.0, amplifier_input_kohm=20.0)


def test_left_and_right_set_apart_go_through_their_own_corners():
    both = np.stack([tone(50.0, 0.4, 30.0)] * 2, axis=1)
    stereo = forecast(programme(both), of=with_chains(PLAIN, APART))
    files = [programme(tone(50.0, 0.4, 30.0), channel=name) for name in ("left", "right")]
    single = forecast(*files, of=with_chains(PLAIN, APART))
    # set for 20 kohm the corner is 100 Hz; set for 40 kohm the capacitor is half as large and into 20 kohm 200 Hz
    left, right = (1 / (1 + (corner / 50) ** 2) for corner in (100.0, 200.0))
    for result in (stereo, single):
        change = found(result, "amplifier_voltage_change").value
        assert change == pytest.approx(10 * math.log10((left + right) / 2), abs=0.02)


def test_a_single_channel_of_nobody_knows_which_side_gives_nothing():
    result = forecast(programme(tone(50.0, 0.4)), of=with_chains(PLAIN, APART))
    assert "which channels these are is not known" in found(result, "headroom_won").caveats[0]


def test_the_file_is_scaled_for_the_line_without_its_filter_even_where_the_reference_has_one():
    of = with_chains(replace(FILTER, capacitance_nf=2 * FILTER.capacitance_nf), FILTER)
    result = forecast(programme(tone(2000.0, 0.4, 8.0)), of=of)
    expected = 0.4 * FULL_SCALE_V / math.sqrt(2)
    assert found(result, "amplifier_voltage", condition="out").value == pytest.approx(expected, rel=1e-3)


def test_a_cable_that_takes_the_treble_is_told():
    long_cable = replace(FILTER, source_output_ohm=5000.0, cable_capacitance_pf=1000.0)
    caveats = found(forecast(programme(tone(500.0, 0.4)), of=with_chains(PLAIN, long_cable)), "headroom_won").caveats
    # 5 kohm and 20 kohm side by side with 1 nF: 39.8 kHz, behind 80 nF in series a little more; 0.97 dB at 20 kHz
    assert any("the cable takes 1.0 dB at 20 kHz in in" in caveat for caveat in caveats)
