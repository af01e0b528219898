"""Opening the store: made if missing, refused in words if it is held, unreadable, foreign or newer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.errors import StoreProblem
from fairhearing.store.migrations import migrate
from fairhearing.store.schema import SCHEMA_VERSION, TABLES

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True, slots=True)
class Store:
    """An open store: where it is and its connection."""

    path: Path
    connection: duckdb.DuckDBPyConnection

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is written inside stands, or none of it."""
        self.connection.execute("BEGIN TRANSACTION")
        try:
            yield
        except BaseException:
            self.connection.execute("ROLLBACK")
            raise
        self.connection.execute("COMMIT")


@contextmanager
def open_store(path: Path, *, create: bool) -> Iterator[Store]:
    """The store at `path`; made, with its folders, if `create` and it is not there. An older one is brought up to date.

    A store that was made here and holds no session at the end of a failed block is taken away again.

    Raises
    ------
    StoreProblem
        It is missing and `create` is false, held by another process, no store, from a later version, or cannot be
        read or written.
    """
    import duckdb

    if not create and not path.exists():
        raise StoreProblem(
            f"there is no store {path.name!r}",
            where=str(path),
            try_="import a session first, or give the store's path with --store",
        )
    new = not path.exists()
    made = _make_parents(path)
    try:
        connection = _connect(path)
    except BaseException:
        _remove(made)
        raise
    useless = False
    try:
        _prepare(connection, path)
        yield Store(path, connection)
    except BaseException as error:
        useless = new and _is_empty(connection)
        if isinstance(error, (duckdb.IOException, duckdb.FatalException, duckdb.SerializationException)):
            raise _cannot_open(path, str(error)) from error
        raise
    finally:
        connection.close()
        if useless:
            path.unlink(missing_ok=True)
            _remove(made)


def _is_empty(connection: duckdb.DuckDBPyConnection) -> bool:
    import duckdb

    try:
        row = connection.execute("SELECT count(*) FROM sessions").fetchone()
    except duckdb.Error:
        return True
    return row == (0,)


def _make_parents(path: Path) -> list[Path]:
    made: list[Path] = []
    for folder in reversed([path.parent, *path.parent.parents]):
        if not folder.exists():
            try:
                folder.mkdir()
            except OSError as error:
                _remove(made)
                raise StoreProblem(
                    f"the folder of the store cannot be made: {error.strerror}",
                    where=str(folder),
                    try_="choose a place that you may write to",
                ) from error
            made.append(folder)
    return made


def _remove(folders: list[Path]) -> None:
    for folder in reversed(folders):
        try:
            folder.rmdir()
        except OSError:  # something else has come to lie in it
            return


def _connect(path: Path) -> duckdb.DuckDBPyConnection:
    import duckdb

    config: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": False,
        "autoload_known_extensions": False,
        # A commit puts its rows into their places at once; else a log of all of them is written, and read, before that.
        "wal_autocheckpoint": "1kB",
    }
    try:
        return duckdb.connect(str(path), config=config)
    except (duckdb.Error, OSError, UnicodeError) as error:
        raise _cannot_open(path, str(error)) from error


def _cannot_open(path: Path, message: str) -> StoreProblem:
    holder = re.search(r"held in (.+?) \(PID (\d+)\)", message)
    if holder or "lock on file" in message:
        who = f"process {holder[2]} ({holder[1]})" if holder else "another process"
        return StoreProblem(
            f"the store is held by {who}",
            where=str(path),
            try_="wait until that process has ended, or end it, or use another store",
        )
    if re.search(r"newer version|storage version|version number", message):
        return StoreProblem(
            f"the store was written by a later version of its database ({_first_line(message)})",
            where=str(path),
            try_="update fairhearing and its packages, or use another store",
        )
    return StoreProblem(
        f"the store {path.name!r} cannot be used: {_reason(path, message)}",
        where=str(path),
        try_="give the path of a store that fairhearing wrote, or of a new one in a folder you may write to",
    )


def _reason(path: Path, message: str) -> str:
    """What is wrong with the file, from itself where that is plain, else from the database's message."""
    if path.is_dir():
        return "it is a folder"
    if path.is_file() and "not a valid" in message:
        return "it is no database; " + (f"it has {path.stat().st_size} bytes" if path.stat().st_size else "it is empty")
    return _first_line(message)


def _first_line(message: str) -> str:
    return message.strip().splitlines()[0] if message.strip() else "no reason given"


def _prepare(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    tables = {row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
    if not tables:
        _create(connection, path)
        return
    version = _schema_version(connection)
    if version is None:
        raise StoreProblem(
            f"this database is no store of fairhearing: it holds {', '.join(sorted(tables)[:3])}",
            where=str(path),
            try_="give the path of a store that fairhearing wrote, or of a new one",
        )
    if version > SCHEMA_VERSION:
        raise StoreProblem(
            f"the store has schema version {version}, this program knows versions up to {SCHEMA_VERSION}",
            where=str(path),
            try_="update fairhearing, or use another store",
        )
    migrate(connection, version)


def _schema_version(connection: duckdb.DuckDBPyConnection) -> int | None:
    """The version that the store says it has; None if it says none, as a foreign database does."""
    import duckdb

    try:
        row = connection.execute("SELECT value FROM meta WHERE key = 'schema_version'").fetchone()
    except (duckdb.CatalogException, duckdb.BinderException):
        return None
    return int(row[0]) if row is not None and str(row[0]).isdecimal() else None


def _create(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    import duckdb

    try:
        connection.execute("BEGIN TRANSACTION")
        connection.execute(TABLES)
        connection.execute("INSERT INTO meta VALUES ('schema_version', ?)", [str(SCHEMA_VERSION)])
        connection.execute("COMMIT")
    except duckdb.Error as error:
        raise _cannot_open(path, str(error)) from error
