"""Decimation against convolution done at length, its stop band, and streams that are cut anywhere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from fairhearing.acoustics.decimation import Decimator, anti_alias_taps, comb_taps, magnitude


def fed(decimator: Decimator, values: np.ndarray, edges: list[int]) -> np.ndarray:
    parts = [decimator.feed(part) for part in np.split(values, edges, axis=1)]
    return np.concatenate([*parts, decimator.finish()], axis=1)


@pytest.mark.parametrize(("rate_hz", "factor", "highest_hz"), [(96_000, 24, 400), (4009, 4, 400), (1000, 10, 30)])
@pytest.mark.parametrize("n_together", [1, 3, 10])
def test_values_are_those_of_a_convolution_where_the_filter_is_wholly_on_the_stream(
    rate_hz, factor, highest_hz, n_together
):
    taps = anti_alias_taps(rate_hz, factor, highest_hz)
    values = np.random.default_rng(1).normal(size=(2, 3 * len(taps) + 7))
    expected = np.array([np.convolve(row, taps, "valid")[::factor] for row in values])
    decimator = Decimator(taps, factor, 2, n_together)
    np.testing.assert_allclose(fed(decimator, values, [5, 6, 400]), expected, rtol=0, atol=1e-13)


def test_a_copy_goes_on_by_itself():
    taps = anti_alias_taps(1000, 10, 30)
    values = np.random.default_rng(2).normal(size=(1, 2000))
    decimator = Decimator(taps, 10, 1, 4)
    first = decimator.feed(values[:, :900])
    other = decimator.copy()
    other.feed(np.ones((1, 500)))
    again = np.concatenate([first, fed(decimator, values[:, 900:], [])], axis=1)
    np.testing.assert_array_equal(again, np.concatenate([fed(Decimator(taps, 10, 1, 4), values, [900])], axis=1))


def test_too_few_values_give_none():
    taps = anti_alias_taps(1000, 10, 30)
    assert fed(Decimator(taps, 10, 1, 4), np.ones((1, len(taps) - 1)), []).shape == (1, 0)
    assert fed(Decimator(taps, 10, 1, 4), np.ones((1, len(taps))), []).shape == (1, 1)


def test_what_would_fold_onto_the_band_is_120_db_down_and_the_response_is_known():
    taps = anti_alias_taps(96_000, 24, 400)
    frequency = np.linspace(0, 48_000, 5000)
    _, expected = signal.freqz(taps, worN=frequency, fs=96_000)
    found = magnitude(taps, 96_000, frequency)
    np.testing.assert_allclose(np.abs(found), np.abs(expected), rtol=0, atol=1e-12)
    folding = np.abs((frequency + 2000) % 4000 - 2000) <= 400
    folding &= frequency > 2000
    assert 20 * np.log10(np.abs(found[folding]).max()) < -119.0
    assert abs(20 * np.log10(found[frequency <= 400].min())) < 0.001


@pytest.mark.parametrize(
    ("rate_hz", "factor"),
    [(8000, 2), (11_025, 2), (22_050, 5), (44_100, 11), (48_000, 12), (96_000, 24), (192_000, 48)],
)
def test_a_comb_stops_what_would_fold_onto_the_band_and_no_more(rate_hz, factor):
    """119 dB below the least of the pass band at every frequency that folds below 400 Hz (response by scipy, computed);
    the pass band falls by less than 1 dB, and half the taps of a low-pass do."""
    taps = comb_taps(rate_hz, factor, 400)
    frequency = np.linspace(0, rate_hz / 2, 40_001)
    response = np.abs(signal.freqz(taps, worN=frequency, fs=rate_hz)[1])
    new_rate_hz = rate_hz / factor
    folding = (np.abs((frequency + new_rate_hz / 2) % new_rate_hz - new_rate_hz / 2) <= 400) & (frequency > 400)
    kept = response[frequency <= 400]
    assert 20 * np.log10(response[folding].max() / kept.min()) < -119.0
    assert kept.max() == pytest.approx(1.0, abs=1e-12)
    assert 20 * np.log10(kept.min()) > -1.0
    assert len(taps) % 2 == 1
    np.testing.assert_array_equal(taps, taps[::-1])
    assert len(taps) < 0.55 * len(anti_alias_taps(rate_hz, factor, 400))
    np.testing.assert_allclose(np.abs(magnitude(taps, rate_hz, frequency)), response, rtol=0, atol=1e-12)


def test_a_band_that_the_new_rate_cannot_hold_is_refused():
    for rate_hz, factor in ((96_000, 1), (96_000, 96)):
        with pytest.raises(ValueError, match="a fifth of"):
            comb_taps(rate_hz, factor, 400)
    with pytest.raises(ValueError, match="cannot be had"):
        comb_taps(8000, 2, 400, 2000.0)
    with pytest.raises(ValueError, match="cannot be kept"):
        anti_alias_taps(1000, 10, 50)
