"""Block levels and spectra of recordings against numpy, scipy.signal.welch and values worked by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

from fairhearing.acoustics.summaries import BlockLevels, PowerSpectrum

RATE_HZ = 4000


def summarised(summary, samples, rate_hz=RATE_HZ, n_frames_of_block=997):
    accumulator = summary.start(
        SimpleNamespace(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples), subtype="DOUBLE")
    )
    for at in range(0, len(samples), n_frames_of_block):
        accumulator.update(samples[at : at + n_frames_of_block])
    return accumulator.result()


def noise(n_frames, n_channels=2, seed=5):
    return np.random.default_rng(seed).normal(0.03, 0.2, (n_frames, n_channels))


@pytest.mark.parametrize(
    ("rate_hz", "window_s", "n_frames"), [(4000, 1.0, 22_345), (44_100, 0.05, 30_000), (8000, 0.0625, 500)]
)
def test_the_spectrum_is_that_of_welch(rate_hz, window_s, n_frames):
    """P. D. Welch 1967 as scipy.signal.welch computes it (computed); 1e-9 relative in every bin."""
    samples = noise(n_frames)
    found = summarised(PowerSpectrum(window_s=window_s), samples, rate_hz)
    n = 2 * round(window_s * rate_hz / 2)
    frequency_hz, density = signal.welch(
        samples, rate_hz, window="hann", nperseg=n, noverlap=n // 2, detrend=False, scaling="density", axis=0
    )
    np.testing.assert_allclose(found["frequency_hz"], frequency_hz, rtol=1e-14)
    np.testing.assert_allclose(found["power_density"], density, rtol=1e-9)
    assert found["n_windows"].tolist() == [(n_frames - n // 2) // (n - n // 2)]


def test_the_mean_is_that_of_all_frames_those_after_the_last_window_too():
    samples = noise(4 * RATE_HZ + 123)
    samples[-123:] += 0.5
    np.testing.assert_allclose(summarised(PowerSpectrum(), samples)["mean"], samples.mean(axis=0), rtol=1e-13)


def test_the_density_of_white_noise_adds_up_to_its_mean_square():
    """Parseval: the integral over frequency is the mean square, but for the spread of 119 windows."""
    samples = np.random.default_rng(2).normal(0.0, 0.2, (60 * RATE_HZ, 1))
    density = summarised(PowerSpectrum(), samples)["power_density"]
    assert density.sum() == pytest.approx(0.04, rel=0.005)


def test_a_sine_at_a_bin_stands_in_that_bin_and_its_two_neighbours():
    """The Hann window's transform is 1/4, 1/2, 1/4 (worked by hand): 2/3 of the power in the bin, 1/6 on each side."""
    time_s = np.arange(5 * RATE_HZ)[:, None] / RATE_HZ
    density = summarised(PowerSpectrum(), 0.8 * np.sin(2 * np.pi * 440 * time_s))["power_density"][:, 0]
    np.testing.assert_allclose(density[439:442], 0.32 * np.array([1, 4, 1]) / 6, rtol=1e-9)
    assert np.delete(density, [439, 440, 441]).max() < 1e-25


def test_a_recording_shorter_than_a_window_has_a_mean_and_no_density():
    samples = noise(RATE_HZ // 2)
    found = summarised(PowerSpectrum(), samples)
    assert np.isnan(found["power_density"]).all()
    assert found["n_windows"].tolist() == [0.0]
    np.testing.assert_allclose(found["mean"], samples.mean(axis=0), rtol=1e-13)


def test_block_levels_are_those_of_each_block_and_the_last_may_be_short():
    samples = noise(1030)
    found = summarised(BlockLevels(block_s=0.1), samples)
    parts = [samples[:400], samples[400:800], samples[800:]]
    np.testing.assert_allclose(found["mean_square"], [(part**2).mean(axis=0) for part in parts], rtol=1e-13)
    np.testing.assert_array_equal(found["peak"], [np.abs(part).max(axis=0) for part in parts])
    np.testing.assert_array_equal(found["highest"], [part.max(axis=0) for part in parts])
    np.testing.assert_array_equal(found["lowest"], [part.min(axis=0) for part in parts])
    assert found["n_frames"].tolist() == [400.0, 400.0, 230.0]


def test_a_full_scale_sine_has_a_mean_square_of_one_half():
    """Worked by hand; whole periods in each block."""
    samples = np.sin(2 * np.pi * 100 * np.arange(RATE_HZ)[:, None] / RATE_HZ)
    found = summarised(BlockLevels(), samples)
    np.testing.assert_allclose(found["mean_square"], 0.5, rtol=1e-12)
    np.testing.assert_allclose(found["peak"], 1.0, rtol=1e-12)


@pytest.mark.parametrize("summary", [BlockLevels(block_s=0.013), PowerSpectrum(window_s=0.2)])
@pytest.mark.parametrize("n_frames_of_block", [1, 3, 4096, 10_000])
def test_not_a_bit_depends_on_the_blocks(summary, n_frames_of_block):
    samples = noise(7001)
    one = summarised(summary, samples)
    other = summarised(summary, samples, n_frames_of_block=n_frames_of_block)
    for name in one:
        np.testing.assert_array_equal(one[name], other[name])


def test_a_loud_channel_leaves_nothing_in_a_silent_one():
    samples = noise(3 * RATE_HZ)
    samples[:, 1] = 0.0
    assert not summarised(PowerSpectrum(), samples)["power_density"][:, 1].any()
    assert not summarised(BlockLevels(), samples)["mean_square"][:, 1].any()


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(value):
    with pytest.raises(ValueError, match="block_s"):
        BlockLevels(block_s=value)
    with pytest.raises(ValueError, match="window_s"):
        PowerSpectrum(window_s=value)


def test_more_frames_than_the_format_has_and_other_channels_are_refused():
    accumulator = BlockLevels().start(SimpleNamespace(rate_hz=10, n_channels=2, n_frames=2))
    accumulator.update(np.zeros((2, 2)))
    with pytest.raises(ValueError, match="more frames"):
        accumulator.update(np.zeros((1, 2)))
    with pytest.raises(ValueError, match="2 channels"):
        accumulator.update(np.zeros((1, 3)))
