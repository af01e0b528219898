"""From a session folder to its content: files read, chosen importers run, every problem told. Writes nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.audio import Recording, RecordingFile, RecordingSource
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
from fairhearing.manifest.listing import sha256_of
from fairhearing.session import MeasurementFile, ScoreFile, Session

if TYPE_CHECKING:
    import pandas as pd

# A long recording is never loaded: from this size on, a file that begins like one is handed on by its head.
_LARGE_BYTES = 1 << 20
_HEAD_BYTES = 1 << 16
_SOUND_STARTS = (b"RIFF", b"RF64", b"riff", b"fLaC")
_KINDS_WITH_SOUND = frozenset({"recording", "impulse", "sweep", "noise", "calibration"})


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
            file = _source_file(session, item, loaded.sha256)
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
        recordings=_recordings(session, readings),
        target=_target(target),
        sources=tuple(sorted(sources, key=lambda note: note.path)),
        problems=tuple(problems),
        warnings=session.warnings + tuple(f"{note.path}: {c}" for note in sources for c in note.caveats),
    )


def _target_item(session: Session) -> MeasurementFile:
    return MeasurementFile(path=session.criteria.target, line=0, entry=-1, repeat="target")


def _source_file(session: Session, item: MeasurementFile | ScoreFile, hashes: Mapping[str, str]) -> SourceFile:
    """The file with its bytes; of a large one with sound the head. `hashes`: those that were taken on the way."""
    location = session.folder / item.path
    try:
        status = location.stat()
        with location.open("rb") as stream:
            data = stream.read(_HEAD_BYTES)
            if _is_large_sound(item, status.st_size, data):
                sha256 = hashes.get(item.path) or sha256_of(location)
            else:
                data += stream.read()
                sha256 = hashlib.sha256(data).hexdigest()
    except OSError as error:
        raise ImportProblem(
            f"the file cannot be read: {error.strerror}",
            where=f"{item.path} (session.toml, line {item.line})",
            try_="check the file and its permissions",
        ) from error
    return SourceFile(
        item=item,
        path=item.path,
        data=data,
        location=location,
        size=status.st_size,
        modified_ns=status.st_mtime_ns,
        sha256=sha256,
    )


def _is_large_sound(item: MeasurementFile | ScoreFile, size: int, head: bytes) -> bool:
    return (
        isinstance(item, MeasurementFile)
        and item.kind in _KINDS_WITH_SOUND
        and size > _LARGE_BYTES
        and head.startswith(_SOUND_STARTS)
    )


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
    if reading is not None and (reading.problem is not None or isinstance(reading.content, _wanted(file.item))):
        content = reading.content
        if not isinstance(content, RecordingFile) or _is_of(content, file):
            return reading
        returned = "the size, time or hash of another file"
    else:
        content = None if reading is None else reading.content
        returned = "nothing" if content is None else f"a {type(content).__name__}"
    problem = PluginProblem(
        f"importer {importer.name} {importer.version} claimed the file and returned {returned} for it",
        where=file.path,
        try_="remove or update the plug-in",
    )
    return Reading(path=file.path, problem=problem)


def _wanted(item: MeasurementFile | ScoreFile) -> tuple[type, ...]:
    """What a file may be read into."""
    if isinstance(item, ScoreFile):
        return (ScoreTable,)
    return {"response": (ResponseCurve,), "recording": (RecordingFile,)}.get(item.kind, (ResponseCurve, RecordingFile))


def _is_of(content: RecordingFile, file: SourceFile) -> bool:
    return (content.sha256, content.size, content.modified_ns) == (file.sha256, file.size, file.modified_ns)


def _note(session: Session, file: SourceFile, importer: str, reading: Reading) -> SourceNote:
    return SourceNote(
        session=session.id,
        path=file.path,
        sha256=file.sha256,
        size=file.size,
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


def _recordings(session: Session, readings: dict[str, Reading]) -> tuple[RecordingSource, ...]:
    sources = []
    for item in session.measurements:
        reading = readings.get(item.path)
        if reading is None or not isinstance(reading.content, RecordingFile):
            continue
        recording = Recording(
            kind=item.kind,
            point=item.point,
            playing=item.playing,
            in_place=item.repeats == "in-place",
            seat=item.seat,
            condition=item.condition,
            repeat=item.repeat,
            channel=item.channel,
            programme=item.programme,
            path=item.path,
            format=reading.content.format,
            full_scale_pa=item.full_scale_pa,
            full_scale_v=item.full_scale_v,
        )
        sources.append(RecordingSource(recording=recording, file=reading.content))
    return tuple(sources)


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
