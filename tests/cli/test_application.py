"""Checks that each command hands over what was typed, and prints and ends as the outcome says."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from fairhearing import run as running
from fairhearing.cli import main
from fairhearing.contracts import SessionContent
from fairhearing.errors import ImportProblem
from fairhearing.progress import Silent
from fairhearing.registry import BrokenPlugin, PluginList
from fairhearing.run import RunOutcome

OUTCOME = RunOutcome(exit_code=3, lines=("hall-1: gain", "out/report.html"), notes=("hall-2 is left out",))


def recorder(calls: list[tuple[object, ...]], answer: object) -> Callable[..., object]:
    def record(*arguments: object) -> object:
        calls.append(arguments)
        return answer

    return record


@pytest.mark.parametrize(
    ("line", "function", "expected"),
    [
        ("run a b --out d", "run_sessions", ([Path("a"), Path("b")], Path("d"), None, False)),
        (
            "run a --out d --store s --keep-going",
            "run_sessions",
            ([Path("a")], Path("d"), Path("s"), True),
        ),
        ("import a b --store s", "import_sessions", ([Path("a"), Path("b")], Path("s"), False)),
        ("import a --store s --keep-going", "import_sessions", ([Path("a")], Path("s"), True)),
        ("analyse --store s", "analyse_store", (Path("s"),)),
        ("report --store s --out d", "report_store", (Path("s"), Path("d"))),
    ],
)
def test_a_command_hands_over_what_was_typed_and_prints_the_outcome(
    line: str,
    function: str,
    expected: tuple[object, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    calls: list[tuple[object, ...]] = []
    monkeypatch.setattr(running, function, recorder(calls, OUTCOME))
    assert main(line.split()) == 3
    ((*handed, progress),) = calls
    assert tuple(handed) == expected
    assert isinstance(progress, Silent)
    printed = capsys.readouterr()
    assert printed.out == "hall-1: gain\nout/report.html\n"
    assert printed.err == "hall-2 is left out\n"


@pytest.mark.parametrize(
    ("line", "function"), [("run a --out d", "run_sessions"), ("analyse --store s", "analyse_store")]
)
def test_the_bar_is_closed_when_a_command_fails(line: str, function: str, monkeypatch: pytest.MonkeyPatch) -> None:
    closed: list[bool] = []

    class Watched(Silent):
        def close(self) -> None:
            closed.append(True)

    def fail(*_: object) -> None:
        raise ImportProblem("it fails", where="here", try_="again")

    monkeypatch.setattr("fairhearing.cli.application.progress_on_standard_error", Watched)
    monkeypatch.setattr(running, function, fail)
    assert main(line.split()) == 2
    assert closed == [True]


FAULT = ImportProblem("'x' is no number", where="a.csv, line 3", try_="correct it")


@pytest.mark.parametrize(("problems", "code"), [((), 0), ((FAULT,), 2)])
def test_check_ends_with_2_where_there_is_a_fault(
    problems: tuple[ImportProblem, ...], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    calls: list[tuple[object, ...]] = []
    checked = (SessionContent(folder=Path("hall-1"), problems=problems),)
    monkeypatch.setattr(running, "check_sessions", recorder(calls, checked))
    assert main(["check", "hall-1"]) == code
    assert capsys.readouterr().out.splitlines()[-1] == ("1 fault" if problems else "no fault")
    assert main(["check", "hall-1", "--json"]) == code
    assert len(json.loads(capsys.readouterr().out)["sessions"][0]["problems"]) == len(problems)
    assert calls == [(Path("hall-1"),)] * 2


def test_plugins_ends_with_0_even_where_one_is_broken(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = BrokenPlugin(entry_point="odd", distribution="odd-plug-in", reason="no hook", try_="update it")
    monkeypatch.setattr(running, "list_plugins", recorder([], PluginList(broken=(broken,))))
    assert main(["plugins"]) == 0
    assert "NOT USED: odd: no hook" in capsys.readouterr().out
    assert main(["plugins", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["broken"][0]["entry_point"] == "odd"
