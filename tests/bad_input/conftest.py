"""A sound store made once, the console called in process, and a look at everything that a store holds."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from shutil import copyfile

import pytest
from bad_input.console import Console, contents_of
from bad_input.sound_session import sound_files, write_session


@pytest.fixture(scope="session")
def made_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one session, imported and analysed by the console."""
    place = tmp_path_factory.mktemp("made")
    folder = write_session(place / "sound", sound_files())
    console = Console()
    assert console("import", folder, "--store", place / "s.duckdb").code == 0
    assert console("analyse", "--store", place / "s.duckdb").code == 0
    return place / "s.duckdb"


@pytest.fixture
def store(made_store: Path, tmp_path: Path) -> Path:
    """A copy of the made store, for this test alone."""
    place = tmp_path / "store" / "s.duckdb"
    place.parent.mkdir()
    copyfile(made_store, place)
    return place


@pytest.fixture
def console() -> Console:
    return Console()


@pytest.fixture
def unchanged(store: Path, tmp_path: Path) -> Callable[[], None]:
    """Asserts that store and files are exactly as they were when the test asked for this."""
    before = contents_of(store)
    assert before["sessions"]
    assert before["results"]

    def check() -> None:
        assert contents_of(store) == before
        assert sorted(child.name for child in store.parent.iterdir()) == ["s.duckdb"]
        assert not (tmp_path / "out").exists()
        assert not [path for path in tmp_path.rglob("*") if path.suffix in {".part", ".wal", ".tmp"}]

    return check
