"""A made-up session with recordings, and plug-ins given by hand instead of by what is installed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import numpy as np
import numpy.typing as npt
import soundfile

from fairhearing.api import Analyser, Finding, Inputs, Needs, Result, Summary
from fairhearing.audio import AudioFormat
from fairhearing.registry import PluginList, Plugins
from fairhearing_builtins.analysers.recording_levels import RecordingLevels
from fairhearing_builtins.importers.recording import SoundFiles

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 8000
SESSION_ID = "chapel-2026-02-03"
MANIFEST = f"""\
format = 1
[session]
id = "{SESSION_ID}"
[room]
id = "chapel"
[conditions.out]
reference = true
[conditions.in]
[seats.pew]
[[measurements]]
files = "takes/{{programme}}_{{condition}}.wav"
kind = "recording"
"""


def sound(seed: int, n_frames: int = 20_000, n_channels: int = 2) -> FloatArray:
    """Noise within full scale, on a small offset."""
    drawn = np.random.default_rng(seed).normal(0.0, 0.1, (n_frames, n_channels))
    return np.clip(drawn + 0.01, -0.9, 0.9)


def write_session(
    folder: Path, names: Iterable[str] = ("organ_out", "organ_in"), *, n_frames: int = 20_000, subtype: str = "PCM_24"
) -> Path:
    """A session with one recording for each name, all different."""
    (folder / "takes").mkdir(parents=True)
    (folder / "session.toml").write_text(MANIFEST)
    for seed, name in enumerate(names):
        soundfile.write(folder / "takes" / f"{name}.wav", sound(seed, n_frames), RATE_HZ, subtype=subtype)
    return folder


def plugins(*analysers: Analyser) -> Plugins:
    """The importer of recordings, these analysers (the built-in one of levels if none), no reporter."""
    chosen = analysers or (RecordingLevels(),)
    return Plugins(importers=(SoundFiles(),), analysers=chosen, reporters=(), notes=PluginList())


class _Crossings:
    def __init__(self, n_channels: int, level: float) -> None:
        self.level = level
        self.last = np.full((1, n_channels), level)
        self.count = np.zeros(n_channels)

    def update(self, block: FloatArray) -> None:
        above = np.concatenate([self.last, block]) > self.level
        self.count += (above[1:] & ~above[:-1]).sum(axis=0)
        self.last = block[-1:].copy() if len(block) else self.last

    def result(self) -> dict[str, FloatArray]:
        return {"count": self.count}


@dataclass(frozen=True)
class Crossings:
    """What somebody else's package may bring: how often a level is crossed upwards, per channel."""

    name: ClassVar[str] = "crossings"
    version: ClassVar[str] = "3"
    level: float = 0.0

    def start(self, format: AudioFormat) -> _Crossings:
        return _Crossings(format.n_channels, self.level)


@dataclass(frozen=True)
class Breaks:
    """A summary that fails at its second block."""

    name: ClassVar[str] = "breaks"
    version: ClassVar[str] = "1"
    level: float = 0.0

    def start(self, format: AudioFormat) -> _Breaking:
        return _Breaking()


class _Breaking:
    n_blocks = 0

    def update(self, block: FloatArray) -> None:
        self.n_blocks += 1
        if self.n_blocks == 2:
            raise ZeroDivisionError("nothing to divide by")

    def result(self) -> dict[str, FloatArray]:
        return {"count": np.zeros(1)}


class Counting:
    """An analyser of other people: one finding for each recording from one summary."""

    version = "1"
    symmetries = ()

    def __init__(self, summary: Summary, name: str = "counting") -> None:
        self.name = name
        self.quantities = frozenset({f"{name}_count"})
        self.needs = Needs(kinds=frozenset({"recording"}), summaries=(summary,))

    def analyse(self, inputs: Inputs) -> Result:
        (summary,) = self.needs.summaries
        return Result(
            findings=tuple(
                Finding(
                    quantity=f"{self.name}_count",
                    value=float(r.summary(summary)["count"].sum()),
                    unit="1",
                    method="upward crossings",
                    condition=r.condition,
                    programme=r.programme,
                    seat=r.seat,
                )
                for r in inputs.recordings
            )
        )


def values(findings: Sequence[Finding], quantity: str) -> dict[tuple[str | None, str | None], float | None]:
    """The values of a quantity by programme and condition."""
    return {(f.programme, f.condition): f.value for f in findings if f.quantity == quantity}
