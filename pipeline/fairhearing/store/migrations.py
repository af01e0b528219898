"""Brings the schema of an older store up to date, all steps in one transaction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fairhearing.store.schema import APPLIED_COLUMNS, HARMONIC_TABLE, RECORDING_TABLES, SCHEMA_VERSION

if TYPE_CHECKING:
    import duckdb

# What leads from each version to the next.
STEPS = {1: RECORDING_TABLES, 2: APPLIED_COLUMNS + HARMONIC_TABLE}


def migrate(connection: duckdb.DuckDBPyConnection, version: int) -> None:
    """Bring a store of schema `version` to the newest; a step that fails leaves it as it was."""
    if version == SCHEMA_VERSION:
        return
    connection.execute("BEGIN TRANSACTION")
    try:
        for step in range(version, SCHEMA_VERSION):
            connection.execute(STEPS[step])
        connection.execute("UPDATE meta SET value = ? WHERE key = 'schema_version'", [str(SCHEMA_VERSION)])
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")
