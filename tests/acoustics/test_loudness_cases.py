"""The cases of EBU Tech 3341 (v3 2016, v4 2023), Table 1, that are not in test_loudness.py and test_true_peak.py.

| cases | what | where |
|---|---|---|
| 1-5 | steps of a tone in stereo, integrated | test_loudness.py |
| 6 | a tone in 5.0, integrated | test_loudness.py |
| 7, 8 | two recorded programmes, -23.0 LUFS: recordings of others, which no formula makes | not tested |
| 9, 12 | steps that give the same short-term and momentary loudness at any time | test_loudness.py |
| 10, 13 | single tones at all twenty places, files | here; every third in test_loudness.py |
| 11, 14 | twenty tones in a row, each 1 dB louder, read while they sound | here |
| 15-19 | steady sines whose crest no sample meets | test_true_peak.py |
| 20-23 | a single crest in a sine, at four places between samples | here |

In place of 7 and 8 a made-up programme is read by another library in test_loudness.py.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from references.helper import check, load
from scipy import signal

from fairhearing.acoustics.loudness import KWeightedEnergy, loudness_lkfs
from fairhearing.acoustics.true_peak import TruePeak

RATE_HZ = 48_000
N_TONES = 20
WINDOW = {"momentary": 0, "short_term": 1}


def stereo_tone(steps):
    """1 kHz whose crest stands at each level (dBFS, None for silence) for so many seconds, alike in both channels."""
    n_frames = [round(seconds * RATE_HZ) for seconds, _ in steps]
    levels = [0.0 if level is None else 10 ** (level / 20) for _, level in steps]
    time_s = np.arange(sum(n_frames)) / RATE_HZ
    return np.tile((np.repeat(levels, n_frames) * np.sin(2 * np.pi * 1000.0 * time_s))[:, None], 2)


def started(n_frames):
    return KWeightedEnergy().start(SimpleNamespace(rate_hz=RATE_HZ, n_channels=2, n_frames=n_frames))


def loudest_lkfs(accumulator, kind):
    return float(loudness_lkfs(accumulator.result()["loudest"][WINDOW[kind]]))


@pytest.mark.parametrize(("kind", "case"), [("short_term", "11"), ("momentary", "14")])
def test_cases_11_and_14_read_live_tell_each_tone_as_it_has_gone_by(kind, case):
    """A tone of one window that begins later in its turn each time, -38 to -19 dBFS: as many LUFS, +-0.1 there.

    Here 0.02: 1 kHz is weighted by +0.007 dB, and the windows, 20 ms apart, miss at most 10 ms of a tone of 3 s.
    """
    reference = load("B20-live")
    window_s, later_s = reference.inputs[case]["window_s"], reference.inputs[case]["later_s"]
    first_dbfs = reference.inputs["first_dbfs"]
    turns = [
        stereo_tone([(later_s * i, None), (window_s, first_dbfs + i), (window_s - later_s * i, None)])
        for i in range(N_TONES)
    ]
    live = started(sum(map(len, turns)))
    for index, turn in enumerate(turns):
        for at in range(0, len(turn), 4_800):  # a tenth of a second at a time
            live.update(turn[at : at + 4_800])
        check(loudest_lkfs(live, kind), reference.expected["first_lufs"] + index, reference)


@pytest.mark.parametrize(("kind", "case"), [("short_term", "10"), ("momentary", "13")])
@pytest.mark.parametrize("index", range(N_TONES))
def test_cases_10_and_13_read_the_same_in_each_of_the_twenty_files(kind, case, index):
    """Silence, a tone of one window at -23 dBFS, a second of silence: -23 +-0.1 LUFS there, 0.02 here."""
    reference = load("B20-places")
    window_s, later_s = reference.inputs[case]["window_s"], reference.inputs[case]["later_s"]
    samples = stereo_tone([(later_s * index, None), (window_s, reference.inputs["level_dbfs"]), (1.0, None)])
    whole = started(len(samples))
    whole.update(samples)
    check(loudest_lkfs(whole, kind), reference.expected["lufs"], reference)


@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_cases_20_to_23_find_the_single_crest_at_each_place_between_samples(offset):
    """A sine of a sixth of the rate, 0.50, made at four times the rate with one period of 1.00 put in, then limited in
    band and thinned out from its sample 0, 1, 2 or 3: 0.0 +0.2 / -0.4 dBTP.

    The value is read in the sources of other libraries; that the crest is put in at four times the rate is from memory.
    What the band leaves of the crest is known from the wave at 32 times the rate: 0.02 dB of that.
    """
    reference = load("B20-crest")
    period = 4 * reference.inputs["divisor"]
    at = np.arange(4 * RATE_HZ)
    wave = reference.inputs["amplitude"] * np.sin(2 * np.pi * at / period)
    crest = slice(2 * RATE_HZ, 2 * RATE_HZ + period)
    wave[crest] *= reference.inputs["crest"] / reference.inputs["amplitude"]
    taps = signal.firwin(961, 0.45 * RATE_HZ, fs=4 * RATE_HZ, window=("kaiser", 12.0))
    limited = np.convolve(wave, taps, "same") * signal.windows.tukey(len(wave), 0.02)
    samples = limited[offset::4, None]
    summary = TruePeak().start(SimpleNamespace(rate_hz=RATE_HZ, n_channels=1, n_frames=len(samples)))
    summary.update(samples)
    found_dbtp = 20 * np.log10(summary.result()["true_peak"][0])
    low, high = reference.expected["dbtp_range"]
    assert low <= found_dbtp <= high
    around = limited[crest.start - 2000 : crest.stop + 2000]
    assert found_dbtp == pytest.approx(20 * np.log10(np.abs(signal.resample(around, 8 * len(around))).max()), abs=0.02)
