"""A session with recordings through the whole program: its findings, its page, and what is said of a bad file."""

from __future__ import annotations

import json
import math
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bad_input.console import Console
from recorded_session import RATE_HZ, sound, write_session

from fairhearing.registry import load_plugins


def test_the_plug_ins_of_recordings_are_installed() -> None:
    plugins = load_plugins()
    assert "recording" in {importer.name for importer in plugins.importers}
    assert "recording-levels" in {analyser.name for analyser in plugins.analysers}


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("chapel")
    said = Console()("run", write_session(place / "chapel"), "--out", place / "report")
    assert (said.code, said.err) == (0, "")
    return place / "report"


def whole_samples(path: Path) -> list[int]:
    """The samples of a 24-bit file as whole numbers, three bytes each, read by the standard library alone."""
    with wave.open(str(path), "rb") as file:
        data = file.readframes(file.getnframes())
    return [int.from_bytes(data[at : at + 3], "little", signed=True) for at in range(0, len(data), 3)]


def test_levels_are_those_of_the_samples(report: Path) -> None:
    findings = json.loads((report / "findings.json").read_text())["findings"]
    found = {f["condition"]: f for f in findings if f["quantity"] == "recording_level"}
    for condition in ("out", "in"):
        samples = whole_samples(report.parent / "chapel" / "takes" / f"organ_{condition}.wav")
        by_hand_db = 10 * math.log10(2 * sum(x * x for x in samples) / len(samples) / 2**46)
        assert found[condition]["value"] == pytest.approx(by_hand_db, abs=1e-9)
        assert (found[condition]["unit"], found[condition]["programme"]) == ("dBFS", "organ")
    assert {f["quantity"] for f in findings if f["analyser"] == "recording-levels"} == {
        "recording_level", "recording_peak", "recording_dc_share",
    }  # fmt: skip


def test_the_page_and_the_chart_show_them(report: Path) -> None:
    page = (report / "report.html").read_text(encoding="utf-8")
    assert "Level of the recording" in page
    assert "chapel-2026-02-03_recording-levels_recording-levels-dbfs.svg" in {
        path.name for path in (report / "charts").iterdir()
    }
    assert "takes/organ_in.wav" in page


def test_check_counts_them_among_the_repeats(tmp_path: Path) -> None:
    said = Console()("check", write_session(tmp_path / "chapel"))
    assert said.code == 0
    assert "repeats: recording, at seat, playing main, programme organ\n  seat  out  in\n  pew   1    1" in said.out


def test_a_recording_with_a_bad_sample_is_named_and_the_rest_is_reported(tmp_path: Path) -> None:
    folder = write_session(tmp_path / "chapel", subtype="FLOAT")
    samples = sound(7)
    samples[RATE_HZ, 0] = np.nan
    soundfile.write(folder / "takes" / "organ_in.wav", samples, RATE_HZ, subtype="FLOAT")
    said = Console()("run", folder, "--out", tmp_path / "report")
    assert said.code == 3
    ((what, where, _),) = said.faults
    assert what == "the sample of channel 1 in frame 8000 (1.000 s) is nan, not a finite number"
    assert where == f"{folder.as_posix()}/takes/organ_in.wav"
    findings = json.loads((tmp_path / "report" / "findings.json").read_text())["findings"]
    assert {f["condition"] for f in findings if f["analyser"] == "recording-levels"} == {"out"}
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "recording-levels from takes/organ_in.wav" in page
    assert Console()("report", "--store", tmp_path / "report" / "store.duckdb", "--out", tmp_path / "again").code == 3
