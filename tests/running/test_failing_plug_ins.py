"""What a failing plug-in costs: its own findings or files, named on standard error and to the reporters."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bad_input.console import Console, contents_of
from bad_input.sound_session import SESSION_ID
from plug_in_modules import (
    Installed,
    StubAnalyser,
    StubReporter,
    analyser_module,
    one_finding,
    reporter_module,
    written,
)
from running.written_findings import findings_in

from fairhearing.api import Finding, Inputs, Needs, OutputFile, ReportInputs, Result, Table


def broken(inputs: Inputs) -> Result:
    raise ZeroDivisionError("no seat\nin the session")


def one_round(_: Inputs) -> Result:
    return Result(findings=(Finding(quantity="rounds", value=1.0, unit="1", method="counted"),))


def strange_table(_: Inputs) -> Result:
    return Result(tables=(Table(name="t", columns={"a": [np.float32(1.5)]}, units={"a": ""}),))


NONSENSE: dict[str, tuple[Callable[[Inputs], object], str]] = {
    "raises": (broken, "ZeroDivisionError: no seat in the session"),
    "leaves the program": (lambda _: exit(1), "SystemExit: 1"),
    "returns nothing": (lambda _: None, "it returned a NoneType, not a Result"),
    "returns a list": (lambda i: [one_finding(i)], "it returned a list, not a Result"),
    "returns a Result of text": (lambda _: Result(findings=("loud",)), "its findings hold a str, not a Finding"),
    "returns an undeclared quantity": (
        lambda _: Result(findings=(Finding(quantity="loopz", value=1.0, unit="1", method="m"),)),
        "it returned loopz, which it does not declare",
    ),
    "returns another's quantity": (
        lambda _: Result(findings=(Finding(quantity="level_difference", value=1.0, unit="dB", method="m"),)),
        "it returned level_difference, which it does not declare; level_difference is declared by level (fairhearing)",
    ),
    "returns an unknown unit": (
        lambda _: Result(findings=(Finding(quantity="loops", value=1.0, unit="decibel", method="m"),)),
        "its finding loops has the unit 'decibel', which is not known; did you mean 'dB'?",
    ),
    "returns one finding twice": (
        lambda i: Result(findings=one_finding(i).findings * 2),
        "it returned two findings of loops for one and the same thing",
    ),
    "returns what no store keeps": (strange_table, "cannot write a float32 into the store"),
    "returns a value that is not finite": (
        lambda _: Result(findings=(Finding(quantity="loops", value=float("nan"), unit="1", method="m"),)),
        "finding loops: value is nan",
    ),
    "wants to change its inputs": (
        lambda inputs: inputs.takes[0].curve.level_db.fill(0.0),
        "ValueError",
    ),
}


@pytest.mark.parametrize("name", NONSENSE)
def test_an_analyser_that_fails_costs_its_own_findings_only(
    name: str, installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    work, told = NONSENSE[name]
    seen: list[ReportInputs] = []
    installed.add("bad", analyser_module(StubAnalyser(work, needs=Needs(kinds=frozenset({"response"})))))
    installed.add("good", analyser_module(StubAnalyser(one_round, name="good", quantities=["rounds"])))
    installed.add("watch", reporter_module(StubReporter(lambda inputs: seen.append(inputs) or [], name="watch")))
    said = console("run", folder, "--out", out)
    assert said.code == 0
    assert said.err.startswith(f"{SESSION_ID}: plug-in stub 0.1 failed: ")
    assert told in said.err
    assert len(said.err.splitlines()) == 1
    found = {finding["analyser"] for finding in findings_in(out)}
    assert {"good", "level", "forced-choice"} <= found
    assert "stub" not in found
    assert seen[0].problems == (said.err.rstrip("\n"),)


def test_a_broken_plug_in_is_named_on_standard_error_and_to_the_reporters(
    installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    seen: list[ReportInputs] = []
    installed.add("gone", None)
    installed.add("watch", reporter_module(StubReporter(lambda inputs: seen.append(inputs) or [], name="watch")))
    said = console("run", folder, "--out", out)
    assert said.code == 0
    assert said.err.startswith("plug-in gone (made-up-plug-ins) is not used: ModuleNotFoundError")
    assert seen[0].problems == (said.err.rstrip("\n"),)
    assert findings_in(out)


def test_the_page_names_each_plug_in_that_failed(folder: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plugins = Installed(monkeypatch)
    plugins.keep("response-table", "score-sheet", "page")
    plugins.add("gone", None)
    plugins.add("bad", analyser_module(StubAnalyser(broken)))
    plugins.add("worse", reporter_module(StubReporter(lambda _: [None])))
    said = Console()("run", folder, "--out", out)
    assert said.code == 0
    assert len(said.err.splitlines()) == 3
    page = (out / "report.html").read_text(encoding="utf-8")
    for words in ("plug-in gone", "plug-in stub 0.1 failed", "plug-in stub-reporter 0.1 failed"):
        assert words in said.err
        assert words in page


BAD_REPORTERS: dict[str, tuple[Callable[[ReportInputs], Any], str]] = {
    "raises": (lambda _: 1 / 0, "ZeroDivisionError"),
    "returns text": (lambda _: ["report.html"], "it returned str, not an OutputFile with bytes"),
    "returns text in a file": (lambda _: [OutputFile(path="a", data="text")], "not an OutputFile with bytes"),
    "leaves the folder": (written("../a.txt"), "'../a.txt', which is no path inside of the report folder"),
    "writes twice": (written("a.txt", "a.txt"), "'a.txt', which is written already"),
    "writes over another's": (written("findings.json"), "'findings.json', which is written already"),
    "writes over the store": (written("store.duckdb"), "'store.duckdb', which is written already"),
}


@pytest.mark.parametrize("name", BAD_REPORTERS)
def test_a_reporter_that_fails_costs_its_own_files_only(
    name: str, installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    work, told = BAD_REPORTERS[name]
    installed.add("bad", reporter_module(StubReporter(work, name="stub-reporter")))
    said = console("run", folder, "--out", out)
    assert said.code == 0
    assert said.err.startswith("plug-in stub-reporter 0.1 failed: ")
    assert told in said.err
    assert findings_in(out)
    assert said.out.splitlines()[-1] == str(out)
    assert contents_of(out / "store.duckdb")["sessions"]


def test_an_importer_that_fails_is_told_like_any_fault_and_nothing_is_imported(
    installed: Installed, folder: Path, out: Path, console: Console, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fairhearing_builtins.importers.response_table import ResponseTable

    monkeypatch.setattr(ResponseTable, "recognise", lambda self, file: 1 / 0)
    said = console("run", folder, "--out", out)
    assert said.code == 2
    assert len(said.faults) == 12
    assert (
        said.faults[0][0]
        == f"plug-in response-table {ResponseTable.version} failed: ZeroDivisionError: division by zero"
    )
    assert not out.exists()


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (lambda files: [], "claimed the file and returned nothing for it"),
        (lambda files: [1 / 0], "ZeroDivisionError"),
        (lambda files: [None], "AttributeError"),
    ],
)
def test_an_importer_that_returns_nonsense_is_named(
    answer: Callable[[object], list[object]],
    told: str,
    installed: Installed,
    folder: Path,
    out: Path,
    console: Console,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from fairhearing_builtins.importers.score_sheet import ScoreSheet

    monkeypatch.setattr(ScoreSheet, "read", lambda self, files, session: answer(files))
    said = console("run", folder, "--out", out)
    assert said.code == 2
    ((what, where, _),) = said.faults
    assert "score-sheet" in what
    assert told in what
    assert where == f"{folder}/scores/abx.csv"
    assert not out.exists()
