"""Writing into the store: sessions as revisions, results by key. One import is one transaction (the caller's)."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fairhearing.contracts import SessionContent, Take
from fairhearing.result import AnalyserResult
from fairhearing.session import Session
from fairhearing.store.codec import encode
from fairhearing.store.connection import Store
from fairhearing.store.curves import insert_curves
from fairhearing.store.recordings import update_modified, write_recordings
from fairhearing.store.rows import insert_rows

if TYPE_CHECKING:
    import numpy.typing as npt


def content_sha256(content: SessionContent) -> str:
    """One hash over session.toml and every file that it names; the folder it lies in is no part of it."""
    digest = hashlib.sha256(content.manifest)
    for note in content.sources:
        digest.update(f"\n{note.path}\t{note.sha256}\t{note.importer}".encode())
    return digest.hexdigest()


def write_session(store: Store, content: SessionContent) -> int:
    """The revision under which the content stands now: the newest if it is the same, else a new one."""
    session = content.session
    if session is None or content.problems:
        raise ValueError("a session with problems is never written")
    connection = store.connection
    sha256 = content_sha256(content)
    newest = connection.execute(
        "SELECT revision, content_sha256 FROM sessions WHERE session_id = ? ORDER BY revision DESC LIMIT 1",
        [session.id],
    ).fetchone()
    if newest is not None and newest[1] == sha256:
        connection.execute(
            "UPDATE sessions SET folder = ? WHERE session_id = ? AND revision = ? AND folder <> ?",
            [str(content.folder.resolve()), session.id, newest[0], str(content.folder.resolve())],
        )
        update_modified(store, session.id, int(newest[0]), content.recordings)
        return int(newest[0])
    revision = 1 if newest is None else int(newest[0]) + 1
    target = content.target
    connection.execute(
        "INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            session.id,
            revision,
            session.room.id,
            str(content.folder.resolve()),
            encode(_without_folder(session)),
            content.manifest,
            sha256,
            None if target is None else target.frequency_hz.tolist(),
            None if target is None else target.level_db.tolist(),
            datetime.datetime.now(datetime.UTC).replace(tzinfo=None),
        ],
    )
    _write_takes(store, session.id, revision, content)
    _write_sheets(store, session.id, revision, content)
    write_recordings(store, session.id, revision, content.recordings)
    insert_rows(
        store,
        "sources",
        {
            "session_id": [session.id] * len(content.sources),
            "revision": [revision] * len(content.sources),
            "path": [note.path for note in content.sources],
            "sha256": [note.sha256 for note in content.sources],
            "size": [note.size for note in content.sources],
            "importer": [note.importer for note in content.sources],
            "caveats": [list(note.caveats) for note in content.sources],
            "applied": [list(note.applied) for note in content.sources],
        },
    )
    return revision


def write_results(store: Store, revisions: Mapping[str, int], results: Mapping[str, AnalyserResult]) -> None:
    """Each result in place of what its analyser found in the same revision before. `results`: by key."""
    for key, result in sorted(results.items(), key=lambda item: (item[1].session, item[1].analyser)):
        store.connection.execute(
            "INSERT OR REPLACE INTO results VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                result.session,
                revisions[result.session],
                result.analyser,
                result.version,
                key,
                encode(result),
                result.problem,
            ],
        )


def _without_folder(session: Session) -> dict[str, object]:
    return {name: getattr(session, name) for name in Session.__slots__ if name != "folder"}


def _write_takes(store: Store, session_id: str, revision: int, content: SessionContent) -> None:
    grids: dict[str, npt.NDArray[np.float64]] = {}
    key_of: dict[int, str] = {}  # by the identity of an array: takes that share their grid share its hash
    for take in content.takes:
        frequency_hz = take.curve.frequency_hz
        if id(frequency_hz) not in key_of:
            key = hashlib.sha256(np.ascontiguousarray(frequency_hz).tobytes()).hexdigest()
            key_of[id(frequency_hz)] = key
            grids[key] = frequency_hz
    keys = [key_of[id(take.curve.frequency_hz)] for take in content.takes]
    known = {row[0] for row in store.connection.execute("SELECT grid_sha256 FROM grids").fetchall()}
    new = sorted(set(grids) - known)
    insert_curves(store, "grids", {"grid_sha256": new}, {"frequency_hz": [grids[key] for key in new]})
    takes = content.takes
    columns: dict[str, Sequence[object]] = {
        "session_id": [session_id] * len(takes),
        "revision": [revision] * len(takes),
        "ordinal": list(range(len(takes))),
    }
    for name in ("path", "kind", "point", "playing", "in_place", "seat", "condition", "repeat", "channel", "programme"):
        columns[name] = [getattr(take, name) for take in takes]
    columns["grid_sha256"] = keys
    curves: dict[str, list[npt.NDArray[np.float64] | None]] = {
        "level_db": [take.curve.level_db for take in takes],
        "phase_deg": [take.curve.phase_deg for take in takes],
    }
    columns["applied"] = [list(take.applied) for take in takes]
    insert_curves(store, "measurements", columns, curves)
    _write_harmonics(store, session_id, revision, takes)


def _write_harmonics(store: Store, session_id: str, revision: int, takes: Sequence[Take]) -> None:
    found = [(ordinal, harmonic) for ordinal, take in enumerate(takes) for harmonic in take.curve.harmonics]
    columns: dict[str, Sequence[object]] = {
        "session_id": [session_id] * len(found),
        "revision": [revision] * len(found),
        "ordinal": [ordinal for ordinal, _ in found],
        "harmonic": [harmonic.order for _, harmonic in found],
    }
    names = ("frequency_hz", "level_db", "noise_level_db")
    arrays = {name: [getattr(harmonic, name) for _, harmonic in found] for name in names}
    insert_curves(store, "harmonics", columns, arrays)


def _write_sheets(store: Store, session_id: str, revision: int, content: SessionContent) -> None:
    for sheet in content.sheets:
        names = [str(name) for name in sheet.trials.columns]
        store.connection.execute(
            "INSERT INTO sheets VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                session_id,
                revision,
                sheet.entry,
                sheet.method,
                list(sheet.paths),
                sheet.reference,
                sheet.treatment,
                sheet.order,
                sheet.scale,
                names,
            ],
        )
        rows = [[None if cell is None else str(cell) for cell in row] for row in sheet.trials.itertuples(index=False)]
        position = {name: index for index, name in enumerate(names)}
        insert_rows(
            store,
            "trials",
            {
                "session_id": [session_id] * len(rows),
                "revision": [revision] * len(rows),
                "entry": [sheet.entry] * len(rows),
                "ordinal": list(range(len(rows))),
                "listener": [row[position["listener"]] for row in rows],
                "trial": [row[position["trial"]] for row in rows],
                "cells": rows,
            },
        )
