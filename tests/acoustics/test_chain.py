"""Checks of the wired high-pass against complex nodal analysis, outside values and the trade's rules."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import check, load

from fairhearing.acoustics import chain
from fairhearing.acoustics.chain import Network

networks = st.builds(
    Network,
    capacitance_f=st.floats(min_value=1e-9, max_value=1e-5),
    load_ohm=st.floats(min_value=600.0, max_value=1e6),
    source_ohm=st.floats(min_value=0.0, max_value=1e4),
    cable_f=st.floats(min_value=0.0, max_value=5e-9),
)


def nodal_level_db(frequency_hz: float, network: Network) -> float:
    """Level at the load by solving Kirchhoff's current law at both nodes; the source stands as a conductance."""
    source_s = 1.0 / max(network.source_ohm, 1e-6)
    angular = 2.0 * np.pi * frequency_hz
    capacitor_s = 1j * angular * network.capacitance_f
    load_s = 1.0 / network.load_ohm + 1j * angular * network.cable_f
    admittance_s = np.array([[source_s + capacitor_s, -capacitor_s], [-capacitor_s, capacitor_s + load_s]])
    voltages = np.linalg.solve(admittance_s, np.array([source_s, 0.0]))
    return float(20.0 * np.log10(abs(voltages[1])))


@given(network=networks, frequency_hz=st.floats(min_value=1.0, max_value=1e5))
def test_the_level_agrees_with_complex_nodal_analysis(network: Network, frequency_hz: float) -> None:
    found = chain.network_level_db(frequency_hz, network)
    assert found == pytest.approx(nodal_level_db(frequency_hz, network), abs=1e-5)


@given(network=networks)
def test_the_corner_lies_half_the_power_below_the_passband(network: Network) -> None:
    corner_hz = chain.network_corner_hz(network)
    passband_db = chain.network_passband_db(network)
    assert nodal_level_db(corner_hz, network) - passband_db == pytest.approx(10 * math.log10(0.5), abs=1e-5)
    assert nodal_level_db(corner_hz / 2, network) < nodal_level_db(corner_hz, network)


@given(network=networks.filter(lambda n: n.source_ohm > 1.0 and n.cable_f > 1e-12))
def test_no_frequency_gives_more_than_the_passband(network: Network) -> None:
    passband_db = chain.network_passband_db(network)
    peak_hz = 1 / (
        2 * math.pi * math.sqrt(network.load_ohm * network.cable_f * network.source_ohm * network.capacitance_f)
    )
    assert nodal_level_db(peak_hz, network) == pytest.approx(passband_db, abs=1e-5)
    for factor in (0.5, 0.9, 1.1, 2.0):
        assert nodal_level_db(peak_hz * factor, network) < passband_db


def test_a_source_resistance_lowers_the_corner_and_costs_level() -> None:
    reference = load("A09")
    network = Network(**reference.inputs)
    check(chain.network_corner_hz(network), reference.expected["corner_hz"], reference)
    check(chain.network_passband_db(network), reference.expected["passband_db"], reference)


@given(network=networks)
def test_without_a_cable_the_network_is_the_first_order_high_pass(network: Network) -> None:
    bare = Network(capacitance_f=network.capacitance_f, load_ohm=network.load_ohm, source_ohm=network.source_ohm)
    corner_hz = chain.corner_frequency_hz(network.capacitance_f, network.load_ohm + network.source_ohm)
    assert chain.network_corner_hz(bare) == pytest.approx(corner_hz, rel=1e-12)
    level_db = chain.network_level_db(30.0, bare) - chain.network_passband_db(bare)
    assert level_db == pytest.approx(chain.first_order_level_db(30.0, corner_hz), abs=1e-9)


@given(network=networks)
def test_the_implied_load_is_the_load_that_gave_the_corner(network: Network) -> None:
    bare = Network(capacitance_f=network.capacitance_f, load_ohm=network.load_ohm, source_ohm=network.source_ohm)
    found_ohm = chain.implied_load_ohm(chain.network_corner_hz(bare), bare.capacitance_f, bare.source_ohm)
    assert found_ohm == pytest.approx(bare.load_ohm, rel=1e-9)


def test_a_setting_for_a_fifth_of_the_load_moves_the_corner_to_a_fifth() -> None:
    reference, octaves = load("setting-a-fifth-of-the-load"), load("setting-a-fifth-of-the-load-octaves")
    meant_hz = reference.inputs["meant_hz"]
    capacitance_f = chain.capacitance_f(meant_hz, reference.inputs["setting_ohm"])
    found_hz = chain.network_corner_hz(Network(capacitance_f=capacitance_f, load_ohm=reference.inputs["load_ohm"]))
    check(found_hz, reference.expected["corner_hz"], reference)
    assert meant_hz / found_hz == pytest.approx(octaves.inputs["ratio"], rel=1e-9)
    check(-chain.octaves(found_hz, meant_hz), octaves.expected["octaves"], octaves)


def test_the_boost_for_the_meant_corner_leaves_too_much_behind_a_filter_that_sits_lower() -> None:
    reference = load("boost-for-100-hz-behind-20-hz")
    boost_hz, corner_hz = reference.inputs["boost_hz"], reference.inputs["corner_hz"]
    left_in_db = [
        chain.boost_level_db(frequency_hz, boost_hz) + chain.first_order_level_db(frequency_hz, corner_hz)
        for frequency_hz in reference.inputs["frequency_in_hz"]
    ]
    left_out_db = [chain.boost_level_db(f, boost_hz) for f in reference.inputs["frequency_out_hz"]]
    assert [round(value) for value in left_in_db] == reference.expected["left_in_whole_db"]
    assert [round(value) for value in left_out_db] == reference.expected["left_out_whole_db"]


