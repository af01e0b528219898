"""From a session folder to its content: files read, chosen importers run, every problem told. Writes nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.audio import RecordingFile
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
    TargetCurve,
)
from fairhearing.correcting import corrected, plain_path
from fairhearing.errors import FairHearingError, ImportProblem, PluginProblem, unreadable
from fairhearing.guesses import read_guesses
from fairhearing.impedance import impedance_paths, read_impedance
from fairhearing.manifest import MANIFEST_NAME, load_session
from fairhearing.manifest.listing import sha256_of
from fairhearing.placing import place
from fairhearing.protocol.holding import plan_problems
from fairhearing.session import Guess, ImpedanceTable, MeasurementFile, ScoreFile, Session

if TYPE_CHECKING:
    import pandas as pd

# A long recording is never loaded: from this size on, a file that begins like one is handed on by its head.
_LARGE_BYTES = 1 << 20
_HEAD_BYTES = 1 << 16
# A reader takes so many files at once: handing over each by itself takes longer than reading it.
_READERS, _AT_ONCE = 2, 16
_SOUND_STARTS = (b"RIFF", b"RF64", b"riff", b"fLaC")
_KINDS_WITH_SOUND = frozenset({"recording", "impulse", "sweep", "noise", "calibration"})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """Files of other use than to be measured or scored."""

    sources: list[SourceNote] = field(default_factory=list)
    problems: list[FairHearingError] = field(default_factory=list)
    tables: tuple[ImpedanceTable, ...] = ()
    guesses: tuple[Guess, ...] = ()


def read_session(folder: Path, importers: Sequence[Importer]) -> SessionContent:
    """What the folder holds; problems are collected, never raised."""
    loaded = load_session(folder)
    if loaded.session is None:
        return SessionContent(folder=folder, problems=loaded.problems)
    session = loaded.session
    problems: list[FairHearingError] = [*plan_problems(session)]
    batches: dict[str, list[SourceFile]] = {}
    chosen: dict[str, Importer] = {}
    extras = _extras(session)
    items: list[MeasurementFile | ScoreFile] = [*session.measurements, *session.scores, *extras]
    for file in _source_files(session, items, loaded.sha256):
        if isinstance(file, FairHearingError):
            problems.append(file)
            continue
        try:
            importer = choose_importer(file, importers)
        except FairHearingError as problem:
            problems.append(problem)
            continue
        batches.setdefault(importer.name, []).append(file)
        chosen[importer.name] = importer
    readings: dict[str, list[Reading]] = {}
    for name, files in batches.items():
        for reading in _read_batch(chosen[name], files, session):
            readings.setdefault(reading.path, []).append(reading)
            if reading.problem is not None:
                problems.append(reading.problem)
    problems += [_not_one(item, len(readings[item.path])) for item in extras if len(readings.get(item.path, ())) > 1]
    curves = {path: curve for path in readings if (curve := _curve(readings[path])) is not None}
    for item in session.measurements:
        if item.path in readings:
            readings[item.path] = corrected(item, readings[item.path], curves)
    placed = place(session, readings)
    sources = [_note(session, file, name, readings[file.path]) for name, files in batches.items() for file in files]
    named = _named_sources(session, {file.path: name for name, files in batches.items() for file in files})
    impedances, guesses = _impedances(session), _guesses(session)
    beside = (named, impedances, guesses)
    target = curves.get(session.criteria.target)
    return SessionContent(
        folder=folder,
        session=replace(session, impedances=impedances.tables, guesses=guesses.guesses),
        manifest=(folder / MANIFEST_NAME).read_bytes(),
        takes=placed.takes,
        sheets=_sheets(session, readings),
        recordings=placed.recordings,
        target=None if target is None else TargetCurve(frequency_hz=target.frequency_hz, level_db=target.level_db),
        sources=tuple(
            sorted([*sources, *(note for one in beside for note in one.sources)], key=lambda note: note.path)
        ),
        problems=(*problems, *placed.problems, *(problem for one in beside for problem in one.problems)),
        warnings=session.warnings + tuple(f"{note.path}: {c}" for note in sources for c in note.caveats),
    )


def _extras(session: Session) -> list[MeasurementFile]:
    """The tables that are read besides what was measured: the target, and the corrections of microphones."""
    extras: dict[str, MeasurementFile] = {}
    if session.criteria.target != "flat":
        path = session.criteria.target
        extras[path] = MeasurementFile(path=path, line=0, entry=-1, repeat="target")
    for item in session.measurements:
        if item.microphone is not None:
            path = plain_path(item.microphone)
            extras.setdefault(path, MeasurementFile(path=path, line=item.line, entry=-1, repeat="microphone"))
    return list(extras.values())


def _curve(readings: Sequence[Reading]) -> ResponseCurve | None:
    """The curve of a file that holds just one."""
    content = readings[0].content if len(readings) == 1 else None
    return content if isinstance(content, ResponseCurve) else None


def _not_one(item: MeasurementFile, n_curves: int) -> ImportProblem:
    """The problem of a target or a correction that is no single curve."""
    words = {"microphone": "correction of a microphone"}
    return ImportProblem(
        f"the file holds {n_curves} responses, and the {words.get(item.repeat, item.repeat)} is one",
        where=f"{item.path} ({MANIFEST_NAME}, line {item.line})" if item.line else item.path,
        try_="export the one that is meant into a file of its own",
    )


def _named_sources(session: Session, read_by: Mapping[str, str]) -> _Beside:
    """The sweeps and calibrator tones that importers looked at on their own: their bytes are part of the content."""
    users: dict[str, dict[str, str]] = {}
    for item in session.measurements:
        for key, text in (("excitation", item.excitation), ("calibrator", item.calibrator)):
            if text is not None and item.path in read_by:
                users.setdefault(plain_path(text), {})[key] = read_by[item.path]
    beside = _Beside()
    for path in users.keys() - read_by.keys():
        location = session.folder / path
        try:
            size, sha256 = location.stat().st_size, sha256_of(location)
        except OSError as error:
            beside.problems.append(unreadable(error, path))
            continue
        importer = " and ".join(dict.fromkeys(users[path].values()))
        part = " and ".join(sorted(users[path]))
        beside.sources.append(
            SourceNote(
                session=session.id,
                path=path,
                sha256=sha256,
                size=size,
                importer=importer,
                applied=(f"taken as the {part}",),
            )
        )
    return beside


def _impedances(session: Session) -> _Beside:
    """The impedance tables that the chains name."""
    beside = _Beside()
    tables = []
    for path in impedance_paths(session):
        try:
            file = read_impedance(session.folder, path)
        except FairHearingError as problem:
            beside.problems.append(problem)
            continue
        tables.append(file.table)
        beside.sources.append(
            SourceNote(session=session.id, path=path, sha256=file.sha256, size=file.size, importer="impedance")
        )
    return replace(beside, tables=tuple(tables))


def _source_files(
    session: Session, items: Sequence[MeasurementFile | ScoreFile], hashes: Mapping[str, str]
) -> Iterator[SourceFile | FairHearingError]:
    """Each file, or why it cannot be read; reading and hashing go on while what was yielded is worked on."""
    some = [items[begin : begin + _AT_ONCE] for begin in range(0, len(items), _AT_ONCE)]
    with ThreadPoolExecutor(_READERS) as readers:
        for files in readers.map(partial(_read_some, session, hashes), some):
            yield from files


def _read_some(
    session: Session, hashes: Mapping[str, str], items: Sequence[MeasurementFile | ScoreFile]
) -> list[SourceFile | FairHearingError]:
    files: list[SourceFile | FairHearingError] = []
    for item in items:
        try:
            files.append(_source_file(session, item, hashes))
        except FairHearingError as problem:
            files.append(problem)
    return files


def _guesses(session: Session) -> _Beside:
    """What listeners believed, where [listening] names a file of it."""
    path = session.listening.guesses
    if path is None:
        return _Beside()
    try:
        file = read_guesses(session.folder, path, [condition.id for condition in session.conditions])
    except FairHearingError as problem:
        return _Beside(problems=[problem])
    note = SourceNote(session=session.id, path=path, sha256=file.sha256, size=file.size, importer="guesses")
    return _Beside(sources=[note], guesses=file.guesses)


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
        raise unreadable(error, f"{item.path} (session.toml, line {item.line})") from error
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
    """One reading per file or more, whatever the importer does."""
    where = ", ".join(file.path for file in files[:3]) + (" …" if len(files) > 3 else "")
    try:
        by_path = call_plugin(importer.name, importer.version, where, partial(_by_path, importer, files, session))
    except PluginProblem as problem:
        return [Reading(path=files[0].path, problem=problem), *(Reading(path=file.path) for file in files[1:])]
    return [answer for file in files for answer in _answered(importer, file, by_path.get(file.path, []))]


def _by_path(importer: Importer, files: list[SourceFile], session: Session) -> dict[str, list[Reading]]:
    """All readings; what is none raises here, where it is the importer's fault."""
    found: dict[str, list[Reading]] = {}
    for reading in importer.read(files, session):
        found.setdefault(reading.path, []).append(reading)
    return found


