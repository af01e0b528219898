"""Recordings of one excitation turned into impulse responses, many at a time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
ComplexArray = npt.NDArray[np.complex64]

# Beyond the band the division fades out, over this ratio of frequencies on each side.
FADE_RATIO = 2.0
# Power of the excitation below this share of its median in the band is not divided by.
FLOOR_SHARE = 1e-7
_WORKERS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Inverse:
    """The inverse of an excitation over a circle of `n_frames`, laid out in rows and columns for short transforms."""

    n_frames: int
    gain: ComplexArray
    twiddle: ComplexArray


def fast_length(n_frames: int) -> int:
    """The shortest length from `n_frames` on that `deconvolve` is fast with: two factors of much the same size.

    >>> fast_length(671_900)
    672000
    """
    rows, columns = _factors(n_frames)
    return rows * columns


def _factors(n_frames: int) -> tuple[int, int]:
    """Two products of 2, 3, 5 and 7, the smaller at least half of the larger, multiples of 4 from 64 frames on."""
    if n_frames < 1:
        raise ValueError(f"{n_frames} frames")
    step = 4 if n_frames >= 64 else 1
    top = 3 + int(2 * np.sqrt(n_frames))
    smooth = [step * n for n in range(1, top // step + 2) if _is_smooth(n)]
    pairs = [(a, b) for a in smooth for b in smooth if n_frames <= a * b and a <= b <= 2 * a]
    return min(pairs, key=lambda pair: (pair[0] * pair[1], pair[1] - pair[0]))


def _is_smooth(number: int) -> bool:
    for factor in (2, 3, 5, 7):
        while number % factor == 0:
            number //= factor
    return number == 1


def inverse(excitation: FloatArray, first_hz: float, last_hz: float, rate_hz: float, n_frames: int) -> Inverse:
    r"""The regularised inverse of an excitation.

    :math:`G = B X^* / (|X|^2 + \varepsilon)`, deconvolution by spectral division as in ISO 18233:2006, Annex B. B is 1
    from `first_hz` to `last_hz` and fades out within an octave on both sides (raised cosine in ln f);
    :math:`\varepsilon` is 1e-7 of the median of :math:`|X|^2` in the band.

    Parameters
    ----------
    excitation : (n,) n <= `n_frames`
    first_hz, last_hz : float, hertz
        Where it has power.
    rate_hz : float, hertz
    n_frames : int, as `fast_length` gives it

    Returns
    -------
    Inverse

    Raises
    ------
    ValueError
        The excitation is longer than the circle, or has no power in its band.
    """
    from scipy import fft

    n_rows, n_columns = _factors(n_frames)
    if n_rows * n_columns != n_frames or len(excitation) > n_frames:
        raise ValueError(f"{len(excitation)} frames of excitation, a circle of {n_frames}: see fast_length")
    bins = np.asarray(fft.fft(np.asarray(excitation, dtype=float), n_frames))
    frequency_hz = np.abs(np.asarray(fft.fftfreq(n_frames, 1.0 / rate_hz)))
    power = np.abs(bins) ** 2
    inside = (frequency_hz >= first_hz) & (frequency_hz <= last_hz)
    floor = FLOOR_SHARE * float(np.median(power[inside])) if inside.any() else 0.0
    if not floor > 0.0:
        raise ValueError(f"the excitation has no power from {first_hz:g} to {last_hz:g} Hz")
    with np.errstate(divide="ignore"):
        octaves = np.maximum(np.log(first_hz / frequency_hz), np.log(frequency_hz / last_hz))
    band = 0.5 + 0.5 * np.cos(np.pi * np.clip(octaves / np.log(FADE_RATIO), 0.0, 1.0))
    gain = band * np.conj(bins) / (power + floor)
    turns = np.outer(np.arange(n_rows), np.arange(n_columns)) / n_frames
    return Inverse(
        n_frames=n_frames,
        # Bin r + n_rows c stands in row r, column c.
        gain=np.ascontiguousarray(gain.reshape(n_columns, n_rows).T).astype(np.complex64),
        twiddle=np.exp(-2j * np.pi * turns).astype(np.complex64),
    )


def deconvolve(recordings: SingleArray, inverted: Inverse) -> SingleArray:
    """Impulse responses of recordings, circular: what comes before time zero stands at the end.

    Two recordings are transformed as the real and the imaginary part of one, and the long transform is made of short
    ones over rows and columns, which stay in the cache. Single precision: the arithmetic's own noise is some 120 dB
    below the peak.

    Parameters
    ----------
    recordings : (n_rows, n) n <= n_frames of the inverse, finite
    inverted : Inverse

    Returns
    -------
    (n_rows, n_frames), re 1 in the unit of the recordings over that of the excitation

    Raises
    ------
    ValueError
        The recordings are longer than the circle.

    Examples
    --------
    >>> excitation = np.random.default_rng(2).normal(size=1000)
    >>> inverted = inverse(excitation, 1.0, 499.0, 1000.0, fast_length(1200))
    >>> late = np.zeros((1, 1010), np.float32)
    >>> late[0, 7:1007] = 0.5 * excitation
    >>> int(np.argmax(deconvolve(late, inverted)[0]))
    7
    """
    n_rows, n_frames = recordings.shape
    if n_frames > inverted.n_frames:
        raise ValueError(f"recordings of {n_frames} frames, a circle of {inverted.n_frames}")
    responses = np.empty((n_rows, inverted.n_frames), dtype=np.float32)
    untwiddle = np.conj(inverted.twiddle)
    pairs = range(0, n_rows, 2)

    def work(worker: int) -> None:
        values = np.empty(inverted.gain.size, dtype=np.complex64)
        for row in pairs[worker::_WORKERS]:
            _two(recordings[row : row + 2], inverted, untwiddle, values, responses[row : row + 2])

    with ThreadPoolExecutor(_WORKERS) as workers:
        list(workers.map(work, range(_WORKERS)))
    return responses


def _two(
    recordings: SingleArray,
    inverted: Inverse,
    untwiddle: ComplexArray,
    values: ComplexArray,
    responses: SingleArray,
) -> None:
    """The responses of one or two recordings, scaled so that neither drowns the other; `values` is worked in."""
    from scipy import fft

    n_frames = recordings.shape[1]
    values[n_frames:] = 0.0
    if len(recordings) < 2:
        values.imag[:] = 0.0
    scales = [max(float(one.max(initial=0.0)), -float(one.min(initial=0.0))) or 1.0 for one in recordings]
    for part, one, scale in zip((values.real, values.imag), recordings, scales, strict=False):
        np.multiply(one, np.float32(1.0 / scale), out=part[:n_frames])
    grid = fft.fft(values.reshape(inverted.gain.shape), axis=0, overwrite_x=True)
    grid *= inverted.twiddle
    grid = fft.fft(grid, axis=1, overwrite_x=True)
    grid *= inverted.gain
    grid = fft.ifft(grid, axis=1, overwrite_x=True)
    grid *= untwiddle
    done = fft.ifft(grid, axis=0, overwrite_x=True).reshape(-1)
    for response, part, scale in zip(responses, (done.real, done.imag), scales, strict=False):
        np.multiply(part, np.float32(scale), out=response)
