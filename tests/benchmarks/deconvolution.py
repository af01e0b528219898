"""Deconvolution of 36 sweeps against a real transform forward and back of each, row by row."""

from __future__ import annotations

from functools import partial

import numpy as np
import numpy.typing as npt
from scipy import fft

from benchmarks.ratio import Ratio, turn_about
from fairhearing.acoustics.deconvolution import deconvolve, fast_length, inverse

SingleArray = npt.NDArray[np.float32]
N_SWEEPS, RATE_HZ, DURATION_S = 36, 96_000, 7
FIRST_HZ, LAST_HZ = 20.0, 20_000.0
LIMIT = 0.7
# Of the highest sample: single precision through transforms of 700,000 frames.
TOLERANCE = 5e-6


def sweep() -> npt.NDArray[np.float64]:
    """An exponential sweep."""
    time_s = np.arange(DURATION_S * RATE_HZ) / RATE_HZ
    growth = np.log(LAST_HZ / FIRST_HZ) / DURATION_S
    return np.sin(2 * np.pi * FIRST_HZ / growth * (np.exp(growth * time_s) - 1))


def recordings(excitation: npt.NDArray[np.float64]) -> SingleArray:
    """The sweep through a reflection each, in noise."""
    generator = np.random.default_rng(20261125)
    rows = []
    for _ in range(N_SWEEPS):
        delay, share = int(generator.integers(100, 5_000)), generator.uniform(-0.5, 0.5)
        row = 0.3 * excitation + generator.normal(0, 1e-3, len(excitation))
        row[delay:] += 0.3 * share * excitation[:-delay]
        rows.append(row)
    return np.asarray(rows, dtype=np.float32)


def row_by_row(rows: SingleArray, gain: npt.NDArray[np.complex64], n_fft: int) -> SingleArray:
    """The peer: float32 real transforms at a fast length, one row after the other."""
    responses = np.empty((len(rows), n_fft), dtype=np.float32)
    for row, response in zip(rows, responses, strict=True):
        bins = fft.rfft(row, n_fft)
        bins *= gain
        response[:] = fft.irfft(bins, n_fft)
    return responses


def check_same(rows: SingleArray, excitation: npt.NDArray[np.float64]) -> float:
    """The largest difference over the highest sample, from the same length, so that both must give the same."""
    n_fft = fast_length(rows.shape[1])
    inverted = inverse(excitation, FIRST_HZ, LAST_HZ, RATE_HZ, n_fft)
    gain = np.ascontiguousarray(inverted.gain.T).reshape(-1)[: n_fft // 2 + 1]
    expected = row_by_row(rows, gain, n_fft)
    found = deconvolve(rows, inverted)
    worst = float(np.abs(found - expected).max() / np.abs(expected).max())
    assert worst < TOLERANCE, worst
    return worst


def run(repeats: int) -> dict[str, Ratio]:
    """The ratio, after both ways have given the same."""
    excitation = sweep()
    rows = recordings(excitation)
    worst = check_same(rows, excitation)
    n_fft = int(fft.next_fast_len(rows.shape[1], real=True))
    gain = np.ones(n_fft // 2 + 1, dtype=np.complex64)
    inverted = inverse(excitation, FIRST_HZ, LAST_HZ, RATE_HZ, fast_length(rows.shape[1]))
    note = (
        f"{N_SWEEPS} sweeps of {DURATION_S} s at {RATE_HZ} Hz; peer: real float32 transforms row by row, fast length "
        f"{n_fft}; the same within {worst:.0e} of the peak"
    )
    peer, ours = partial(row_by_row, rows, gain, n_fft), partial(deconvolve, rows, inverted)
    return {"deconvolution": turn_about(peer, ours, repeats, LIMIT, note)}
