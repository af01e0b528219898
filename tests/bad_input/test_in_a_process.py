"""The installed command in a process of its own: the same three lines and the same exit codes."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from bad_input.cases import CASES
from bad_input.sound_session import write_session


def call(*arguments: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fairhearing", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, check=False)


@pytest.mark.parametrize("name", ["two reference conditions", "text where a number should be"])
def test_a_fault_is_three_lines_with_the_folder_as_it_was_typed(
    name: str, store: Path, unchanged: Callable[[], None], tmp_path: Path
) -> None:
    case = CASES[name]
    write_session(tmp_path / "broken", case.files())
    done = call("run", "broken", "--out", "out", "--store", store, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    what, where, try_ = done.stderr.splitlines()
    assert case.what in what
    assert where == f"  where: broken/{case.where}"
    assert try_.startswith("  try:   ")
    assert case.try_ in try_
    unchanged()


def test_an_unknown_option_is_three_lines(tmp_path: Path) -> None:
    done = call("import", "broken", "--stoer", "s.duckdb", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 3
    assert not list(tmp_path.iterdir())
