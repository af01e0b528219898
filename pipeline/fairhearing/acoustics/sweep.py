"""Exponential sweeps: what one is, found from its samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# The sweep lasts from where its envelope first to where it last exceeds this share of the highest.
ACTIVE_SHARE = 0.05
# Its frequency is fitted over this part of the time: fades, and the edges of the analytic signal, disturb the rest.
FITTED_FROM, FITTED_TO = 0.05, 0.95
N_FITTED = 100
# Root mean square of ln f about the fitted line; a sweep that is linear in time misses it by more than 0.1.
LARGEST_MISFIT = 0.02
SMALLEST_RANGE = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """An exponential sweep: first_hz, last_hz (hertz), begins_s (second from the start of its file), duration_s.

    `rate_s` (second): the time in which the frequency grows by a factor of e.
    """

    first_hz: float
    last_hz: float
    begins_s: float
    duration_s: float

    @property
    def rate_s(self) -> float:
        """T / ln(f2 / f1)."""
        return float(self.duration_s / np.log(self.last_hz / self.first_hz))

    def lead_s(self, order: int) -> float:
        r"""How much earlier than the response the harmonic of an order comes: :math:`T \ln n / \ln (f_2 / f_1)`.

        A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique", 108th AES
        Convention, 2000.

        >>> round(Sweep(first_hz=20.0, last_hz=20_000.0, begins_s=0.0, duration_s=10.0).lead_s(2), 4)
        1.0034
        """
        return float(self.rate_s * np.log(order))


def find_sweep(samples: FloatArray, rate_hz: float) -> Sweep:
    r"""The exponential sweep that the samples are: :math:`f(t) = f_1 e^{t / L}`, by least squares on ln f over t.

    The frequency is the slope of the phase of the analytic signal, over steps of a hundredth of the duration.

    Parameters
    ----------
    samples : (n,) with silence before and behind, if any
    rate_hz : float, hertz, > 0

    Returns
    -------
    Sweep

    Raises
    ------
    ValueError
        They are no exponential sweep that rises over two octaves or more; in words.

    Examples
    --------
    >>> time = np.arange(96_000) / 48_000
    >>> made = np.sin(2 * np.pi * 50 * 2 / np.log(200) * (np.exp(time / 2 * np.log(200)) - 1))
    >>> found = find_sweep(made, 48_000)
    >>> round(found.first_hz), round(found.last_hz, -2), round(found.duration_s, 3)
    (50, 10000.0, 2.0)
    """
    from scipy import signal

    if len(samples) < 2 * N_FITTED:
        raise ValueError(f"it has {len(samples)} samples only")
    analytic = signal.hilbert(samples - samples.mean())
    size = np.abs(samples - samples.mean())  # the analytic signal of one that breaks off has tails in the silence
    active = np.flatnonzero(size > ACTIVE_SHARE * size.max())
    if not len(active):
        raise ValueError("all of its samples are the same")
    begin, end = int(active[0]), int(active[-1]) + 1
    edges = np.linspace(begin + FITTED_FROM * (end - begin), begin + FITTED_TO * (end - begin), N_FITTED + 1)
    edges = np.unique(edges.round().astype(int))
    phase = np.unwrap(np.angle(analytic[edges[0] : edges[-1] + 1]))[edges - edges[0]]
    speed_hz = np.diff(phase) / np.diff(edges) * (rate_hz / (2 * np.pi))
    if np.any(speed_hz <= 0):
        raise ValueError("its frequency does not rise steadily: it is no single tone that moves")
    middle_s = 0.5 * (edges[:-1] + edges[1:]) / rate_hz
    slope, offset = np.polyfit(middle_s, np.log(speed_hz), 1)
    misfit = float(np.sqrt(np.mean((np.log(speed_hz) - offset - slope * middle_s) ** 2)))
    if misfit > LARGEST_MISFIT:
        raise ValueError(f"its frequency does not rise exponentially: it departs from that by {100 * misfit:.0f} %")
    first_hz, last_hz = (float(np.exp(offset + slope * frame / rate_hz)) for frame in (begin, end))
    if not last_hz >= SMALLEST_RANGE * first_hz:
        raise ValueError(f"it runs from {first_hz:.4g} to {last_hz:.4g} Hz: less than two octaves upwards")
    return Sweep(
        first_hz=first_hz,
        last_hz=min(last_hz, rate_hz / 2),
        begins_s=begin / rate_hz,
        duration_s=float(np.log(min(last_hz, rate_hz / 2) / first_hz) / slope),
    )
