"""Ambient noise of a measurement from the scatter of its repeats, and which frequencies stand clear of it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import third_octave_smoothed

FloatArray = npt.NDArray[np.float64]

# Above this, takes differ because the microphone was put back elsewhere, not because of noise (common practice).
SCATTER_IS_NOISE_BELOW_HZ = 200.0


def scatter_noise_power(
    frequency_hz: FloatArray, power: FloatArray, phase_deg: FloatArray | None = None
) -> FloatArray:
    r"""Noise power of one take, estimated from repeats below 200 Hz; 0 above.

    Without phase :math:`N = M - \sqrt{M^2 - V}`, M and V mean and variance of the power over the repeats: for a steady
    signal of power S in Gaussian noise of power N, :math:`M = S + N` and :math:`V = 2 S N + N^2`, so that
    :math:`V/M^2 = 2 N/M - N^2/M^2`. The three ratios are smoothed over a third of an octave before N is solved for:
    then the scatter of the microphone's place, which is in proportion to the power, weighs no more at the peaks of the
    room than in its dips. With phase the variance of the complex values, after the delay between takes is taken out.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    power : (n_repeats, n), n_repeats >= 2
    phase_deg : (n_repeats, n) degree, or None

    Returns
    -------
    (n,), in the unit of `power`

    Raises
    ------
    ValueError
        There is one repeat only: no scatter.
    """
    if len(power) < 2:
        raise ValueError("noise needs at least two repeats")
    if phase_deg is None:
        mean = power.mean(axis=0)
        relative = third_octave_smoothed(frequency_hz, power.var(axis=0, ddof=1) / mean**2)
        inverse = third_octave_smoothed(frequency_hz, 1 / mean)
        inverse_squared = third_octave_smoothed(frequency_hz, 1 / mean**2)
        root = np.sqrt(np.maximum(inverse**2 - inverse_squared * relative, 0.0))
        noise = (inverse - root) / inverse_squared
    else:
        values = np.sqrt(power) * np.exp(1j * np.deg2rad(phase_deg))
        values = without_delay_between(frequency_hz, values)
        scatter = np.sum(np.abs(values - values.mean(axis=0)) ** 2, axis=0) / (len(values) - 1)
        noise = third_octave_smoothed(frequency_hz, scatter)
    return np.where(frequency_hz < SCATTER_IS_NOISE_BELOW_HZ, noise, 0.0)


def without_delay_between(frequency_hz: FloatArray, values: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """The complex takes, each turned by the constant delay and phase that bring it nearest to the first one.

    Takes that were started by hand differ by a delay that is no noise.

    Parameters
    ----------
    frequency_hz : (n,) hertz
    values : (n_repeats, n) complex

    Returns
    -------
    (n_repeats, n) complex
    """
    turned = values.copy()
    for index in range(1, len(values)):
        delay_s, phase_rad = delay_between(frequency_hz, values[0], values[index])
        turned[index] = values[index] * np.exp(2j * np.pi * frequency_hz * delay_s - 1j * phase_rad)
    return turned


def delay_between(
    frequency_hz: FloatArray, first: npt.NDArray[np.complex128], second: npt.NDArray[np.complex128]
) -> tuple[float, float]:
    """Delay (second, > 0 if `second` comes later) and constant phase (radian) of `second` against `first`.

    Least squares on the unwrapped phase difference, weighted by the common power; above 100 Hz where the data reach
    that far, since below it noise decides the phase.
    """
    cross = second * np.conj(first)
    keep = frequency_hz >= 100.0
    if np.count_nonzero(keep) < 8:
        keep = np.ones_like(keep)
    x, angle = frequency_hz[keep], np.unwrap(np.angle(cross[keep]))
    weight = np.abs(cross[keep])
    weight = weight / weight.sum() if weight.sum() > 0 else np.full(len(x), 1 / len(x))
    centre_x, centre_y = np.sum(weight * x), np.sum(weight * angle)
    slope = np.sum(weight * (x - centre_x) * (angle - centre_y)) / np.sum(weight * (x - centre_x) ** 2)
    return float(-slope / (2 * np.pi)), float(centre_y - slope * centre_x)


def clear_of_noise(level_power: FloatArray, noise_power: FloatArray, min_snr_db: float) -> npt.NDArray[np.bool_]:
    """Whether each level stands at least `min_snr_db` above the noise; NaN levels do not.

    Parameters
    ----------
    level_power, noise_power : (...), same unit
    min_snr_db : float, dB, >= 0
    """
    with np.errstate(invalid="ignore"):
        clear: npt.NDArray[np.bool_] = level_power >= noise_power * 10 ** (min_snr_db / 10)
    return clear & (level_power > 0)


# A dip of the room may stand nearer to the noise than its surroundings, by this much, before it is left out.
DIP_ALLOWANCE_DB = 4.0


def points_clear_of_noise(
    frequency_hz: FloatArray, power: FloatArray, noise_power: FloatArray, min_snr_db: float
) -> npt.NDArray[np.bool_]:
    """Whether each frequency of a measured curve stands clear of the noise.

    Level and noise are compared after smoothing over a third of an octave. Compared point by point, noise itself would
    decide which points stay: those that it lifts. A fit to them reads a corner some 2 % low and is sure of it.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    power : (n,) energy mean of the repeats
    noise_power : (n,) of one take
    min_snr_db : float, dB, >= 0

    Returns
    -------
    (n,) bool
    """
    smooth = clear_of_noise(
        third_octave_smoothed(frequency_hz, power), third_octave_smoothed(frequency_hz, noise_power), min_snr_db
    )
    return smooth & clear_of_noise(power, noise_power, max(min_snr_db - DIP_ALLOWANCE_DB, 0.0))
