"""Levels behind high-passes against a filter in the frequency domain, closed forms and a filter of scipy's design."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

from fairhearing.acoustics.filtered_levels import FilteredLevels

RATE_HZ = 48_000


def summarised(summary, samples, rate_hz=RATE_HZ, n_frames_of_block=1013):
    accumulator = summary.start(SimpleNamespace(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples)))
    for at in range(0, len(samples), n_frames_of_block):
        accumulator.update(samples[at : at + n_frames_of_block])
    return accumulator.result()


def noise(n_frames=RATE_HZ, n_channels=2, seed=3):
    return np.random.default_rng(seed).normal(0.02, 0.2, (n_frames, n_channels))


@pytest.mark.parametrize(("corner_hz", "frequency_hz"), [(80.0, 20.0), (80.0, 80.0), (80.0, 2000.0), (16.0, 1000.0)])
def test_a_tone_loses_what_a_capacitor_and_a_resistor_take(corner_hz, frequency_hz):
    """|H|^2 = 1 / (1 + (f_c/f)^2), first-order high-pass: circuit theory, no source; 0.01 dB."""
    tone = np.sin(2 * np.pi * frequency_hz * np.arange(2 * RATE_HZ) / RATE_HZ)[:, None]
    kept = summarised(FilteredLevels((corner_hz,), block_s=1.0), tone)["mean_square"][1, 0]
    assert 10 * np.log10(2 * kept) == pytest.approx(-10 * np.log10(1 + (corner_hz / frequency_hz) ** 2), abs=0.01)


def test_it_is_the_filter_that_scipy_designs():
    """scipy.signal.butter of order 1 and sosfilt (computed); 1e-12."""
    samples = noise()
    found = summarised(FilteredLevels((80.0, 16.0), gain=0.9, block_s=0.05), samples)
    sections = np.vstack([signal.butter(1, corner, "high", fs=RATE_HZ, output="sos") for corner in (80.0, 16.0)])
    blocks = (0.9 * signal.sosfilt(sections, samples, axis=0)).reshape(-1, 2400, 2)
    for name, expected in (
        ("mean_square", np.mean(blocks**2, axis=1)),
        ("mean", blocks.mean(axis=1)),
        ("highest", blocks.max(axis=1)),
        ("lowest", blocks.min(axis=1)),
    ):
        np.testing.assert_allclose(found[name], expected, rtol=1e-11, atol=1e-14)
    assert found["n_frames"].tolist() == [2400.0] * 20


def test_no_corner_is_no_filter_and_the_offset_stays():
    samples = noise(1000)
    found = summarised(FilteredLevels((), gain=2.0, block_s=1.0), samples)
    np.testing.assert_allclose(found["mean"][0], 2 * samples.mean(axis=0), rtol=1e-12)
    np.testing.assert_allclose(found["mean_square"][0], 4 * np.mean(samples**2, axis=0), rtol=1e-12)
    np.testing.assert_array_equal(found["highest"][0], 2 * samples.max(axis=0))


def test_an_offset_does_not_pass_a_capacitor():
    found = summarised(FilteredLevels((80.0,), block_s=0.5), np.ones((RATE_HZ, 1)))
    assert found["mean_square"][1, 0] < 1e-27


def test_a_result_in_between_changes_nothing_of_what_follows():
    samples = noise(5000)
    summary = FilteredLevels((200.0,), block_s=0.03)
    accumulator = summary.start(SimpleNamespace(rate_hz=RATE_HZ, n_channels=2, n_frames=5000))
    accumulator.update(samples[:2222])
    accumulator.result()
    accumulator.update(samples[2222:])
    for name, expected in summarised(summary, samples).items():
        np.testing.assert_array_equal(accumulator.result()[name], expected)


@pytest.mark.parametrize(
    "said", [{"corners_hz": (0.0,)}, {"gain": -1.0}, {"block_s": np.inf}, {"corners_hz": (np.nan,)}]
)
def test_parameters_out_of_range_are_refused(said):
    with pytest.raises(ValueError, match="not a number above 0"):
        FilteredLevels(**said)


def test_a_corner_too_near_to_half_the_rate_is_refused():
    with pytest.raises(ValueError, match="a corner of 300 Hz at a sample rate of 1000 Hz"):
        FilteredLevels((300.0,)).start(SimpleNamespace(rate_hz=1000, n_channels=1, n_frames=10))
