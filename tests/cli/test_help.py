"""Checks of the commands' names, options, help texts, version, and of how faults end."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest

import fairhearing
from fairhearing.cli import entry, main
from fairhearing.errors import Faults, ImportProblem, PluginProblem

# The command line as people and scripts rely on it.
OPTIONS = {
    "run": {"--out", "--store", "--keep-going"},
    "import": {"--store", "--keep-going"},
    "analyse": {"--store"},
    "report": {"--store", "--out"},
    "verify": {"--report", "--store", "--json"},
    "check": {"--json"},
    "plugins": {"--json", "--test", "--write-golden", "--new", "--kind", "--into"},
    "plan": {
        "--question",
        "--method",
        "--scale",
        "--effect",
        "--alpha",
        "--power",
        "--margin",
        "--spread",
        "--listeners",
        "--listener",
        "--trials",
        "--practice",
        "--shams",
        "--control",
        "--minutes",
        "--switching-s",
        "--trial-s",
        "--programme",
        "--seat",
        "--condition",
        "--looks",
        "--spending",
        "--dry-run",
        "--json",
    },
    "unseal": {"--reason", "--look", "--json"},
    "corner": {
        "--capacitance-nf",
        "--design-corner-hz",
        "--setting-kohm",
        "--load-kohm",
        "--source-ohm",
        "--cable-pf",
        "--tap-kohm",
        "--tap-before-kohm",
        "--second-input-kohm",
        "--measuring-input-kohm",
        "--coupling-capacitor-uf",
        "--balanced",
        "--capacitor-tolerance-percent",
        "--input-tolerance-percent",
        "--json",
    },
}


def run_program(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fairhearing", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ, **environment})


def is_three_lines(text: str) -> bool:
    lines = text.splitlines()
    return len(lines) == 3 and lines[1].startswith("  where: ") and lines[2].startswith("  try:   ")


def test_help_names_every_command_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    listed = capsys.readouterr().out.partition("Commands:\n")[2]
    names = re.findall(r"(?m)^  (\S+)  ", listed)
    assert names == list(OPTIONS)
    assert "..." not in listed


@pytest.mark.parametrize("command", OPTIONS)
def test_every_command_has_its_options_and_says_what_it_does(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    text = capsys.readouterr().out
    assert text.startswith(f"Usage: fairhearing {command} ")
    assert set(re.findall(r"(?m)^  (--[a-z-]+)", text)) == OPTIONS[command] | {"--help"}
    sentence = text.split("\n\n")[1].strip()
    assert sentence.endswith(".")


def test_version_is_the_package_s(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"fairhearing {fairhearing.__version__}\n"


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("nonsense",),
        ("--nonsense",),
        ("run",),
        ("run", "a-session"),
        ("import", "a-session"),
        ("analyse",),
        ("analyse", "--store"),
        ("report", "--store", "s.duckdb"),
        ("check",),
        ("check", "one", "two"),
        ("plugins", "--jsno"),
        ("corner",),
        ("plan",),
        ("plan", "--question"),
        ("unseal",),
        ("unseal", "one", "two"),
    ],
    ids=" ".join,
)
def test_a_faulty_command_line_ends_with_2_and_three_lines(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(list(arguments)) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert is_three_lines(printed.err)
    assert "fairhearing" in printed.err


def test_a_misspelt_command_is_answered_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze"]) == 2
    assert "analyse" in capsys.readouterr().err.splitlines()[0]


def test_words_and_exit_code_reach_the_shell() -> None:
    finished = run_program("corner", "--load-kohm", "47")
    assert (finished.returncode, finished.stdout) == (2, "")
    assert is_three_lines(finished.stderr)


def raising(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(**_: object) -> None:
        raise error

    monkeypatch.setattr("fairhearing.cli.corner.read_question", fail)


def test_a_problem_is_printed_in_its_three_lines_with_its_exit_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    problem = ImportProblem("'x' is no number", where="a.csv, line 3", try_="correct it")
    raising(monkeypatch, problem)
    assert main(["corner", "--load-kohm", "47"]) == 2
    assert capsys.readouterr().err == "'x' is no number\n  where: a.csv, line 3\n  try:   correct it\n"


def test_every_one_of_several_faults_is_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    faults = [ImportProblem(f"fault {n}", where="a.csv", try_="correct it") for n in range(3)]
    raising(monkeypatch, Faults(faults))
    assert main(["corner", "--load-kohm", "47"]) == 2
    assert capsys.readouterr().err.count("  where: a.csv\n") == 3


def test_a_fault_of_a_plug_in_that_nobody_caught_ends_with_1(monkeypatch: pytest.MonkeyPatch) -> None:
    raising(monkeypatch, PluginProblem("it fails", where="a plug-in", try_="update it"))
    assert main(["corner", "--load-kohm", "47"]) == 1


def test_an_interruption_ends_with_130(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    raising(monkeypatch, KeyboardInterrupt())
    assert main(["corner", "--load-kohm", "47"]) == 130
    assert capsys.readouterr().err == "interrupted\n"


UNFORESEEN = """\
import sys
import fairhearing.cli.corner
from fairhearing.cli import main

def fail(**_):
    raise ZeroDivisionError("by nothing")

fairhearing.cli.corner.read_question = fail
sys.argv = ["fairhearing", "corner", "--load-kohm", "47"]
sys.exit(main())
"""


@pytest.mark.parametrize("trace", ["", "1"])
def test_what_nobody_foresaw_ends_with_1_in_one_line_and_shows_its_trace_on_request(trace: str) -> None:
    environment = {**os.environ, entry.TRACE_VARIABLE: trace}
    finished = subprocess.run(
        [sys.executable, "-c", UNFORESEEN], capture_output=True, text=True, check=False, env=environment
    )
    assert finished.returncode == 1
    assert finished.stdout == ""
    told = finished.stderr.splitlines()[-2:]
    assert told[0] == "internal error: ZeroDivisionError: by nothing"
    assert f"{entry.TRACE_VARIABLE}=1" in told[1]
    assert ("Traceback" in finished.stderr) == (trace == "1")
    assert trace == "1" or len(finished.stderr.splitlines()) == 2


def test_a_reader_that_goes_away_is_no_fault() -> None:
    """`fairhearing corner … | head -1`: the pipe is closed before anything is written."""
    program = (
        "import os, subprocess, sys\n"
        "reading, writing = os.pipe()\n"
        "os.close(reading)\n"
        "command = [sys.executable, '-m', 'fairhearing', 'corner', '--capacitance-nf', '10', '--load-kohm', '47']\n"
        "finished = subprocess.run(command, stdout=writing, stderr=subprocess.PIPE)\n"
        "sys.stderr.buffer.write(finished.stderr)\n"
        "sys.exit(finished.returncode)\n"
    )
    finished = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert (finished.returncode, finished.stderr) == (0, "")


def test_a_character_that_the_terminal_lacks_is_printed_as_its_escape() -> None:
    finished = run_program("corner", "--load-kohm", "4°7", PYTHONIOENCODING="ascii")
    assert finished.returncode == 2
    assert r"'4\xb07'" in finished.stderr
