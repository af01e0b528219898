"""Fixtures of the tests of the sample sessions: the program's modules, what it writes, and the committed truth."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

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
