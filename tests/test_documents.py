"""README and DEVELOPERS are executed: their commands, code and tables agree with the program."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import types
from pathlib import Path

import pytest

import fairhearing
import fairhearing_builtins
from fairhearing.contracts import Analyser, Inputs
from fairhearing.importing import read_session
from fairhearing.registry import load_plugins

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


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


def test_the_plugin_in_developers_runs_on_a_sample_session() -> None:
    code = re.search(r"```python\n(.*?)```", DEVELOPERS, flags=re.DOTALL)
    assert code is not None
    assert len(code[1].strip().splitlines()) <= 36
    module = types.ModuleType("example")
    exec(compile(code[1], "DEVELOPERS.md", "exec"), module.__dict__)
    (analyser,) = module.fairhearing_analysers()
    assert isinstance(analyser, Analyser)
    content = read_session(ROOT / "sample_sessions" / "loudspeaker-moved", load_plugins().importers)
    assert content.session is not None
    result = analyser.analyse(Inputs(session=content.session, takes=content.takes))
    assert {finding.seat for finding in result.findings} == {seat.id for seat in content.session.seats}
    assert {finding.quantity for finding in result.findings} <= analyser.quantities


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
