"""From an impulse response to a response: the direct sound found, the decay cut where noise takes over, a window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.smoothing import smoothed_power

FloatArray = npt.NDArray[np.float64]

# ISO 3382-1:2009, 5.3.3: the direct sound begins where the response has risen out of the background, but is still more
# than 20 dB below its maximum.
DIRECT_SHARE = 10.0 ** (-20.0 / 20.0)
# A peak of noise alone reaches some 4 to 5 times its own root mean square (common practice).
NOISE_PEAKS = 5.0
DECAY_BLOCK_S = 0.02
# Noise this much below the response in the bass does not count there.
QUIET_SHARE = 10.0 ** (-30.0 / 10.0)
# Of the window behind the direct sound, the last quarter fades out; of that before it, the first half fades in.
FADE_OUT_SHARE, FADE_IN_SHARE = 0.25, 0.5
# Values stand this closely, each the mean over its own part of the axis: closer than any analysis here looks.
VALUES_PER_OCTAVE = 48
# Zeros behind the window put the values of its transform closer together than it can tell them apart.
PADDING = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """before_s, after_s (second, > 0): what is kept before and behind the direct sound."""

    before_s: float
    after_s: float

    @property
    def lowest_honest_hz(self) -> float:
        """1 over the length behind the direct sound, the fade counted half: nothing slower shows in it."""
        return 1.0 / (self.after_s * (1.0 - FADE_OUT_SHARE / 2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """frequency_hz (rising), level_db (re 1 in the unit of the samples), phase_deg (-180 to 180), each (k,)."""

    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray


def arrival_frame(response: FloatArray) -> int:
    """The frame of the direct sound: the first within 20 dB of the highest, and clear of the noise at the end.

    After ISO 3382-1:2009, 5.3.3. Where that noise itself is within 20 dB of the highest sample, the first that stands
    5 times above its root mean square.

    Parameters
    ----------
    response : (n,) impulse response, any unit

    Returns
    -------
    int, 0 to n - 1

    Raises
    ------
    ValueError
        All samples are 0, or there is none.

    Examples
    --------
    >>> arrival_frame(np.array([0.0, 0.0, 0.02, 1.0, -0.5, 0.0]))
    3
    """
    size = np.abs(response)
    peak = float(size.max(initial=0.0))
    if not peak > 0.0:
        raise ValueError("all samples are 0: there is no direct sound")
    tail = response[-max(1, len(response) // 10) :]
    noise = float(np.sqrt(np.mean(np.square(tail, dtype=float))))
    threshold = min(max(DIRECT_SHARE * peak, NOISE_PEAKS * noise), peak)
    return int(np.argmax(size >= threshold))


def decay_frames(response: FloatArray, rate_hz: float) -> int | None:
    """How many frames of a decay stand above its noise; None if it has not sunk into noise by its end.

    The noise is the mean power of the last tenth, if that is level: a tenth before it not 3 dB higher. The decay ends
    with the first 60 ms whose power is no more than twice the noise.

    Parameters
    ----------
    response : (n,) from the direct sound on
    rate_hz : float, hertz, > 0

    Examples
    --------
    >>> decay = 10 ** (-3 * np.arange(48_000) / 24_000)  # 60 dB in half a second
    >>> noise = np.random.default_rng(1).normal(0, 1e-3, 48_000)
    >>> decay_frames(decay, 48_000) is None, decay_frames(decay + noise, 48_000) / 48_000
    (True, 0.5)
    """
    n_block = max(1, round(DECAY_BLOCK_S * rate_hz))
    n_blocks = len(response) // n_block
    n_tail = n_blocks // 10
    if n_tail < 2:
        return None
    power = np.square(response[: n_blocks * n_block], dtype=float).reshape(n_blocks, n_block).mean(axis=1)
    noise, before = float(power[-n_tail:].mean()), float(power[-2 * n_tail : -n_tail].mean())
    if noise <= 0.0 or before > 2.0 * noise:
        return None
    smooth = np.convolve(power, np.full(3, 1 / 3), mode="valid")
    sunk = np.flatnonzero(smooth <= 2.0 * noise)
    return int(sunk[0] + 1) * n_block if len(sunk) else None


def quiet_frames(
    response: FloatArray, rate_hz: float, n_decay: int, n_wanted: int, bass_hz: tuple[float, float]
) -> int:
    r"""Frames to keep behind the direct sound: `n_wanted` where the noise is so low that bass stands clear.

    Noise of power :math:`\sigma^2` per sample adds :math:`N \sigma^2` to every :math:`|H|^2`. Up to `n_wanted` frames
    are kept as long as that stays 30 dB below the mean of :math:`|H|^2` in the bass.

    Parameters
    ----------
    response : (n,) from the direct sound on
    rate_hz : float, hertz
    n_decay : int, as `decay_frames` gives it
    n_wanted : int
    bass_hz : (lowest, highest), hertz

    Returns
    -------
    int, at least `n_decay`, at most n
    """
    from scipy import fft

    n_wanted = min(n_wanted, len(response))
    if n_wanted <= n_decay:
        return min(n_decay, len(response))
    noise = float(np.mean(np.square(response[-max(1, len(response) // 10) :], dtype=float)))
    n_fft = max(n_wanted, round(4.0 * rate_hz / bass_hz[0]))
    power = np.abs(np.asarray(fft.rfft(response[:n_decay], n_fft))) ** 2
    frequency_hz = np.arange(len(power)) * (rate_hz / n_fft)
    bass = float(power[(frequency_hz >= bass_hz[0]) & (frequency_hz <= bass_hz[1])].mean())
    return n_wanted if noise * n_wanted <= QUIET_SHARE * bass else n_decay


def values_hz(lowest_hz: float, highest_hz: float) -> FloatArray:
    """The frequencies at which a response is given: 48 per octave (a factor of two), 1 kHz among them.

    >>> values_hz(990.0, 1020.0).round(1).tolist()
    [1000.0, 1014.5]
    """
    first = int(np.ceil(VALUES_PER_OCTAVE * np.log2(lowest_hz / 1000.0) - 1e-9))
    last = int(np.floor(VALUES_PER_OCTAVE * np.log2(highest_hz / 1000.0) + 1e-9))
    return np.asarray(1000.0 * 2.0 ** (np.arange(first, last + 1) / VALUES_PER_OCTAVE))


def windowed(response: FloatArray, arrival: int, window: Window, rate_hz: float) -> tuple[FloatArray, int]:
    """The response inside of the window, and the frame that it begins with; both ends are half Hann windows.

    A window that reaches over an end of the response is cut there.
    """
    n_before, n_after = round(window.before_s * rate_hz), round(window.after_s * rate_hz)
    begin, end = max(0, arrival - n_before), min(len(response), arrival + n_after)
    weight = np.ones(end - begin)
    n_in = round(FADE_IN_SHARE * (arrival - begin))
    n_out = round(FADE_OUT_SHARE * (end - arrival))
    if n_in:
        weight[:n_in] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_in) + 0.5) / n_in)
    if n_out:
        weight[-n_out:] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(n_out) + 0.5) / n_out)
    return weight * response[begin:end], begin


def spectrum(
    response: FloatArray, arrival: int, window: Window, rate_hz: float, at_hz: FloatArray, zero_frame: float = 0.0
) -> Spectrum:
    r"""Level and phase of what is inside of the window.

    :math:`H(f) = \sum_n w_n h_n e^{-2 \pi i f (n - n_0) / f_s}`. The level is that of the mean of :math:`|H|^2` over
    1/48 octave around each frequency, so that band levels keep all of its energy; the phase is that of H there.

    Parameters
    ----------
    response : (n,) impulse response
    arrival : int
        Frame of the direct sound.
    window : Window
    rate_hz : float, hertz, > 0
    at_hz : (k,) hertz, > 0, at most half of `rate_hz`
    zero_frame : float
        The frame of time zero, to which the phase refers.

    Returns
    -------
    Spectrum

    Examples
    --------
    >>> click = np.zeros(4800)
    >>> click[480] = 2.0
    >>> seen = spectrum(click, 480, Window(before_s=0.005, after_s=0.08), 48_000, np.array([100.0, 1000.0]))
    >>> seen.level_db.round(3).tolist(), seen.phase_deg.round(3).tolist()
    ([6.021, 6.021], [0.0, 0.0])
    """
    from scipy import fft

    part, begin = windowed(np.asarray(response, dtype=float), arrival, window, rate_hz)
    n_fft = fft.next_fast_len(max(PADDING * len(part), round(PADDING * rate_hz / float(at_hz[0]))), real=True)
    bins = np.asarray(fft.rfft(part, n_fft))[1:]
    frequency_hz = np.arange(1, n_fft // 2 + 1, dtype=np.float64) * (rate_hz / n_fft)
    power = smoothed_power(frequency_hz, np.abs(bins) ** 2, VALUES_PER_OCTAVE, at_hz)
    # With the arrival at zero the phase turns slowly, and may be read between the bins.
    bins *= np.exp(2j * np.pi * frequency_hz * ((arrival - begin) / rate_hz))
    turned = np.interp(at_hz, frequency_hz, bins.real) + 1j * np.interp(at_hz, frequency_hz, bins.imag)
    late = np.exp(-2j * np.pi * at_hz * ((arrival - zero_frame) / rate_hz))
    return Spectrum(
        frequency_hz=at_hz,
        level_db=10.0 * np.log10(np.maximum(power, np.finfo(float).tiny)),
        phase_deg=np.angle(turned * late, deg=True),
    )
