"""Checks of the full line against a brute-force nodal solution, outside values and the trade's rules."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load

from fairhearing.acoustics import chain, network
from fairhearing.acoustics.network import LineNetwork, Place

ohms = st.floats(min_value=600.0, max_value=1e6)
some_ohms = st.lists(ohms, max_size=2).map(tuple)
lines = st.builds(
    LineNetwork,
    input_ohm=ohms,
    capacitance_f=st.floats(min_value=1e-9, max_value=1e-5),
    source_ohm=st.one_of(st.just(0.0), st.floats(min_value=1.0, max_value=1e4)),
    cable_f=st.one_of(st.just(0.0), st.floats(min_value=1e-12, max_value=5e-9)),
    taps_before_ohm=some_ohms,
    taps_ohm=some_ohms,
    second_input_ohm=st.one_of(st.none(), ohms),
    measuring_ohm=st.one_of(st.none(), ohms),
    coupling_f=st.one_of(st.none(), st.floats(min_value=1e-8, max_value=1e-5)),
)
places: st.SearchStrategy[Place] = st.sampled_from(["amplifier", "terminals"])
frequencies = st.floats(min_value=1.0, max_value=1e5)


Complex = npt.NDArray[np.complex128]


def nodal_voltages(frequency_hz: npt.ArrayLike, line: LineNetwork) -> dict[Place, Complex]:
    """Voltages at each frequency by Kirchhoff's current law as one matrix, with the current of an ideal source of 1 V.

    A wire makes one node of two.
    """
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    ground, source = -1, 0
    ahead = source if line.source_ohm == 0 else 1
    terminals = ahead if line.capacitance_f is None else ahead + 1
    amplifier = terminals if line.coupling_f is None else terminals + 1
    parts = [(ahead, ground, 1 / ohm) for ohm in line.taps_before_ohm]
    parts += [(terminals, ground, 1 / ohm) for ohm in line.taps_ohm]
    parts += [(terminals, ground, 1 / ohm) for ohm in (line.second_input_ohm, line.measuring_ohm) if ohm is not None]
    parts += [(terminals, ground, s * line.cable_f), (amplifier, ground, 1 / line.input_ohm)]
    parts += [(source, ahead, 1 / line.source_ohm)] if line.source_ohm else []
    parts += [(ahead, terminals, s * line.capacitance_f)] if line.capacitance_f else []
    parts += [(terminals, amplifier, s * line.coupling_f)] if line.coupling_f else []
    n_nodes = amplifier + 1
    matrix = np.zeros((len(s), n_nodes + 1, n_nodes + 1), dtype=complex)
    for one, other, admittance in parts:
        for node in (one, other):
            if node != ground:
                matrix[:, node, node] += admittance
        if ground not in (one, other):
            matrix[:, one, other] -= admittance
            matrix[:, other, one] -= admittance
    matrix[:, source, n_nodes] = matrix[:, n_nodes, source] = 1
    drive = np.zeros((len(s), n_nodes + 1, 1), dtype=complex)
    drive[:, n_nodes] = 1
    found = np.linalg.solve(matrix, drive)[:, :, 0]
    return {"terminals": found[:, terminals], "amplifier": found[:, amplifier]}


def nodal_level_db(frequency_hz: float, line: LineNetwork, at: Place = "amplifier") -> float:
    return float(20 * np.log10(abs(nodal_voltages(frequency_hz, line)[at][0])))


def scanned_corner_hz(line: LineNetwork) -> float:
    """3.01 dB below the highest level of a fine grid of the nodal solution, by halving."""
    grid = np.geomspace(1e-4, 1e9, 2601)
    peak = int(np.argmax(np.abs(nodal_voltages(grid, line)["amplifier"])))
    around = np.geomspace(grid[max(peak - 1, 0)], grid[min(peak + 1, len(grid) - 1)], 201)
    highest = np.abs(nodal_voltages(around, line)["amplifier"]).max()
    wanted_db = 20 * math.log10(highest) - 10 * math.log10(2)
    low, high = float(grid[0]), float(grid[peak])
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if nodal_level_db(middle, line) < wanted_db else (low, middle)
    return high


@given(line=lines, frequency_hz=frequencies, at=places)
def test_amount_and_phase_agree_with_the_brute_force_solution(
    line: LineNetwork, frequency_hz: float, at: Place
) -> None:
    found, expected = network.line_voltage(frequency_hz, line, at), complex(nodal_voltages(frequency_hz, line)[at][0])
    assert found == pytest.approx(expected, rel=1e-9)
    assert network.line_level_db(frequency_hz, line, at) == pytest.approx(20 * math.log10(abs(expected)), abs=1e-8)


@settings(max_examples=25, deadline=None)
@given(line=lines)
def test_the_corner_is_where_the_brute_force_solution_has_half_its_highest_power(line: LineNetwork) -> None:
    assert network.line_corner_hz(line) == pytest.approx(scanned_corner_hz(line), rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(line=lines)
def test_the_level_at_the_corner_lies_half_the_power_below_the_passband(line: LineNetwork) -> None:
    corner_hz, passband_db = network.line_corner_hz(line), network.line_passband_db(line)
    assert nodal_level_db(corner_hz, line) - passband_db == pytest.approx(10 * math.log10(0.5), abs=1e-8)


@settings(max_examples=50, deadline=None)
@given(line=lines, frequency_hz=frequencies)
def test_no_frequency_gives_more_than_the_passband(line: LineNetwork, frequency_hz: float) -> None:
    assert network.line_level_db(frequency_hz, line) <= network.line_passband_db(line) + 1e-9


@given(line=lines, frequency_hz=frequencies)
def test_every_load_that_is_hung_on_the_line_costs_level(line: LineNetwork, frequency_hz: float) -> None:
    level_db = network.line_level_db(frequency_hz, line)
    for more in ({"taps_ohm": (*line.taps_ohm, 5e3)}, {"taps_before_ohm": (*line.taps_before_ohm, 5e3)}):
        assert network.line_level_db(frequency_hz, replace(line, **more)) <= level_db + 1e-12


@settings(max_examples=25, deadline=None)
@given(line=lines)
def test_a_very_large_coupling_capacitor_is_as_good_as_none(line: LineNetwork) -> None:
    without = network.line_corner_hz(replace(line, coupling_f=None))
    assert network.line_corner_hz(replace(line, coupling_f=10.0)) == pytest.approx(without, rel=1e-5)


def test_two_capacitors_in_a_row_with_nothing_between_are_one() -> None:
    """Capacitors in series: 1/C is the sum of 1/C."""
    both = LineNetwork(input_ohm=20e3, capacitance_f=100e-9, coupling_f=300e-9)
    corner_hz = chain.corner_frequency_hz(75e-9, 20e3)
    assert network.line_corner_hz(both) == pytest.approx(corner_hz, rel=1e-9)
    assert network.line_level_db(30.0, both) == pytest.approx(chain.first_order_level_db(30.0, corner_hz), abs=1e-9)


@pytest.mark.parametrize("index", range(2))
def test_a_tap_behind_the_capacitor_raises_the_corner(index: int) -> None:
    reference = load("tap-of-150-kohm")
    line = LineNetwork(input_ohm=reference.inputs["load_ohm"][index], capacitance_f=80e-9)
    tapped = replace(line, taps_ohm=(reference.inputs["tap_ohm"],))
    ratio = network.line_corner_hz(tapped) / network.line_corner_hz(line)
    check(ratio, reference.expected["corner_ratio"][index], reference)


def test_a_tap_ahead_of_the_capacitor_does_hardly_anything() -> None:
    reference = load("tap-of-150-kohm-ahead")
    line = LineNetwork(
        input_ohm=reference.inputs["load_ohm"], capacitance_f=80e-9, source_ohm=reference.inputs["source_ohm"]
    )
    tapped = replace(line, taps_before_ohm=(reference.inputs["tap_ohm"],))
    check(network.line_corner_hz(tapped) / network.line_corner_hz(line), reference.expected["corner_ratio"], reference)


def test_a_second_input_like_the_first_doubles_the_corner() -> None:
    """Two of 20 kOhm side by side are 10 kOhm."""
    reference = load("A10")
    line = LineNetwork(input_ohm=20e3, capacitance_f=reference.inputs["capacitance_f"], second_input_ohm=20e3)
    check(network.line_corner_hz(line), reference.expected["corner_hz"][0], reference)


def test_a_measuring_input_moves_the_corner_that_is_measured() -> None:
    reference = load("measuring-input-of-10-kohm")
    line = LineNetwork(
        input_ohm=reference.inputs["load_ohm"],
        capacitance_f=16e-9,
        measuring_ohm=reference.inputs["measuring_ohm"],
    )
    played = network.line_corner_hz(replace(line, measuring_ohm=None))
    check(network.line_corner_hz(line, "terminals") / played, reference.expected["corner_ratio"], reference)


def test_cable_and_source_are_in_the_corner_and_in_the_passband() -> None:
    reference = load("cable-on-100-kohm")
    wired = LineNetwork(
        input_ohm=reference.inputs["load_ohm"],
        capacitance_f=chain.capacitance_f(reference.inputs["meant_hz"], reference.inputs["load_ohm"]),
        source_ohm=reference.inputs["source_ohm"],
        cable_f=reference.inputs["cable_f"],
    )
    check(network.line_corner_hz(wired), reference.expected["corner_hz"], reference)
    bare = replace(wired, cable_f=0.0)
    check(network.line_corner_hz(bare), reference.expected["corner_without_cable_hz"], reference)
    source = load("A09")
    line = LineNetwork(
        input_ohm=source.inputs["load_ohm"],
        capacitance_f=source.inputs["capacitance_f"],
        source_ohm=source.inputs["source_ohm"],
    )
    check(network.line_corner_hz(line), source.expected["corner_hz"], source)
    check(network.line_passband_db(line), source.expected["passband_db"], source)


def test_a_coupling_capacitor_by_itself_has_its_own_corner() -> None:
    reference = load("coupling-capacitor-of-the-reference")
    line = LineNetwork(input_ohm=reference.inputs["load_ohm"], coupling_f=reference.inputs["coupling_f"])
    check(network.line_corner_hz(line), reference.expected["corner_hz"], reference)


@pytest.mark.parametrize(
    "line", [LineNetwork(input_ohm=20e3), LineNetwork(input_ohm=20e3, source_ohm=1e3, cable_f=1e-9)]
)
def test_a_plain_wire_has_no_corner(line: LineNetwork) -> None:
    with pytest.raises(ValueError, match="has no corner"):
        network.line_corner_hz(line)


def test_the_response_over_a_grid_is_that_at_each_frequency() -> None:
    line = LineNetwork(input_ohm=20e3, capacitance_f=80e-9, coupling_f=1e-6, cable_f=1e-9, source_ohm=100.0)
    grid = np.geomspace(5.0, 2e4, 12).reshape(3, 4)
    found = network.line_response(grid, line)
    assert found.shape == grid.shape
    assert [complex(v) for v in found.ravel()] == [network.line_voltage(float(f), line) for f in grid.ravel()]


BAD: list[Callable[[float], LineNetwork]] = [
    lambda bad: LineNetwork(input_ohm=bad),
    lambda bad: LineNetwork(input_ohm=1e4, capacitance_f=bad),
    lambda bad: LineNetwork(input_ohm=1e4, source_ohm=bad),
    lambda bad: LineNetwork(input_ohm=1e4, cable_f=bad),
    lambda bad: LineNetwork(input_ohm=1e4, taps_ohm=(1e4, bad)),
    lambda bad: LineNetwork(input_ohm=1e4, taps_before_ohm=(bad,)),
    lambda bad: LineNetwork(input_ohm=1e4, second_input_ohm=bad),
    lambda bad: LineNetwork(input_ohm=1e4, measuring_ohm=bad),
    lambda bad: LineNetwork(input_ohm=1e4, coupling_f=bad),
]


@pytest.mark.parametrize("make", BAD)
@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_parts_that_cannot_be_are_refused(make: Callable[[float], LineNetwork], bad: float) -> None:
    with pytest.raises(ValueError, match=f"is {bad!r}"):
        make(bad)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_a_frequency_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="frequency_hz"):
        network.line_voltage(bad, LineNetwork(input_ohm=1e4))
