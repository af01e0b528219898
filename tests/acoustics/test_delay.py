"""Checks of the delay between two responses: known ones, laws, noise, polarity."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from fairhearing.acoustics.delay import delay_against, is_turned

GRIDS = {
    "log": np.geomspace(500, 10_000, 104),
    "fine": np.geomspace(500, 10_000, 415),
    "linear": np.arange(500.0, 10_000.0, 7.0),
}


def late(frequency_hz, delay_s: float):
    return np.exp(-2j * np.pi * frequency_hz * delay_s)


@pytest.mark.parametrize("name", GRIDS)
@settings(max_examples=25, deadline=None, derandomize=True)
@given(delay_s=st.floats(-0.03, 0.03), turn_deg=st.floats(-179.0, 179.0), gain=st.floats(0.01, 100.0))
def test_a_pure_delay_and_a_constant_phase_are_found_exactly(name, delay_s, turn_deg, gain):
    frequency = GRIDS[name]
    second = gain * late(frequency, delay_s) * np.exp(1j * np.deg2rad(turn_deg))
    found = delay_against(frequency, np.ones(len(frequency), complex), second)
    assert found.delay_s == pytest.approx(delay_s, abs=1e-10)
    assert found.phase_deg == pytest.approx(turn_deg, abs=1e-4)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(seed=st.integers(0, 1000), first_s=st.floats(-0.01, 0.01), second_s=st.floats(-0.01, 0.01))
def test_delays_add_up_where_the_weights_are_the_same(seed, first_s, second_s):
    frequency, draw = GRIDS["log"], np.random.default_rng(seed)
    weight = draw.uniform(0.1, 1.0, len(frequency))
    noise = [np.exp(1j * draw.normal(0, 0.1, len(frequency))) for _ in range(3)]
    a, b, c = noise[0], noise[1] * late(frequency, first_s), noise[2] * late(frequency, first_s + second_s)
    whole = delay_against(frequency, a, c, weight).delay_s
    parts = delay_against(frequency, a, b, weight).delay_s + delay_against(frequency, b, c, weight).delay_s
    assert whole == pytest.approx(parts, abs=1e-10)
    assert delay_against(frequency, b, a, weight).delay_s == pytest.approx(
        -delay_against(frequency, a, b, weight).delay_s, abs=1e-10
    )


def test_a_room_common_to_both_does_no_harm_and_noise_little():
    frequency, draw = GRIDS["fine"], np.random.default_rng(3)
    room = np.exp(draw.normal(0, 1.0, len(frequency)) + 1j * draw.uniform(0, 2 * np.pi, len(frequency)))
    errors = []
    for _ in range(200):
        noise = 0.1 * (draw.normal(size=len(frequency)) + 1j * draw.normal(size=len(frequency)))
        errors.append(delay_against(frequency, room, room * late(frequency, 0.004) + noise).delay_s - 0.004)
    assert abs(np.mean(errors)) < 1e-6
    assert np.std(errors) < 1e-5


def test_the_group_delay_of_a_second_order_all_pass_is_of_its_size():
    """scipy.signal's own group delay of a Bessel low-pass far above the band: 0.05 ms, flat from 500 to 10000 Hz."""
    frequency = GRIDS["fine"]
    numerator, denominator = signal.bessel(8, 1 / 0.00005, analog=True, norm="delay")
    _, response = signal.freqs(numerator, denominator, 2 * np.pi * frequency)
    found = delay_against(frequency, np.ones(len(frequency), complex), response)
    assert found.delay_s == pytest.approx(0.00005, rel=0.005)
    assert not is_turned(found.phase_deg)


@pytest.mark.parametrize(
    ("phase_deg", "turned"), [(180.0, True), (-140.0, True), (-130.0, False), (90.0, False), (0.0, False)]
)
def test_a_polarity_is_turned_within_45_degrees_of_180(phase_deg, turned):
    assert is_turned(phase_deg) == turned


def test_too_few_frequencies_and_no_power_are_refused():
    frequency = GRIDS["log"]
    with pytest.raises(ValueError, match="7 frequencies"):
        delay_against(frequency[:7], np.ones(7, complex), np.ones(7, complex))
    with pytest.raises(ValueError, match="no phase"):
        delay_against(frequency, np.zeros(len(frequency), complex), np.ones(len(frequency), complex))
