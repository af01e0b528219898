"""Fractional-octave smoothing of many spectra against one pass over them, and against a slice per bin."""

from __future__ import annotations

from functools import partial

import numpy as np
import numpy.typing as npt

from benchmarks.ratio import Ratio, turn_about
from fairhearing.acoustics.smoothing import smoothed_power

FloatArray = npt.NDArray[np.float64]
N_SPECTRA, N_BINS, N_POINTS = 36, 131_072, 2_000
FREQUENCY_HZ = np.arange(1, N_BINS + 1) * 48_000.0 / N_BINS
AT_HZ = np.geomspace(20.0, 20_000.0, N_POINTS)
FRACTIONS = (1, 3, 6, 12, 24, 48, 2.5)
SHARE_OF_BINS = 256  # a slice per bin is timed on every 256th bin of one spectrum, and multiplied


def spectra() -> FloatArray:
    """Made-up power spectra that fall by 100 dB."""
    generator = np.random.default_rng(20261125)
    return generator.exponential(size=(N_SPECTRA, N_BINS)) * (30.0 / (30.0 + FREQUENCY_HZ)) ** 4


def slice_per_bin(power: FloatArray, fraction: float, at_hz: FloatArray) -> FloatArray:
    """The mean over ln f in each window, from a slice of its own: slow, and plain enough to be believed."""
    x = np.log(FREQUENCY_HZ)
    half = np.log(10.0) * 0.15 / fraction
    means = []
    for place in np.log(at_hz):
        low, high = max(place - half, x[0]), min(place + half, x[-1])
        inside = slice(np.searchsorted(x, low, side="right"), np.searchsorted(x, high, side="left"))
        points = np.concatenate([[low], x[inside], [high]])
        ends = np.interp([low, high], x, power)
        means.append(np.trapezoid(np.concatenate([ends[:1], power[inside], ends[1:]]), points) / (high - low))
    return np.array(means)


def run(repeats: int) -> dict[str, Ratio]:
    """The ratios, after both ways have given the same to 1e-9."""
    power = spectra()
    for fraction in FRACTIONS:
        some = slice(None, None, 20)
        expected = slice_per_bin(power[5], fraction, AT_HZ[some])
        np.testing.assert_allclose(smoothed_power(FREQUENCY_HZ, power, fraction, AT_HZ)[5, some], expected, rtol=1e-9)
    ratios = {}
    for fraction in (3, 24):
        ours = partial(smoothed_power, FREQUENCY_HZ, power, fraction, AT_HZ)
        note = f"{N_SPECTRA} x {N_BINS} bins, 1/{fraction} octave, to {N_POINTS} points; peer: one sum over the array"
        ratios[f"smoothing 1/{fraction}"] = turn_about(power.sum, ours, repeats, 12.0, note)
    bins = FREQUENCY_HZ[SHARE_OF_BINS // 2 :: SHARE_OF_BINS]
    measured = turn_about(
        partial(slice_per_bin, power[5], 3, bins),
        partial(smoothed_power, FREQUENCY_HZ, power, 3, AT_HZ),
        max(1, repeats // 3),
        1.0,
        "",
    )
    ratios["smoothing, slice per bin"] = Ratio(
        peer_s=measured.peer_s * SHARE_OF_BINS * N_SPECTRA,
        ours_s=measured.ours_s,
        limit=1 / 500,
        note=f"peer: a slice per bin, timed on {len(bins)} bins of one spectrum and multiplied",
    )
    return ratios
