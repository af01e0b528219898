"""Analysers of measurements with one small, plausible error each, and which rule every saboteur breaks."""

from __future__ import annotations

from dataclasses import replace
from statistics import mean, stdev

import numpy as np
from conformance.saboteurs.answers import (
    AddsAColumn,
    CorrectsForGuessing,
    CountsTheMiddleLate,
    DeclaresShams,
    DividesByNoRows,
    DropsTheFirstListener,
    DropsTheFirstProgramme,
    FirstsOfWinners,
    NamesFirstRow,
    PoolsTrials,
    ReadsControls,
    TiesToTheCondition,
    TiesToTheFirst,
    TiesToWhatCameFirst,
)
from conformance.saboteurs.sound_analysers import ALL, LOW, Answers, Levels, Takes

from fairhearing.api import Comparison, Finding, Inputs, Needs, Result, Take

# --- purity -----------------------------------------------------------------------------------------------------------


class RoundsInPlace(Levels):
    """Rounds the levels to a thousandth where they lie."""

    def levels(self, take: Take, band: tuple[float, float]) -> np.ndarray:
        np.round(take.curve.level_db, 3, out=take.curve.level_db)
        return super().levels(take, band)


class DithersTies(Levels):
    """Breaks ties with a little noise from a generator without a seed."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        shift = super().shift(condition, reference)
        return None if shift is None else shift + np.random.default_rng().uniform(0, 1e-10)


class LastTakeWins(Levels):
    """Keeps one take for each seat and condition: the last that comes by."""

    def takes(self, inputs: Inputs, seat: str, condition: str) -> Takes:
        return super().takes(inputs, seat, condition)[-1:]


# --- needs ------------------------------------------------------------------------------------------------------------


class ReadsTheGuardBand(Levels):
    """Looks up a finding of another analyser that it does not declare."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        shift = super().shift(condition, reference)
        return None if shift is None else shift + self.guard_band_db

    def analyse(self, inputs: Inputs) -> Result:
        found = [f.value for f in inputs.findings if f.quantity == "guard_band_change" and f.value is not None]
        self.guard_band_db = found[0] if found else 0.0
        return super().analyse(inputs)


class ReadsTheNoise(Levels):
    """Takes noise takes into account, and declares responses alone."""

    def analyse(self, inputs: Inputs) -> Result:
        for take in inputs.takes:
            if take.kind == "noise" and take.curve.level_db.max() > 0:
                return Result()
        return super().analyse(inputs)


class DeclaresImpulses(Levels):
    """Declares impulses, and leaves them out."""

    needs = Needs(kinds=frozenset({"response", "impulse"}), points=frozenset({"seat"}))


class DeclaresEveryPoint(Levels):
    """Leaves the points at what they are where nothing is said, and reads seats alone."""

    needs = Needs(kinds=frozenset({"response"}))


# --- findings ---------------------------------------------------------------------------------------------------------


class OneFinding(Levels):
    """Changes one thing in the finding over seats of the level difference."""

    def finding(
        self, inputs: Inputs, c: Comparison, quantity: str, unit: str, value: float | None, seat: str | None, n: int
    ) -> Finding:
        made = super().finding(inputs, c, quantity, unit, value, seat, n)
        return self.changed(made) if quantity == "shift" and seat is None and value is not None else made

    def changed(self, made: Finding) -> Finding:
        return made


class ForgetsConfidence(OneFinding):
    """An interval without its confidence."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, confidence=None)


class ExchangesTheEnds(OneFinding):
    """The upper end of an interval as the lower."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, low=made.high, high=made.low)


class DoublesTheTail(OneFinding):
    """A two-sided p as twice the one-sided, not cut at 1."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, p_value=2 * 0.7)


class NewUnit(OneFinding):
    """A unit that nobody else writes so."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, unit="decibel")


class ForgetsTheNumber(OneFinding):
    """A value of nobody knows how many."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, n=None)


class NumpyNumber(OneFinding):
    """A number that JSON cannot write."""

    def changed(self, made: Finding) -> Finding:
        return replace(made, value=np.float32(made.value))  # type: ignore[arg-type]


class ForgetsTheSeat(Levels):
    """The findings of all seats under one name."""

    symmetries = Levels.symmetries[-2:-1]

    def finding(
        self, inputs: Inputs, c: Comparison, quantity: str, unit: str, value: float | None, seat: str | None, n: int
    ) -> Finding:
        return replace(super().finding(inputs, c, quantity, unit, value, seat, n), seat=None)


# --- edges ------------------------------------------------------------------------------------------------------------


class NeedsTwoTakes(Levels):
    """A standard deviation of however many takes there are."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        for takes in (condition, reference) if condition and reference else ():
            self.spread_db = stdev(self.level([take]) for take in takes)
        return super().shift(condition, reference)


class ZeroForNothing(Levels):
    """No difference where one of the conditions was not measured."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        return (super().shift(condition, reference) or 0.0) if condition or reference else None

    def n(self, condition: Takes, reference: Takes) -> int:
        return max(len(condition), len(reference))


class MeanOfGaps(Levels):
    """A mean that one NaN makes NaN."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        levels = [
            10 * np.log10(np.mean([np.mean(10 ** (self.levels(take, ALL) / 10)) for take in takes]))
            for takes in (condition, reference)
        ]
        return float(levels[0] - levels[1])


# --- symmetries of what was measured ----------------------------------------------------------------------------------


