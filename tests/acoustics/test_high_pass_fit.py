"""Checks of the high-pass fit: exact recovery, its traps, scipy's least squares, laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import check, load
from scipy import optimize

from fairhearing.acoustics.bands import band_level_db, third_octave_bands
from fairhearing.acoustics.fit_sensitivity import loss_sensitivity, sensitivity, smooth_error_variance
from fairhearing.acoustics.high_pass_fit import Change, Model, fit_high_pass, fit_signed_loss_db

GRID_HZ = np.geomspace(20, 20_000, 240)
BOTH = Model(in_reference=True)


def passed_db(frequency_hz, corner_hz: float, order: int = 1):
    """Level of a maximally flat high-pass of order 1 or 2, written with complex numbers."""
    s = 1j * np.asarray(frequency_hz) / corner_hz
    if order == 1:
        return 20 * np.log10(np.abs(s / (1 + s)))
    assert order == 2
    return 20 * np.log10(np.abs(s**2 / (s**2 + np.sqrt(2) * s + 1)))


def one_group(frequency_hz, change_db) -> Change:
    rows = np.atleast_2d(np.asarray(change_db, dtype=float))
    return Change(
        frequency_hz=np.asarray(frequency_hz, dtype=float), change_db=rows, starts=np.array([0], dtype=np.intp)
    )


@pytest.mark.parametrize("corner_hz", [20.0, 80.0, 160.0, 900.0])
def test_the_octave_table_of_a_first_order_filter_gives_its_corner(corner_hz: float) -> None:
    table = load("A05")  # levels rounded to four places
    frequency = corner_hz * np.array(table.inputs["frequency_over_corner"])
    fit = fit_high_pass(one_group(frequency, table.expected["level_db"]))
    assert fit.corner_hz[0] == pytest.approx(corner_hz, rel=2e-5)
    assert fit.gain_db[0, 0] == pytest.approx(0.0, abs=2e-4)
    assert not fit.at_bound[0]


def test_source_resistance_does_not_move_the_corner() -> None:
    reference = load("A23")
    frequency = np.array(reference.inputs["frequency_hz"])
    change = passed_db(frequency, reference.inputs["corner_hz"]) + reference.inputs["gain_db"]
    fit = fit_high_pass(one_group(frequency, change))
    check(float(fit.corner_hz[0]), reference.expected["corner_hz"], reference)
    assert fit.gain_db[0, 0] == pytest.approx(reference.inputs["gain_db"], abs=1e-6)
    # The trap: with the gain held at 0 dB the same data read 107 Hz.
    held = optimize.least_squares(lambda p: passed_db(frequency, p[0]) - change, [90.0]).x[0]
    check(float(held), reference.expected["corner_if_gain_is_held_at_0_db_hz"], reference)


def test_a_setting_moved_from_80_to_100_hz_is_two_corners() -> None:
    change = one_group(GRID_HZ, passed_db(GRID_HZ, 100.0) - passed_db(GRID_HZ, 80.0))
    both = fit_high_pass(change, BOTH)
    assert both.reference_corner_hz is not None
    assert both.corner_hz[0] == pytest.approx(100.0, rel=1e-6)
    assert both.reference_corner_hz[0] == pytest.approx(80.0, rel=1e-6)
    # The trap: as one filter it reads below 20 Hz; where, hangs on the grid. Against scipy on this one.
    alone = optimize.least_squares(lambda p: p[1] + passed_db(GRID_HZ, p[0]) - change.change_db[0], [30.0, 0.0])
    found = fit_high_pass(change).corner_hz[0]
    assert found == pytest.approx(alone.x[0], rel=1e-5)
    assert found < 20


def test_a_coupling_capacitor_in_the_reference_is_found_beside_the_filter() -> None:
    coupling_hz = 1 / (2 * np.pi * 0.47e-6 * 20e3)  # 16.9 Hz
    fit = fit_high_pass(one_group(GRID_HZ, passed_db(GRID_HZ, 100.0) - passed_db(GRID_HZ, coupling_hz)), BOTH)
    assert fit.reference_corner_hz is not None
    assert fit.corner_hz[0] == pytest.approx(100.0, rel=1e-6)
    assert fit.reference_corner_hz[0] == pytest.approx(coupling_hz, rel=1e-6)


def test_a_filter_in_the_reference_alone_is_found_there() -> None:
    fit = fit_high_pass(one_group(GRID_HZ, -passed_db(GRID_HZ, 90.0)), Model(in_condition=False, in_reference=True))
    assert fit.reference_corner_hz is not None
    assert fit.reference_corner_hz[0] == pytest.approx(90.0, rel=1e-6)
    assert np.isnan(fit.corner_hz[0])


@pytest.mark.parametrize("order", [1, 2])
def test_the_order_of_a_maximally_flat_filter_is_found(order: int) -> None:
    fit = fit_high_pass(one_group(GRID_HZ, passed_db(GRID_HZ, 70.0, order) - 0.3), Model(free_order=True))
    assert fit.order[0] == pytest.approx(order, abs=1e-6)
    assert fit.corner_hz[0] == pytest.approx(70.0, rel=1e-6)


def test_band_levels_of_a_room_bias_the_corner_and_points_do_not() -> None:
    frequency = np.geomspace(15, 5000, 4000)
    room = (frequency / 100) ** 3 / (1 + (frequency / 60) ** 6)
    filtered = room * 10 ** (passed_db(frequency, 83.1) / 10)
    points = fit_high_pass(one_group(frequency, 10 * np.log10(filtered / room)))
    assert points.corner_hz[0] == pytest.approx(83.1, rel=1e-6)
    bands = third_octave_bands(20, 4000)
    change = band_level_db(frequency, filtered, bands) - band_level_db(frequency, room, bands)
    by_bands = fit_high_pass(one_group(np.sqrt(bands.lower_hz * bands.upper_hz), change))
    assert abs(by_bands.corner_hz[0] / 83.1 - 1) > 0.002


def test_seats_with_grids_and_gains_of_their_own_share_one_corner() -> None:
    generator = np.random.default_rng(21)
    grids = [np.geomspace(20, 900, 50), np.geomspace(30, 2000, 80), np.geomspace(20, 900, 50)]
    frequency = np.concatenate(grids)
    seat = np.repeat([0, 1, 2], [50, 80, 50])
    change = passed_db(frequency, 60.0) + np.array([0.5, -1.0, 2.0])[seat] + generator.normal(0, 0.5, len(seat))
    fit = fit_high_pass(
        Change(frequency_hz=frequency, change_db=change[None, :], starts=np.array([0, 50, 130], dtype=np.intp)),
        Model(free_order=True),
    )

    def misfit(p):
        return p[2:][seat] - 10 * np.log10(1 + (np.exp(p[0]) / frequency) ** (2 * p[1])) - change

    expected = optimize.least_squares(misfit, [np.log(80.0), 1.0, 0.0, 0.0, 0.0], xtol=1e-15, ftol=1e-15).x
    assert fit.corner_hz[0] == pytest.approx(np.exp(expected[0]), rel=1e-6)
    assert fit.order[0] == pytest.approx(expected[1], rel=1e-6)
    assert fit.gain_db[0] == pytest.approx(expected[2:], abs=1e-6)


def test_many_data_sets_are_fitted_as_each_alone() -> None:
    generator = np.random.default_rng(22)
    corners = np.array([25.0, 60.0, 110.0, 155.0])
    rows = np.array([passed_db(GRID_HZ, c) for c in corners]) + generator.normal(0, 0.3, (4, len(GRID_HZ)))
    together = fit_high_pass(one_group(GRID_HZ, rows))
    alone = [float(fit_high_pass(one_group(GRID_HZ, row)).corner_hz[0]) for row in rows]
    assert together.corner_hz == pytest.approx(alone, rel=1e-9)
    near = fit_high_pass(one_group(GRID_HZ, rows), start=fit_high_pass(one_group(GRID_HZ, rows[1])))
    assert near.corner_hz == pytest.approx(alone, rel=1e-7)


def test_a_change_without_a_filter_ends_at_a_bound() -> None:
    assert fit_high_pass(one_group(GRID_HZ, np.zeros(len(GRID_HZ)))).at_bound[0]


def test_fewer_points_than_unknowns_are_an_error() -> None:
    with pytest.raises(ValueError, match="too few"):
        fit_high_pass(one_group([20.0, 40.0], [-1.0, 0.0]))


def test_the_signed_loss_scatters_around_nothing_where_nothing_changed() -> None:
    noise = np.random.default_rng(23).normal(0, 0.5, (400, len(GRID_HZ)))
    loss = fit_signed_loss_db(one_group(GRID_HZ, noise), 20.0)
    assert 0.35 < np.mean(loss < 0) < 0.65
    assert abs(np.mean(loss)) < 3 * np.std(loss) / np.sqrt(400) + 0.02


def test_the_signed_loss_of_a_filter_is_its_loss() -> None:
    change = one_group(GRID_HZ, passed_db(GRID_HZ, 100.0) + 1.5)
    # A05: 6.9897 dB at half the corner.
    assert fit_signed_loss_db(change, 50.0)[0] == pytest.approx(6.9897, abs=1e-4)
    started = fit_signed_loss_db(change, 50.0, np.array([90.0**2]))
    assert started[0] == pytest.approx(6.9897, abs=1e-4)


@pytest.mark.parametrize("model", [Model(), Model(free_order=True), BOTH])
def test_sensitivities_are_what_a_small_error_does(model: Model) -> None:
    change = one_group(GRID_HZ, passed_db(GRID_HZ, 100.0) - (passed_db(GRID_HZ, 30.0) if model == BOTH else 0.0))
    fit = fit_high_pass(change, model)
    error = 1e-4 * np.sin(3 * np.log(GRID_HZ))
    moved = fit_high_pass(one_group(GRID_HZ, change.change_db + error), model)
    by_parameter = [np.log(moved.corner_hz[0] / fit.corner_hz[0])]
    if moved.reference_corner_hz is not None and fit.reference_corner_hz is not None:
        by_parameter.append(np.log(moved.reference_corner_hz[0] / fit.reference_corner_hz[0]))
    if model.free_order:
        by_parameter.append(moved.order[0] - fit.order[0])
    assert sensitivity(change, model, fit) @ error == pytest.approx(by_parameter, rel=2e-3)


def test_the_sensitivity_of_the_loss_is_what_a_small_error_does() -> None:
    change = one_group(GRID_HZ, passed_db(GRID_HZ, 40.0))
    error = 1e-4 * np.sin(3 * np.log(GRID_HZ))
    moved = fit_signed_loss_db(one_group(GRID_HZ, change.change_db + error), 20.0)
    before = fit_signed_loss_db(change, 20.0)
    assert loss_sensitivity(change, 20.0) @ error == pytest.approx(moved[0] - before[0], rel=2e-3)


def test_the_variance_of_a_smooth_error_is_the_double_sum() -> None:
    frequency = 10 ** (np.arange(150, 400) / 120)  # twelve points per third octave, on the bins of the sum
    weight = np.random.default_rng(24).normal(size=len(frequency))
    apart = 10 * np.log10(frequency[:, None] / frequency[None, :])  # in base-ten third octaves
    expected = weight @ np.exp(-(apart**2) / 2) @ weight
    assert smooth_error_variance(frequency, weight) == pytest.approx(expected, rel=1e-3)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(gain=st.floats(-40, 40), factor=st.floats(0.1, 10), seed=st.integers(0, 1000), corner_hz=st.floats(30, 300))
def test_gain_changes_nothing_and_the_corner_follows_the_scale(
    gain: float, factor: float, seed: int, corner_hz: float
) -> None:
    change = passed_db(GRID_HZ, corner_hz) + np.random.default_rng(seed).normal(0, 0.3, len(GRID_HZ))
    fit = fit_high_pass(one_group(GRID_HZ, change))
    louder = fit_high_pass(one_group(GRID_HZ, change + gain))
    assert louder.corner_hz[0] == pytest.approx(fit.corner_hz[0], rel=1e-7)
    assert louder.gain_db[0, 0] == pytest.approx(fit.gain_db[0, 0] + gain, abs=1e-7)
    assert fit_high_pass(one_group(GRID_HZ * factor, change)).corner_hz[0] == pytest.approx(
        factor * fit.corner_hz[0], rel=1e-7
    )


@settings(max_examples=20, deadline=None, derandomize=True)
@given(seed=st.integers(0, 1000))
def test_the_order_of_points_and_of_seats_does_not_count(seed: int) -> None:
    generator = np.random.default_rng(seed)
    change = passed_db(GRID_HZ, 80.0) + generator.normal(0, 0.3, (2, len(GRID_HZ)))
    starts = np.array([0, len(GRID_HZ)], dtype=np.intp)
    twice = np.tile(GRID_HZ, 2)
    shuffled = generator.permutation(len(GRID_HZ))

    def corner(frequency_hz, first, second) -> float:
        fit = fit_high_pass(
            Change(frequency_hz=frequency_hz, change_db=np.concatenate([first, second])[None, :], starts=starts)
        )
        return float(fit.corner_hz[0])

    expected = corner(twice, change[0], change[1])
    assert corner(twice, change[1], change[0]) == pytest.approx(expected, rel=1e-7)
    mixed = np.concatenate([GRID_HZ[shuffled], GRID_HZ])
    assert corner(mixed, change[0][shuffled], change[1]) == pytest.approx(expected, rel=1e-7)
