"""The K-filter at any rate, and the energy of its output against scipy.signal.sosfilt over the whole signal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from references.helper import close, load
from scipy import signal

from fairhearing.acoustics.filtered_energy import FilteredEnergy, block_frames
from fairhearing.acoustics.k_filter import k_gain, k_sections, k_states

RATES_HZ = [4000, 8000, 11_025, 22_050, 44_100, 48_000, 88_200, 96_000, 192_000]


def noise(n_frames, n_channels=2, seed=3):
    return np.random.default_rng(seed).normal(0.0, 0.1, (n_frames, n_channels)) + [0.2, -0.05][:n_channels]


def energies(samples, rate_hz, sizes):
    made = FilteredEnergy(k_states(rate_hz), block_frames(rate_hz, 0.02), samples.shape[1])
    found, at = [], 0
    for size in sizes:
        found += list(made.feed(samples[at : at + size]))
        at += size
    return np.concatenate([*found, made.rest()])


def test_at_48_khz_the_sections_are_those_of_the_tables():
    reference = load("B13")
    for found, name in zip(k_sections(48_000), ("shelf", "high_pass"), strict=True):
        for one, other in zip(found, reference.expected[name], strict=True):
            assert close(float(one), other, reference)
            assert not close(float(one) * 1.01, other, reference)


def test_two_public_copies_with_typing_errors_are_told_apart():
    """b2 = 1.19839281392814 and a2 = 0.73245863656304 stand in two copies."""
    shelf = k_sections(48_000)[0]
    assert abs(shelf[2] - 1.19839281392814) > 1e-9
    assert abs(shelf[5] - 0.73245863656304) > 1e-6


@pytest.mark.parametrize(("rate_hz", "most_db"), [(44_100, 0.002), (88_200, 0.006), (96_000, 0.0065), (192_000, 0.008)])
def test_at_other_rates_the_response_is_that_of_48_khz(rate_hz, most_db):
    """As BS.1770-5, Annex 1, asks; with the coefficients of 48 kHz the gain at 44.1 kHz would be off by 0.2 dB."""
    frequency = np.geomspace(10.0, 20_000.0, 400)
    off = 10 * np.log10(k_gain(frequency, rate_hz) / k_gain(frequency, 48_000))
    assert np.abs(off).max() < most_db
    _, wrong = signal.sosfreqz(k_sections(48_000), frequency[frequency < 4000], fs=44_100)
    wrong_db = 20 * np.log10(np.abs(wrong)) - 10 * np.log10(k_gain(frequency[frequency < 4000]))
    assert np.abs(wrong_db).max() > 0.2


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_gain_is_that_of_the_sections(rate_hz):
    """scipy.signal.sosfreqz (computed)."""
    frequency = np.linspace(20.0, 0.49 * rate_hz, 50)
    _, response = signal.sosfreqz(k_sections(rate_hz), frequency, fs=rate_hz)
    np.testing.assert_allclose(k_gain(frequency, rate_hz), np.abs(response) ** 2, rtol=1e-8)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_energies_are_those_of_the_filtered_signal(rate_hz):
    """scipy.signal.sosfilt over the whole signal (computed), an offset in it; each block to 1e-9 (192 kHz: 3e-9)."""
    samples = noise(round(2.73 * rate_hz))
    found = energies(samples, rate_hz, [len(samples)])
    n_frames = block_frames(rate_hz, 0.02)
    n_blocks = len(samples) // n_frames
    output = signal.sosfilt(k_sections(rate_hz), samples, axis=0)[: n_blocks * n_frames]
    expected = (output.reshape(n_blocks, n_frames, -1) ** 2).mean(axis=1)
    np.testing.assert_allclose(found, expected, rtol=1e-9 if rate_hz < 192_000 else 3e-9)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(sizes=st.lists(st.integers(0, 3000), max_size=30), rate_hz=st.sampled_from([8000, 11_025, 44_100]))
def test_not_a_bit_depends_on_the_blocks(sizes, rate_hz):
    samples = noise(round(2.3 * rate_hz))
    rest = max(0, len(samples) - sum(sizes))
    np.testing.assert_array_equal(
        energies(samples, rate_hz, [*sizes, rest]), energies(samples, rate_hz, [len(samples)])
    )


def test_a_quiet_passage_after_a_loud_one_keeps_its_digits():
    """120 dB below what went before, half a second later."""
    samples = noise(8000, 1)
    samples[2400:] *= 1e-6
    output = signal.sosfilt(k_sections(8000), samples, axis=0)
    found = energies(samples, 8000, [len(samples)])
    np.testing.assert_allclose(found[-5:, 0], (output[-800:] ** 2).reshape(5, 160).mean(axis=1), rtol=1e-6)


def test_silence_after_sound_stays_nothing():
    samples = np.concatenate([noise(8000), np.zeros((40_000, 2))])
    found = energies(samples, 8000, [len(samples)])
    assert (found[-50:] < 1e-100).all()
    assert (found >= 0).all()


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 12_345, 44_100, 47_999, 96_000, 192_000])
def test_a_block_is_within_a_hundredth_of_what_was_asked_for(rate_hz):
    assert block_frames(rate_hz, 0.02) == pytest.approx(0.02 * rate_hz, rel=0.01)


def test_what_makes_no_sense_is_refused():
    for rate_hz in (3999.0, float("nan")):
        with pytest.raises(ValueError, match="too low"):
            k_sections(rate_hz)
    with pytest.raises(ValueError, match="half the sample rate"):
        k_gain([5000.0], 8000)
    with pytest.raises(ValueError, match="block_frames"):
        FilteredEnergy(k_states(8000), 163, 1)
    with pytest.raises(ValueError, match="2 channels"):
        list(FilteredEnergy(k_states(8000), 160, 2).feed(np.zeros((10, 3))))