class TwoMeans(Levels):
    """The energy mean of the condition, the arithmetic mean of the reference."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        return self.level(condition) - float(np.mean([np.nanmean(self.levels(take, ALL)) for take in reference]))


class LinearRatio(Levels):
    """The ratio from the first term of its series."""

    def ratio(self, condition: Takes, reference: Takes) -> float | None:
        shift = self.shift(condition, reference)
        return None if shift is None else 1 + shift * np.log(10).item() / 20


class MeanOfRatios(Levels):
    """The arithmetic mean of ratios over seats."""

    def over_seats(self, quantity: str, values: dict[str, float]) -> float:
        return mean(values.values())


class AbsoluteGate(Levels):
    """Leaves out levels below an absolute gate."""

    def ratio(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        means = []
        for takes in (condition, reference):
            power = np.concatenate([10 ** (self.levels(take, ALL) / 10) for take in takes])
            gated = np.nan_to_num(power)
            means.append(np.mean(gated[gated > 0.9]) if np.any(gated > 0.9) else 1.0)
        return float(np.sqrt(means[0] / means[1]))


class TwentyForTen(Levels):
    """20 lg of a ratio of powers."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        shift = super().shift(condition, reference)
        return None if shift is None else 2 * shift


class CountsAnEdgeTwice(Levels):
    """Adds up two bands that share the point at their common edge, and divides by the number of points."""

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        edge = int(np.argmin(np.abs(condition[0].curve.frequency_hz - LOW[1])))
        sums, counts = [], []
        for takes in (condition, reference):
            mean_db = np.mean([np.nan_to_num(take.curve.level_db) for take in takes], axis=0)
            frequency = takes[0].curve.frequency_hz
            inside = (frequency >= ALL[0]) & (frequency <= ALL[1])
            sums.append(mean_db[inside].sum() + mean_db[edge])
            counts.append(np.count_nonzero(inside))
        return float(sums[0] / counts[0] - sums[1] / counts[1])


class LevelsByTheReference(Levels):
    """Takes the level of the reference out of both conditions."""

    def tilt(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        common = self.level(reference, ALL)
        return self.level(condition, LOW) - common - (self.level(reference, LOW) - common)


class TakesTheFirstRepeat(Levels):
    """Keeps the repeat whose number is lowest."""

    def takes(self, inputs: Inputs, seat: str, condition: str) -> Takes:
        takes = super().takes(inputs, seat, condition)
        return [take for take in takes if take.repeat == min(t.repeat for t in takes)]


class FirstSeatIsTheBest(Levels):
    """Counts the seat that comes first by its name twice."""

    def over_seats(self, quantity: str, values: dict[str, float]) -> float:
        return super().over_seats(quantity, {**values, "again": values[min(values)]})


class UnitsLeftOut(Levels):
    """A table with a level column and no unit for it."""

    def units(self) -> dict[str, str]:
        return {"seat": "", "shift_db": ""}


class SaysNothing(Levels):
    """Findings of which nothing is declared."""

    symmetries = ()


class SaysItOfNothing(Levels):
    """A symmetry of a quantity whose name has changed since."""

    symmetries = (*Levels.symmetries, replace(Levels.symmetries[0], quantities=frozenset({"level_shift"})))


SABOTEURS: tuple[tuple[type[Levels | Answers], str], ...] = (
    (RoundsInPlace, "inputs-untouched"),
    (AddsAColumn, "inputs-untouched"),
    (DithersTies, "repeatable"),
    (LastTakeWins, "row-order"),
    (NamesFirstRow, "row-order"),
    (ReadsTheGuardBand, "needs-declared"),
    (ReadsTheNoise, "needs-declared"),
    (DeclaresImpulses, "needs-declared"),
    (DeclaresEveryPoint, "needs-declared"),
    (DeclaresShams, "needs-declared"),
    (ReadsControls, "needs-declared"),
    (ForgetsConfidence, "findings-sound"),
    (ExchangesTheEnds, "findings-sound"),
    (DoublesTheTail, "findings-sound"),
    (NewUnit, "findings-sound"),
    (ForgetsTheNumber, "findings-sound"),
    (NumpyNumber, "findings-sound"),
    (ForgetsTheSeat, "findings-sound"),
    (CorrectsForGuessing, "findings-sound"),
    (NeedsTwoTakes, "one-row"),
    (ZeroForNothing, "no-rows"),
    (DividesByNoRows, "no-rows"),
    (MeanOfGaps, "nan-handled"),
    (TwoMeans, "swap-conditions-negates"),
    (LinearRatio, "swap-conditions-inverts"),
    (MeanOfRatios, "swap-conditions-inverts"),
    (TiesToTheCondition, "swap-conditions-mirrors"),
    (FirstsOfWinners, "swap-conditions-invariant"),
    (AbsoluteGate, "common-gain-invariant"),
    (TwentyForTen, "condition-gain-adds"),
    (CountsAnEdgeTwice, "condition-gain-adds"),
    (LevelsByTheReference, "condition-gain-invariant"),
    (TakesTheFirstRepeat, "row-order-invariant"),
    (CountsTheMiddleLate, "trial-order-negates"),
    (DropsTheFirstListener, "relabel-listeners-invariant"),
    (FirstSeatIsTheBest, "relabel-seats-invariant"),
    (DropsTheFirstProgramme, "relabel-programmes-invariant"),
    (PoolsTrials, "doubled-trials-invariant"),
    (TiesToTheFirst, "first-second-mirrored"),
    (TiesToWhatCameFirst, "first-second-invariant"),
    (UnitsLeftOut, "unit-suffix"),
    (SaysNothing, "symmetries-declared"),
    (SaysItOfNothing, "symmetries-declared"),
)
