"""The importer of impulse responses as sound: WAV, RF64, W64 and FLAC of any rate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path

from fairhearing.api import (
    Importer,
    MeasurementFile,
    Reading,
    Recognition,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.full_scale import Calibrators
from fairhearing_builtins.importers.impulse_curves import impulse_response
from fairhearing_builtins.importers.sound_format import recognise_sound
from fairhearing_builtins.importers.sound_responses import Heard, hear, readings_of
from fairhearing_builtins.importers.sound_samples import read_sound

_LONGEST_S = 60.0
_SAMPLES = Path(__file__).parent / "samples"


class ImpulseSound:
    """Reads impulse responses; what is before and behind the direct sound, and drowned in noise, is cut."""

    name = "impulse"
    version = "1"
    kinds = frozenset({"impulse"})
    samples = tuple(_SAMPLES / f"high_pass_{name}" for name in ("impulse.wav", "impulse.flac", "two_channels.flac"))

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to WAV, RF64, W64 and FLAC by their first bytes; a damaged one is claimed, so that the fault is told."""
        return recognise_sound(file, self.kinds)

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A reading for each channel of each file, or the file's problem."""
        calibrators = Calibrators(session)
        heard: list[Heard] = []
        yield from hear(files, partial(_heard, calibrators=calibrators), heard)
        yield from readings_of(heard, session)


def _heard(file: SourceFile, calibrators: Calibrators) -> list[Heard]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    sound = read_sound(file, _LONGEST_S, "an impulse response")
    scale = calibrators.full_scale(item)
    return [
        Heard(
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