def test_a_cable_behind_the_capacitor_lowers_the_corner() -> None:
    reference = load("cable-on-100-kohm")
    load_ohm, source_ohm = reference.inputs["load_ohm"], reference.inputs["source_ohm"]
    capacitance_f = chain.capacitance_f(reference.inputs["meant_hz"], load_ohm)
    assert round(capacitance_f * 1e9, 1) == reference.inputs["capacitance_nf_rounded"]
    bare = Network(capacitance_f=capacitance_f, load_ohm=load_ohm, source_ohm=source_ohm)
    check(chain.network_corner_hz(bare), reference.expected["corner_without_cable_hz"], reference)
    wired = Network(
        capacitance_f=capacitance_f, load_ohm=load_ohm, source_ohm=source_ohm, cable_f=reference.inputs["cable_f"]
    )
    check(chain.network_corner_hz(wired), reference.expected["corner_hz"], reference)


@pytest.mark.parametrize("index", range(2))
def test_a_tap_behind_the_capacitor_raises_the_corner(index: int) -> None:
    reference = load("tap-of-150-kohm")
    load_ohm = reference.inputs["load_ohm"][index]
    loaded_ohm = chain.parallel_ohm(load_ohm, reference.inputs["tap_ohm"])
    ratio = chain.corner_frequency_hz(1e-7, loaded_ohm) / chain.corner_frequency_hz(1e-7, load_ohm)
    check(ratio, reference.expected["corner_ratio"][index], reference)


def test_the_usual_tolerances_put_100_hz_between_79_and_132_hz() -> None:
    reference = load("tolerance-of-100-hz")
    network = Network(capacitance_f=chain.capacitance_f(reference.inputs["corner_hz"], 2e4), load_ohm=2e4)
    found = chain.network_corner_range(network)
    check(found.low_hz, reference.expected["low_hz"], reference)
    check(found.high_hz, reference.expected["high_hz"], reference)
    assert reference.inputs["capacitance_tolerance"] == chain.CAPACITANCE_TOLERANCE
    assert reference.inputs["resistance_tolerance"] == chain.RESISTANCE_TOLERANCE


@given(network=networks)
def test_every_part_within_its_tolerance_keeps_the_corner_within_the_range(network: Network) -> None:
    found = chain.network_corner_range(network, capacitance_tolerance=0.1, resistance_tolerance=0.2)
    for capacitor in (0.9, 1.0, 1.1):
        for load_factor in (0.8, 1.0, 1.2):
            corner_hz = chain.network_corner_hz(
                Network(
                    capacitance_f=network.capacitance_f * capacitor,
                    load_ohm=network.load_ohm * load_factor,
                    source_ohm=network.source_ohm,
                    cable_f=network.cable_f,
                )
            )
            assert found.low_hz * (1 - 1e-12) <= corner_hz <= found.high_hz * (1 + 1e-12)


@pytest.mark.parametrize("name", ["capacitance_f", "load_ohm", "source_ohm", "cable_f"])
@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_a_network_of_parts_that_cannot_be_is_refused_by_name(name: str, bad: float) -> None:
    parts = {"capacitance_f": 1e-7, "load_ohm": 2e4, "source_ohm": 100.0, "cable_f": 1e-10}
    with pytest.raises(ValueError, match=f"{name} is {bad!r}"):
        Network(**(parts | {name: bad}))


def test_zero_is_refused_for_capacitor_and_load_and_taken_for_source_and_cable() -> None:
    with pytest.raises(ValueError, match="capacitance_f is 0"):
        Network(capacitance_f=0.0, load_ohm=2e4)
    with pytest.raises(ValueError, match="load_ohm is 0"):
        Network(capacitance_f=1e-7, load_ohm=0.0)
    assert Network(capacitance_f=1e-7, load_ohm=2e4).second_order_s2 == 0.0


@pytest.mark.parametrize("bad", [-0.1, 1.0, math.nan])
def test_a_tolerance_outside_zero_to_one_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="capacitance_tolerance"):
        chain.network_corner_range(Network(capacitance_f=1e-7, load_ohm=2e4), capacitance_tolerance=bad)
    with pytest.raises(ValueError, match="resistance_tolerance"):
        chain.network_corner_range(Network(capacitance_f=1e-7, load_ohm=2e4), resistance_tolerance=bad)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_functions_of_the_chain_refuse_values_that_cannot_be(bad: float) -> None:
    with pytest.raises(ValueError, match="frequency_hz"):
        chain.network_level_db(bad, Network(capacitance_f=1e-7, load_ohm=2e4))
    with pytest.raises(ValueError, match="corner_hz"):
        chain.implied_load_ohm(bad, 1e-7)
    with pytest.raises(ValueError, match="capacitance_f"):
        chain.implied_load_ohm(100.0, bad)


def test_the_implied_load_takes_a_source_of_zero_and_refuses_one_below() -> None:
    assert chain.implied_load_ohm(100.0, 1e-7, 0.0) - chain.implied_load_ohm(100.0, 1e-7, 50.0) == pytest.approx(50.0)
    with pytest.raises(ValueError, match="source_ohm is -1"):
        chain.implied_load_ohm(100.0, 1e-7, -1.0)
