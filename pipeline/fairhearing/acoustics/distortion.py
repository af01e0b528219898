"""The harmonics of an exponential sweep: level of each order re the fundamental, and the noise beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.impulse import Window, windowed
from fairhearing.acoustics.smoothing import smoothed_power
from fairhearing.acoustics.sweep import Sweep

FloatArray = npt.NDArray[np.float64]

ORDERS = (2, 3, 4, 5)
# An order is looked at for this share of the time to the one that comes before it: what is left of that one has sunk
# by then, and the rest of the time shows how far.
WINDOW_SHARE = 0.45
BEFORE_SHARE = 0.25
# Three values per third of an octave, the exact midbands among them (IEC 61260-1:2014, 5.3).
VALUES_PER_DECADE = 30
HALF_BAND = 10.0 ** (1 / 20)
PADDING = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicLevels:
    """An order of harmonics: frequency of the excitation (hertz); level and noise, dB re the fundamental; each (k,)."""

    order: int
    frequency_hz: FloatArray
    level_db: FloatArray
    noise_level_db: FloatArray


def harmonic_levels(
    response: FloatArray,
    arrival: int,
    sweep: Sweep,
    rate_hz: float,
    orders: Sequence[int] = ORDERS,
    highest_hz: float | None = None,
) -> list[HarmonicLevels]:
    r"""Level of each order of harmonics over the frequency that excites it.

    After A. Farina, 108th AES Convention, 2000: behind the deconvolution the impulse response of order n stands
    :math:`\Delta t_n = T \ln n / \ln(f_2/f_1)` before that of the fundamental. With the same window on both,
    :math:`L_n(f) = 10 \lg \left( \overline{|H_n(nf)|^2} / \overline{|H_1(f)|^2} \right)`, means over a third of an
    octave. The noise beside it is what the same window shows just before: noise, and the decay of higher orders.

    Parameters
    ----------
    response : (n,) deconvolved, time running on through `arrival`
    arrival : int
        Frame of the direct sound of the fundamental.
    sweep : Sweep
    rate_hz : float, hertz
    orders : whole numbers, > 1
    highest_hz : float, optional
        No harmonic is looked for above; without it the last frequency of the sweep.

    Returns
    -------
    list of HarmonicLevels
        The frequencies run from where the sweep begins and the window can tell to where the harmonic reaches the top;
        an order that comes before the response begins, or has no such frequency, is left out.

    Notes
    -----
    A short window leaves out late reverberation, of fundamental and harmonic alike.
    """
    top_hz = min(sweep.last_hz, highest_hz or sweep.last_hz)
    found = []
    for order in orders:
        length_s = WINDOW_SHARE * (sweep.lead_s(order + 1) - sweep.lead_s(order))
        window = Window(before_s=BEFORE_SHARE * length_s, after_s=(1 - BEFORE_SHARE) * length_s)
        frame = arrival - round(sweep.lead_s(order) * rate_hz)
        beside = frame - round(length_s * rate_hz)
        lowest_hz = max(sweep.first_hz, window.lowest_honest_hz) * HALF_BAND
        at_hz = _frequencies(lowest_hz, top_hz / order / HALF_BAND)
        if beside - round(window.before_s * rate_hz) < 0 or not len(at_hz):
            continue
        fundamental = _power(response, arrival, window, rate_hz, at_hz)
        power = _power(response, frame, window, rate_hz, order * at_hz)
        noise = _power(response, beside, window, rate_hz, order * at_hz)
        found.append(
            HarmonicLevels(
                order=order,
                frequency_hz=at_hz,
                level_db=_db(power / fundamental),
                noise_level_db=_db(noise / fundamental),
            )
        )
    return found


def _frequencies(lowest_hz: float, highest_hz: float) -> FloatArray:
    first = int(np.ceil(VALUES_PER_DECADE * np.log10(lowest_hz) - 1e-9))
    last = int(np.floor(VALUES_PER_DECADE * np.log10(highest_hz) + 1e-9))
    return np.asarray(10.0 ** (np.arange(first, last + 1) / VALUES_PER_DECADE))


def _power(response: FloatArray, frame: int, window: Window, rate_hz: float, at_hz: FloatArray) -> FloatArray:
    """Mean power over a third of an octave of what is inside of the window around a frame."""
    from scipy import fft

    part, _ = windowed(response, frame, window, rate_hz)
    n_fft = fft.next_fast_len(PADDING * len(part), real=True)
    power = np.abs(np.asarray(fft.rfft(part, n_fft))[1:]) ** 2
    frequency_hz = np.arange(1, len(power) + 1, dtype=np.float64) * (rate_hz / n_fft)
    return smoothed_power(frequency_hz, power, 3.0, at_hz)


def _db(ratio: FloatArray) -> FloatArray:
    return 10.0 * np.log10(np.maximum(ratio, np.finfo(float).tiny))
