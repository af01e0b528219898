"""How much later one response comes than another, and whether its polarity is turned: from their phases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Fewer points leave room for more than one slope.
FEWEST_POINTS = 8
# A delay is looked for within +-LARGEST_DELAY_S: more than sound takes across a large hall.
LARGEST_DELAY_S = 0.1
# A constant phase within 45 degrees of 180 is called a turned polarity.
TURNED_FROM_DEG = 135.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """delay_s (second, > 0: later), phase_deg (degree, -180 to 180): what is left when the delay is taken out."""

    delay_s: float
    phase_deg: float


def delay_against(
    frequency_hz: FloatArray,
    first: npt.NDArray[np.complex128],
    second: npt.NDArray[np.complex128],
    weight: FloatArray | None = None,
) -> Delay:
    r"""Delay and constant phase of `second` against `first`.

    The :math:`\tau, \varphi` of :math:`\arg(H_2 H_1^*) = \varphi - 2 \pi f \tau`, least squares with the
    weights of the frequencies. The branch of the phase is found in bands that grow from the lowest frequencies, where
    points lie closest: it holds for delays below 0.1 s and below half the reciprocal of the closest spacing.

    Parameters
    ----------
    frequency_hz : (n,) hertz, rising, > 0, n >= 8
    first, second : (n,) complex, any unit
    weight : (n,) > 0, or None
        None: :math:`|H_2 H_1^*|`. With the same weights for all pairs, delays add up: a to c is a to b and b to c.

    Returns
    -------
    Delay

    Raises
    ------
    ValueError
        There are fewer than 8 frequencies, or no power.

    Notes
    -----
    A filter's own phase that is not in proportion to the frequency is read as delay: a first-order high-pass of 100 Hz
    gives some 0.01 ms from 500 Hz up.

    Examples
    --------
    >>> frequency = np.geomspace(500, 10_000, 100)
    >>> late = delay_against(frequency, np.ones(100, complex), -np.exp(-2j * np.pi * frequency * 0.003))
    >>> round(late.delay_s, 9), abs(round(late.phase_deg, 6))
    (0.003, 180.0)
    """
    if len(frequency_hz) < FEWEST_POINTS:
        raise ValueError(f"{len(frequency_hz)} frequencies; a delay needs {FEWEST_POINTS} or more")
    cross = second * np.conj(first)
    if weight is None:
        weight = np.abs(cross)
    if not np.abs(cross).sum() > 0:
        raise ValueError("a response is 0 throughout: it has no phase")
    delay_s = _coarse_delay_s(frequency_hz, cross)
    turned = cross * np.exp(2j * np.pi * frequency_hz * delay_s)
    middle = np.sum(turned)
    left = np.angle(turned * np.conj(middle))
    weight = weight / weight.sum()
    centre = float(np.sum(weight * frequency_hz))
    away = frequency_hz - centre
    slope = float(np.sum(weight * away * left) / np.sum(weight * away**2))
    constant = float(np.angle(middle)) + float(np.sum(weight * left)) - slope * centre
    return Delay(
        delay_s=delay_s - slope / (2 * np.pi),
        phase_deg=float(np.rad2deg(np.angle(np.exp(1j * constant)))),
    )


def is_turned(phase_deg: float) -> bool:
    """Whether a constant phase means a turned polarity: nearer to 180 than to 90 degrees.

    >>> is_turned(-172.0), is_turned(40.0)
    (True, False)
    """
    return abs(phase_deg) > TURNED_FROM_DEG


def _coarse_delay_s(frequency_hz: FloatArray, cross: npt.NDArray[np.complex128]) -> float:
    """The delay that lines the phases up best, to within a small part of a turn over the whole band."""
    # Beyond half a turn between neighbouring points a delay cannot be told from its alias.
    reach = min(LARGEST_DELAY_S, 0.5 / float(np.diff(frequency_hz).min()))
    width, best = 10 / LARGEST_DELAY_S, 0.0
    while True:
        in_band = frequency_hz <= frequency_hz[0] + width
        if np.count_nonzero(in_band) >= FEWEST_POINTS:
            steps = int(np.ceil(reach * width * 8))
            delays = best + np.arange(-steps, steps + 1) / (8 * width)
            phase = 2 * np.pi * frequency_hz[in_band]
            best = max(delays, key=lambda delay: abs(np.sum(cross[in_band] * np.exp(1j * phase * delay))))
            reach = 0.5 / width
        if in_band.all():
            return float(best)
        width *= 2
