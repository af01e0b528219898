"""The summary: the longest stretch of a recording in which every channel is silent."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from fairhearing.api import AudioFormat


@dataclass(frozen=True)
class LongestSilence:
    """`longest_s`: (1,), second. Silent is what stays `below`, a share of full scale."""

    name: ClassVar[str] = "longest-silence"
    version: ClassVar[str] = "1"
    below: float = 0.001

    def start(self, format: AudioFormat) -> "Listening":
        return Listening(self.below, format.rate_hz)


class Listening:
    """One recording as it goes by: the longest silence so far and the one that lasts, in frames."""

    def __init__(self, below: float, rate_hz: int) -> None:
        self.below, self.rate_hz, self.longest, self.lasting = below, rate_hz, 0, 0

    def update(self, block: np.ndarray) -> None:
        if not np.isfinite(block).all():
            raise ValueError("a sample is no finite number")
        loud = np.flatnonzero((np.abs(block) >= self.below).any(axis=1))
        silences = np.diff([-1 - self.lasting, *loud, len(block)]) - 1  # the first began before this block
        self.longest, self.lasting = max(self.longest, *silences), silences[-1]

    def result(self) -> dict[str, np.ndarray]:
        return {"longest_s": np.array([self.longest / self.rate_hz])}
