"""Loads a session folder: session.toml read, checked, and each of its files found."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from fairhearing.errors import ManifestProblem
from fairhearing.manifest.chains import NAMED_CHAIN_FILE, chain_tables, relative_path
from fairhearing.manifest.criteria import read_criteria
from fairhearing.manifest.entries import NAMED_FILES, Entry, KnownIds, read_measurements, read_scores
from fairhearing.manifest.faults import FaultLog, nearest_file, shown
from fairhearing.manifest.find import MANIFEST_NAME
from fairhearing.manifest.lines import index_lines
from fairhearing.manifest.listening import read_listening
from fairhearing.manifest.listing import Listing, list_folder, refusal
from fairhearing.manifest.matching import AnyEntry, Claim, match_files, measurement_file, score_file
from fairhearing.manifest.patterns import path_faults
from fairhearing.manifest.reader import TableReader
from fairhearing.manifest.states import state_warnings
from fairhearing.manifest.tables import read_conditions, read_room, read_seats, read_session
from fairhearing.manifest.takes import check_takes
from fairhearing.session import MeasurementFile, ScoreFile, Session

FORMAT = 1
TOP_KEYS = frozenset(
    {"format", "session", "room", "chain", "conditions", "seats", "measurements", "scores", "criteria", "listening"}
)
_TOML_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_IGNORED_ENDINGS = (".duckdb", ".duckdb.wal")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedSession:
    """A session, or None and every reason why there is none. `sha256`: by path, of the files hashed on the way."""

    session: Session | None
    problems: tuple[ManifestProblem, ...]
    sha256: Mapping[str, str] = field(default_factory=dict)


def load_session(folder: Path) -> LoadedSession:
    """The session that a folder holds, or every fault of its session.toml with its line.

    Parameters
    ----------
    folder : Path
        A session folder.

    Returns
    -------
    LoadedSession
        `session` is None if there is any fault. Problems are ordered by line. Nothing is raised for what a user wrote.

    Examples
    --------
    >>> print(load_session(Path("no-such-folder")).problems[0])
    there is no session.toml in 'no-such-folder'
      where: no-such-folder
      try:   write one, or name a folder that holds one
    """
    try:
        text = _read_text(folder)
        top = _parse(text)
        return _load(folder, text, top)
    except ManifestProblem as problem:
        return LoadedSession(session=None, problems=(problem,))


def _read_text(folder: Path) -> str:
    place = folder / MANIFEST_NAME
    if not place.is_file():
        raise ManifestProblem(
            f"there is no {MANIFEST_NAME} in {str(folder)!r}",
            where=str(folder),
            try_="write one, or name a folder that holds one",
        )
    try:
        data = place.read_bytes()
    except OSError as error:
        raise ManifestProblem(
            f"{MANIFEST_NAME} cannot be read: {error.strerror}", where=MANIFEST_NAME, try_="check who may read the file"
        ) from error
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ManifestProblem(
            f"{MANIFEST_NAME} is not UTF-8: byte 0x{data[error.start]:02x}",
            where=f"{MANIFEST_NAME}, line {line}",
            try_="save it with the encoding UTF-8",
        ) from error


def _parse(text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        reason, where = "lists or tables stand too deep in each other", MANIFEST_NAME
        cause: Exception = error
    except ValueError as error:  # a TOMLDecodeError, or a number of more digits than Python takes
        message = str(error)
        position = _TOML_POSITION.search(message)
        reason, cause, where = _TOML_POSITION.sub("", message), error, MANIFEST_NAME
        if position and position[1]:
            where = f"{MANIFEST_NAME}, line {position[1]}, column {position[2]}"
        elif position:
            lines = text.split("\n")
            where = f"{MANIFEST_NAME}, line {len(lines)}, column {len(lines[-1]) + 1}"
    raise ManifestProblem(
        f"{MANIFEST_NAME} is not TOML: {reason}",
        where=where,
        try_="look at this line and the one before it: text stands in quotes, each bracket and quote is closed",
    ) from cause


def _load(folder: Path, text: str, table: dict[str, object]) -> LoadedSession:
    log = FaultLog()
    top = TableReader(table=table, header=MANIFEST_NAME, path=(), lines=index_lines(text), log=log)
    if not _check_format(top):
        return LoadedSession(session=None, problems=log.problems())
    top.known_keys(TOP_KEYS)
    said = read_session(top.table_of("session", "[session]"))
    room = read_room(top.table_of("room", "[room]"))
    conditions = read_conditions(top)
    seats = read_seats(top)
    ids = KnownIds(seats=tuple(seat.id for seat in seats), conditions=tuple(one.id for one in conditions))
    measured = read_measurements(top, ids)
    scored = read_scores(top, ids)
    criteria_table = top.table_of("criteria", "[criteria]")
    criteria = read_criteria(criteria_table)
    listing = list_folder(folder)
    named = _named_files(folder, listing, criteria_table, measured)
    for chain in chain_tables(top):
        _named_file(folder, listing, chain, NAMED_CHAIN_FILE, named)
    said_of_listening = top.table_of("listening", "[listening]")
    _named_file(folder, listing, said_of_listening, "guesses", named)
    listening = read_listening(folder, listing, said_of_listening, ids, first_entry=len(scored))
    entries: list[AnyEntry] = [*measured, *scored]
    claims = match_files(entries, listing, ids, named | listening.files, log)
    _check_plan_files(claims, listening.files, log)
    measurements, scores = _claimed(claims, measured, scored)
    sound = {index for index, entry in enumerate(measured) if entry.sound}
    hashes = check_takes(folder, [file for file in measurements if file.entry in sound], log)
    problems = log.problems()
    if problems:
        return LoadedSession(session=None, problems=problems)
    session = Session(
        id=said.id,
        date=said.date,
        question=said.question,
        room=room,
        conditions=conditions,
        seats=seats,
        measurements=measurements,
        scores=(*scores, *listening.scores),
        criteria=criteria,
        folder=folder,
        warnings=(
            *_warnings(listing, {claim.path for claim in claims} | named | listening.files),
            *state_warnings(conditions),
            *listening.warnings,
        ),
        listening=listening.listening,
    )
    return LoadedSession(session=session, problems=(), sha256=hashes)


def _check_format(top: TableReader) -> bool:
    """Whether the rest can be read: a later format may mean anything by it."""
    value = top.table.get("format")
    if value is None:
        top.log.add(1, "format is missing", f"write format = {FORMAT} as the first line")
    elif isinstance(value, bool) or not isinstance(value, int) or value < FORMAT:
        top.log.add(top.line("format"), f"format = {shown(value)} is unknown", f"write format = {FORMAT}")
    elif value > FORMAT:
        what = f"format = {shown(value)} was made by a later version; this one reads format {FORMAT}"
        top.log.add(top.line("format"), what, "install a later version")
        return False
    return True


def _named_files(
    folder: Path, listing: Listing, criteria: TableReader, entries: Sequence[Entry[MeasurementFile]]
) -> set[str]:
    """The files that have another part than to be measured or scored; each must be there."""
    named: set[str] = set()
    if criteria.table.get("target", "flat") != "flat":
        _named_file(folder, listing, criteria, "target", named)
    for entry in entries:
        for key in NAMED_FILES:
            _named_file(folder, listing, entry.reader, key, named)
    return named


def _named_file(folder: Path, listing: Listing, reader: TableReader, key: str, named: set[str]) -> None:
    text = reader.table.get(key)
    if not isinstance(text, str) or not text.strip():
        return
    faults = path_faults(text)
    for fault in faults:
        reader.log.add(reader.line(key), f"{key} in {reader.header}: {fault.what}", fault.try_)
    if faults:
        return
    path = relative_path(text)
    place = folder / path
    if not place.exists() and not place.is_symlink():
        hint = nearest_file(text, listing.files)
        reader.fault(key, "is no file of the session folder", f'write "flat", or: {hint}' if key == "target" else hint)
        return
    reason = refusal(folder, path)
    if reason is not None:
        reader.fault(key, reason, "copy the file itself into the session folder")
        return
    named.add(path)


def _claimed(
    claims: Sequence[Claim], measured: Sequence[Entry[MeasurementFile]], scored: Sequence[Entry[ScoreFile]]
) -> tuple[tuple[MeasurementFile, ...], tuple[ScoreFile, ...]]:
    measurements = {id(entry): entry.template for entry in measured}
    scores = {id(entry): entry.template for entry in scored}
    return (
        tuple(measurement_file(c, measurements[id(c.entry)]) for c in claims if id(c.entry) in measurements),
        tuple(score_file(c, scores[id(c.entry)]) for c in claims if id(c.entry) in scores),
    )


def _check_plan_files(claims: Sequence[Claim], files: Collection[str], log: FaultLog) -> None:
    """A fault for each entry that names a file of the plan: those are read through [listening], once opened."""
    for claim in claims:
        if claim.path in files:
            what = f"{claim.path!r} belongs to the plan of the listening, which brings its own sheets"
            log.add(claim.entry.reader.line("files"), what, 'take this entry out; [listening] plan = "…" is enough')


def _warnings(listing: Listing, known: set[str]) -> tuple[str, ...]:
    lines = []
    for path in (*listing.files, *listing.refused):
        if path not in known and not path.endswith(_IGNORED_ENDINGS):
            reason = listing.refused.get(path, "is matched by nothing in session.toml")
            lines.append(f"{path} {reason}".encode("utf-8", "backslashreplace").decode())
    return tuple(sorted(lines))
