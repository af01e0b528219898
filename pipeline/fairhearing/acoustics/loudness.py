"""Loudness of a recording by ITU-R BS.1770-5: a summary of K-weighted energy in one pass, and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.filtered_energy import FilteredEnergy, block_frames
from fairhearing.acoustics.k_filter import LOWEST_RATE_HZ, k_states
from fairhearing.acoustics.summaries import SampledFormat

FloatArray = npt.NDArray[np.float64]

# BS.1770-5, Annex 1: the constant of the loudness, the length and overlap of gating blocks, both gates.
OFFSET_DB = -0.691
BLOCKS_OF_GATING_BLOCK = 4
ABSOLUTE_GATE_LKFS = -70.0
RELATIVE_GATE_LU = -10.0
# EBU Tech 3341 (2023), 2: the short-term window is 3 s, the momentary one 0.4 s.
BLOCKS_OF_SHORT_TERM = 30
BLOCK_S = 0.1
# Parts of a block, at which the loudest moment is looked for: tones of Tech 3341 begin at multiples of 20 ms.
_PARTS = 5
_WINDOWS_AT_ONCE = 500
# BS.1770-5, Annex 1, Table 3, in the order of a WAVE file; a low-frequency channel is left out.
_SURROUND = 1.41
_WEIGHTS: Mapping[int, tuple[float, ...]] = {
    1: (1.0,),
    2: (1.0, 1.0),
    5: (1.0, 1.0, 1.0, _SURROUND, _SURROUND),
    6: (1.0, 1.0, 1.0, 0.0, _SURROUND, _SURROUND),
}


@dataclass(frozen=True, slots=True)
class KWeightedEnergy:
    r"""Mean square of the K-weighted signal in blocks of 100 ms, per channel, and the loudest moments of all channels.

    Arrays of the result:

    - ``mean_square``: (n_blocks, n_channels), full scale squared; what is left after the last whole block is dropped
    - ``block_s``: (1,), second: the length of a block, 0.1 but for the rounding to frames
    - ``loudest``: (2,), full scale squared: the largest weighted energy of all channels in 0.4 s and in 3 s, windows
      moved on by a fifth of a block; NaN if the recording is shorter

    All are NaN if the rate is below 4 kHz: the filter does not exist there. Samples before the recording count as zero,
    as in the Recommendation.

    References
    ----------
    Recommendation ITU-R BS.1770-5 (11/2023), Annex 1.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> tone = np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)[:, None]
    >>> energy = KWeightedEnergy().start(SimpleNamespace(rate_hz=48_000, n_channels=1, n_frames=48_000))
    >>> energy.update(tone)
    >>> round(integrated_loudness(energy.result()["mean_square"]).value_lkfs, 2)
    -3.01
    """

    name: ClassVar[str] = "k-weighted-energy"
    version: ClassVar[str] = "2"

    def start(self, format: SampledFormat) -> _Energy | _NoEnergy:
        """An accumulator for one recording."""
        return _Energy(format) if format.rate_hz >= LOWEST_RATE_HZ else _NoEnergy(format)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudness:
    """Integrated loudness, and what was gated: NaN where every block lies below the absolute gate, or there is none."""

    value_lkfs: float
    relative_gate_lkfs: float
    n_blocks: int
    n_above_absolute: int
    n_above_both: int


def channel_weights(n_channels: int) -> FloatArray:
    """Weight of each channel's energy, (n_channels,).

    BS.1770-5, Annex 1, Table 3, for one, two, five (L R C Ls Rs) and six channels (L R C LFE Ls Rs, LFE left out), in
    the order of a WAVE file. Of any other number the layout is not known: each counts 1.

    Raises
    ------
    ValueError
        There is no channel.

    Examples
    --------
    >>> channel_weights(6).tolist()
    [1.0, 1.0, 1.0, 0.0, 1.41, 1.41]
    """
    if n_channels < 1:
        raise ValueError(f"{n_channels} channels have no loudness")
    return np.array(_WEIGHTS.get(n_channels, (1.0,) * n_channels))


def layout_is_known(n_channels: int) -> bool:
    """Whether the channels of a file with so many are those of BS.1770's table."""
    return n_channels in _WEIGHTS


def loudness_lkfs(energy: npt.ArrayLike) -> FloatArray:
    """Loudness of a weighted energy, -0.691 + 10 lg E; -inf for nothing.

    Examples
    --------
    >>> round(float(loudness_lkfs(0.5 * 10 ** 0.0691)), 4)
    -3.0103
    """
    with np.errstate(divide="ignore"):
        return OFFSET_DB + 10 * np.log10(np.asarray(energy, dtype=np.float64))


def weighted_energy(mean_square: npt.ArrayLike) -> FloatArray:
    """Energy of all channels in each block, (n_blocks,), from `KWeightedEnergy`'s ``mean_square``.

    Raises
    ------
    ValueError
        It is not (n_blocks, n_channels).
    """
    squares = np.asarray(mean_square, dtype=np.float64)
    if squares.ndim != 2:
        raise ValueError(f"mean_square has shape {squares.shape}, not (n_blocks, n_channels)")
    total: FloatArray = squares @ channel_weights(squares.shape[1])
    return total


def windowed_energy(energy: FloatArray, n_blocks: int) -> FloatArray:
    """Mean energy of every run of `n_blocks` blocks, (n - n_blocks + 1,), or none if there are fewer.

    Examples
    --------
    >>> windowed_energy(np.array([1.0, 2.0, 6.0]), 2).tolist()
    [1.5, 4.0]
    """
    if len(energy) < n_blocks:
        return np.empty(0)
    # Not by a running sum: after a loud passage its rounding would be the energy of silence.
    means: FloatArray = np.lib.stride_tricks.sliding_window_view(energy, n_blocks).mean(axis=1)
    return means


