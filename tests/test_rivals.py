"""Plug-ins that cannot stand beside each other: those give way that build on the others, else none is used."""

from __future__ import annotations

import pytest
from plug_in_modules import (
    Installed,
    StubAnalyser,
    StubReporter,
    analyser_module,
    one_finding,
    reporter_module,
    written,
)

from fairhearing.api import Needs
from fairhearing.registry import load_plugins


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> Installed:
    made = Installed(monkeypatch)
    made.keep()
    return made


def declaring(name: str, *quantities: str, needs: str = "") -> StubAnalyser:
    return StubAnalyser(one_finding, name=name, quantities=quantities, needs=Needs(findings=frozenset(needs.split())))


def used() -> list[str]:
    found = load_plugins()
    return [plugin.name for plugin in (*found.analysers, *found.reporters)]


def refused() -> list[str]:
    return sorted(broken.distribution for broken in load_plugins().notes.broken)


@pytest.mark.parametrize(
    "requires", ["makers", "Makers>=1", "makers [extra] ; python_version > '3'", "MAKERS", "makers~=1.0 (sound)"]
)
@pytest.mark.parametrize("name", ["same", "other"])
def test_what_builds_on_the_other_gives_way(requires: str, name: str, installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("same", "q")), "makers")
    installed.add("b", analyser_module(declaring(name, "q")), "others", ["numpy", requires])
    assert (used(), refused()) == (["same"], ["others"])


@pytest.mark.parametrize("requires", ["maker", "makers-too", "makers; extra == 'test'", "# makers"])
def test_where_neither_builds_on_the_other_neither_is_used(requires: str, installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q")), "makers")
    installed.add("b", analyser_module(declaring("b", "q")), "others", [requires])
    installed.add("c", analyser_module(declaring("c", "r")), "third")
    assert (used(), refused()) == (["c"], ["makers", "others"])


def test_two_that_build_on_each_other_are_both_refused(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q")), "makers", ["others"])
    installed.add("b", analyser_module(declaring("b", "q")), "others", ["makers"])
    assert (used(), refused()) == ([], ["makers", "others"])


def test_building_on_goes_through_what_stands_between(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q")), "makers")
    installed.add("b", analyser_module(declaring("b", "r")), "Between_Them", ["makers"])
    installed.add("c", analyser_module(declaring("c", "q")), "others", ["between.them>=2"])
    assert (used(), refused()) == (["a", "b"], ["others"])


def test_of_two_strangers_with_a_quantity_of_a_third_only_what_both_build_on_is_used(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q")), "makers")
    installed.add("b", analyser_module(declaring("b", "q")), "others", ["makers"])
    installed.add("c", analyser_module(declaring("c", "q")), "third", ["makers"])
    assert (used(), refused()) == (["a"], ["others", "third"])


def test_every_plug_in_builds_on_what_holds_the_interface_and_that_on_none(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q")), "fairhearing", ["others"])
    installed.add("b", analyser_module(declaring("b", "q")), "others")
    assert (used(), refused()) == ([], ["fairhearing", "others"])


def test_two_of_one_distribution_may_state_one_quantity(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q"), declaring("b", "q"), declaring("c", "r")), "makers")
    assert (used(), refused()) == (["a", "b", "c"], [])


def test_two_of_one_distribution_both_give_way_to_what_they_build_on(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("a", "q"), declaring("b", "q")), "makers", ["others"])
    installed.add("c", analyser_module(declaring("c", "q")), "others")
    assert (used(), refused()) == (["c"], ["makers", "makers"])


def test_what_is_refused_for_its_name_takes_no_quantity_away(installed: Installed) -> None:
    installed.add("a", analyser_module(declaring("same", "q")), "makers")
    installed.add("b", analyser_module(declaring("same", "q", "r")), "others", ["makers"])
    installed.add("c", analyser_module(declaring("c", "r")), "third")
    assert (used(), refused()) == (["c", "same"], ["others"])


def test_three_of_one_name_are_counted(installed: Installed) -> None:
    for maker in ("a", "b", "c"):
        installed.add(maker, reporter_module(StubReporter(written("a.txt"), name="same")), f"{maker}-makers")
    assert {(one.reason, one.try_) for one in load_plugins().notes.broken} == {
        (
            "3 reporters have the name 'same' (from a-makers, b-makers, c-makers)",
            "remove all but one of them, or rename it",
        )
    }


def test_what_hangs_on_a_circle_without_being_in_it_is_used(installed: Installed) -> None:
    farm = [declaring("egg", "laid", needs="hatched"), declaring("hen", "hatched", needs="laid")]
    installed.add("farm", analyser_module(*farm, declaring("fox", "eaten", needs="hatched"), declaring("sun", "rays")))
    found = load_plugins()
    assert [analyser.name for analyser in found.analysers] == ["fox", "sun"]
    assert {one.reason for one in found.notes.broken} == {"the needs of egg, hen form a circle"}


def test_two_circles_are_told_apart(installed: Installed) -> None:
    one = [declaring("a", "p", needs="q"), declaring("b", "q", needs="p")]
    two = [declaring("c", "r", needs="s p"), declaring("d", "s", needs="t"), declaring("e", "t", needs="r")]
    installed.add("x", analyser_module(*one, *two))
    assert {broken.reason for broken in load_plugins().notes.broken} == {
        "the needs of a, b form a circle",
        "the needs of c, d, e form a circle",
    }


def test_of_a_circle_what_builds_on_the_rest_goes_and_the_rest_runs_in_order(installed: Installed) -> None:
    installed.add("x", analyser_module(declaring("a", "p", needs="q"), declaring("b", "q", needs="r")), "makers")
    installed.add("y", analyser_module(declaring("c", "r", needs="p")), "others", ["makers"])
    assert (used(), refused()) == (["b", "a"], ["others"])
