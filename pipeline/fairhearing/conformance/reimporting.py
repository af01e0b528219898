"""A sample imported twice into a store in a temporary folder: what the store holds after each time."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fairhearing.conformance.importer_samples import ImporterSample, item_of, sample_session
from fairhearing.conformance.kit import NotApplicable
from fairhearing.contracts import Importer
from fairhearing.importing import read_session
from fairhearing.manifest import MANIFEST_NAME
from fairhearing.manifest.entries import NAMED_FILES
from fairhearing.session import MeasurementFile, ReadOptions, ScoreFile, Session
from fairhearing.store import Store, open_store
from fairhearing.store.write import write_session

_MEASUREMENT_KEYS = (
    "kind", "point", "playing", "repeats", "seat", "condition", "channel", "programme", "full_scale_pa", "full_scale_v",
    "calibrator_db", *NAMED_FILES,
)  # fmt: skip
_SCORE_KEYS = ("method", "reference", "treatment", "order", "scale", "listener", "seat", "programme")


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a store holds: the session's revision, and the number of rows of each table."""

    revision: int
    n_rows: dict[str, int]


def import_twice(importer: Importer, sample: ImporterSample) -> tuple[Held, Held]:
    """What a store holds after the first and after the second import of a folder with the sample in it.

    Raises
    ------
    NotApplicable
        The sample is not imported; `claims-samples` or `reads-samples` says why.
    """
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "session"
        folder.mkdir()
        (folder / sample.path.name).write_bytes(sample.path.read_bytes())
        item = item_of(sample, importer)
        for name in filter(None, (getattr(item, key, None) for key in NAMED_FILES)):
            (folder / name).write_bytes((sample_session(sample).folder / name).read_bytes())
        (folder / MANIFEST_NAME).write_text(manifest(sample_session(sample), item), encoding="utf-8")
        with open_store(Path(place) / "store.duckdb", create=True) as store:
            return _import(store, folder, importer), _import(store, folder, importer)


def _import(store: Store, folder: Path, importer: Importer) -> Held:
    content = read_session(folder, [importer])
    if content.session is None or content.problems:
        told = content.problems[0].what if content.problems else "no session"
        raise NotApplicable(f"the sample is not imported: {told}")
    with store.transaction():
        revision = write_session(store, content)
    tables = store.connection.execute("SELECT table_name FROM information_schema.tables ORDER BY ALL").fetchall()
    n_rows = {}
    for (table,) in tables:
        counted = store.connection.execute(f'SELECT count(*) FROM "{table}"').fetchone()
        n_rows[str(table)] = int(counted[0]) if counted is not None else 0
    return Held(revision=revision, n_rows=n_rows)


def manifest(session: Session, item: MeasurementFile | ScoreFile) -> str:
    """A session.toml with the session's conditions and seats, and one entry that claims one file."""
    lines = ["format = 1", "[session]", f"id = {_toml(session.id)}", "[room]", f"id = {_toml(session.room.id)}"]
    for condition in session.conditions:
        lines += [f"[conditions.{_toml(condition.id)}]", f"label = {_toml(condition.label)}"]
        lines += ["reference = true"] if condition.reference else []
    for seat in session.seats:
        lines += [f"[seats.{_toml(seat.id)}]", f"weight = {_toml(float(seat.weight))}"]
    kind, keys = ("scores", _SCORE_KEYS) if isinstance(item, ScoreFile) else ("measurements", _MEASUREMENT_KEYS)
    lines += [f"[[{kind}]]", f"files = {_toml(item.path)}"]
    values = {key: getattr(item, key) for key in keys}
    lines += [f"{key} = {_toml(value)}" for key, value in values.items() if value is not None]
    lines += _options(item.options)
    return "\n".join(lines) + "\n"


def _options(options: ReadOptions) -> Iterator[str]:
    if options.delimiter is not None:
        yield f"delimiter = {_toml(options.delimiter)}"
    if options.decimal is not None:
        yield f"decimal = {_toml(options.decimal)}"
    if options.columns:
        yield "columns = { " + ", ".join(f"{ours} = {_toml(theirs)}" for ours, theirs in options.columns) + " }"


def _toml(value: str | float) -> str:
    return json.dumps(value, ensure_ascii=False)
