"""The low spectrum against closed forms, another method and the tables of standards."""

from __future__ import annotations

import math
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from references.helper import check, load
from scipy import signal

from fairhearing.acoustics.bands import third_octave_bands
from fairhearing.acoustics.low_bands import (
    audible_top_hz,
    band_power,
    shares_of_cells,
    spectrum,
    weighted_power,
    weighted_whole_power,
    whole_power,
    whole_spectrum,
    wide_power,
    window_band_power,
)
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.weighting import weighting_db, weighting_power

RATES_HZ = (1000, 8000, 22_050, 44_100, 48_000, 96_000, 192_000)


def summarised(samples, rate_hz, summary=LowSpectrum()):  # noqa: B008 - frozen
    samples = samples if samples.ndim == 2 else samples[:, None]
    low = summary.start(SimpleNamespace(rate_hz=rate_hz, n_channels=samples.shape[1], n_frames=len(samples)))
    low.update(samples)
    return low.result()


def tone(frequency_hz, seconds, rate_hz, amplitude=1.0):
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def decibel(ratio) -> float:
    return 10 * math.log10(float(ratio))


def noise(power_of, seconds, rate_hz, seed):
    """Noise whose expected power density has the shape of `power_of` (hertz)."""
    n = round(seconds * rate_hz)
    frequency = np.fft.rfftfreq(n, 1 / rate_hz)
    white = np.fft.rfft(np.random.default_rng(seed).normal(size=n))
    return np.fft.irfft(white * np.sqrt(power_of(frequency)), n)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_tone_60_db_below_a_volt_of_direct_voltage_is_read_right(rate_hz):
    low = summarised(1.0 + tone(3.0, 60.0, rate_hz, 1e-3), rate_hz)
    assert decibel(band_power(low, 0.5, 20.0)[0] / 0.5e-6) == pytest.approx(0.0, abs=0.01)
    # The first and the last two windows lie where the stream is faded.
    assert decibel(window_band_power(low, 0.5, 20.0, 0.5)[2:-2].mean() / 0.5e-6) == pytest.approx(0.0, abs=0.01)
    assert float(low["subsonic_peak"][0]) == pytest.approx(1e-3, rel=0.002)
    assert float(low["mean"][0]) == pytest.approx(1.0, abs=1e-6)
    assert float(low["duration_s"][0]) == pytest.approx(60.0, abs=0.3)


def test_a_warp_of_a_record_at_33_turns_a_minute_lies_within_the_band():
    """33 1/3 turns a minute are 0.5556 Hz: a transform of 8 s would lose a quarter of it below 0.5 Hz."""
    low = summarised(tone(100 / 180, 128.0, 2000), 2000)
    assert decibel(band_power(low, 0.5, 20.0)[0] / 0.5) == pytest.approx(0.0, abs=0.03)
    assert decibel(window_band_power(low, 0.5, 20.0, 0.5)[3:-3].mean() / 0.5) == pytest.approx(0.0, abs=0.05)


def test_what_wanders_below_half_a_hertz_is_no_subsonic_sound():
    low = summarised(tone(0.3, 140.0, 2000, 0.1) + tone(5.0, 140.0, 2000, 0.01), 2000)
    assert decibel(band_power(low, 0.5, 20.0)[0] / 0.5e-4) == pytest.approx(0.0, abs=0.05)


def test_cells_and_what_lies_above_sum_to_the_mean_square():
    """Parseval: white noise below 25 Hz, as the sum over samples has it."""
    rate_hz = 2000
    x = noise(lambda f: ((f > 0.6) & (f < 24)).astype(float), 40.0, rate_hz, 3)
    low = summarised(np.column_stack([x, 2 * x]), rate_hz)
    margin, n_fade = round(0.12 * rate_hz), round((40.0 - 0.24) / 16 * rate_hz)
    weight = np.zeros(len(x))
    weight[margin:-margin] = 1.0
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(n_fade) / n_fade)
    weight[margin : margin + n_fade] = rise
    weight[-margin - n_fade : -margin] = rise[::-1]
    by_hand = float(np.sum(weight**2 * x**2) / np.sum(weight**2))
    assert decibel(band_power(low, 0.0, 25.0)[0] / by_hand) == pytest.approx(0.0, abs=0.02)
    assert band_power(low, 0.0, 25.0)[1] / band_power(low, 0.0, 25.0)[0] == pytest.approx(4.0, rel=1e-9)


