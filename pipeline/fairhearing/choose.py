"""Which importer reads a file: exactly one must say yes, and every reason is told if not."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.contracts import Importer, SourceFile
from fairhearing.errors import ImportProblem
from fairhearing.session import ScoreFile


def choose_importer(file: SourceFile, importers: Sequence[Importer]) -> Importer:
    """The one importer that claims the file.

    Raises
    ------
    ImportProblem
        None claims it, or more than one; every importer's reason is in the message.
    """
    kind = "scores" if isinstance(file.item, ScoreFile) else file.item.kind
    asked = [(importer, importer.recognise(file)) for importer in importers if kind in importer.kinds]
    claiming = [importer for importer, recognition in asked if recognition.claims]
    if len(claiming) == 1:
        return claiming[0]
    reasons = "; ".join(f"{importer.name}: {recognition.why}" for importer, recognition in asked)
    if claiming:
        raise ImportProblem(
            f"{len(claiming)} importers claim this file ({reasons})",
            where=file.path,
            try_="remove one of the plug-ins, or export the file in another format",
        )
    if not asked:
        raise ImportProblem(
            f"no installed importer reads files of kind {kind!r}",
            where=f"{file.path} (session.toml, line {file.item.line})",
            try_="install a plug-in that reads it, or export the measurement as a response table",
        )
    raise ImportProblem(
        f"no importer reads this file as {kind!r} ({reasons})",
        where=file.path,
        try_="export it anew as delimited text with frequency in hertz and level in dB"
        if kind != "scores"
        else "export it anew as CSV, TSV, XLSX or ODS with a header line",
    )
