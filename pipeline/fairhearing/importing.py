"""From a session folder to its content: files read, chosen importers run, every problem told. Writes nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.calling import call_plugin
from fairhearing.choose import choose_importer
from fairhearing.contracts import (
    Importer,
    Reading,
    ResponseCurve,
    ScoreTable,
    SessionContent,
    Sheet,
    SourceFile,
    SourceNote,
    Take,
    TargetCurve,
)
from fairhearing.errors import FairHearingError, ImportProblem, PluginProblem
from fairhearing.manifest import MANIFEST_NAME, load_session
from fairhearing.session import MeasurementFile, ScoreFile, Session

if TYPE_CHECKING:
    import pandas as pd


def read_session(folder: Path, importers: Sequence[Importer]) -> SessionContent:
    """What the folder holds; problems are collected, never raised."""
    loaded = load_session(folder)
    if loaded.session is None:
        return SessionContent(folder=folder, problems=loaded.problems)
    session = loaded.session
    problems: list[FairHearingError] = []
    batches: dict[str, list[SourceFile]] = {}
    chosen: dict[str, Importer] = {}
    extras = [] if session.criteria.target == "flat" else [_target_item(session)]
    items: list[MeasurementFile | ScoreFile] = [*session.measurements, *session.scores, *extras]
    for item in items:
        try:
            file = SourceFile(item=item, path=item.path, data=_bytes_of(session, item))
            importer = choose_importer(file, importers)
        except FairHearingError as problem:
            problems.append(problem)
            continue
        batches.setdefault(importer.name, []).append(file)
        chosen[importer.name] = importer
    readings: dict[str, Reading] = {}
    sources: list[SourceNote] = []
    for name, files in batches.items():
        for reading in _read_batch(chosen[name], files, session):
            readings[reading.path] = reading
            if reading.problem is not None:
                problems.append(reading.problem)
        sources += [_note(session, file, name, readings[file.path]) for file in files]
    target = readings.pop(session.criteria.target, None)
    return SessionContent(
        folder=folder,
        session=session,
        manifest=(folder / MANIFEST_NAME).read_bytes(),
        takes=_takes(session, readings),
        sheets=_sheets(session, readings),
        target=_target(target),
        sources=tuple(sorted(sources, key=lambda note: note.path)),
        problems=tuple(problems),
        warnings=session.warnings + tuple(f"{note.path}: {c}" for note in sources for c in note.caveats),
    )


def _target_item(session: Session) -> MeasurementFile:
    return MeasurementFile(path=session.criteria.target, line=0, entry=-1, repeat="target")


def _bytes_of(session: Session, item: MeasurementFile | ScoreFile) -> bytes:
    try:
        return (session.folder / item.path).read_bytes()
    except OSError as error:
        raise ImportProblem(
            f"the file cannot be read: {error.strerror}",
            where=f"{item.path} (session.toml, line {item.line})",
            try_="check the file and its permissions",
        ) from error


def _read_batch(importer: Importer, files: list[SourceFile], session: Session) -> list[Reading]:
    """One reading per file, whatever the importer does."""
    where = ", ".join(file.path for file in files[:3]) + (" …" if len(files) > 3 else "")
    try:
        readings = call_plugin(
            importer.name, importer.version, where, lambda: {r.path: r for r in importer.read(files, session)}
        )
    except PluginProblem as problem:
        return [Reading(path=files[0].path, problem=problem), *(Reading(path=file.path) for file in files[1:])]
    return [_answered(importer, file, readings.get(file.path)) for file in files]


def _answered(importer: Importer, file: SourceFile, reading: Reading | None) -> Reading:
    """The reading if it is a problem or what such a file holds; else the problem that it is neither."""
    wanted = ScoreTable if isinstance(file.item, ScoreFile) else ResponseCurve
    if reading is not None and (reading.problem is not None or isinstance(reading.content, wanted)):
        return reading
    returned = "nothing" if reading is None or reading.content is None else f"a {type(reading.content).__name__}"
    problem = PluginProblem(
        f"importer {importer.name} {importer.version} claimed the file and returned {returned} for it",
        where=file.path,
        try_="remove or update the plug-in",
    )
    return Reading(path=file.path, problem=problem)


def _note(session: Session, file: SourceFile, importer: str, reading: Reading) -> SourceNote:
    digest = hashlib.sha256(file.data).hexdigest()
    return SourceNote(
        session=session.id,
        path=file.path,
        sha256=digest,
        size=len(file.data),
        importer=importer,
        caveats=reading.caveats,
    )


def _takes(session: Session, readings: dict[str, Reading]) -> tuple[Take, ...]:
    takes = []
    for item in session.measurements:
        reading = readings.get(item.path)
        if reading is None or not isinstance(reading.content, ResponseCurve):
            continue
        takes.append(
            Take(
                kind=item.kind,
                point=item.point,
                playing=item.playing,
                in_place=item.repeats == "in-place",
                seat=item.seat,
                condition=item.condition,
                repeat=item.repeat,
                channel=item.channel,
                programme=item.programme,
                curve=reading.content,
                path=item.path,
            )
        )
    return tuple(takes)


def _sheets(session: Session, readings: dict[str, Reading]) -> tuple[Sheet, ...]:
    """One sheet per `[[scores]]` entry, the rows of its files one after the other."""
    sheets = []
    for entry in sorted({item.entry for item in session.scores}):
        items = [item for item in session.scores if item.entry == entry]
        tables = [
            reading.content
            for item in items
            if (reading := readings.get(item.path)) is not None and isinstance(reading.content, ScoreTable)
        ]
        if len(tables) < len(items):
            continue
        first = items[0]
        sheets.append(
            Sheet(
                method=first.method,
                entry=entry,
                paths=tuple(item.path for item in items),
                reference=first.reference,
                treatment=first.treatment,
                order=first.order,
                scale=first.scale,
                trials=_frame(tables),
            )
        )
    return tuple(sheets)


def _frame(tables: Sequence[ScoreTable]) -> pd.DataFrame:
    import pandas as pd

    frames = [pd.DataFrame(dict(table.columns), dtype=object) for table in tables]
    whole = pd.concat(frames, ignore_index=True)
    return whole.astype(object).where(whole.notna(), None)


def _target(reading: Reading | None) -> TargetCurve | None:
    if reading is None or not isinstance(reading.content, ResponseCurve):
        return None
    return TargetCurve(frequency_hz=reading.content.frequency_hz, level_db=reading.content.level_db)
