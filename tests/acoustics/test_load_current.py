"""Checks of current and power into an impedance: a resistor, a table against integration, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from fairhearing.acoustics.load_current import Impedance, load_of


def driver(frequency_hz):
    """6 ohm, a resonance at 60 Hz and a coil of 0.4 mH."""
    s = 1j * np.asarray(frequency_hz) / 60.0
    return 6.0 + 25.0 * (s / 4.0) / (s**2 + s / 4.0 + 1) + 0.0004 * 2j * np.pi * np.asarray(frequency_hz)


def table(n=600, low_hz=10.0, high_hz=20_000.0):
    frequency = np.geomspace(low_hz, high_hz, n)
    value = driver(frequency)
    return Impedance(frequency_hz=frequency, magnitude_ohm=np.abs(value), phase_deg=np.degrees(np.angle(value)))


def test_a_resistor_takes_u_over_r_and_u_squared_over_r():
    resistor = Impedance(frequency_hz=np.array([1.0]), magnitude_ohm=np.array([8.0]), phase_deg=np.array([0.0]))
    found = load_of(np.array([30.0, 3000.0]), np.array([2.0, 5.0]), resistor)
    assert (found.squared_s2, found.conductance_s) == pytest.approx((1 / 64, 1 / 8))


def test_pink_noise_into_a_driver_agrees_with_integration():
    edges = np.geomspace(20.0, 10_000.0, 6001)
    middle, power = np.sqrt(edges[1:] * edges[:-1]), np.diff(np.log(edges))
    found = load_of(middle, power, table())
    span = math.log(10_000 / 20)
    squared = quad(lambda x: 1 / abs(driver(math.exp(x))) ** 2, math.log(20), math.log(10_000), limit=500)[0] / span
    real = quad(lambda x: (1 / driver(math.exp(x))).real, math.log(20), math.log(10_000), limit=500)[0] / span
    assert (found.squared_s2, found.conductance_s) == pytest.approx((squared, real), rel=1e-3)
    assert found.beyond == 0.0


def test_beyond_the_table_its_last_value_is_taken_and_told():
    found = load_of(np.array([5.0, 100.0]), np.array([1.0, 3.0]), table())
    assert found.beyond == pytest.approx(0.25)
    assert found.squared_s2 == pytest.approx((1 / abs(driver(10.0)) ** 2 + 3 / abs(driver(100.0)) ** 2) / 4, rel=1e-3)


def test_without_phase_there_is_no_power():
    known = table()
    found = load_of(
        np.array([100.0]),
        np.array([1.0]),
        Impedance(frequency_hz=known.frequency_hz, magnitude_ohm=known.magnitude_ohm),
    )
    assert math.isnan(found.conductance_s)


@pytest.mark.parametrize(
    ("frequency", "magnitude", "phase", "words"),
    [
        ([10.0, 10.0], [6.0, 6.0], None, "do not rise"),
        ([0.0, 10.0], [6.0, 6.0], None, "do not rise from above 0"),
        ([10.0, 20.0], [6.0, 0.0], None, "not above 0 ohm"),
        ([10.0, 20.0], [6.0], None, "of shape"),
        ([10.0, 20.0], [6.0, 6.0], [0.0, 91.0], "-90 to 90"),
    ],
)
def test_an_impossible_table_is_refused(frequency, magnitude, phase, words):
    with pytest.raises(ValueError, match=words):
        Impedance(
            frequency_hz=np.array(frequency),
            magnitude_ohm=np.array(magnitude),
            phase_deg=None if phase is None else np.array(phase),
        )


def test_silence_has_no_current():
    with pytest.raises(ValueError, match="no power"):
        load_of(np.array([10.0]), np.array([0.0]), table())
