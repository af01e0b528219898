"""Which importer reads a file: exactly one must say yes, and every reason is told if not."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from fairhearing.calling import call_plugin
from fairhearing.contracts import Importer, Recognition, SourceFile
from fairhearing.errors import ImportProblem
from fairhearing.session import ScoreFile

# What a file of a kind is looked for in, where it is not a table of frequencies.
_FORMATS = {
    "scores": "export it anew as CSV, TSV, XLSX or ODS with a header line",
    **dict.fromkeys(("recording", "impulse", "sweep", "calibration"), "save it as WAV, RF64, W64 or FLAC"),
}


def choose_importer(file: SourceFile, importers: Sequence[Importer]) -> Importer:
    """The one importer that claims the file.

    Raises
    ------
    ImportProblem
        None claims it, or more than one; every importer's reason is in the message.
    PluginProblem
        An importer failed when it was asked.
    """
    kind = "scores" if isinstance(file.item, ScoreFile) else file.item.kind
    asked = [(importer, _ask(importer, file)) for importer in importers if kind in importer.kinds]
    claiming = [importer for importer, recognition in asked if recognition.claims]
    if len(claiming) == 1:
        return claiming[0]
    reasons = "; ".join(f"{importer.name}: {recognition.why}" for importer, recognition in asked)
    if claiming:
        raise ImportProblem(
            f"{len(claiming)} importers claim this file ({reasons})",
            where=_place(file),
            try_="remove one of the plug-ins, or export the file in another format",
        )
    if not asked:
        raise ImportProblem(
            f"no installed importer reads files of kind {kind!r}",
            where=_place(file),
            try_="install a plug-in that reads it ('fairhearing plugins' shows what is there, and what is broken)",
        )
    raise ImportProblem(
        f"no importer reads this file as {kind!r} ({reasons})",
        where=_place(file),
        try_=_FORMATS.get(kind, "export it anew as delimited text with frequency in hertz and level in dB"),
    )


def _ask(importer: Importer, file: SourceFile) -> Recognition:
    return call_plugin(importer.name, importer.version, file.path, partial(_recognition, importer, file))


def _recognition(importer: Importer, file: SourceFile) -> Recognition:
    answer: object = importer.recognise(file)
    if not isinstance(answer, Recognition):
        raise TypeError(f"recognise returned a {type(answer).__name__}, not a Recognition")
    return answer


def _place(file: SourceFile) -> str:
    """The file, and the entry of session.toml that claims it (the target of the criteria has no entry)."""
    return f"{file.path} (session.toml, line {file.item.line})" if file.item.line else file.path
