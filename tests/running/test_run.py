"""What a run, an analysis and a report do to the store and to the report folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from bad_input.console import Console, Said, contents_of
from bad_input.sound_session import SESSION_ID, sound_files, write_session
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

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Needs, ReportInputs, Result

FINDING_KEYS = {
    "id", "nominal_hz",
    "session", "room", "analyser", "quantity", "variant", "value", "unit", "low", "high", "confidence", "p_value", "n",
    "method", "condition", "reference", "point", "playing", "seat", "channel", "programme", "listener", "band_hz",
    "of", "verdict", "caveats",
}  # fmt: skip


def test_a_run_with_all_that_is_installed_writes_what_the_contract_names(
    folder: Path, out: Path, console: Console
) -> None:
    said = console("run", folder, "--out", out)
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines()[-1] == str(out / "report.html")
    assert (out / "report.html").is_file()
    assert (out / "tables" / "findings.csv").is_file()
    assert (out / "store.duckdb").is_file()
    findings = findings_in(out)
    drawn = {path.name for path in (out / "charts").iterdir()}
    for analyser in {finding["analyser"] for finding in findings}:
        assert any(name.startswith(f"{SESSION_ID}_{analyser}_") for name in drawn), analyser
    for finding in findings:
        assert set(finding) == FINDING_KEYS
        assert (finding["nominal_hz"] is None) == (finding["band_hz"] is None)
    assert {finding["session"] for finding in findings} == {SESSION_ID}
    again = console("report", "--store", out / "store.duckdb", "--out", out.parent / "again")
    assert again.code == 0
    assert again.out.splitlines()[-1] == str(out.parent / "again" / "report.html")
    for name in ("findings.json", "report.html", "tables/findings.csv"):
        assert (out.parent / "again" / name).read_bytes() == (out / name).read_bytes()


def test_a_run_reports_only_the_sessions_that_it_names(
    installed: Installed, folder: Path, out: Path, console: Console, tmp_path: Path
) -> None:
    other = write_session(tmp_path / "sessions" / "other", sound_files("other"))
    store = tmp_path / "s.duckdb"
    assert console("import", folder, "--store", store).code == 0
    assert console("run", other, "--out", out, "--store", store).code == 0
    assert {finding["session"] for finding in findings_in(out)} == {"other"}
    assert console("report", "--store", store, "--out", out).code == 0
    assert {finding["session"] for finding in findings_in(out)} == {"other", SESSION_ID}
    assert not (out / "store.duckdb").exists()


def test_a_folder_of_sessions_is_run_by_name(
    installed: Installed, folder: Path, out: Path, console: Console, tmp_path: Path
) -> None:
    write_session(tmp_path / "sessions" / "a-first", sound_files("a-first"))
    (tmp_path / "sessions" / "notes").mkdir()
    said = console("run", tmp_path / "sessions", "--out", out)
    assert (said.code, said.err) == (0, "")
    assert [line.split(":")[0] for line in said.out.splitlines()[:-1]] == ["a-first", SESSION_ID]


def test_a_report_before_any_analysis_analyses_first(
    installed: Installed, folder: Path, out: Path, console: Console, tmp_path: Path
) -> None:
    store = tmp_path / "s.duckdb"
    assert console("import", folder, "--store", store).code == 0
    assert contents_of(store)["results"] == []
    said = console("report", "--store", store, "--out", out)
    assert said.code == 0
    assert findings_in(out)
    kept = contents_of(store)["results"]
    assert {row[2] for row in kept} == {"level", "forced-choice"}
    assert console("analyse", "--store", store).code == 0
    assert contents_of(store)["results"] == kept


def test_the_newest_revision_is_reported(installed: Installed, folder: Path, out: Path, console: Console) -> None:
    assert console("run", folder, "--out", out).code == 0
    before = findings_in(out)
    (folder / "scores/abx.csv").write_bytes((folder / "scores/abx.csv").read_bytes() + b"L2,9,in,in\n")
    assert console("run", folder, "--out", out).code == 0
    trials = [
        [f["n"] for f in found if f["quantity"] == "proportion_correct" and f["listener"] is None]
        for found in (before, findings_in(out))
    ]
    assert trials[0][0] == 16
    assert trials[1][0] == 17


def test_the_same_session_again_runs_no_analyser(
    installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    analyser = StubAnalyser(one_finding)
    installed.add("stub", analyser_module(analyser))
    assert console("run", folder, "--out", out).code == 0
    assert analyser.n_calls == 1
    before = contents_of(out / "store.duckdb")
    for command in (["run", folder, "--out", out], ["analyse", "--store", out / "store.duckdb"]):
        assert console(*command).code == 0
    assert analyser.n_calls == 1
    assert contents_of(out / "store.duckdb") == before


@pytest.mark.parametrize("change", ["criterion", "version", "findings that it reads"])
def test_what_an_analyser_reads_makes_it_run_again(
    change: str, installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    value = [1.0]

    def first(_: Inputs) -> Result:
        return Result(findings=(Finding(quantity="turns", value=value[0], unit="1", method="counted"),))

    earlier = StubAnalyser(first, name="earlier", quantities=["turns"])
    later = StubAnalyser(one_finding, name="later", needs=Needs(findings=frozenset({"turns"})))
    installed.add("stubs", analyser_module(earlier, later))
    assert console("run", folder, "--out", out).code == 0
    if change == "criterion":
        manifest = (folder / "session.toml").read_text()
        (folder / "session.toml").write_text(manifest + "\n[criteria]\nguard_db = 0.4\n")
    elif change == "version":
        later.version = "0.2"
    else:
        value[0], earlier.version = 2.0, "0.2"
    assert console("run", folder, "--out", out).code == 0
    assert later.n_calls == 2


def test_a_second_run_takes_away_what_it_does_not_write_again_and_nothing_else(
    installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    paths = [["report.html", "charts/a.svg", "charts/b.svg"]]
    installed.add("pages", reporter_module(StubReporter(lambda inputs: written(*paths[0])(inputs))))
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    assert console("run", folder, "--out", out).code == 0
    (out / "charts" / "my.svg").write_text("mine")
    paths[0] = ["report.html", "charts/b.svg"]
    said = console("run", folder, "--out", out)
    assert said.out.splitlines()[-1] == str(out / "report.html")
    there = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert {"report.html", "charts/b.svg", "charts/my.svg", "mine.txt", "store.duckdb"} <= there
    assert "charts/a.svg" not in there
    assert (out / "mine.txt").read_text() == (out / "charts" / "my.svg").read_text() == "mine"


def interrupt(_: object) -> Any:
    raise KeyboardInterrupt


def files_below(folder: Path) -> dict[str, bytes]:
    """All files but the store, whose rows are compared instead."""
    paths = (path for path in folder.rglob("*") if path.is_file() and path.suffix != ".duckdb")
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


@pytest.mark.parametrize("where", ["reporter", "analyser"])
def test_an_interrupted_run_ends_with_130_and_leaves_all_as_it_was(
    where: str, installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    assert console("run", folder, "--out", out).code == 0
    store, files = contents_of(out / "store.duckdb"), files_below(out)
    (folder / "scores/abx.csv").write_bytes((folder / "scores/abx.csv").read_bytes() + b"L2,9,in,in\n")
    made = StubReporter(interrupt) if where == "reporter" else StubAnalyser(interrupt)
    installed.add("stop", reporter_module(made) if where == "reporter" else analyser_module(made))
    said = console("run", folder, "--out", out)
    assert said == Said(code=130, out="", err="interrupted\n")
    assert contents_of(out / "store.duckdb") == store
    assert files_below(out) == files


def test_a_chart_request_that_fits_is_kept_and_handed_to_the_reporters(
    installed: Installed, folder: Path, out: Path, console: Console
) -> None:
    chart = ChartRequest(
        name="c",
        title="t",
        alternative="a",
        form="line",
        data={"f": (1.0, 2.0), "l": (None, 3.5)},
        x=Axis(column="f", label="Frequency", unit="Hz", scale="log"),
        y=Axis(column="l", label="Level", unit="dB"),
    )
    seen: list[ReportInputs] = []
    installed.add("draws", analyser_module(StubAnalyser(lambda _: Result(charts=(chart,)))))
    installed.add("watch", reporter_module(StubReporter(lambda inputs: seen.append(inputs) or [], name="watch")))
    assert console("run", folder, "--out", out).code == 0
    assert [result.result.charts for result in seen[0].results if result.analyser == "stub"] == [(chart,)]
