"""Checks of how a written chain becomes a network: units, balanced lines, settings left and right, what is not said."""

from __future__ import annotations

import math

import pytest
from references.helper import check, load

from fairhearing.acoustics import wiring
from fairhearing.acoustics.network import LineNetwork
from fairhearing.session import Chain

FULL = Chain(
    capacitance_nf=80.0,
    amplifier_input_kohm=20.0,
    source_output_ohm=150.0,
    cable_capacitance_pf=300.0,
    tap_kohm=(150.0, 220.0),
    tap_before_kohm=(100.0,),
    second_input_kohm=47.0,
    measuring_input_kohm=10.0,
    coupling_capacitor_uf=0.47,
)


def test_every_key_stands_in_the_network_in_its_unit() -> None:
    expected = LineNetwork(
        input_ohm=20e3,
        capacitance_f=80e-9,
        source_ohm=150.0,
        cable_f=300e-12,
        taps_ohm=(150e3, 220e3),
        taps_before_ohm=(100e3,),
        second_input_ohm=47e3,
        measuring_ohm=10e3,
        coupling_f=0.47e-6,
    )
    found = wiring.line_network(FULL, measured=True)
    assert found is not None
    for name in LineNetwork.__slots__:
        assert getattr(found, name) == pytest.approx(getattr(expected, name), rel=1e-12), name
    played = wiring.line_network(FULL)
    assert played is not None
    assert played.measuring_ohm is None


def test_a_balanced_line_has_a_capacitor_in_each_leg() -> None:
    """Handbook, "Balanced lines have a capacitor per leg: C/2 against the resistance leg to leg"; two in series."""
    one = Chain(capacitance_nf=80.0, amplifier_input_kohm=20.0)
    legs = Chain(capacitance_nf=80.0, amplifier_input_kohm=20.0, balanced=True)
    assert wiring.series_capacitance_f(legs) == pytest.approx(40e-9, rel=1e-12)
    assert wiring.given_corner_hz(legs) == pytest.approx(2 * (wiring.given_corner_hz(one) or 0.0), rel=1e-12)
    assert wiring.meant_corner_hz(legs) == pytest.approx(1 / (2 * math.pi * 40e-9 * 20e3), rel=1e-12)


def test_what_the_setting_makes_works_from_leg_to_leg_already() -> None:
    legs = Chain(design_corner_hz=100.0, setting_kohm=20.0, amplifier_input_kohm=20.0, balanced=True)
    assert wiring.given_corner_hz(legs) == pytest.approx(100.0, rel=1e-12)


def test_left_and_right_set_apart_have_corners_of_their_own() -> None:
    apart = Chain(design_corner_hz=100.0, setting_kohm=20.0, setting_right_kohm=10.0, amplifier_input_kohm=20.0)
    assert wiring.channels_of(apart) == ("left", "right")
    assert wiring.given_corner_hz(apart, "left") == pytest.approx(100.0, rel=1e-12)
    assert wiring.given_corner_hz(apart, "right") == pytest.approx(50.0, rel=1e-12)
    assert wiring.given_corner_hz(apart) is None
    assert wiring.meant_corner_hz(apart) == 100.0


def test_left_and_right_set_alike_are_one() -> None:
    alike = Chain(design_corner_hz=100.0, setting_left_kohm=20.0, setting_right_kohm=20.0, amplifier_input_kohm=20.0)
    assert wiring.channels_of(alike) == (None,)
    assert wiring.given_corner_hz(alike) == pytest.approx(100.0, rel=1e-12)


def test_the_corner_with_the_measuring_input_on_the_line() -> None:
    reference = load("measuring-input-of-10-kohm")
    chain = Chain(capacitance_nf=16.0, amplifier_input_kohm=100.0, measuring_input_kohm=10.0)
    played, measured = wiring.given_corner_hz(chain), wiring.given_corner_hz(chain, measured=True)
    assert played is not None
    assert measured is not None
    check(measured / played, reference.expected["corner_ratio"], reference)


@pytest.mark.parametrize(
    "chain",
    [
        Chain(),
        Chain(amplifier_input_kohm=20.0, coupling_capacitor_uf=0.47),
        Chain(capacitance_nf=80.0),
        Chain(design_corner_hz=90.0, amplifier_input_kohm=20.0),
    ],
)
def test_where_the_chain_does_not_say_enough_there_is_no_corner(chain: Chain) -> None:
    assert wiring.given_corner_hz(chain) is None
    assert wiring.given_corner_range(chain) is None


def test_a_chain_without_a_filter_is_a_plain_line() -> None:
    line = wiring.line_network(Chain(amplifier_input_kohm=20.0, coupling_capacitor_uf=0.47))
    assert line is not None
    assert (line.input_ohm, line.capacitance_f, line.coupling_f) == (20e3, None, pytest.approx(0.47e-6, rel=1e-12))


def test_tolerances_are_said_in_percent_and_have_their_usual_values() -> None:
    said = Chain(
        design_corner_hz=100.0,
        setting_kohm=20.0,
        amplifier_input_kohm=20.0,
        capacitor_tolerance_percent=1.0,
        input_tolerance_percent=0.0,
    )
    found = wiring.given_corner_range(said)
    assert found is not None
    assert (found.low_hz, found.high_hz) == pytest.approx((100 / 1.01, 100 / 0.99), rel=1e-12)
    reference = load("tolerance-of-100-hz")
    usual = wiring.tolerances_of(Chain())
    assert usual.capacitor == reference.inputs["capacitance_tolerance"]
    assert usual.inputs == reference.inputs["resistance_tolerance"]
