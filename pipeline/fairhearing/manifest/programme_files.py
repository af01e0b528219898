"""What a [[measurements]] entry of programme files may say: the source's own material, of no condition and no seat."""

from __future__ import annotations

from fairhearing.manifest.patterns import Pattern
from fairhearing.manifest.reader import TableReader
from fairhearing.session import MeasurementFile

_NOT_OF_IT = {
    "condition": "the file is what is played in every condition",
    "seat": "the file is heard at no seat: it is what is played",
    "playing": "the file is what is played, not what it is played through",
    "repeat": "the file is the source's own: there is nothing to repeat",
    "repeats": "the file is the source's own: there is nothing to repeat",
    "closing": "the file is the source's own: nothing drifts in it",
    "microphone": "the file was taken by no microphone",
    "full_scale_pa": "a file is no sound pressure: full_scale_v says what it is at the amplifier's output",
}


def check_programme_file(reader: TableReader, pattern: Pattern | None, template: MeasurementFile) -> None:
    """A fault for each thing that an entry with point = "programme" says and that no programme file has."""
    if template.kind != "recording":
        what = f"is for recordings, and the kind of this entry is {template.kind!r}"
        reader.fault("point", what, 'write kind = "recording" below it')
    for key, why in _NOT_OF_IT.items():
        if key in reader.table:
            reader.fault(key, f"does not belong to point = 'programme': {why}", "leave the line out")
        elif pattern is not None and key in pattern.placeholders:
            what = f"files = {pattern.text!r} in {reader.header} has {{{key}}}, and point = 'programme' has none: {why}"
            hint = f"write the name without {{{key}}}, such as programmes/{{programme}}.wav"
            reader.log.add(reader.line("files"), what, hint)
