"""Analysers run in a worker: what hangs, eats memory or crashes costs its own findings, and nothing else changes."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from bad_input.console import Console
from bad_input.sound_session import SESSION_ID
from running.installed_distribution import install_analyser
from running.written_findings import findings_in

from fairhearing.execution.limits import IN_PROCESS_VARIABLE, MEGABYTES_VARIABLE, SECONDS_VARIABLE

BAD = {
    "hanging": ("while True: pass", "took longer than 3 s"),
    "hungry": ("bytearray(700_000_000)", "failed: MemoryError"),
    "crashing": ("os.abort()", "ended its process (SIGABRT)"),
    "leaving": ("os._exit(3)", "ended its process (exit code 3)"),
    "raising": ("raise ValueError('no seat')", "failed: ValueError: no seat"),
    "returning-nothing": ("return None", "failed: TypeError: it returned a NoneType, not a Result"),
    "spoiling": ("inputs.takes[0].curve.level_db.fill(0.0)", "failed: ValueError"),
    "rewriting-the-frame": ("inputs.session.seats[0].weight = 5.0", "failed: FrozenInstanceError"),
}


@pytest.fixture
def packages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on sys.path; analysers run in a worker with tight limits."""
    folder = tmp_path / "packages"
    monkeypatch.syspath_prepend(str(folder))
    monkeypatch.delenv(IN_PROCESS_VARIABLE)
    monkeypatch.setenv(SECONDS_VARIABLE, "3")
    monkeypatch.setenv(MEGABYTES_VARIABLE, "500")
    return folder


def without_process_ids(out: Path) -> list[dict[str, object]]:
    return [finding for finding in findings_in(out) if not str(finding["quantity"]).endswith("_process")]


def test_each_analyser_that_fails_costs_its_own_findings_and_all_others_stay_as_they_were(
    packages: Path, folder: Path, out: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setenv(IN_PROCESS_VARIABLE, "1")
        assert Console()("run", folder, "--out", tmp_path / "plain").code == 0
    for name, (work, _) in BAD.items():
        install_analyser(packages, name, work)
    install_analyser(packages, "well-behaved")
    said = Console()("run", folder, "--out", out)
    assert said.code == 0
    lines = said.err.splitlines()
    assert len(lines) == len(BAD)
    for name, (_, told) in BAD.items():
        (line,) = [line for line in lines if line.startswith(f"{SESSION_ID}: plug-in {name} 0.1 ")]
        assert told in line
        assert "; try: " in line
    page = (out / "report.html").read_text(encoding="utf-8")
    for name in BAD:
        assert f"plug-in {name} 0.1" in page
    assert without_process_ids(out) == findings_in(tmp_path / "plain")
    (own,) = [finding for finding in findings_in(out) if finding["quantity"] == "well_behaved_process"]
    assert own["value"] != os.getpid()


def test_a_limit_that_is_no_number_is_told_before_anything_is_written(
    folder: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(SECONDS_VARIABLE, "soon")
    said = Console()("run", folder, "--out", out)
    assert said.code == 2
    ((what, where, _),) = said.faults
    assert what == f"{SECONDS_VARIABLE} is 'soon', not a number above 0"
    assert where == "the environment"
    assert not out.exists()


def test_a_worker_gives_the_same_bytes_as_this_process(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = []
    for value in ("1", "0"):
        monkeypatch.setenv(IN_PROCESS_VARIABLE, value)
        out = tmp_path / value
        assert Console()("run", folder, "--out", out).code == 0
        texts.append((out / "findings.json").read_bytes())
    assert json.loads(texts[0])["findings"]
    assert texts[0] == texts[1]
