"""A whole run with page and charts: findings.json is strict, sorted, unique, and the same bytes again."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from fairhearing.progress import Silent
from fairhearing.run import run_sessions

from .finding_list import KEY, FindingList
from .hand_numbers import band_db, takes
from .made_rooms import add_takes, unchanged
from .session_writer import Folder, high_pass

ABX = "listener,trial,x,answer\n" + "".join(
    f"{who},{t},{'in' if (t * k) % 3 else 'out'},in\n" for k, who in enumerate(("007", "p2"), 1) for t in range(8)
)


def folder(identifier: str = "whole") -> Folder:
    made = Folder(
        id=identifier,
        seats={"A": 1.0, "B-2": 0.0, "c_3": 2.0},
        conditions={"out": {}, "in": {"trim_db": 0.1}, "less": {}},
        chain={"design_corner_hz": 70.0, "bass_given_back": False},
        sheets=[("abx", ABX)],
    )
    made.add_silence()
    changes = {"out": unchanged, "in": lambda f: high_pass(f, 70.0), "less": lambda f: high_pass(f, 35.0)}
    add_takes(made, changes, seed=2, repeats={"out": 3, "in": 2, "less": 1}, channels=("left", "right"), phase=True)
    add_takes(made, {"out": unchanged, "in": lambda f: high_pass(f, 70.0)}, seed=2, playing="both", seats=["A"])
    return made


def run(sessions: Path, out: Path) -> None:
    outcome = run_sessions([sessions], out, None, False, Silent())
    assert (outcome.exit_code, outcome.notes) == (0, ())
    assert outcome.lines[-1] == str(out / "report.html")


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("whole")
    folder().write(base / "sessions")
    run(base / "sessions", base / "report")
    return base


@pytest.fixture(scope="module")
def found(report: Path) -> FindingList:
    return FindingList.read(report / "report" / "findings.json")


def test_findings_json_is_strict_utf8_with_no_path_and_no_time(report, found):
    text = (report / "report" / "findings.json").read_text(encoding="utf-8")
    assert set(json.loads(text)) == {"format", "sessions", "findings"}
    assert found.sessions == ("whole",)
    assert str(report) not in text
    for word in ("NaN", "Infinity", "session.toml", ".txt"):
        assert word not in text


def test_every_finding_has_the_fields_of_the_contract(found):
    fields = {
        "session", "room", "analyser", "quantity", "variant", "value", "unit", "low", "high", "confidence", "p_value",
        "n", "method", "condition", "reference", "point", "playing", "seat", "channel", "programme", "listener",
        "band_hz", "of", "verdict", "caveats",
    }  # fmt: skip
    for finding in found.findings:
        assert fields <= set(finding)
        assert (finding["low"] is None) == (finding["high"] is None)
        if finding["low"] is not None and finding["value"] is not None:
            assert finding["low"] <= finding["value"] <= finding["high"]
            # What parts may be within their tolerances is a bound, no interval of chance.
            is_bound = finding["quantity"] == "predicted_corner_frequency"
            assert finding["confidence"] == (None if is_bound else 0.95)
        if finding["value"] is None:
            assert finding["caveats"] or finding["quantity"] == "balance"
            assert finding["low"] is None
        else:
            assert math.isfinite(finding["value"])
        assert finding["method"]
        assert (finding["band_hz"] is None) == (finding["quantity"] != "level_change")


def test_findings_are_unique_and_sorted(found):
    keys = [
        tuple(
            (f[name] is not None, "" if f[name] is None else tuple(f[name]) if name == "band_hz" else f[name])
            for name in KEY
        )
        for f in found.findings
    ]
    assert len(set(keys)) == len(keys) > 500
    assert keys == sorted(keys)


def test_each_analyser_that_has_findings_has_a_chart(report, found):
    analysers = {f["analyser"] for f in found.findings}
    assert {"level", "change", "target", "filter", "delay", "forced-choice", "balance"} <= analysers
    charts = list((report / "report" / "charts").glob("*.svg"))
    assert len(charts) >= len(analysers - {"balance"})
    page = (report / "report" / "report.html").read_text(encoding="utf-8")
    assert "Level match" in page


def test_a_second_run_gives_the_same_bytes(report, tmp_path):
    first = (report / "report" / "findings.json").read_bytes()
    run(report / "sessions", report / "report")
    assert (report / "report" / "findings.json").read_bytes() == first
    run(report / "sessions", tmp_path / "elsewhere")
    assert (tmp_path / "elsewhere" / "findings.json").read_bytes() == first


def test_the_numbers_are_those_of_the_files(found):
    made = folder()
    by_hand = [
        sum(band_db(takes(made, name, "c_3", channel=c), 50.0) for c in ("left", "right")) / 2
        for name in ("less", "out")
    ]
    stated = found.one("whole", "level_change", seat="c_3", condition="less", nominal_hz=50.0, playing="main")
    assert stated["value"] == pytest.approx(by_hand[0] - by_hand[1], abs=0.003)
    assert stated["n"] == 1
