"""A sound session in a folder, a place for the report, the console, and a small set of plug-ins."""

from __future__ import annotations

from pathlib import Path

import pytest
from bad_input.console import Console
from bad_input.sound_session import sound_files, write_session
from plug_in_modules import Installed, reporter_module

QUICK = ("response-table", "score-sheet", "level", "forced-choice")


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> Installed:
    """The importers, two analysers, and a reporter of findings.json alone: charts are drawn elsewhere."""
    from fairhearing_builtins.reporters.data_files import DataFiles

    plugins = Installed(monkeypatch)
    plugins.keep(*QUICK)
    plugins.add("data-files", reporter_module(DataFiles()), "fairhearing")
    return plugins


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_session(tmp_path / "sessions" / "sound", sound_files())


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "out"


@pytest.fixture
def console() -> Console:
    return Console()
