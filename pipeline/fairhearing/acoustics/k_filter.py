"""The K-weighting filter of ITU-R BS.1770 at any sample rate: its two sections, its gain, and the cascade as states."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2: b0 b1 b2 a1 a2 at 48 kHz.
TABLE_RATE_HZ = 48_000
TABLE = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621),
)
# Below it the shelf, which is centred at 1682 Hz, has no room under half the rate.
LOWEST_RATE_HZ = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterStates:
    r"""A filter as :math:`s_{n+1} = A s_n + b x_n`, :math:`y_n = c s_n + d x_n`.

    transition (n_states, n_states), drive (n_states,), output (n_states,), through: A, b, c, d.
    """

    transition: FloatArray
    drive: FloatArray
    output: FloatArray
    through: float


def k_sections(rate_hz: float) -> FloatArray:
    r"""Coefficients of the two sections at a sample rate: rows b0 b1 b2 1 a1 a2, the shelf first.

    BS.1770-5, Annex 1, gives them for 48 kHz and asks at other rates for the same frequency response. Each section is
    taken back to :math:`\frac{n_2 p^2 + n_1 p + n_0}{p^2 + d_1 p + 1}`,
    :math:`p = \frac{1}{K} \frac{z - 1}{z + 1}`, :math:`K = \tan(\pi f_0 / f_s)`, and forth with the K of the wanted
    rate: its centre :math:`f_0`, its gain there and in the passband stay. At 48 kHz they are those of the tables.

    Parameters
    ----------
    rate_hz : float, hertz, >= 4000

    Returns
    -------
    array (2, 6), as `scipy.signal.sosfilt` takes them

    Raises
    ------
    ValueError
        The rate is below 4 kHz or not finite: the shelf at 1.7 kHz has no room.

    Notes
    -----
    With 1, -2, 1 in the second section at every rate, as some write it, the passband is 0.02 dB lower at 96 kHz.
    Where the shelf nears half the rate (8 kHz) it is narrower than at 48 kHz.

    Examples
    --------
    >>> k_sections(48_000)[0, 0].round(12), k_sections(44_100)[1, 5].round(6)
    (np.float64(1.535124859587), np.float64(0.989199))
    """
    if not (math.isfinite(rate_hz) and rate_hz >= LOWEST_RATE_HZ):
        raise ValueError(f"{rate_hz} Hz is too low a sample rate for the K-weighting: it begins at {LOWEST_RATE_HZ} Hz")
    return np.array([_at_rate(*section, rate_hz) for section in TABLE])


def _at_rate(b0: float, b1: float, b2: float, a1: float, a2: float, rate_hz: float) -> list[float]:
    high = 1 - a1 + a2  # four times the denominator at half the rate
    table_k = math.sqrt((1 + a1 + a2) / high)
    k = math.tan(math.atan(table_k) * TABLE_RATE_HZ / rate_hz)
    damping = 2 * (1 - a2) / (high * table_k)
    n0, n1, n2 = (b0 + b1 + b2) / (high * table_k**2), 2 * (b0 - b2) / (high * table_k), (b0 - b1 + b2) / high
    norm = 1 + damping * k + k**2
    numerator = [n2 + n1 * k + n0 * k**2, 2 * (n0 * k**2 - n2), n2 - n1 * k + n0 * k**2]
    denominator = [norm, 2 * (k**2 - 1), 1 - damping * k + k**2]
    return [value / norm for value in (*numerator, *denominator)]


def k_gain(frequency_hz: npt.ArrayLike, rate_hz: float = TABLE_RATE_HZ) -> FloatArray:
    """Factor by which the filter at a sample rate multiplies the power at each frequency.

    Parameters
    ----------
    frequency_hz : array, hertz, 0 to half of `rate_hz`
    rate_hz : float, hertz, >= 4000

    Returns
    -------
    array of the same shape, >= 0; about 1.17 at 997 Hz, which the constant -0.691 of the loudness takes back

    Raises
    ------
    ValueError
        A frequency is negative, above half the rate or not finite; the rate is too low.

    Examples
    --------
    >>> round(float(10 * np.log10(k_gain(997.0))), 3)
    0.691
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all((frequency >= 0) & (frequency <= rate_hz / 2)):
        raise ValueError(f"a frequency is not from 0 to {rate_hz / 2:g} Hz, half the sample rate")
    z = np.exp(-2j * np.pi * frequency / rate_hz)
    powers = np.stack([np.ones_like(z), z, z * z], axis=-1)
    gain = np.ones(frequency.shape)
    for section in k_sections(rate_hz):
        gain *= np.abs((powers @ section[:3]) / (powers @ section[3:])) ** 2
    return gain


def k_states(rate_hz: float) -> FilterStates:
    """The cascade of both sections as a filter of four states (each section in transposed direct form II).

    Parameters and exceptions as of `k_sections`.
    """
    return states_of(k_sections(rate_hz))


def states_of(sections: FloatArray) -> FilterStates:
    """Two sections of the second order as a filter of four states.

    Parameters
    ----------
    sections : (2, 6), rows b0 b1 b2 1 a1 a2
    """
    (b0, b1, b2, _, a1, a2), (e0, e1, e2, _, g1, g2) = sections.tolist()
    first = np.array([[-a1, 1.0], [-a2, 0.0]])
    second = np.array([[-g1, 1.0], [-g2, 0.0]])
    into_first = np.array([b1 - a1 * b0, b2 - a2 * b0])
    into_second = np.array([e1 - g1 * e0, e2 - g2 * e0])
    transition = np.zeros((4, 4))
    transition[:2, :2], transition[2:, 2:] = first, second
    transition[2:, 0] = into_second  # what leaves the first section is its first state and b0 of what enters
    return FilterStates(
        transition=transition,
        drive=np.concatenate([into_first, into_second * b0]),
        output=np.array([e0, 0.0, 1.0, 0.0]),
        through=b0 * e0,
    )
