"""Checks of the factors of a line: against its node voltages, for every sort of network; corners by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing.acoustics.line_factors import line_factors
from fairhearing.acoustics.network import LineNetwork, line_response


def decades(low, high):
    return st.floats(low, high).map(lambda power: 10.0**power)


NETWORKS = st.builds(
    LineNetwork,
    input_ohm=decades(4, 5.5),
    capacitance_f=st.none() | decades(-9, -6),
    source_ohm=st.just(0.0) | decades(1, 4),
    cable_f=st.just(0.0) | decades(-11, -8),
    taps_before_ohm=st.just(()) | st.tuples(decades(3.5, 5)),
    taps_ohm=st.just(()) | st.tuples(decades(4, 6)),
    second_input_ohm=st.none() | decades(4, 5),
    coupling_f=st.none() | decades(-8, -5),
)


@given(network=NETWORKS)
def test_the_factors_are_the_network_at_every_frequency(network):
    frequency = np.geomspace(0.1, 1e6, 40)
    factors = line_factors(network)
    response = np.full(len(frequency), factors.gain, dtype=complex)
    for corner in factors.corners_hz:
        response *= 1j * frequency / corner / (1 + 1j * frequency / corner)
    if factors.low_pass_hz is not None:
        response /= 1 + 1j * frequency / factors.low_pass_hz
    assert response == pytest.approx(line_response(frequency, network), rel=1e-8)


def test_a_plain_wire_has_no_corner():
    factors = line_factors(LineNetwork(input_ohm=20e3, source_ohm=1e3))
    assert (factors.corners_hz, factors.low_pass_hz) == ((), None)
    assert factors.gain == pytest.approx(20 / 21)


def test_two_capacitors_with_nothing_between_are_one():
    factors = line_factors(LineNetwork(input_ohm=20e3, capacitance_f=1e-7, coupling_f=1e-7))
    assert factors.corners_hz == pytest.approx((1 / (2 * math.pi * 20e3 * 0.5e-7),))


def test_a_tap_between_them_makes_two_corners_whose_product_is_that_of_the_constants():
    factors = line_factors(LineNetwork(input_ohm=20e3, capacitance_f=1e-7, coupling_f=4e-7, taps_ohm=(30e3,)))
    assert len(factors.corners_hz) == 2
    product = 1 / ((2 * math.pi) ** 2 * 30e3 * 1e-7 * 20e3 * 4e-7)
    assert math.prod(factors.corners_hz) == pytest.approx(product)
