"""Broken plug-ins: each is listed with its distribution and reason, and nothing else suffers."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
from bad_input.console import Console
from plug_in_modules import (
    Installed,
    StubAnalyser,
    StubReporter,
    analyser_module,
    one_finding,
    reporter_module,
    written,
)

from fairhearing.api import Needs, hookimpl
from fairhearing.registry import load_plugins

NEAR = ModuleType("mistyped")


@hookimpl
def fairhearing_analyzers() -> list[object]:
    return []


NEAR.fairhearing_analyzers = fairhearing_analyzers


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> Installed:
    return Installed(monkeypatch)


def needing(name: str, quantity: str, needed: str) -> StubAnalyser:
    return StubAnalyser(one_finding, name=name, quantities=[quantity], needs=Needs(findings=frozenset({needed})))


def lacking_needs() -> StubAnalyser:
    analyser = StubAnalyser(one_finding)
    del analyser.needs
    return analyser


def with_list() -> StubAnalyser:
    analyser = StubAnalyser(one_finding)
    analyser.quantities = ["loops"]
    return analyser


def raising() -> ModuleType:
    module = ModuleType("raising")

    @hookimpl
    def fairhearing_analysers() -> list[object]:
        raise RuntimeError("no licence found\nsecond line")

    module.fairhearing_analysers = fairhearing_analysers
    return module


def leaving() -> ModuleType:
    module = ModuleType("leaving")

    @hookimpl
    def fairhearing_analysers() -> list[object]:
        sys.exit("this plug-in wants a display")

    module.fairhearing_analysers = fairhearing_analysers
    return module


BROKEN: dict[str, tuple[Callable[[], ModuleType | None], str]] = {
    "a module that is not there": (lambda: None, "ModuleNotFoundError: No module named 'made_up_0_odd'"),
    "an offer of nothing": (lambda: analyser_module(), "offers nothing"),
    "no hook at all": (lambda: ModuleType("empty"), "offers nothing"),
    "a mistyped hook": (lambda: NEAR, "'fairhearing_analyzers' is no hook; did you mean 'fairhearing_analysers'?"),
    "a hook that raises": (raising, "RuntimeError: no licence found"),
    "a hook that leaves the program": (leaving, "SystemExit: this plug-in wants a display"),
    "a class": (lambda: analyser_module(StubAnalyser), "StubAnalyser is a class"),
    "something else": (lambda: analyser_module("level"), "str is no analyser: it lacks name, version"),
    "an analyser without needs": (lambda: analyser_module(lacking_needs()), "is no analyser: it lacks needs"),
    "quantities as a list": (lambda: analyser_module(with_list()), "is ['loops'], not a frozenset"),
    "a reporter as an analyser": (
        lambda: analyser_module(StubReporter(written("a"))),
        "StubReporter is no analyser: it lacks quantities, needs, symmetries, analyse",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_plug_in_is_listed_with_its_distribution_and_reason(name: str, installed: Installed) -> None:
    make, reason = BROKEN[name]
    whole = load_plugins()
    assert whole.notes.broken == ()
    installed.add("odd", make())
    found = load_plugins()
    (broken,) = found.notes.broken
    assert (broken.entry_point, broken.distribution) == ("odd", "made-up-plug-ins")
    assert reason in broken.reason
    assert "\n" not in broken.reason
    assert "made-up-plug-ins" in broken.try_
    assert [a.name for a in found.analysers] == [a.name for a in whole.analysers]
    assert len(found.reporters) == len(whole.reporters) > 0
    assert len(found.importers) == len(whole.importers) > 0


def test_two_plug_ins_with_one_name_are_both_left_out_and_both_named(installed: Installed) -> None:
    installed.add("one", analyser_module(StubAnalyser(one_finding)), "first-makers")
    installed.add("two", analyser_module(StubAnalyser(one_finding)), "second-makers")
    found = load_plugins()
    assert [(b.entry_point, b.distribution) for b in found.notes.broken] == [
        ("one", "first-makers"),
        ("two", "second-makers"),
    ]
    assert {b.reason for b in found.notes.broken} == {
        "two analysers have the name 'stub' (from first-makers, second-makers)"
    }
    assert "stub" not in {analyser.name for analyser in found.analysers}


def test_an_analyser_and_a_reporter_may_share_a_name(installed: Installed) -> None:
    installed.add("one", analyser_module(StubAnalyser(one_finding)))
    installed.add("two", reporter_module(StubReporter(written("a.txt"), name="stub")))
    assert load_plugins().notes.broken == ()


def test_a_circle_of_needs_is_left_out_and_what_is_outside_of_it_runs(installed: Installed) -> None:
    installed.keep()
    circle = analyser_module(needing("hen", "egg_laid", "egg_hatched"), needing("egg", "egg_hatched", "egg_laid"))
    installed.add("farm", circle)
    installed.add("free", analyser_module(StubAnalyser(one_finding)))
    found = load_plugins()
    assert [analyser.name for analyser in found.analysers] == ["stub"]
    assert {b.reason for b in found.notes.broken} == {"the needs of egg, hen form a circle"}


def test_an_analyser_runs_after_those_whose_findings_it_reads(installed: Installed) -> None:
    installed.keep()
    chain = [needing("a", "x", "y"), needing("b", "y", "z"), needing("c", "z", "nothing")]
    installed.add("chain", analyser_module(*chain))
    assert [analyser.name for analyser in load_plugins().analysers] == ["c", "b", "a"]


def test_an_analyser_may_need_what_it_makes_itself(installed: Installed) -> None:
    installed.keep()
    installed.add("self", analyser_module(needing("a", "x", "x")))
    assert [analyser.name for analyser in load_plugins().analysers] == ["a"]


def test_the_list_of_plug_ins_shows_a_broken_one_and_ends_with_0(installed: Installed) -> None:
    installed.add("odd", None)
    said = Console()("plugins")
    assert said.code == 0
    assert "NOT USED: odd: ModuleNotFoundError" in said.out
    assert "response-table" in said.out


def test_a_broken_plug_in_on_the_disk_does_not_touch_the_help(tmp_path: Path) -> None:
    """A distribution as an installer leaves it, found through the path of a real process."""
    meta = tmp_path / "odd_plug_in-0.1.dist-info"
    meta.mkdir()
    (meta / "METADATA").write_text("Metadata-Version: 2.1\nName: odd-plug-in\nVersion: 0.1\n")
    (meta / "entry_points.txt").write_text("[fairhearing]\nodd = odd_plug_in\n")
    (tmp_path / "odd_plug_in.py").write_text("raise OSError('there is no sound card')\n")
    code = f"import sys; sys.path.append({str(tmp_path)!r}); from fairhearing.cli import main; sys.exit(main())"
    command = [sys.executable, "-c", code]
    shown = subprocess.run([*command, "--help"], capture_output=True, text=True, check=True)
    assert "Compare measured listening sessions" in shown.stdout
    assert shown.stderr == ""
    listed = subprocess.run([*command, "plugins"], capture_output=True, text=True, check=True)
    assert "NOT USED: odd: OSError: there is no sound card\n  where: odd-plug-in\n" in listed.stdout
