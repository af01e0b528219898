"""Checks of the noise that is estimated from the scatter of repeats, and of which points are clear of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.acoustics.noise import (
    clear_of_noise,
    noise_to_choose_by,
    scatter_noise_power,
    usable_in_both,
)

GRID_HZ = np.geomspace(10, 400, 128)
BELOW = GRID_HZ < 200


def gaussian_takes(generator: np.random.Generator, signal_power, noise_power, n_repeats: int):
    """Complex takes of a steady signal in complex Gaussian noise."""
    shape = (n_repeats, len(GRID_HZ))
    noise = generator.normal(size=shape) + 1j * generator.normal(size=shape)
    return np.sqrt(signal_power) + np.sqrt(np.broadcast_to(noise_power, shape) / 2) * noise


def test_a_case_solved_by_hand_is_met() -> None:
    # S = 3 and N = 1: M = S + N = 4, V = 2 S N + N^2 = 7. Two takes with that mean and variance: 4 +- sqrt(3.5).
    takes = np.array([4 - np.sqrt(3.5), 4 + np.sqrt(3.5)])[:, None] * np.ones(len(GRID_HZ))
    assert scatter_noise_power(GRID_HZ, takes)[BELOW] == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("signal_power", [10.0, 300.0])
def test_gaussian_noise_is_found_from_the_power_alone(signal_power: float) -> None:
    takes = gaussian_takes(np.random.default_rng(11), signal_power, 2.0, 6000)
    found = scatter_noise_power(GRID_HZ, np.abs(takes) ** 2)
    # 6,000 takes at 103 points: a standard error of a quarter of a per cent.
    assert np.mean(found[BELOW]) == pytest.approx(2.0, rel=0.0075)


@pytest.mark.parametrize("signal_power", [100.0, 300.0])
def test_gaussian_noise_is_found_with_phase(signal_power: float) -> None:
    # Data up to 10 kHz fix the delay of each take; from bass alone its error would add some per cent.
    generator, grid = np.random.default_rng(12), np.geomspace(10, 10_000, 240)
    shape = (3000, len(grid))
    noise = generator.normal(size=shape) + 1j * generator.normal(size=shape)
    takes = np.sqrt(signal_power) + noise  # noise power 2
    found = scatter_noise_power(grid, np.abs(takes) ** 2, np.rad2deg(np.angle(takes)))
    assert np.mean(found[grid < 200]) == pytest.approx(2.0, rel=0.0099)


def test_noise_is_found_in_the_dips_of_a_room_as_well_as_at_its_peaks() -> None:
    signal = 100 * np.exp(2 * np.sin(12 * np.log(GRID_HZ)))
    found = scatter_noise_power(GRID_HZ, np.abs(gaussian_takes(np.random.default_rng(12), signal, 2.0, 400)) ** 2)
    assert found[BELOW] == pytest.approx(2.0, rel=0.1)


def test_above_200_hz_scatter_is_no_noise() -> None:
    takes = np.abs(gaussian_takes(np.random.default_rng(13), 10.0, 2.0, 5)) ** 2
    assert np.all(scatter_noise_power(GRID_HZ, takes)[~BELOW] == 0)


def test_a_delay_between_takes_is_no_noise() -> None:
    takes = np.ones((3, len(GRID_HZ)))
    phase = -360.0 * GRID_HZ * np.array([[0.0], [0.004], [-0.011]])
    assert np.all(scatter_noise_power(GRID_HZ, takes, phase) < 1e-9)


def test_one_take_shows_no_noise() -> None:
    with pytest.raises(ValueError, match="two repeats"):
        scatter_noise_power(GRID_HZ, np.ones((1, len(GRID_HZ))))


@settings(max_examples=25, deadline=None, derandomize=True)
@given(gain=st.floats(1e-6, 1e6), seed=st.integers(0, 1000))
def test_noise_scales_with_the_takes_and_their_order_does_not_count(gain: float, seed: int) -> None:
    takes = gaussian_takes(np.random.default_rng(seed), 10.0, 1.0, 3)
    power = np.abs(takes) ** 2
    found = scatter_noise_power(GRID_HZ, power)
    assert scatter_noise_power(GRID_HZ, gain * power) == pytest.approx(gain * found, rel=1e-9, abs=0)
    assert scatter_noise_power(GRID_HZ, power[::-1]) == pytest.approx(found, rel=1e-9)


def test_a_level_is_clear_from_the_limit_on_and_a_missing_one_never() -> None:
    level = 10 ** (np.array([14.9, 15.1, np.nan, -np.inf]) / 10)
    assert clear_of_noise(level, np.ones(4), 15.0).tolist() == [False, True, False, False]


def test_points_without_noise_are_all_usable_in_both() -> None:
    curves = (np.exp(np.sin(GRID_HZ)), np.exp(np.cos(GRID_HZ)))
    none = np.zeros(len(GRID_HZ))
    assert usable_in_both(GRID_HZ, curves, (none, none), (2, 3), 15.0).all()


def test_a_hum_leaves_out_the_points_that_it_covers() -> None:
    flat = np.full(len(GRID_HZ), 1000.0)
    hum = np.where(np.abs(GRID_HZ - 50) < 2, 100.0, 1.0)
    usable = usable_in_both(GRID_HZ, (flat, flat), (hum, np.ones(len(GRID_HZ))), (2, 2), 15.0)
    assert np.array_equal(usable, hum == 1.0)


def chosen_change(choose) -> float:
    """Mean error (dB) of the change over the points that are chosen, many times over."""
    generator, errors = np.random.default_rng(14), []
    signal = np.exp(1.5 * np.sin(25 * np.log(GRID_HZ)))  # 3.4 to 35 times, mean 10 dB over the noise
    signal = signal * 10
    noise = np.ones(len(GRID_HZ))
    for _ in range(400):
        curves = tuple(
            np.mean(np.abs(gaussian_takes(generator, s, noise, 2)) ** 2, axis=0) for s in (0.3 * signal, signal)
        )
        chosen = choose(curves, noise)
        true = np.log((0.3 * signal + 1) / (signal + 1))
        errors += (10 / np.log(10) * (np.log(curves[0] / curves[1]) - true))[chosen].tolist()
    return float(np.mean(errors))


def test_which_points_are_chosen_says_nothing_about_the_change() -> None:
    both = chosen_change(lambda curves, noise: usable_in_both(GRID_HZ, curves, (noise, noise), (2, 2), 8.0))
    each = chosen_change(
        lambda curves, noise: clear_of_noise(curves[0], noise, 8.0) & clear_of_noise(curves[1], noise, 8.0)
    )
    # Chosen level by level, the weaker curve's points are those that noise lifted.
    assert each > 0.25
    assert abs(both) < 0.1


def test_noise_to_choose_by_comes_from_beside_the_point() -> None:
    even = np.where(BELOW, 2.0, 0.0)
    assert noise_to_choose_by(GRID_HZ, even)[BELOW] == pytest.approx(2.0, rel=1e-9)
    near = np.abs(np.log2(GRID_HZ / 60)) < 0.15
    low_here = np.where(near, 0.2, even)
    index = int(np.argmin(np.abs(GRID_HZ - 60)))
    assert noise_to_choose_by(GRID_HZ, low_here)[index] == pytest.approx(2.0, rel=1e-6)
    # A hum of its own is not overlooked: never less than the estimate less 6 dB.
    high_here = np.where(near, 200.0, even)
    assert noise_to_choose_by(GRID_HZ, high_here)[index] == pytest.approx(200 * 10**-0.6, rel=1e-9)
    assert np.all(noise_to_choose_by(GRID_HZ, even)[~BELOW] == 0)
