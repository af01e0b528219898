"""How recordings lie to each other along the programme, and whether they hold the same section of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.paired_loudness import matched_section

FloatArray = npt.NDArray[np.float64]

# Common practice, no source: the same section under a filter correlates above 0.95, other sections below 0.5.
LEAST_CORRELATION = 0.8
TOO_EVEN = "whether the recordings hold the same section cannot be told: the programme is too even"
OTHER_SECTION = "the recordings do not hold the same section: their levels along the time correlate only {r:.2f}"
SHIFTED = "the recordings begin up to {shift:.1f} s apart: laid against each other by their levels"


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The lag of each recording in blocks, with what is doubtful of them; the fault if they hold no one section."""

    lags: tuple[int, ...] = ()
    too_even: tuple[str, ...] = ()
    shifted: tuple[str, ...] = ()
    fault: str | None = None

    @property
    def caveats(self) -> tuple[str, ...]:
        """All that is doubtful."""
        return (*self.too_even, *self.shifted)


def section_of(energies: Sequence[FloatArray], block_s: float) -> Section:
    """All laid against the one of most energy, whichever number it has; energies: K-weighted, by blocks."""
    against = max(energies, key=lambda energy: (float(energy.sum()), len(energy)))
    found = [matched_section(energy, against) for energy in energies]
    correlations = [one.correlation for one in found]
    lowest = min((r for r in correlations if not math.isnan(r)), default=math.nan)
    if lowest < LEAST_CORRELATION:
        return Section(fault=OTHER_SECTION.format(r=lowest))
    lags = tuple(one.lag_blocks for one in found)
    return Section(
        lags=lags,
        too_even=(TOO_EVEN,) if any(math.isnan(r) for r in correlations) else (),
        shifted=(SHIFTED.format(shift=(max(lags) - min(lags)) * block_s),) if any(lags) else (),
    )
