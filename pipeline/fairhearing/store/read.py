"""Reading from the store: sessions with all they hold, results, sources."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fairhearing.audio import RecordingSource
from fairhearing.contracts import Harmonic, Inputs, ResponseCurve, Sheet, SourceNote, Take, TargetCurve
from fairhearing.result import AnalyserResult
from fairhearing.session import Session
from fairhearing.store.codec import decode
from fairhearing.store.connection import Store
from fairhearing.store.recordings import read_recordings
from fairhearing.store.rows import array, select_rows, text, texts

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSession:
    """One revision of a session: its number, the hash of its content, and all that analysers may read.

    The recordings of `inputs` have no summaries yet; `recordings` says where their files are.
    """

    revision: int
    content_sha256: str
    inputs: Inputs
    recordings: tuple[RecordingSource, ...] = ()
    sources: tuple[SourceNote, ...]


def session_ids(store: Store) -> tuple[str, ...]:
    """Every session in the store, sorted."""
    rows = store.connection.execute("SELECT DISTINCT session_id FROM sessions ORDER BY session_id").fetchall()
    return tuple(str(row[0]) for row in rows)


def read_session(store: Store, session_id: str, revision: int | None = None) -> StoredSession:
    """A revision of a session, the newest if none is named. Raises KeyError if the store does not have it."""
    row = store.connection.execute(
        "SELECT revision, folder, session_json, content_sha256, target_frequency_hz, target_level_db "
        "FROM sessions WHERE session_id = ? AND revision = coalesce(?, revision) ORDER BY revision DESC LIMIT 1",
        [session_id, revision],
    ).fetchone()
    if row is None:
        raise KeyError(session_id)
    number = int(row[0])
    session = decode(Session, json.dumps({**json.loads(row[2]), "folder": row[1]}))
    target = None if row[4] is None else TargetCurve(frequency_hz=array(row[4]), level_db=array(row[5]))
    recordings = read_recordings(store, session_id, number)
    return StoredSession(
        revision=number,
        content_sha256=str(row[3]),
        inputs=Inputs(
            session=session,
            takes=_takes(store, session, number),
            sheets=_sheets(store, session, number),
            recordings=tuple(source.recording for source in recordings),
            target=target,
        ),
        recordings=recordings,
        sources=_sources(store, session_id, number),
    )


def read_results(store: Store, session_id: str, revision: int) -> dict[str, AnalyserResult]:
    """The kept results of one revision, by key."""
    rows = store.connection.execute(
        "SELECT key, result_json FROM results WHERE session_id = ? AND revision = ? ORDER BY analyser",
        [session_id, revision],
    ).fetchall()
    return {str(key): decode(AnalyserResult, text) for key, text in rows}


def _takes(store: Store, session: Session, revision: int) -> tuple[Take, ...]:
    parameters = [session.id, revision]
    closing = {file.path for file in session.measurements if file.closing}
    grids = {
        str(row["grid_sha256"]): array(row["frequency_hz"])
        for row in select_rows(
            store,
            "SELECT g.* FROM grids g WHERE grid_sha256 IN "
            "(SELECT grid_sha256 FROM measurements WHERE session_id = ? AND revision = ?)",
            parameters,
        )
    }
    query = "SELECT * FROM measurements WHERE session_id = ? AND revision = ? ORDER BY ordinal"
    harmonics = _harmonics(store, parameters)
    return tuple(_take(row, grids, harmonics, closing) for row in select_rows(store, query, parameters))


def _harmonics(store: Store, parameters: list[object]) -> dict[int, list[Harmonic]]:
    """The harmonics of each take that has any, by its ordinal."""
    query = "SELECT * FROM harmonics WHERE session_id = ? AND revision = ? ORDER BY ordinal, harmonic"
    found: dict[int, list[Harmonic]] = {}
    for row in select_rows(store, query, parameters):
        arrays = {name: array(row[name]) for name in ("frequency_hz", "level_db", "noise_level_db")}
        found.setdefault(int(str(row["ordinal"])), []).append(Harmonic(order=int(str(row["harmonic"])), **arrays))
    return found


def _take(
    row: dict[str, object],
    grids: dict[str, npt.NDArray[np.float64]],
    harmonics: dict[int, list[Harmonic]],
    closing: Collection[str],
) -> Take:
    phase = row["phase_deg"]
    curve = ResponseCurve(
        frequency_hz=grids[str(row["grid_sha256"])],
        level_db=array(row["level_db"]),
        phase_deg=array(phase) if isinstance(phase, np.ndarray) else None,
        harmonics=tuple(harmonics.get(int(str(row["ordinal"])), ())),
    )
    return Take(
        kind=row["kind"],  # type: ignore[arg-type]
        point=row["point"],  # type: ignore[arg-type]
        playing=row["playing"],  # type: ignore[arg-type]
        in_place=bool(row["in_place"]),
        seat=text(row["seat"]),
        condition=text(row["condition"]),
        repeat=str(row["repeat"]),
        channel=text(row["channel"]),
        programme=text(row["programme"]),
        curve=curve,
        path=str(row["path"]),
        closing=str(row["path"]) in closing,
        applied=texts(row["applied"]),
    )


def _sheets(store: Store, session: Session, revision: int) -> tuple[Sheet, ...]:
    roles = {file.entry: file.role for file in session.scores}
    rows = store.connection.execute(
        "SELECT entry, method, paths, reference, treatment, order_rule, scale, columns FROM sheets "
        "WHERE session_id = ? AND revision = ? ORDER BY entry",
        [session.id, revision],
    ).fetchall()
    return tuple(
        Sheet(
            entry=row[0],
            method=row[1],
            paths=tuple(row[2]),
            reference=row[3],
            treatment=row[4],
            order=row[5],
            scale=row[6],
            trials=_trials(store, session.id, revision, row[0], row[7]),
            role=roles[row[0]],
        )
        for row in rows
    )


def _trials(store: Store, session_id: str, revision: int, entry: int, columns: list[str]) -> pd.DataFrame:
    import pandas as pd

    rows = store.connection.execute(
        "SELECT cells FROM trials WHERE session_id = ? AND revision = ? AND entry = ? ORDER BY ordinal",
        [session_id, revision, entry],
    ).fetchall()
    return pd.DataFrame([row[0] for row in rows], columns=columns, dtype=object)


def _sources(store: Store, session_id: str, revision: int) -> tuple[SourceNote, ...]:
    rows = store.connection.execute(
        "SELECT path, sha256, size, importer, caveats, coalesce(applied, []) FROM sources "
        "WHERE session_id = ? AND revision = ? ORDER BY path",
        [session_id, revision],
    ).fetchall()
    return tuple(
        SourceNote(
            session=session_id,
            path=r[0],
            sha256=r[1],
            size=r[2],
            importer=r[3],
            caveats=tuple(r[4]),
            applied=tuple(r[5]),
        )
        for r in rows
    )