def test_bands_agree_with_welch_over_the_whole_file():
    rate_hz = 8000
    x = noise(lambda f: 1 / np.maximum(f, 0.3), 120.0, rate_hz, 4)
    low = summarised(x, rate_hz)
    frequency, density = signal.welch(x, rate_hz, nperseg=30 * rate_hz, detrend="constant")
    for lower, upper in ((0.5, 20.0), (5.0, 15.0), (0.5, 40.0), (40.0, 90.0), (100.0, 350.0)):
        inside = (frequency >= lower) & (frequency < upper)
        expected = density[inside].sum() * frequency[1]
        # Two estimates of one piece of noise: they weigh its ends differently, the more so the narrower the band.
        assert decibel(band_power(low, lower, upper)[0] / expected) == pytest.approx(0.0, abs=0.35)


def test_a_first_order_high_pass_takes_from_pink_noise_what_the_closed_form_says():
    reference = load("subsonic-pink")
    fc = float(reference.inputs["corner_hz"])
    rate_hz, seconds = 2000, 240.0
    n = round(seconds * rate_hz)
    frequency = np.fft.rfftfreq(n, 1 / rate_hz)
    phase = np.exp(2j * np.pi * np.random.default_rng(5).uniform(size=len(frequency)))
    pink = np.where(frequency > 0.2, phase / np.sqrt(np.maximum(frequency, 1e-9)), 0)
    ratio = 1j * frequency / fc
    found = [
        band_power(summarised(np.fft.irfft(made, n) * 1000, rate_hz), 1.0, 20.0)[0]
        for made in (pink * ratio / (1 + ratio), pink)
    ]
    check(decibel(found[0] / found[1]), float(reference.expected["subsonic_energy_change_dB"]), reference)


def test_tones_behind_the_high_pass_are_down_as_the_closed_form_says():
    reference = load("high-pass-below-20")
    fc = float(reference.inputs["HP_fc"])
    rate_hz = 2000
    for f, expected in zip(reference.inputs["f_Hz"], reference.expected["dB"], strict=True):
        loss = 1 / math.hypot(1, fc / f)
        through, plain = (summarised(tone(f, 40.0, rate_hz, a), rate_hz) for a in (loss, 1.0))
        ratio = band_power(through, 0.8 * f, 1.1 * f)[0] / band_power(plain, 0.8 * f, 1.1 * f)[0]
        check(decibel(ratio), expected, reference)


def test_third_octaves_below_20_hz_have_the_exact_edges():
    reference = load("third-octaves-below-20")
    bands = third_octave_bands(1, 100)
    for name, found in (("f1_Hz", bands.lower_hz), ("f2_Hz", bands.upper_hz)):
        for edge, expected in zip(found, reference.expected[name], strict=True):
            check(float(edge), expected, reference)
    assert bands.nominal_hz.tolist() == [float(f) for f in reference.inputs["nominal_Hz"]]


def test_each_tone_is_in_its_third_octave_and_in_no_other():
    bands = third_octave_bands(1, 20)
    for middle in np.sqrt(bands.lower_hz * bands.upper_hz):
        low = summarised(tone(middle, 60.0, 2000), 2000)
        powers = [band_power(low, lower, upper)[0] for lower, upper in zip(bands.lower_hz, bands.upper_hz, strict=True)]
        inside = (bands.lower_hz < middle) & (middle < bands.upper_hz)
        assert decibel(np.array(powers)[inside][0] / 0.5) == pytest.approx(0.0, abs=0.05)
        assert max(np.array(powers)[~inside]) < 0.02 * 0.5


