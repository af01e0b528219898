"""Summaries of which each breaks one rule of the kit, and what it does wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from fairhearing.audio import AudioFormat

FloatArray = npt.NDArray[np.float64]


def added(total: FloatArray, block: FloatArray) -> FloatArray:
    """The total with the squares of all frames, one after the other, so that no edge of a block shows at all."""
    return np.cumsum(np.vstack([total[None], block**2]), axis=0)[-1]


class Total:
    """Sum of squares and number of frames: a sound accumulator that the saboteurs spoil."""

    def __init__(self, format: AudioFormat) -> None:
        self.format = format
        self.square = np.zeros(format.n_channels)
        self.n_frames = 0

    def update(self, block: FloatArray) -> None:
        self.square = added(self.square, block)
        self.n_frames += len(block)

    def result(self) -> Mapping[str, FloatArray]:
        return {"energy": self.square, "n_frames": np.array([float(self.n_frames)])}


@dataclass(frozen=True)
class Sound:
    """Breaks nothing."""

    name: ClassVar[str] = "sound"
    version: ClassVar[str] = "1"
    gain: float = 1.0
    accumulator: ClassVar[type[Total]] = Total

    def start(self, format: AudioFormat) -> Total:
        return self.accumulator(format)


class EdgeTwice(Total):
    """Counts the last frame of each block again with the next one."""

    last: FloatArray | None = None

    def update(self, block: FloatArray) -> None:
        if self.last is not None and len(block):
            self.square = self.square + self.last**2
        super().update(block)
        if len(block):
            self.last = block[-1].copy()


class WindowAnew(Total):
    """Adds up windows of a hundred frames, and starts a new one at each block: what is left over is lost."""

    def update(self, block: FloatArray) -> None:
        super().update(block[: len(block) // 100 * 100])


class MeanOfBlocks(Total):
    """Averages the means of blocks, as if all were equally long."""

    n_blocks = 0

    def update(self, block: FloatArray) -> None:
        if len(block):
            self.square = self.square + np.mean(block**2, axis=0)
            self.n_blocks += 1

    def result(self) -> Mapping[str, FloatArray]:
        return {"mean_square": self.square / max(1, self.n_blocks)}


class KeepsView(Total):
    """Keeps the last block by reference and reads it at the end, when its buffer holds something else."""

    block: FloatArray = np.zeros((0, 2))

    def update(self, block: FloatArray) -> None:
        super().update(block)
        if len(block):
            self.block = block

    def result(self) -> Mapping[str, FloatArray]:
        return {**super().result(), "last": self.block[-1:].sum(axis=0)}


class KeepsAll(Total):
    """Right, but holds the whole recording until the end."""

    def __init__(self, format: AudioFormat) -> None:
        super().__init__(format)
        self.blocks: list[FloatArray] = []

    def update(self, block: FloatArray) -> None:
        self.blocks.append(block.copy())
        self.n_frames += len(block)

    def result(self) -> Mapping[str, FloatArray]:
        whole = np.concatenate(self.blocks) if self.blocks else np.zeros((0, self.format.n_channels))
        return {"energy": np.cumsum(whole**2, axis=0)[-1:].sum(axis=0)}


class DividesByNothing(Total):
    """Divides by the number of frames, whatever it is."""

    def result(self) -> Mapping[str, FloatArray]:
        return {"mean_square": np.array([square / self.n_frames for square in self.square.tolist()])}


class NeedsTwo(Total):
    """Takes a second frame for granted once there is a first one: n - 1 in the denominator."""

    def result(self) -> Mapping[str, FloatArray]:
        if self.n_frames == 0:
            return {"variance": np.full(self.format.n_channels, np.nan)}
        return {"variance": np.array([square / (self.n_frames - 1) for square in self.square.tolist()])}


class OtherNames(Total):
    """Leaves an array out where one frame is all there is."""

    def result(self) -> Mapping[str, FloatArray]:
        found = dict(super().result())
        return found if self.n_frames != 1 else {"energy": found["energy"]}


class SkipsNan(Total):
    """Takes a NaN for silence."""

    def update(self, block: FloatArray) -> None:
        super().update(np.nan_to_num(block))


class PeakWithoutNan(Total):
    """Compares with the largest so far: a comparison with NaN is always false."""

    def update(self, block: FloatArray) -> None:
        peak = np.abs(block).max(axis=0, initial=0.0)
        self.square = np.where(peak > self.square, peak, self.square)
        self.n_frames += len(block)


class SharedScratch(Total):
    """Adds up in an array of the class, made anew at each start: two recordings at a time fall together."""

    shared: ClassVar[list[FloatArray]] = [np.zeros(2)]

    def __init__(self, format: AudioFormat) -> None:
        super().__init__(format)
        self.shared[0] = np.zeros(format.n_channels)

    def update(self, block: FloatArray) -> None:
        self.shared[0] = added(self.shared[0], block)
        self.n_frames += len(block)

    def result(self) -> Mapping[str, FloatArray]:
        return {"energy": self.shared[0].copy()}


class FinishesTwice(Total):
    """Divides what it has added up in place when it is asked for it."""

    def result(self) -> Mapping[str, FloatArray]:
        self.square /= max(1, self.n_frames)
        return {"mean_square": self.square.copy()}


def _with(accumulator: type[Total]) -> type[Sound]:
    """A sound summary with a spoilt accumulator."""
    made = type(accumulator.__name__, (Sound,), {"accumulator": accumulator, "__doc__": accumulator.__doc__})
    return dataclass(frozen=True)(made)


@dataclass
class NotFrozen:
    """Its parameters can be changed after its results were kept."""

    name: ClassVar[str] = "not-frozen"
    version: ClassVar[str] = "1"
    gain: float = 1.0

    def start(self, format: AudioFormat) -> Total:
        return Total(format)


@dataclass(frozen=True)
class ListParameter:
    """Has a list of bands, which makes no key."""

    name: ClassVar[str] = "list-parameter"
    version: ClassVar[str] = "1"
    edges_hz: list[float] = field(default_factory=lambda: [20.0, 200.0])

    def start(self, format: AudioFormat) -> Total:
        return Total(format)


class NoDataclass:
    """Has its parameter in a plain attribute, which no key knows."""

    name = "no-dataclass"
    version = "1"

    def __init__(self, gain: float = 1.0) -> None:
        self.gain = gain

    def start(self, format: AudioFormat) -> Total:
        return Total(format)


# Each with the one rule that it breaks.
SABOTEURS: list[tuple[type, str]] = [
    (_with(EdgeTwice), "block-size-invariant"),
    (_with(WindowAnew), "block-size-invariant"),
    (_with(MeanOfBlocks), "block-size-invariant"),
    (_with(KeepsView), "block-size-invariant"),
    (_with(DividesByNothing), "empty-recording"),
    (_with(NeedsTwo), "one-sample"),
    (_with(OtherNames), "one-sample"),
    (_with(SkipsNan), "nan-bearing"),
    (_with(PeakWithoutNan), "nan-bearing"),
    (_with(SharedScratch), "repeatable"),
    (_with(FinishesTwice), "repeatable"),
    (_with(KeepsAll), "memory-flat"),
    (NotFrozen, "frozen-parameters"),
    (ListParameter, "frozen-parameters"),
    (NoDataclass, "frozen-parameters"),
]
