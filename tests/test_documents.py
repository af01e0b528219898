"""README and DEVELOPERS are executed: their commands, code and tables agree with the program."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import sys
import types
from pathlib import Path
from typing import Any

import pytest
from generate_lists import COMMAND, quantities, rewritten

import fairhearing
import fairhearing_builtins
from fairhearing.conformance import analyser_cases, report, reporter_cases, summary_cases
from fairhearing.conformance.analyser import analyser_rules
from fairhearing.contracts import Inputs
from fairhearing.importing import read_session
from fairhearing.registry import load_plugins

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CODE = re.findall(r"^```python\n(.*?)^```", DEVELOPERS, flags=re.DOTALL | re.MULTILINE)


def module_names() -> list[str]:
    return sorted(
        module.name
        for package in (fairhearing, fairhearing_builtins)
        for module in pkgutil.walk_packages(package.__path__, package.__name__ + ".")
        if not module.name.endswith("__main__")
    )


def test_readme_gives_exactly_two_commands_for_a_fresh_machine() -> None:
    commands = re.findall(r"^ *(python3 -m venv .*)$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith(".venv/bin/fairhearing run sample_sessions --out demo-report")
    assert commands[1].endswith(".venv/bin/python -m pytest")


def test_the_job_stands_in_one_paragraph_at_the_top_of_readme() -> None:
    blocks = README.split("\n\n")
    assert blocks[0] == "# Fair Hearing"
    assert not blocks[1].startswith(("#", "-", "|", " "))


def test_every_file_that_readme_shows_is_there() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).is_file(), target
    for folder in re.findall(r"^\| `([a-z-]+)` \|", README, flags=re.MULTILINE):
        assert (ROOT / "sample_sessions" / folder / "session.toml").is_file(), folder


@pytest.fixture(scope="module")
def written() -> dict[str, Any]:
    """What the code blocks of DEVELOPERS.md define, each run after those before it, as in one module."""
    module = types.ModuleType("written")
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, module.__name__, module)  # a dataclass looks its module up
        for code in CODE:
            exec(compile(code, "DEVELOPERS.md", "exec"), module.__dict__)
    return module.__dict__


def test_no_plug_in_in_developers_is_longer_than_a_screen() -> None:
    assert len(CODE) == 4
    assert [len(code.splitlines()) for code in CODE if len(code.splitlines()) > 40] == []
    analyser = [line for line in CODE[0].splitlines() if line.strip()]
    assert len(analyser) <= 25


def test_the_plug_ins_in_developers_keep_the_rules_of_the_kit(written: dict[str, Any]) -> None:
    (analyser,) = written["fairhearing_analysers"]()
    reports = [
        report("analyser", analyser_cases(analyser)),
        report("summary", summary_cases(written["LongestSilence"](below=0.05))),
        report("reporter", reporter_cases(written["Headlines"]())),
    ]
    assert [list(one.lines()) for one in reports if not one.passed] == []
    assert {outcome.state for one in reports for outcome in one.outcomes} == {"kept", "skipped"}
    assert [type(case).__name__ for case in written["test_rules"].conformance_cases] == ["Case"] * len(analyser_rules())


def test_the_plug_in_in_developers_runs_on_a_sample_session(written: dict[str, Any]) -> None:
    """The loudest point is looked up anew, in the files: frequency and level are their first two columns."""
    (analyser,) = written["fairhearing_analysers"]()
    folder = ROOT / "sample_sessions" / "loudspeaker-moved"
    content = read_session(folder, load_plugins().importers)
    assert content.session is not None
    result = analyser.analyse(Inputs(session=content.session, takes=content.takes))
    assert {finding.quantity for finding in result.findings} <= analyser.quantities
    found = {finding.condition: finding.value for finding in result.findings}
    loudest: dict[str, tuple[float, float]] = {}
    for take in content.takes:
        rows = re.findall(r"^\s*([\d.]+)[,;\s]+(-?[\d.]+)", (folder / take.path).read_text(), flags=re.MULTILINE)
        points = [(float(level), float(hz)) for hz, level in rows if float(hz) <= 200]
        assert take.condition is not None
        loudest[take.condition] = max([loudest.get(take.condition, (-1e9, 0.0)), *points])
    assert found == {condition: hz for condition, (_, hz) in loudest.items()}


def test_the_lists_in_developers_are_as_the_code_has_them() -> None:
    assert rewritten(DEVELOPERS) == DEVELOPERS, f"DEVELOPERS.md is stale: run '{COMMAND}'"


@pytest.mark.parametrize(
    ("row", "stale"),
    [("`corner_frequency` | Hz", "`corner_frequency` | kHz"), ("self.below, self.rate_hz", "self.rate_hz, self.below")],
)
def test_a_list_that_is_stale_is_found_and_set_right(row: str, stale: str) -> None:
    assert DEVELOPERS.count(row) == 1
    assert rewritten(DEVELOPERS.replace(row, stale)) == rewritten(DEVELOPERS)


def test_a_list_that_is_missing_is_an_error() -> None:
    with pytest.raises(ValueError, match="not each of"):
        rewritten(DEVELOPERS.replace("<!-- generated: rules -->", ""))


def test_every_quantity_in_the_list_has_a_unit_that_was_seen() -> None:
    rows = re.findall(r"^\| `(\w+)` \| ([^|]*) \| ([a-z-]+) \|", quantities(), flags=re.MULTILINE)
    notes = [note for note in load_plugins().notes.analysers if note.distribution == "fairhearing"]
    assert {name for name, _, _ in rows} == {quantity for note in notes for quantity in note.offers}
    assert [name for name, unit, _ in rows if not unit.strip()] == []


@pytest.mark.parametrize("name", module_names())
def test_the_examples_in_docstrings_give_what_they_say(name: str) -> None:
    module = importlib.import_module(name)
    assert module.__doc__, f"{name} does not say what it owns"
    assert doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE).failed == 0


def test_public_numerics_have_examples_that_run() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    numerics = [n for n in module_names() if ".acoustics." in n or ".statistics." in n]
    examples = sum(len(test.examples) for n in numerics for test in finder.find(importlib.import_module(n)))
    assert examples >= 40
