"""Loudness range of a recording by EBU Tech 3342, from the K-weighted energy of its blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.loudness import (
    BLOCKS_OF_SHORT_TERM,
    gate_of,
    loudness_lkfs,
    passes,
    weighted_energy,
    windowed_energy,
)

FloatArray = npt.NDArray[np.float64]

# EBU Tech 3342 (2023), 2 and 3: the relative gate, and the percentiles.
RELATIVE_GATE_LU = -20.0
LOWER_PERCENT, UPPER_PERCENT = 10.0, 95.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoudnessRange:
    """Loudness range with its two percentiles; NaN where there is no window, or all lie below the absolute gate."""

    value_lu: float
    lower_lkfs: float
    upper_lkfs: float
    n_windows: int
    n_above_both: int


def loudness_range(mean_square: npt.ArrayLike, n_blocks_apart: int = 1) -> LoudnessRange:
    r"""Distance from the 10th to the 95th percentile of the gated short-term loudness.

    Windows of 3 s, moved on by 0.1 s; those above -70 LKFS and above 20 LU below the loudness of the
    windows above the first gate; percentiles are members of the ordered list, of rank :math:`1 + (n - 1) p / 100`
    rounded (EBU Tech 3342, 2023, 3).

    Parameters
    ----------
    mean_square : array (n_blocks, n_channels), full scale squared
        Of `KWeightedEnergy`.
    n_blocks_apart : int, >= 1
        What windows are moved on by. Since 2016 the document asks for 0.1 s; its first edition, which many programs
        still follow, for 1 s: 10.

    Returns
    -------
    LoudnessRange, LU, >= 0

    Raises
    ------
    ValueError
        `mean_square` is not (n_blocks, n_channels), or `n_blocks_apart` is below 1.

    Notes
    -----
    Below a minute the windows are too few for a range that says much (Tech 3342, 4).

    Examples
    --------
    >>> round(loudness_range(np.repeat([[0.01], [0.001]], 200, axis=0)).value_lu, 6)
    10.0
    """
    if n_blocks_apart < 1:
        raise ValueError(f"windows cannot be moved on by {n_blocks_apart} blocks")
    windows = windowed_energy(weighted_energy(mean_square), BLOCKS_OF_SHORT_TERM)[::n_blocks_apart]
    kept = np.sort(loudness_lkfs(windows[passes(windows, gate_of(windows, RELATIVE_GATE_LU))]))
    if not len(kept):
        nan = float("nan")
        return LoudnessRange(value_lu=nan, lower_lkfs=nan, upper_lkfs=nan, n_windows=len(windows), n_above_both=0)
    lower, upper = (float(kept[_rank(len(kept), percent)]) for percent in (LOWER_PERCENT, UPPER_PERCENT))
    return LoudnessRange(
        value_lu=upper - lower, lower_lkfs=lower, upper_lkfs=upper, n_windows=len(windows), n_above_both=len(kept)
    )


def _rank(n: int, percent: float) -> int:
    """Rank from 0; halves go up, as in the document's own program."""
    return int((n - 1) * percent / 100 + 0.5)
