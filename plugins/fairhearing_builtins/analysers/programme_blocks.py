"""How much a band of a recorded programme changes between two conditions, with an interval from paired blocks of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import Condition, Criteria
from fairhearing.statistics.block_ratio import half_width, log_ratio_of_sums
from fairhearing_builtins.analysers.programme_takes import (
    LARGEST_LAG_S,
    LENGTH_TOLERANCE_S,
    LOW,
    Shift,
    Take,
    asleep,
    in_time,
    shift_between,
)
from fairhearing_builtins.analysers.recording_groups import SILENT, unit_of
from fairhearing_builtins.analysers.recording_levels import TWO_SCALES

FloatArray = npt.NDArray[np.float64]

DB_PER_NEPER = 10 / math.log(10)
TOO_SHORT = f"shorter than two periods of {LOW.lowest_hz:g} Hz: what lies there cannot be told from a steady offset"
OTHER_SECTION = (
    "the recordings are not of the same section of the programme: their levels do not rise and fall together"
)
CANNOT_TELL_SECTION = "too steady a sound to tell whether the recordings are of the same section"
FEW_BLOCKS = "too short for an interval from blocks along the programme"
NO_CALIBRATION = "not calibrated: the recorder's gain is taken to be the same in both"
FEW_FOR_SLOW = 30  # windows; two minutes
SHORT_PROGRAMME = "a short programme: the interval holds if what it is made of comes and goes within seconds"
NO_INTERVAL_OF_PEAK = "a peak: no interval from blocks"
# An interval over programmes needs none along them.
ALONG_CAVEATS = frozenset({FEW_BLOCKS, SHORT_PROGRAMME, NO_INTERVAL_OF_PEAK})
SWAPPED_DB = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change in dB with its standard error and its degrees of freedom (NaN and 0: no interval), or why there is none.

    `n`: the smaller number of repeats.
    """

    value: float | None
    standard_error: float = math.nan
    degrees_of_freedom: float = 0.0
    n: int = 1
    caveats: tuple[str, ...] = ()

    def interval(self, confidence: float) -> tuple[float, float] | None:
        """Low and high, by t."""
        half = half_width(self.standard_error, self.degrees_of_freedom, confidence)
        if self.value is None or not math.isfinite(half):
            return None
        return self.value - half, self.value + half


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The repeats of a condition and of the reference at one spot, put in time with each other."""

    takes: tuple[Take, ...]
    reference: tuple[Take, ...]
    lags_s: tuple[float, ...]  # of takes, then of reference
    lacking: str | None  # why nothing can be said
    caveats: tuple[str, ...]

    @property
    def n(self) -> int:
        """The smaller number of repeats."""
        return min(len(self.takes), len(self.reference))

    @property
    def together(self) -> bool:
        """Whether all begin and end at the same place in the programme."""
        durations = [take.duration_s for take in (*self.takes, *self.reference)]
        return (
            max(durations) - min(durations) <= LENGTH_TOLERANCE_S
            and max(self.lags_s) - min(self.lags_s) <= LARGEST_LAG_S
        )

    def change(self, lower_hz: float, upper_hz: float) -> Change:
        """The change of the energy between two frequencies: repeats averaged in energy, condition over reference."""
        if self.lacking is not None:
            return Change(value=None, n=self.n, caveats=(self.lacking, *self.caveats))
        over, under = self._blocks(lambda take: take.windows(lower_hz, upper_hz))
        if self.together:
            powers = [float(np.mean([t.power(lower_hz, upper_hz) for t in ts])) for ts in (self.takes, self.reference)]
        else:
            powers = [float(over.mean()), float(under.mean())] if len(over) else [math.nan, math.nan]
        if not (np.isfinite(powers).all() and min(powers) > 0):
            why = SILENT if min(powers) == 0 else f"too short for {lower_hz:g} to {upper_hz:g} Hz"
            return Change(value=None, n=self.n, caveats=(why, *self.caveats))
        value = 10 * math.log10(powers[0] / powers[1])
        if not (over.any() and under.any()):
            return Change(value=value, n=self.n, caveats=(*self.caveats, FEW_BLOCKS))
        found = log_ratio_of_sums(over, under)
        few = (FEW_BLOCKS,) if not found.degrees_of_freedom else (SHORT_PROGRAMME,) if len(over) < FEW_FOR_SLOW else ()
        return Change(
            value=value,
            standard_error=DB_PER_NEPER * found.standard_error,
            degrees_of_freedom=found.degrees_of_freedom,
            n=self.n,
            caveats=(*self.caveats, *few),
        )

    def ratio_change(self, power: Callable[[Take], float], factor: float, why: str) -> Change:
        """`factor` times the decadic logarithm of a ratio of means over repeats, without an interval."""
        if self.lacking is not None:
            return Change(value=None, n=self.n, caveats=(self.lacking, *self.caveats))
        over, under = (float(np.mean([power(take) for take in takes])) for takes in (self.takes, self.reference))
        if not (math.isfinite(over) and math.isfinite(under) and over > 0 and under > 0):
            return Change(value=None, n=self.n, caveats=(SILENT, *self.caveats))
        return Change(value=factor * math.log10(over / under), n=self.n, caveats=(*self.caveats, why))

    def weighted_change(self, power: Callable[[Take], float], blocks: Callable[[Take], FloatArray]) -> Change:
        """The change of a weighted energy, with an interval from its blocks."""
        plain = self.ratio_change(power, 10.0, FEW_BLOCKS)
        if plain.value is None:
            return plain
        over, under = self._blocks(blocks)
        if not (over.any() and under.any()):
            return plain
        found = log_ratio_of_sums(over, under)
        return Change(
            value=plain.value,
            standard_error=DB_PER_NEPER * found.standard_error,
            degrees_of_freedom=found.degrees_of_freedom,
            n=self.n,
            caveats=self.caveats if found.degrees_of_freedom else plain.caveats,
        )

    def _blocks(self, windows: Callable[[Take], FloatArray]) -> tuple[FloatArray, FloatArray]:
        """Energies of the windows that all recordings have in full, means over repeats."""
        starts = self.reference[0].low["window_start_s"]
        hop_s = float(starts[1] - starts[0]) if len(starts) > 1 else LOW.window_s / 2
        every = (*self.takes, *self.reference)
        common = in_time([windows(take) for take in every], self.lags_s, hop_s)
        # At the ends of a recording its low spectrum is faded.
        faded = np.any(in_time([take.low["window_faded"] for take in every], self.lags_s, hop_s), axis=0)
        n = len(self.takes)
        return np.mean(common[:n], axis=0)[~faded], np.mean(common[n:], axis=0)[~faded]


def paired(takes: Sequence[Take], reference: Sequence[Take], criteria: Criteria) -> Pair:
    """The two put together, with all that is odd about them."""
    every = (*takes, *reference)
    caveats = [said for take in every for said in take.caveats()]
    caveats += asleep(takes) + asleep(reference)
    lacking = _lacking(every)
    lags: list[float] = [0.0] * len(every)
    if lacking is None:
        shifts = [shift_between(take, reference[0]) for take in every]
        lags = [shift.lag_s for shift in shifts]
        if any(shift.same is False for shift in shifts):
            lacking = OTHER_SECTION
        caveats += _shift_caveats(every, shifts) + _gain_caveats(takes, reference, criteria)
    if len({take.recording.format.n_channels for take in every}) > 1:
        caveats.append("some recordings have one channel and others more: the mean over channels was taken of each")
    return Pair(
        takes=tuple(takes),
        reference=tuple(reference),
        lags_s=tuple(lags),
        lacking=lacking,
        caveats=tuple(dict.fromkeys(caveats)),
    )


def _lacking(every: Sequence[Take]) -> str | None:
    """Why two recordings cannot be compared at all."""
    if len({unit_of(take.recording) for take in every}) > 1:
        return TWO_SCALES
    for take in every:
        if float(take.mean_square.max(initial=0.0)) == 0.0:
            return f"{take.recording.path}: {SILENT}"
        if not take.long_enough:
            return f"{take.recording.path} is {TOO_SHORT}"
    return None


def _shift_caveats(every: Sequence[Take], shifts: Sequence[Shift]) -> list[str]:
    said = []
    late = max(shifts, key=lambda shift: abs(shift.lag_s)).lag_s
    if abs(late) > LARGEST_LAG_S:
        said.append(
            f"one recording begins {abs(late):.1f} s {'later' if late > 0 else 'earlier'}; blocks were put in time"
        )
    durations = [take.duration_s for take in every]
    if max(durations) - min(durations) > LENGTH_TOLERANCE_S:
        said.append(f"the recordings last {min(durations):.0f} to {max(durations):.0f} s: what they share was compared")
    if any(shift.same is None for shift in shifts):
        said.append(CANNOT_TELL_SECTION)
    if all(unit_of(take.recording) == "dBFS" for take in every):
        said.append(NO_CALIBRATION)
    return said


def _gain_caveats(takes: Sequence[Take], reference: Sequence[Take], criteria: Criteria) -> list[str]:
    """The gain is not corrected: whether it belongs to the change only who recorded it knows."""
    over, under = (float(np.mean([take.midband_power for take in some])) for some in (takes, reference))
    if not (over > 0 and under > 0):
        return []
    gain_db = 10 * math.log10(over / under)
    if abs(gain_db) <= criteria.level_tolerance_db:
        return []
    return [f"1000-4000 Hz differ by {gain_db:+.2f} dB: if the gain was not the same, the change holds that too"]


def looks_swapped(change: Change, condition: Condition, reference: Condition) -> tuple[str, ...]:
    """A caveat where the condition with the filter has clearly more than the one without."""
    alone = condition.chain.names_filter and not reference.chain.names_filter
    if alone and change.value is not None and change.value > SWAPPED_DB:
        return (
            f"{condition.id} names a filter and has more below 20 Hz than {reference.id}: were the files exchanged?",
        )
    return ()
