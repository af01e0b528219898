"""A summary of a recording behind first-order high-passes: what an amplifier would be given if they stood before it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.chunks import Chunks, SampledFormat

FloatArray = npt.NDArray[np.float64]
_HIGHEST_SHARE_OF_RATE = 0.25


@dataclass(frozen=True, slots=True)
class FilteredLevels:
    r"""Level and extremes of each block of a recording behind high-passes of first order, one after the other.

    Each is :math:`\frac{jf/f_c}{1 + jf/f_c}` by the bilinear transform with its corner kept in place, so that
    :math:`y_n = p y_{n-1} + \frac{1 + p}{2} (x_n - x_{n-1})`, :math:`p = \frac{1 - k}{1 + k}`,
    :math:`k = \tan(\pi f_c / f_s)`. The filter begins at rest. No corner is no filter. Arrays of the result, full
    scale or its square:

    - ``mean_square``, ``mean``, ``highest``, ``lowest``: (n_blocks, n_channels)
    - ``n_frames``: (n_blocks,), frames in each block

    Parameters
    ----------
    corners_hz : tuple of float, hertz, > 0
        The same corner twice is a filter of second order.
    gain : float, 1, > 0
        Of the passband.
    block_s : float, second, > 0
        Rounded to whole frames, at least one.

    Raises
    ------
    ValueError
        A parameter is out of its range; from `start`: a corner lies above a quarter of the sample rate.

    Notes
    -----
    Far above the corner the bilinear transform and the analogue filter differ by less than 0.01 dB where the corner
    lies below a sixtieth of the sample rate.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> tone = np.sin(2 * np.pi * 100 * np.arange(8000) / 8000)[:, None]
    >>> levels = FilteredLevels((100.0,), block_s=0.5).start(SimpleNamespace(rate_hz=8000, n_channels=1, n_frames=8000))
    >>> levels.update(tone)
    >>> round(float(levels.result()["mean_square"][1, 0]), 4)  # half of a half: 3.01 dB
    0.25
    """

    name: ClassVar[str] = "filtered-levels"
    version: ClassVar[str] = "1"
    corners_hz: tuple[float, ...] = ()
    gain: float = 1.0
    block_s: float = 0.1

    def __post_init__(self) -> None:
        for name, values in (("corners_hz", self.corners_hz), ("gain", (self.gain,)), ("block_s", (self.block_s,))):
            for value in values:
                if not (math.isfinite(value) and value > 0):
                    raise ValueError(f"{name} holds {value}, not a number above 0")

    def start(self, format: SampledFormat) -> _FilteredLevels:
        """An accumulator for one recording."""
        highest = _HIGHEST_SHARE_OF_RATE * format.rate_hz
        if any(corner > highest for corner in self.corners_hz):
            raise ValueError(f"a corner of {max(self.corners_hz):g} Hz at a sample rate of {format.rate_hz} Hz")
        return _FilteredLevels(self, format)


class _FilteredLevels:
    def __init__(self, summary: FilteredLevels, format: SampledFormat) -> None:
        self._n_frames_of_block = max(1, round(summary.block_s * format.rate_hz))
        self._chunks = Chunks(self._n_frames_of_block, format.n_channels)
        self._gain = summary.gain
        self._poles = [_pole(corner, format.rate_hz) for corner in summary.corners_hz]
        self._held = [np.zeros((format.n_channels, 1)) for _ in self._poles]
        n_blocks = -(-format.n_frames // self._n_frames_of_block)
        self._kept = np.empty((4, n_blocks, format.n_channels))
        self._n_full = 0

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        for chunk in self._chunks.feed(block):
            self._put(self._n_full, chunk)
            self._n_full += 1

    def result(self) -> Mapping[str, FloatArray]:
        """The arrays of all blocks so far."""
        rest = self._chunks.rest
        n_rest = rest.shape[1]
        if n_rest:
            held = [state.copy() for state in self._held]
            self._put(self._n_full, rest)
            self._held = held  # more frames may come, and these again with them
        n_frames = np.full(self._n_full + (n_rest > 0), float(self._n_frames_of_block))
        if n_rest:
            n_frames[-1] = n_rest
        mean_square, mean, highest, lowest = self._kept[:, : len(n_frames)]
        return {
            "mean_square": mean_square.copy(),
            "mean": mean.copy(),
            "highest": highest.copy(),
            "lowest": lowest.copy(),
            "n_frames": n_frames,
        }

    def _put(self, index: int, chunk: FloatArray) -> None:
        from scipy.signal import lfilter

        if index >= self._kept.shape[1]:
            raise ValueError(f"more frames came than the {self._kept.shape[1]} blocks that the format allows for")
        out = chunk * self._gain
        for place, pole in enumerate(self._poles):
            scale = 0.5 * (1.0 + pole)
            out, self._held[place] = lfilter([scale, -scale], [1.0, -pole], out, axis=1, zi=self._held[place])
        self._kept[:, index] = (
            np.einsum("ij,ij->i", out, out) / out.shape[1],
            out.mean(axis=1),
            out.max(axis=1),
            out.min(axis=1),
        )


def _pole(corner_hz: float, rate_hz: int) -> float:
    k = math.tan(math.pi * corner_hz / rate_hz)
    return (1.0 - k) / (1.0 + k)