def _answered(importer: Importer, file: SourceFile, readings: Sequence[Reading]) -> Sequence[Reading]:
    """The readings if each is a problem or what such a file holds; else the problem that one is neither."""
    returned = "nothing" if not readings else next(filter(None, (_fault(file, one) for one in readings)), None)
    if returned is None:
        return readings
    problem = PluginProblem(
        f"importer {importer.name} {importer.version} claimed the file and returned {returned} for it",
        where=file.path,
        try_="remove or update the plug-in",
    )
    return [Reading(path=file.path, problem=problem)]


def _fault(file: SourceFile, reading: Reading) -> str | None:
    """What is wrong with what an importer returned for a file, in words; None if nothing is."""
    content = reading.content
    if reading.problem is not None:
        return None
    if not isinstance(content, _wanted(file.item)):
        return "nothing" if content is None else f"a {type(content).__name__}"
    if isinstance(content, RecordingFile) and not _is_of(content, file):
        return "the size, time or hash of another file"
    return None


def _wanted(item: MeasurementFile | ScoreFile) -> tuple[type, ...]:
    """What a file may be read into."""
    if isinstance(item, ScoreFile):
        return (ScoreTable,)
    return {"response": (ResponseCurve,), "recording": (RecordingFile,)}.get(item.kind, (ResponseCurve, RecordingFile))


