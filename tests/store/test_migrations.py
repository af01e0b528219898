"""An older store is brought up to date in one step or stays as it was; a newer one is refused in words."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest
from bad_input.console import contents_of

from fairhearing.errors import StoreProblem
from fairhearing.store import migrations, open_store
from fairhearing.store.read import read_session
from fairhearing.store.schema import SCHEMA_VERSION

VERSION_1, VERSION_2 = ((Path(__file__).parent / f"version_{n}.sql").read_text(encoding="utf-8") for n in (1, 2))


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A store as the first version of the program wrote it."""
    path = tmp_path / "old.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute(VERSION_1)
    return path


@pytest.fixture
def second(old: Path) -> Path:
    """The same store as the second version wrote it, with a recording."""
    with duckdb.connect(str(old)) as connection:
        connection.execute(VERSION_2)
    return old


def columns(path: Path) -> list[tuple[object, ...]]:
    with duckdb.connect(str(path), read_only=True) as connection:
        return connection.execute(
            "SELECT table_name, column_name, data_type, is_nullable FROM duckdb_columns() "
            "WHERE NOT internal ORDER BY ALL"
        ).fetchall()


def test_a_store_of_version_1_gets_what_is_new_and_keeps_all_that_it_had(old: Path, tmp_path: Path) -> None:
    before = contents_of(old)
    with open_store(old, create=False) as store:
        stored = read_session(store, "barn-2026-01-05")
    assert stored.inputs.takes[0].curve.level_db.tolist() == [1.0, 2.5, 3.0, 4.0]
    assert stored.recordings == stored.inputs.recordings == ()
    after = contents_of(old)
    assert after.pop("meta") == [("schema_version", str(SCHEMA_VERSION))]
    assert before.pop("meta") == [("schema_version", "1")]
    assert [after.pop(name) for name in ("recordings", "summaries", "harmonics")] == [[], [], []]
    # Version 3 adds a column, what was done to it, which is not known of what was imported before.
    assert after.pop("measurements") == [(*row, None) for row in before.pop("measurements")]
    assert after.pop("sources") == [(*row, None) for row in before.pop("sources")]
    assert stored.inputs.takes[0].applied == stored.sources[0].applied == ()
    assert after == before
    new = tmp_path / "made.duckdb"
    with open_store(new, create=True):
        pass
    assert columns(old) == columns(new)


def test_a_store_of_version_2_gets_what_was_done_to_its_files_and_the_harmonics_and_keeps_the_rest(
    second: Path, tmp_path: Path
) -> None:
    before = contents_of(second)
    with open_store(second, create=False) as store:
        stored = read_session(store, "barn-2026-01-05")
    (recording,) = stored.inputs.recordings
    assert (recording.path, recording.programme, recording.full_scale_v) == ("organ.wav", "organ", 40.0)
    assert recording.applied == stored.inputs.takes[0].applied == stored.sources[0].applied == ()
    assert stored.inputs.takes[0].curve.harmonics == ()
    after = contents_of(second)
    assert (before.pop("meta"), after.pop("meta")) == (
        [("schema_version", "2")],
        [("schema_version", str(SCHEMA_VERSION))],
    )
    assert after.pop("harmonics") == []
    for name in ("measurements", "recordings", "sources"):
        assert after.pop(name) == [(*row, None) for row in before.pop(name)]
    assert after == before
    assert len(after["summaries"]) == 1
    new = tmp_path / "made.duckdb"
    with open_store(new, create=True):
        pass
    assert columns(second) == columns(new)


def test_a_step_from_version_2_that_fails_leaves_the_store_as_it_was(
    second: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents_of(second)
    monkeypatch.setitem(migrations.STEPS, 2, migrations.STEPS[2] + "CREATE TABLE recordings (a INTEGER);")
    with pytest.raises(duckdb.CatalogException), open_store(second, create=False):
        pass
    assert contents_of(second) == before
    assert "harmonics" not in before


def test_opening_a_store_twice_changes_it_once(old: Path) -> None:
    with open_store(old, create=False):
        pass
    before = contents_of(old)
    with open_store(old, create=True):
        pass
    assert contents_of(old) == before


def test_a_step_that_fails_leaves_the_store_as_it_was(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = contents_of(old)
    monkeypatch.setitem(migrations.STEPS, 1, migrations.STEPS[1] + "CREATE TABLE sessions (a INTEGER);")
    with pytest.raises(duckdb.CatalogException), open_store(old, create=False):
        pass
    assert contents_of(old) == before
    assert "recordings" not in before


def test_a_store_of_a_later_version_is_refused_and_not_touched(old: Path) -> None:
    with duckdb.connect(str(old)) as connection:
        connection.execute("UPDATE meta SET value = ? WHERE key = 'schema_version'", [str(SCHEMA_VERSION + 1)])
    before = contents_of(old)
    with pytest.raises(StoreProblem) as told, open_store(old, create=False):
        pass
    assert told.value.what == (
        f"the store has schema version {SCHEMA_VERSION + 1}, this program knows versions up to {SCHEMA_VERSION}"
    )
    assert told.value.try_ == "update fairhearing, or use another store"
    assert contents_of(old) == before


def test_there_is_a_step_from_every_version() -> None:
    assert list(migrations.STEPS) == list(range(1, SCHEMA_VERSION))
