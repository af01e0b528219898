"""Many recordings become impulse responses at once: as scipy has them one by one, and as their closed forms say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_sweeps import high_pass, high_pass_response, late, sweep
from scipy import fft, signal

from fairhearing.acoustics.deconvolution import deconvolve, fast_length, inverse

RATE_HZ = 16_000
SWEEP = sweep(RATE_HZ, 20.0, 7000.0, 1.0)
N_FRAMES = fast_length(30_000)
INVERSE = inverse(SWEEP, 20.0, 7000.0, RATE_HZ, N_FRAMES)


def recordings(n_rows: int, seed: int = 4) -> np.ndarray:
    drawn = np.random.default_rng(seed)
    systems = drawn.normal(size=(n_rows, 3000)) * np.exp(-np.arange(3000) / 400)
    rows = signal.fftconvolve(systems, SWEEP[np.newaxis], axes=1)[:, :25_000]
    return (rows * drawn.uniform(1e-4, 1.0, (n_rows, 1)) / 30).astype(np.float32)


@pytest.mark.parametrize("n_rows", [1, 2, 3, 7])
def test_it_gives_what_scipy_gives_row_by_row_in_double_precision(n_rows: int) -> None:
    rows = recordings(n_rows)
    gain = np.ascontiguousarray(INVERSE.gain.T).reshape(-1)[: N_FRAMES // 2 + 1]
    found = deconvolve(rows, INVERSE)
    assert found.shape == (n_rows, N_FRAMES)
    for row, response in zip(rows, found, strict=True):
        expected = fft.irfft(fft.rfft(row.astype(float), N_FRAMES) * gain, N_FRAMES)
        # Single precision, whatever stands in the other rows.
        assert np.abs(response - expected).max() < 2e-6 * np.abs(expected).max()


def test_a_second_method_finds_the_same_filter() -> None:
    """Welch's cross spectrum over the excitation's own (scipy.signal) reads the response another way."""
    recorded = high_pass(late(SWEEP, 40, 30_000), 200.0, RATE_HZ)
    response = deconvolve(recorded[np.newaxis].astype(np.float32), INVERSE)[0]
    bins = fft.rfft(response.astype(float))
    frequency_hz = np.arange(len(bins)) * RATE_HZ / N_FRAMES
    excited = late(SWEEP, 0, 30_000)
    at_hz, cross = signal.csd(excited, recorded, RATE_HZ, nperseg=30_000, window="boxcar", detrend=False)
    _, own = signal.welch(excited, RATE_HZ, nperseg=30_000, window="boxcar", detrend=False)
    inside = (at_hz > 30) & (at_hz < 6500)
    found = np.interp(at_hz[inside], frequency_hz, np.abs(bins))
    np.testing.assert_allclose(20 * np.log10(found / np.abs(cross / own)[inside]), 0.0, atol=0.02)
    expected = np.abs(high_pass_response(at_hz[inside], 200.0, RATE_HZ))
    np.testing.assert_allclose(20 * np.log10(found / expected), 0.0, atol=0.02)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 4000), st.floats(0.01, 100.0))
def test_later_and_louder_recordings_give_later_and_louder_responses(frames: int, gain: float) -> None:
    recorded = (gain * late(SWEEP, frames, 25_000))[np.newaxis].astype(np.float32)
    response = deconvolve(recorded, INVERSE)[0]
    assert int(np.argmax(response)) == frames
    # The band from 20 Hz to 7 kHz, half an octave of fade at each end, out of 8 kHz.
    alone = deconvolve(SWEEP[np.newaxis].astype(np.float32), INVERSE)[0]
    assert response[frames] == pytest.approx(gain * alone[0], rel=1e-4)


@given(st.integers(1, 3_000_000))
def test_a_fast_length_is_long_enough_and_hardly_longer(n_frames: int) -> None:
    length = fast_length(n_frames)
    assert n_frames <= length <= 1.1 * n_frames + 60


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="a circle of"):
        deconvolve(np.zeros((1, N_FRAMES + 1), np.float32), INVERSE)
    with pytest.raises(ValueError, match="see fast_length"):
        inverse(SWEEP, 20.0, 7000.0, RATE_HZ, 1009)
    with pytest.raises(ValueError, match="no power from 20 to 7000 Hz"):
        inverse(np.zeros(100), 20.0, 7000.0, RATE_HZ, N_FRAMES)