def _is_of(content: RecordingFile, file: SourceFile) -> bool:
    return (content.sha256, content.size, content.modified_ns) == (file.sha256, file.size, file.modified_ns)


def _note(session: Session, file: SourceFile, importer: str, readings: Sequence[Reading]) -> SourceNote:
    return SourceNote(
        session=session.id,
        path=file.path,
        sha256=file.sha256,
        size=file.size,
        importer=importer,
        caveats=tuple(dict.fromkeys(caveat for reading in readings for caveat in reading.caveats)),
        applied=tuple(dict.fromkeys(line for reading in readings for line in reading.applied)),
    )


def _sheets(session: Session, readings: Mapping[str, Sequence[Reading]]) -> tuple[Sheet, ...]:
    """One sheet per `[[scores]]` entry, the rows of its files one after the other."""
    sheets = []
    for entry in sorted({item.entry for item in session.scores}):
        items = [item for item in session.scores if item.entry == entry]
        tables = [
            reading.content
            for item in items
            for reading in readings.get(item.path, ())
            if isinstance(reading.content, ScoreTable)
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
                role=first.role,
            )
        )
    return tuple(sheets)


def _frame(tables: Sequence[ScoreTable]) -> pd.DataFrame:
    import pandas as pd

    frames = [pd.DataFrame(dict(table.columns), dtype=object) for table in tables]
    whole = pd.concat(frames, ignore_index=True)
    return whole.astype(object).where(whole.notna(), None)
