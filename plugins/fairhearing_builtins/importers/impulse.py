"""The importer of impulse responses as sound: WAV, RF64, W64 and FLAC of any rate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

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
from fairhearing_builtins.importers.impulse_curves import Converted, ImpulseResponse, convert, impulse_response
from fairhearing_builtins.importers.sound_format import recognise_sound
from fairhearing_builtins.importers.sound_samples import read_sound

_LONGEST_S = 60.0
_SAMPLES = Path(__file__).parent / "samples"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """An impulse response of a file, with what is known of it before it is converted."""

    path: str
    channel: str | None
    response: ImpulseResponse
    caveats: tuple[str, ...]
    applied: tuple[str, ...]


class ImpulseSound:
    """Reads impulse responses; what is before and behind the direct sound, and drowned in noise, is cut."""

    name = "impulse"
    version = "1"
    kinds = frozenset({"impulse"})
    samples = (_SAMPLES / "high_pass_impulse.wav", _SAMPLES / "high_pass_impulse.flac")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to WAV, RF64, W64 and FLAC by their first bytes; a damaged one is claimed, so that the fault is told."""
        return recognise_sound(file, self.kinds)

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A reading for each channel of each file, or the file's problem."""
        calibrators = Calibrators(session)
        heard: list[_Heard] = []
        for file in files:
            try:
                heard += _heard(file, calibrators)
            except ImportProblem as problem:
                yield Reading(path=file.path, problem=problem)
        converted = convert([one.response for one in heard], session.criteria.bass_band_hz)
        for one, made in zip(heard, converted, strict=True):
            yield reading_of(one.path, one.channel, made, one.caveats, one.applied)


def reading_of(
    path: str, channel: str | None, made: Converted, caveats: tuple[str, ...], applied: tuple[str, ...]
) -> Reading:
    """The reading, or the problem that nothing can be told of it."""
    if made.curve is None:
        problem = ImportProblem(
            f"the response is too short: {made.why_not}",
            where=path,
            try_="export it with more of its decay, or measure again with less noise",
        )
        return Reading(path=path, problem=problem)
    return Reading(
        path=path,
        content=made.curve,
        channel=channel,
        caveats=(*caveats, *made.caveats),
        applied=(*applied, *made.applied),
    )


def _heard(file: SourceFile, calibrators: Calibrators) -> list[_Heard]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    sound = read_sound(file, _LONGEST_S, "an impulse response")
    scale = calibrators.full_scale(item)
    return [
        _Heard(
            path=file.path,
            channel=channel.name,
            response=impulse_response(
                item, item.seat, channel.name, channel.samples, float(sound.rate_hz), scale.level_db
            ),
            caveats=(*sound.caveats, *scale.caveats),
            applied=scale.applied,
        )
        for channel in sound.channels
    ]


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [ImpulseSound()]
