"""Third parties' plug-ins: installed as distributions of their own, found, kept to the rules, and used in a run."""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from bad_input.console import contents_of
from recorded_session import SESSION_ID, write_session

from fairhearing.conformance.new_plugin import PLUGIN_KINDS, write_plugin
from fairhearing.store import open_store
from fairhearing.store.read import read_results, read_session

EXAMPLES = Path(__file__).parent / "examples"
ROOT = Path(__file__).parent.parent
NAMES = sorted(path.parent.name for path in EXAMPLES.glob("*/pyproject.toml"))
NEW = {kind: f"lamp-{kind}" for kind in PLUGIN_KINDS}


@dataclass(frozen=True)
class Installed:
    """Folders of the distributions, and the environment in which they are installed."""

    folders: Path
    environment: dict[str, str]

    def run(self, *command: str, name: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *command],
            cwd=self.folders / name,
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
        )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Copies of the examples and a new plug-in of each kind, installed beside each other into a folder."""
    folders, site = tmp_path_factory.mktemp("distributions"), tmp_path_factory.mktemp("site")
    for name in NAMES:
        shutil.copytree(EXAMPLES / name, folders / name, ignore=shutil.ignore_patterns("__pycache__", ".*"))
    for kind, name in NEW.items():
        write_plugin(name, kind, folders)
    options = ("--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check", "--quiet")
    sources = [str(folders / name) for name in (*NAMES, *NEW.values())]
    pip = [sys.executable, "-m", "pip", "install", *options, "--target", str(site), *sources]
    finished = subprocess.run(pip, capture_output=True, text=True, check=False)
    assert finished.returncode == 0, finished.stderr
    paths = [str(site), *(path for path in sys.path if path and Path(path).is_dir())]
    return Installed(folders=folders, environment={**os.environ, "PYTHONPATH": os.pathsep.join(paths)})


def test_there_is_an_example_of_each_kind() -> None:
    assert NAMES == ["group-delay-by-seat", "longest-silence", "point-log", "summary"]


@pytest.mark.parametrize("name", [*NAMES, *NEW.values()])
def test_its_own_tests_pass(name: str, installed: Installed) -> None:
    finished = installed.run("-m", "pytest", "-q", "-p", "no:cacheprovider", "-W", "error", name=name)
    assert finished.returncode == 0, finished.stdout + finished.stderr
    passed = re.search(r"(\d+) passed", finished.stdout)
    assert passed is not None
    assert int(passed[1]) >= 9
    assert "skipped" not in finished.stdout


@pytest.mark.parametrize("name", [*NAMES, *NEW.values()])
def test_it_is_found_and_keeps_the_rules_by_name(name: str, installed: Installed) -> None:
    finished = installed.run("-m", "fairhearing", "plugins", "--test", name, name=name)
    assert finished.returncode == 0, finished.stdout + finished.stderr
    assert re.search(rf" {name}: \d+ rules ran: \d+ kept, 0 waived, \d+ skipped, 0 broken", finished.stdout)


def test_all_stand_beside_each_other_and_nothing_is_broken(installed: Installed) -> None:
    finished = installed.run("-m", "fairhearing", "plugins", "--json", name=NAMES[0])
    found = json.loads(finished.stdout)
    names = {note["name"] for kind in ("importers", "analysers", "reporters") for note in found[kind]}
    assert {*NAMES, *NEW.values()} <= names
    assert found["broken"] == []


# Runs the command line with a count of the passes over each file of sound, and of the frames that come of it.
COUNTING = """
import json, sys
from collections import Counter
from pathlib import Path
from fairhearing import recordings

opened, read = Counter(), Counter()
blocks = recordings.blocks

def counted(location, path, format):
    opened[Path(location).name] += 1
    for block in blocks(location, path, format):
        read[Path(location).name] += len(block)
        yield block

