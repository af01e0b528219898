"""Fixtures of the tests that go the public way: a run over whole session folders, and its findings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest

from fairhearing import run
from fairhearing.progress import Silent

from .finding_list import FindingList
from .session_writer import Folder

Runner = Callable[[Iterable[Folder]], FindingList]


@pytest.fixture(scope="module")
def run_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterable[Runner]:
    """Writes folders and runs them as `run` does, but for the page and its charts (see test_whole_run)."""
    whole = run.load_plugins()
    quick = replace(whole, reporters=tuple(r for r in whole.reporters if r.name != "page"))

    def work(folders: Iterable[Folder]) -> FindingList:
        base = tmp_path_factory.mktemp("run")
        for folder in folders:
            folder.write(base / "sessions")
        outcome = run.run_sessions([base / "sessions"], base / "report", None, False, Silent())
        assert (outcome.exit_code, outcome.notes) == (0, ())
        return FindingList.read(base / "report" / "findings.json")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "load_plugins", lambda: quick)
        yield work