def test_the_g_weighted_level_of_tones_is_that_of_the_table():
    """ISO 7196:1995, Table 2, at the exact frequencies."""
    reference = load("g-weighting")
    edges = np.concatenate([np.arange(0.5, 25, 1 / 64), 25 * 12.6 ** np.linspace(0, 1, 90)])
    weight = weighting_power((edges[1:] + edges[:-1]) / 2, "G")
    for nominal, expected in zip(reference.inputs["nominal_Hz"], reference.expected["dB"], strict=True):
        exact = 10 ** (round(10 * math.log10(nominal)) / 10)
        assert float(weighting_db(exact, "G")) == pytest.approx(expected, abs=0.05)
        if 1 <= nominal <= 250:
            low = summarised(tone(exact, 40.0, 2000), 2000)
            found = decibel(weighted_power(low, edges, weight)[0] / 0.5)
            # Cells have a width, a 24th of an octave above 25 Hz, and the curve falls by 24 dB an octave within them.
            assert found == pytest.approx(expected, abs=0.15 if nominal <= 20 else 0.6)


def test_the_power_of_white_noise_counts_up_to_20_khz_only():
    """Of white noise at 48 kHz, 20/24 lies below 20 kHz."""
    rate_hz = 48_000
    x = np.random.default_rng(6).normal(size=(60 * rate_hz, 1)) * 0.1
    low = summarised(x, rate_hz)
    square = np.mean(x**2, axis=0)
    whole = whole_power(low, square, 0.5, rate_hz)[0]
    assert whole / square[0] == pytest.approx(20 / 24, rel=0.003)
    assert wide_power(low, 20_000, 48_000)[0] / square[0] == pytest.approx(4 / 24, rel=0.009)
    assert audible_top_hz(44_100) == pytest.approx(0.45 * 44_100)


def test_the_peak_is_that_of_the_subsonic_wave_alone():
    rate_hz = 8000
    x = tone(4.0, 30.0, rate_hz, 0.2) + tone(1000.0, 30.0, rate_hz, 0.7) + 0.1
    assert float(summarised(x, rate_hz)["subsonic_peak"][0]) == pytest.approx(0.2, rel=0.01)


def test_less_than_two_periods_of_the_lowest_frequency_say_nothing():
    low = summarised(tone(5.0, 4.0, 8000), 8000)
    assert np.isnan(low["cell_power"]).all()
    assert np.isnan(low["subsonic_peak"]).all()
    assert np.isnan(band_power(low, 0.5, 20.0)).all()
    longer = summarised(tone(5.0, 4.5, 8000), 8000)
    assert decibel(band_power(longer, 0.5, 20.0)[0] / 0.5) == pytest.approx(0.0, abs=0.2)
    assert longer["window_power"].shape[0] == 0
    assert np.isnan(band_power(longer, 0.5, 40.0)).all()


def test_the_envelope_follows_200_to_400_hz():
    rate_hz = 8000
    x = np.concatenate([tone(300.0, 5.0, rate_hz, 0.1), tone(300.0, 5.0, rate_hz, 0.01), tone(50.0, 5.0, rate_hz)])
    low = summarised(x, rate_hz)
    level = 10 * np.log10(low["envelope"][:, 0] / 0.5)
    step_s = float(low["envelope_step_s"][0])
    assert level[round(2 / step_s)] == pytest.approx(-20.0, abs=0.1)
    assert level[round(7 / step_s)] == pytest.approx(-40.0, abs=0.1)
    assert level[round(12 / step_s)] < -80


def test_spectrum_and_bands_are_one():
    low = summarised(noise(lambda f: 1 / np.maximum(f, 0.3), 60.0, 2000, 7), 2000)
    edges = np.array([0.5, 3.0, 20.0, 24.0, 31.0, 200.0])
    found = spectrum(low, edges)[:, 0] * np.diff(edges)
    expected = [band_power(low, a, b)[0] for a, b in pairwise(edges)]
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_the_whole_spectrum_holds_all_power_and_each_tone_where_it_is():
    rate_hz = 8000
    tones = {3.0: 0.1, 60.0: 0.2, 330.0: 0.05, 2000.0: 0.3}
    low = summarised(sum(tone(f, 60.0, rate_hz, a) for f, a in tones.items()), rate_hz)
    found = whole_spectrum(low)
    assert found.edge_hz[0] == 0.0
    assert found.edge_hz[-1] == rate_hz / 2
    assert (np.diff(found.edge_hz) > 0).all()
    for f, a in tones.items():
        near = (found.edge_hz[1:] > f * 0.9) & (found.edge_hz[:-1] < f * 1.1)
        assert decibel(found.power[near, 0].sum() / (a**2 / 2)) == pytest.approx(0.0, abs=0.02)
    assert decibel(found.power.sum() / sum(a**2 / 2 for a in tones.values())) == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("seconds", [1.0, 3.0, 20.0])
