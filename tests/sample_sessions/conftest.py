"""Fixtures of the tests of the sample sessions: the program's modules, what it writes, the truth, a run."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from fairhearing import run
from fairhearing.progress import Silent

FOLDER = Path(__file__).parents[2] / "sample_sessions"
MODULES = sorted(path.stem for path in FOLDER.glob("*.py"))


@pytest.fixture(scope="module")
def program() -> Iterator[dict[str, ModuleType]]:
    """The program's modules, found as they are when it is run as a script; gone again afterwards."""
    sys.path.insert(0, str(FOLDER))
    try:
        yield {name: import_module(name) for name in MODULES}
    finally:
        sys.path.remove(str(FOLDER))
        for name in MODULES:
            sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder into which the program was run as its first line says."""
    into = tmp_path_factory.mktemp("made")
    subprocess.run([sys.executable, str(FOLDER / "make.py"), "--into", str(into)], check=True)
    return into


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    """The committed truth by folder of the session."""
    sessions = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["sessions"]
    return {of_session["folder"]: of_session for of_session in sessions.values()}


@pytest.fixture(scope="module")
def without_page() -> Iterator[None]:
    """No run of the module writes the page and its charts."""
    whole = run.load_plugins()
    quick = replace(whole, reporters=tuple(one for one in whole.reporters if one.name != "page"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "load_plugins", lambda: quick)
        yield


@pytest.fixture(scope="module")
def findings(
    request: pytest.FixtureRequest, without_page: None, tmp_path_factory: pytest.TempPathFactory
) -> list[dict[str, Any]]:
    """findings.json of a run over what the module names: RUN_OVER."""
    out = tmp_path_factory.mktemp("report")
    outcome = run.run_sessions([request.module.RUN_OVER], out, None, False, Silent())
    assert (outcome.exit_code, outcome.notes) == (0, ())
    stated: list[dict[str, Any]] = json.loads((out / "findings.json").read_text(encoding="utf-8"))["findings"]
    return stated
