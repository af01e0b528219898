"""Ambient noise of a measurement from the scatter of its repeats, and which frequencies stand clear of it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.bands import mean_over_log_frequency, third_octave_smoothed

FloatArray = npt.NDArray[np.float64]

# Above this, takes differ because the microphone was put back elsewhere, not because of noise (common practice).
SCATTER_IS_NOISE_BELOW_HZ = 200.0


def scatter_noise_power(frequency_hz: FloatArray, power: FloatArray, phase_deg: FloatArray | None = None) -> FloatArray:
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


# A point is left out in any case where the noise at it is this much nearer than the limit: a hum, say.
NEARER_THAN_BESIDE_DB = 6.0


def noise_to_choose_by(frequency_hz: FloatArray, scatter_power: FloatArray) -> FloatArray:
    """Noise power by which to choose points, from noise that was estimated from scatter: that of the neighbourhood.

    Were points chosen by the same estimate that is then subtracted, those would stay at which it came out too small,
    and too little would be taken from them: a corner 1 to 2 % low. Noise a third to two thirds of an octave beside the
    point was estimated from other points. It is never less than the point's own estimate less 6 dB.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    scatter_power : (n,) from `scatter_noise_power`

    Returns
    -------
    (n,), in the unit of `scatter_power`; 0 above 200 Hz
    """
    below = frequency_hz < SCATTER_IS_NOISE_BELOW_HZ
    if np.count_nonzero(below) < 2:
        return scatter_power
    grid = frequency_hz[below]
    total, width = np.zeros(len(grid)), np.zeros(len(grid))
    for near, far in ((-1, -2), (1, 2)):
        edges = np.sort([grid * 10 ** (near / 10), grid * 10 ** (far / 10)], axis=0).clip(grid[0], grid[-1])
        inside = edges[1] > edges[0] * 1.0001
        lower, upper = np.where(inside, edges, [[grid[0]], [grid[-1]]])
        span = np.where(inside, np.log(upper / lower), 0.0)
        total += span * mean_over_log_frequency(grid, scatter_power[below], lower, upper)
        width += span
    own = scatter_power * 10 ** (-NEARER_THAN_BESIDE_DB / 10)
    beside = np.zeros(len(frequency_hz))
    beside[below] = np.where(width > 0, total / np.where(width > 0, width, 1.0), scatter_power[below])
    return np.maximum(beside, own)


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


# Squared spread of a level besides noise, in power: 0.3 dB; it only keeps the weights finite where there is no noise.
SPREAD_BESIDES_NOISE = (0.3 * np.log(10.0) / 10.0) ** 2


def usable_in_both(
    frequency_hz: FloatArray,
    power: tuple[FloatArray, FloatArray],
    noise_power: tuple[FloatArray, FloatArray],
    n_repeats: tuple[int, int],
    min_snr_db: float,
) -> npt.NDArray[np.bool_]:
    r"""Whether each frequency stands clear of the noise in both of two curves of one room that differ smoothly.

    Compared level by level with the limit, noise itself would decide which points stay: those of the weaker curve that
    it lifts. A fit to their change then reads a corner some 2 % low and is sure of it. So each curve's level is
    expected from both: the weighted mean of their levels after the change, smoothed over a third of an octave, is
    taken out. With weights :math:`1/v_k`, :math:`v_k = (2 r_k + r_k^2)/n_k` the variance of a level for a noise to
    signal ratio :math:`r_k`, the errors of that mean and of the change are uncorrelated,
    :math:`w_1 v_1 - w_2 v_2 = 0`: the choice says nothing about the change.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0
    power : two (n,) energy means of the repeats, > 0
    noise_power : two (n,) of one take
    n_repeats : two int
    min_snr_db : float, dB, >= 0

    Returns
    -------
    (n,) bool
    """
    level = [np.log(p) for p in power]
    smooth = [third_octave_smoothed(frequency_hz, p) for p in power]
    ratio = [np.minimum(n / s, 1.0) for n, s in zip(noise_power, smooth, strict=True)]
    weight = [n / (SPREAD_BESIDES_NOISE + 2 * r + r**2) for n, r in zip(n_repeats, ratio, strict=True)]
    change = third_octave_smoothed(frequency_hz, level[0] - level[1])
    first = (weight[0] * level[0] + weight[1] * (level[1] + change)) / (weight[0] + weight[1])
    return clear_of_noise(np.exp(first), noise_power[0], min_snr_db) & clear_of_noise(
        np.exp(first - change), noise_power[1], min_snr_db
    )