recordings.blocks = counted
from fairhearing.cli import main
code = main(sys.argv[1:])
print(json.dumps({"code": code, "opened": opened, "read": read}))
"""


def test_a_summary_from_outside_is_made_in_the_one_read_that_makes_the_built_in_ones(
    installed: Installed, tmp_path: Path
) -> None:
    n_frames = 20_000
    folder = write_session(tmp_path / "session", ("organ_in", "organ_out"), n_frames=n_frames)
    store = tmp_path / "s.duckdb"
    run = partial(installed.run, name="longest-silence")
    imported = run("-m", "fairhearing", "import", str(folder), "--store", str(store))
    assert imported.returncode == 0, imported.stderr
    finished = run("-c", COUNTING, "analyse", "--store", str(store))
    assert finished.returncode == 0, finished.stderr
    counted = json.loads(finished.stdout.splitlines()[-1])
    assert counted == {
        "code": 0,
        "opened": {"organ_in.wav": 1, "organ_out.wav": 1},
        "read": {"organ_in.wav": n_frames, "organ_out.wav": n_frames},
    }
    with open_store(store, create=False) as opened:
        stored = read_session(opened, SESSION_ID)
        results = read_results(opened, SESSION_ID, stored.revision)
    quantities = {finding.quantity for one in results.values() for finding in one.result.findings}
    assert {"longest_silence", "recording_level"} <= quantities
    assert {row[1] for row in contents_of(store)["summaries"]} >= {"block-levels", "longest-silence", "low-spectrum"}
    again = run("-c", COUNTING, "analyse", "--store", str(store))
    assert json.loads(again.stdout.splitlines()[-1]) == {"code": 0, "opened": {}, "read": {}}


MANIFEST = """\
format = 1
[session]
id = "made-up"
question = "Does the filter delay the bass?"
[room]
id = "made-up"
[conditions.out]
reference = true
label = "Filter out"
[conditions.in]
label = "Filter in"
[conditions.in.chain]
design_corner_hz = 90.0
[seats.A]
[[measurements]]
files = "{condition}_{repeat}.json"
"""


def test_a_session_of_point_logs_runs_from_the_files_to_the_summary(installed: Installed, tmp_path: Path) -> None:
    """The sample is a first-order high-pass at 90 Hz; against nothing it delays the bass as its formula says."""
    with_filter = installed.folders / "point-log/src/fairhearing_point_log/samples/high_pass_turn.json"
    session = tmp_path / "session"
    session.mkdir()
    (session / "session.toml").write_text(MANIFEST, encoding="utf-8")
    text = with_filter.read_text(encoding="utf-8")
    without = re.sub(r'"turn": [\d.]+', '"turn": 0.0', re.sub(r'"decibel": [\d.]+', '"decibel": 80.0', text))
    for repeat in (1, 2, 3):
        device = f'"device": "made up, take {repeat}"'
        (session / f"in_{repeat}.json").write_text(text.replace('"device": "made up"', device), encoding="utf-8")
        (session / f"out_{repeat}.json").write_text(without.replace('"device": "made up"', device), encoding="utf-8")
    out = tmp_path / "out"
    finished = installed.run("-m", "fairhearing", "run", str(session), "--out", str(out), name=NAMES[0])
    assert finished.returncode == 0, finished.stdout + finished.stderr
    findings = json.loads((out / "findings.json").read_text(encoding="utf-8"))["findings"]
    (delay,) = (one for one in findings if one["quantity"] == "group_delay_change")
    # Phase atan(f_c/f) between the outermost measured frequencies from 60 to 200 Hz; 0.01 degrees of it are printed.
    low_hz, high_hz = 63.0957, 199.5262
    turn = math.atan(90 / low_hz) - math.atan(90 / high_hz)
    assert delay["value"] == pytest.approx(turn / (2 * math.pi * (high_hz - low_hz)) * 1000, abs=0.0005)
    (corner,) = (
        one
        for one in findings
        if one["quantity"] == "corner_frequency" and one["seat"] is None and one["channel"] is None
    )
    assert corner["value"] == pytest.approx(90.0, abs=0.05)
    summary = (out / "summary.md").read_text(encoding="utf-8")
    assert "| corner\\_frequency | in against out | 90 Hz |" in summary
    assert (out / "report.html").is_file()
