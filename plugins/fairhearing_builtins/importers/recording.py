"""The importer of recordings: WAV, RF64, W64 and FLAC by reference; looks at headers, keeps no sample."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from fairhearing.api import (
    Importer,
    ImportProblem,
    MeasurementFile,
    Reading,
    Recognition,
    RecordingFile,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.full_scale import Calibrators
from fairhearing_builtins.importers.sound_format import recognise_sound, sound_format

_SAMPLES = Path(__file__).parent / "samples"
_NOISE = (
    "a recorded noise take is no level beside the responses: it is not taken out of them; to have that, export its "
    "spectrum as a table of frequency and level in their unit"
)


class SoundFiles:
    """Reads the format of a recording; a file that is cut, empty or damaged in its header is a problem."""

    name = "recording"
    version = "2"
    kinds = frozenset({"recording", "noise", "calibration"})
    samples = (_SAMPLES / "two_tones.wav", _SAMPLES / "two_tones.flac")

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to WAV, RF64, W64 and FLAC by their first bytes; a damaged one is claimed, so that the fault is told."""
        return recognise_sound(file, self.kinds)

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """The format of each file, or its problem."""
        calibrators = Calibrators(session)
        for file in files:
            try:
                yield _read(file, calibrators)
            except ImportProblem as problem:
                yield Reading(path=file.path, problem=problem)


def _read(file: SourceFile, calibrators: Calibrators) -> Reading:
    item = file.item
    assert isinstance(item, MeasurementFile)
    found = sound_format(file)
    scale = calibrators.full_scale(item)
    content = RecordingFile(
        format=found.format,
        sha256=file.sha256,
        size=file.size,
        modified_ns=file.modified_ns,
        full_scale_pa=scale.pa,
    )
    noise = (_NOISE,) if item.kind == "noise" else ()
    return Reading(
        path=file.path,
        content=content,
        caveats=(*found.caveats, *scale.caveats, *noise),
        applied=scale.applied,
    )


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [SoundFiles()]