def gate_of(blocks: FloatArray, relative_lu: float) -> float:
    """The relative gate in LKFS: so much below the mean of the blocks above the absolute gate; NaN if none is."""
    kept = blocks[loudness_lkfs(blocks) > ABSOLUTE_GATE_LKFS]
    return float(loudness_lkfs(kept.mean())) + relative_lu if len(kept) else float("nan")


def integrated_loudness(mean_square: npt.ArrayLike) -> Loudness:
    r"""Gated loudness of a whole recording.

    :math:`-0.691 + 10 \lg \overline{z}` over the blocks of 400 ms, 75 % overlapping, whose loudness is above -70 LKFS
    and above :math:`\Gamma_r`, 10 LU below the loudness of the blocks above the first gate (BS.1770-5, Annex 1).

    Parameters
    ----------
    mean_square : array (n_blocks, n_channels), full scale squared
        Of `KWeightedEnergy`.

    Returns
    -------
    Loudness, LKFS

    Raises
    ------
    ValueError
        `mean_square` is not (n_blocks, n_channels).

    Notes
    -----
    The gates hang on the recording itself: after a change that moves quiet passages across a gate, two loudnesses are
    means over different passages. To compare them over the same ones, use `windowed_energy` and `passes`.

    Examples
    --------
    >>> integrated_loudness(np.full((4, 1), 1e-8)).value_lkfs
    nan
    """
    energy = weighted_energy(mean_square)
    blocks = windowed_energy(energy, BLOCKS_OF_GATING_BLOCK)
    gate = gate_of(blocks, RELATIVE_GATE_LU)
    kept = blocks[passes(blocks, gate)]
    return Loudness(
        value_lkfs=float(loudness_lkfs(kept.mean())) if len(kept) else float("nan"),
        relative_gate_lkfs=gate,
        n_blocks=len(blocks),
        n_above_absolute=int(np.count_nonzero(loudness_lkfs(blocks) > ABSOLUTE_GATE_LKFS)),
        n_above_both=len(kept),
    )


def passes(blocks: FloatArray, relative_gate_lkfs: float) -> npt.NDArray[np.bool_]:
    """Which blocks are above both gates."""
    loudness = loudness_lkfs(blocks)
    above: npt.NDArray[np.bool_] = (loudness > ABSOLUTE_GATE_LKFS) & (loudness > relative_gate_lkfs)
    return above


class _Energy:
    def __init__(self, format: SampledFormat) -> None:
        n_frames = block_frames(format.rate_hz, BLOCK_S / _PARTS)
        n_channels = format.n_channels
        self._filter = FilteredEnergy(k_states(format.rate_hz), n_frames, n_channels)
        self._block_s = n_frames * _PARTS / format.rate_hz
        self._parts = np.empty((format.n_frames // n_frames, n_channels))
        self._weights = channel_weights(n_channels)
        self._n = 0

    def update(self, block: FloatArray) -> None:
        """Take in the next frames."""
        for energies in self._filter.feed(block):
            self._put(self._n, energies)
            self._n += len(energies)

    def result(self) -> Mapping[str, FloatArray]:
        """Mean square of each block, length of a block, and the loudest moments."""
        rest = self._filter.rest()
        self._put(self._n, rest)
        parts = self._parts[: self._n + len(rest)]
        n_blocks = len(parts) // _PARTS
        blocks = parts[: n_blocks * _PARTS].reshape(n_blocks, _PARTS, len(self._weights))
        return {
            "mean_square": blocks.mean(axis=1),
            "block_s": np.array([self._block_s]),
            "loudest": np.array([self._loudest(parts, n) for n in (BLOCKS_OF_GATING_BLOCK, BLOCKS_OF_SHORT_TERM)]),
        }

    def _put(self, index: int, energies: FloatArray) -> None:
        if index + len(energies) > len(self._parts):
            raise ValueError(f"more frames came than the {len(self._parts)} parts that the format allows for")
        self._parts[index : index + len(energies)] = energies

    def _loudest(self, parts: FloatArray, n_blocks: int) -> float:
        """The largest energy of a window of so many blocks, some windows at a time; NaN if there is none."""
        length, found = n_blocks * _PARTS, -np.inf
        for begin in range(0, len(parts) - length + 1, _WINDOWS_AT_ONCE):
            weighted = parts[begin : begin + _WINDOWS_AT_ONCE + length - 1] @ self._weights
            found = np.maximum(found, windowed_energy(weighted, length).max())
        return float(found) if found != -np.inf else float("nan")


class _NoEnergy:
    """Of a rate that is too low for the filter."""

    def __init__(self, format: SampledFormat) -> None:
        self._n_frames, self._n_channels = 0, format.n_channels
        self._n_frames_of_block = max(1, round(BLOCK_S * format.rate_hz))
        self._block_s = self._n_frames_of_block / format.rate_hz

    def update(self, block: FloatArray) -> None:
        """Count the frames."""
        self._n_frames += len(block)

    def result(self) -> Mapping[str, FloatArray]:
        """As `_Energy`, NaN throughout."""
        return {
            "mean_square": np.full((self._n_frames // self._n_frames_of_block, self._n_channels), np.nan),
            "block_s": np.array([self._block_s]),
            "loudest": np.full(2, np.nan),
        }
