"""The importer of recorded exponential sweeps: deconvolved with their excitation, harmonics told apart."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.deconvolution import deconvolve, fast_length, inverse
from fairhearing.api import (
    Importer,
    ImportProblem,
    MeasurementFile,
    Reading,
    Recognition,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.full_scale import Calibrators
from fairhearing_builtins.importers.sound_format import recognise_sound
from fairhearing_builtins.importers.sound_responses import Heard, hear, readings_of
from fairhearing_builtins.importers.sound_samples import read_sound
from fairhearing_builtins.importers.sweep_excitation import Excitation, Excitations
from fairhearing_builtins.importers.sweep_response import harmonics_of, response_of

SingleArray = npt.NDArray[np.float32]

_LONGEST_S = 300.0
# Recordings that are held in memory at once.
_ROWS_AT_ONCE = 16
_SAMPLES = Path(__file__).parent / "samples"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Recorded:
    """A recorded channel that is to be deconvolved. `n_frames`: of the circle that it fits on."""

    item: MeasurementFile
    channel: str | None
    samples: SingleArray
    excitation: Excitation
    n_frames: int
    gain_db: float
    caveats: tuple[str, ...]
    applied: tuple[str, ...]


class SweepSound:
    """Reads recordings of an exponential sweep whose own samples stand in the file that `excitation` names."""

    name = "sweep"
    version = "1"
    kinds = frozenset({"sweep"})
    samples = (_SAMPLES / "high_pass_sweep.flac",)

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to WAV, RF64, W64 and FLAC by their first bytes; a damaged one is claimed, so that the fault is told."""
        return recognise_sound(file, self.kinds)

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A reading for each channel of each file, or the file's problem."""
        listen = partial(_recorded, excitations=Excitations(session), calibrators=Calibrators(session))
        done: list[Heard] = []
        batch: list[_Recorded] = []
        # Recordings are transformed in pairs: in one order, whichever they came in.
        for file in sorted(files, key=lambda one: one.path):
            yield from hear([file], listen, batch)
            if len(batch) >= _ROWS_AT_ONCE:
                yield from _deconvolve(batch, done)
                batch = []
        yield from _deconvolve(batch, done)
        yield from readings_of(done, session)


def _recorded(file: SourceFile, excitations: Excitations, calibrators: Calibrators) -> list[_Recorded]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    excitation = excitations.of(item)
    sound = read_sound(file, _LONGEST_S, "the recording of a sweep")
    sweep = excitation.sweep
    if sound.rate_hz != excitation.rate_hz:
        raise ImportProblem(
            f"the recording has {sound.rate_hz} samples per second, and its sweep {excitation.path} has "
            f"{excitation.rate_hz}",
            where=file.path,
            try_="name the sweep that was played, or record and play at one rate",
        )
    if sound.duration_s < sweep.begins_s + sweep.duration_s:
        raise ImportProblem(
            f"the recording is shorter ({sound.duration_s:.3f} s) than its sweep in {excitation.path} "
            f"({sweep.begins_s + sweep.duration_s:.3f} s to its end)",
            where=file.path,
            try_="record until the sweep has died away, or name the sweep that was played",
        )
    scale = calibrators.full_scale(item)
    told = (
        f"deconvolved with {excitation.path}: exponential sweep from {sweep.first_hz:.4g} to {sweep.last_hz:.5g} Hz "
        f"in {sweep.duration_s:.3f} s"
    )
    return [
        _Recorded(
            item=item,
            channel=channel.name,
            samples=channel.samples.astype(np.float32),
            excitation=excitation,
            n_frames=fast_length(max(sound.n_frames, len(excitation.samples))),
            gain_db=scale.level_db,
            caveats=(*sound.caveats, *excitation.caveats, *scale.caveats),
            applied=(*scale.applied, told),
        )
        for channel in sound.channels
    ]


def _deconvolve(batch: Sequence[_Recorded], done: list[Heard]) -> Iterator[Reading]:
    """Adds what can be deconvolved to `done`; gives the problem of what cannot."""
    groups: dict[tuple[str, int], list[_Recorded]] = {}
    for one in batch:
        groups.setdefault((one.excitation.path, one.n_frames), []).append(one)
    for (_, n_frames), group in groups.items():
        excitation = group[0].excitation
        sweep, rate_hz = excitation.sweep, float(excitation.rate_hz)
        inverted = inverse(excitation.samples, sweep.first_hz, sweep.last_hz, rate_hz, n_frames)
        rows = np.zeros((len(group), max(len(one.samples) for one in group)), dtype=np.float32)
        for row, one in zip(rows, group, strict=True):
            row[: len(one.samples)] = one.samples
        for circle, one in zip(deconvolve(rows, inverted), group, strict=True):
            try:
                response = response_of(circle, len(one.samples), excitation, one.item, one.channel, one.gain_db)
            except ImportProblem as problem:
                yield Reading(path=one.item.path, problem=problem)
                continue
            done.append(
                Heard(
                    path=one.item.path,
                    channel=one.channel,
                    response=response,
                    caveats=one.caveats,
                    applied=one.applied,
                    harmonics=harmonics_of(circle, response, excitation),
                )
            )


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [SweepSound()]