@pytest.mark.parametrize(
    ("frequency_hz", "most_db"),
    [
        (24.0, 0.05),
        (25.0, 0.15),
        (26.0, 0.1),
        (40.0, 0.03),
        (100.0, 0.01),
        (398.0, 0.01),
        (405.0, 0.25),
        (430.0, 0.05),
        (1000.0, 0.001),
    ],
)
def test_weighted_levels_of_tones_are_those_of_the_curves(seconds, frequency_hz, most_db):
    low = summarised(0.2 + tone(frequency_hz, seconds, 48_000), 48_000)
    for weighting in ("A", "C"):
        expected = float(weighting_power(frequency_hz, weighting)) / 2
        found = weighted_whole_power(low, weighting, 0.5)[0]
        assert decibel(found / expected) == pytest.approx(0.0, abs=most_db)


def test_a_weighted_level_is_that_of_the_transform_of_all_samples():
    """Pink noise in whole periods (computed by numpy): the sum over all frequencies."""
    rate_hz, seconds = 48_000, 60
    x = noise(lambda f: np.where(f >= 20, 1 / np.maximum(f, 1.0), 0.0), seconds, rate_hz, 12)
    low = summarised(x, rate_hz)
    frequency = np.fft.rfftfreq(len(x), 1 / rate_hz)
    power = 2 * np.abs(np.fft.rfft(x)) ** 2 / len(x) ** 2
    for weighting, most_db in (("A", 0.05), ("C", 0.15)):
        expected = power @ weighting_power(frequency, weighting)
        assert decibel(weighted_whole_power(low, weighting, 0.5)[0] / expected) == pytest.approx(0.0, abs=most_db)


def test_less_than_a_second_has_no_weighted_level():
    assert np.isnan(weighted_whole_power(summarised(tone(100.0, 0.9, 48_000), 48_000), "A", 0.5)).all()


def test_of_a_short_recording_the_whole_spectrum_begins_above_the_offset():
    found = whole_spectrum(summarised(0.5 + tone(30.0, 3.0, 8000), 8000))
    assert found.power[found.edge_hz[1:] < 2.0].tolist() == [[0.0]]
    assert decibel(found.power.sum() / 0.5) == pytest.approx(0.0, abs=0.01)


def test_bands_that_are_not_there_are_refused():
    low = summarised(tone(5.0, 20.0, 2000), 2000)
    for lower, upper in ((5.0, 5.0), (6.0, 5.0), (10.0, 2000.0)):
        with pytest.raises(ValueError, match="is no band within"):
            band_power(low, lower, upper)
    with pytest.raises(ValueError, match="is no band within"):
        spectrum(low, np.array([0.5, 2000.0]))
    with pytest.raises(ValueError, match="is no band within"):
        shares_of_cells(np.array([0.0, 1.0]), -1.0, 0.5)


@pytest.mark.parametrize(
    ("said", "told"),
    [({"window_s": 1.0}, "window_s"), ({"lowest_hz": 0.0}, "lowest_hz"), ({"subsonic_hz": 26.0}, "subsonic")],
)
def test_parameters_out_of_range_are_refused(said, told):
    with pytest.raises(ValueError, match=told):
        LowSpectrum(**said)


def test_too_low_a_rate_and_too_many_frames_are_refused():
    with pytest.raises(ValueError, match="too few"):
        LowSpectrum().start(SimpleNamespace(rate_hz=999, n_channels=1, n_frames=10))
    low = LowSpectrum().start(SimpleNamespace(rate_hz=1000, n_channels=1, n_frames=10))
    with pytest.raises(ValueError, match="more frames"):
        low.update(np.zeros((11, 1)))
