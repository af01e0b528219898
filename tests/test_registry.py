"""Broken plug-ins: each is listed with its distribution and reason, and nothing else suffers."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import entry_points
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

from fairhearing.api import API_VERSION, Finding, Needs, Result, hookimpl
from fairhearing.api_version import version_parts
from fairhearing.registry import BrokenPlugin, check_quantities, load_plugins

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


def with_units(units: object) -> StubAnalyser:
    analyser = StubAnalyser(one_finding)
    analyser.own_units = units
    return analyser


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
    "units as a list": (lambda: analyser_module(with_units(["furlong"])), "own_units is ['furlong'], not a mapping"),
    "a unit that is not said what it is": (
        lambda: analyser_module(with_units({"furlong": ""})),
        "own_units has 'furlong'",
    ),
    "another meaning of a known unit": (
        lambda: analyser_module(with_units({"dB": "decibecquerel"})),
        "own_units gives 'dB' a meaning of its own; it is known as: decibel",
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


def test_an_analyser_and_a_reporter_may_share_a_name(installed: Installed) -> None:
    installed.add("one", analyser_module(StubAnalyser(one_finding)))
    installed.add("two", reporter_module(StubReporter(written("a.txt"), name="stub")))
    assert load_plugins().notes.broken == ()


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


# --- each kind, in full: whose it is, why, what to try; the rest goes on ---------------------------------------------

PYTHON = f"{sys.version_info.major}.{sys.version_info.minor}"
MAJOR, MINOR = version_parts(API_VERSION)
LATER, OTHER_MAJOR = f"{MAJOR}.{MINOR + 3}", f"{MAJOR + 1}.0"
Line = tuple[str, str, str, str]


class OnDisk:
    """Modules that are read from files, as those of installed distributions are."""

    def __init__(self, installed: Installed, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.installed = installed
        self._folder = folder
        monkeypatch.syspath_prepend(folder)

    def add(self, name: str, source: str) -> None:
        (self._folder / f"made_up_0_{name}.py").write_text(source, encoding="utf-8")
        self.installed.add(name, None, "odd-makers")


@pytest.fixture
def on_disk(installed: Installed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[OnDisk]:
    yield OnDisk(installed, tmp_path, monkeypatch)
    sys.modules.pop("made_up_0_odd", None)


def two_of_one_name(disk: OnDisk) -> list[Line]:
    disk.installed.add("one", analyser_module(StubAnalyser(one_finding)), "first-makers")
    disk.installed.add("two", analyser_module(StubAnalyser(one_finding)), "second-makers")
    said = (
        "two analysers have the name 'stub' (from first-makers, second-makers)",
        "remove one of them, or rename it",
    )
    return [("one", "first-makers", *said), ("two", "second-makers", *said)]


def the_name_of_another(disk: OnDisk) -> list[Line]:
    disk.installed.add("odd", analyser_module(StubAnalyser(one_finding, name="level")), "odd-makers")
    reason = "two analysers have the name 'level' (from fairhearing, odd-makers)"
    return [("odd", "odd-makers", reason, "rename it in odd-makers, which builds on fairhearing and gives way to it")]


def two_of_one_quantity(disk: OnDisk) -> list[Line]:
    disk.installed.add("one", analyser_module(StubAnalyser(one_finding, name="a")), "first-makers")
    disk.installed.add("two", analyser_module(StubAnalyser(one_finding, name="b")), "second-makers")
    reason = "analyser {!r} declares the quantity 'loops', which is also declared by {}"
    try_ = "remove one of them, or rename the quantity in it"
    return [
        ("one", "first-makers", reason.format("a", "b (second-makers)"), try_),
        ("two", "second-makers", reason.format("b", "a (first-makers)"), try_),
    ]


def the_quantity_of_another(disk: OnDisk) -> list[Line]:
    odd = StubAnalyser(one_finding, name="odd-corner", quantities=["loops", "corner_frequency"])
    disk.installed.add("odd", analyser_module(odd), "odd-makers")
    reason = (
        "analyser 'odd-corner' declares the quantity 'corner_frequency', which is also declared by filter (fairhearing)"
    )
    try_ = "rename the quantity in odd-makers, which builds on fairhearing and gives way to it"
    return [("odd", "odd-makers", reason, try_)]


def a_later_interface(disk: OnDisk) -> list[Line]:
    module = analyser_module(StubAnalyser(one_finding))
    module.NEEDS_API = LATER
    disk.installed.add("odd", module, "odd-makers")
    reason = f"needs plug-in interface {LATER}; this fairhearing offers {API_VERSION}"
    return [("odd", "odd-makers", reason, "update fairhearing, or install a release of odd-makers that fits it")]


def a_later_interface_of_which_it_imports(disk: OnDisk) -> list[Line]:
    source = f'from fairhearing.api import Telepathy\n\nNEEDS_API: str = "{OTHER_MAJOR}"\n'
    disk.add("odd", source)
    reason = f"needs plug-in interface {OTHER_MAJOR}; this fairhearing offers {API_VERSION}"
    return [("odd", "odd-makers", reason, "update fairhearing, or install a release of odd-makers that fits it")]


def an_earlier_major(disk: OnDisk) -> list[Line]:
    disk.add("odd", f"NEEDS_API = '{MAJOR - 1}.9'\n")
    reason = f"needs plug-in interface {MAJOR - 1}.9; this fairhearing offers {API_VERSION}"
    return [("odd", "odd-makers", reason, "update odd-makers, or install a release of fairhearing that fits it")]


def an_interface_that_is_none(disk: OnDisk) -> list[Line]:
    disk.add("odd", "NEEDS_API = 1.3\n")
    reason = f"NEEDS_API of made_up_0_odd: 1.3 is no version of the plug-in interface: it is written {API_VERSION!r}"
    return [("odd", "odd-makers", reason, f"update odd-makers, or write NEEDS_API = {API_VERSION!r} in it")]


def a_name_that_the_interface_lacks(disk: OnDisk) -> list[Line]:
    disk.add("odd", "from fairhearing.telepathy import think\n")
    reason = "ModuleNotFoundError: No module named 'fairhearing.telepathy'"
    return [("odd", "odd-makers", reason, "update fairhearing, or install a release of odd-makers that fits it")]


def a_module_that_is_missing(disk: OnDisk) -> list[Line]:
    disk.add("odd", "import filament.of_a_lamp\n")
    try_ = (
        f"re-install or remove odd-makers, for Python {PYTHON}; "
        "it lacks the module 'filament': install what holds it (python -m pip install …)"
    )
    return [("odd", "odd-makers", "ModuleNotFoundError: No module named 'filament'", try_)]


def its_own_module_missing(disk: OnDisk) -> list[Line]:
    disk.installed.add("odd", None, "odd-makers")
    reason = "ModuleNotFoundError: No module named 'made_up_0_odd'"
    return [("odd", "odd-makers", reason, f"re-install or remove odd-makers, for Python {PYTHON}")]


def a_circle_of_needs(disk: OnDisk) -> list[Line]:
    circle = analyser_module(needing("hen", "egg_laid", "egg_hatched"), needing("egg", "egg_hatched", "egg_laid"))
    disk.installed.add("farm", circle, "odd-makers")
    line = ("farm", "odd-makers", "the needs of egg, hen form a circle", "let one of them need less")
    return [line, line]


def nothing_offered(disk: OnDisk) -> list[Line]:
    disk.installed.add("odd", ModuleType("empty"), "odd-makers")
    reason = "ValueError: it offers nothing: no hook of it returned a plug-in"
    return [("odd", "odd-makers", reason, f"re-install or remove odd-makers, for Python {PYTHON}")]


@pytest.mark.parametrize(
    "kind",
    [
        two_of_one_name, the_name_of_another, two_of_one_quantity, the_quantity_of_another, a_later_interface,
        a_later_interface_of_which_it_imports, an_earlier_major, an_interface_that_is_none,
        a_name_that_the_interface_lacks, a_module_that_is_missing, its_own_module_missing, a_circle_of_needs,
        nothing_offered,
    ],
)  # fmt: skip
def test_it_is_named_with_its_distribution_its_reason_and_what_to_try_and_nothing_else_suffers(
    kind: Callable[[OnDisk], list[Line]], on_disk: OnDisk
) -> None:
    whole = load_plugins()
    lines = kind(on_disk)
    found = load_plugins()
    told = [BrokenPlugin(entry_point=n, distribution=d, reason=r, try_=t) for n, d, r, t in lines]
    assert sorted(found.notes.broken, key=lambda one: one.entry_point) == told
    assert found.notes.importers == whole.notes.importers != ()
    assert found.notes.analysers == whole.notes.analysers != ()
    assert found.notes.reporters == whole.notes.reporters != ()
    listed = Console()("plugins")
    assert (listed.code, listed.err) == (0, "")
    for name, distribution, reason, try_ in lines:
        assert f"\nNOT USED: {name}: {reason}\n  where: {distribution}\n  try:   {try_}\n" in f"{listed.out}\n"
    as_json = Console()("plugins", "--json")
    assert (as_json.code, as_json.err) == (0, "")
    shown = [
        (one["entry_point"], one["distribution"], one["reason"], one["try"])
        for one in json.loads(as_json.out)["broken"]
    ]
    assert sorted(shown) == sorted(lines)


def test_in_a_circle_through_a_built_in_the_other_is_not_used(on_disk: OnDisk) -> None:
    # What balance reads of ratings comes from nobody else here.
    names = [point.name for point in entry_points(group="fairhearing") if point.name != "grading"]
    on_disk.installed.keep(*names)
    whole = load_plugins()
    on_disk.installed.add("odd", analyser_module(needing("odd", "rating_difference", "balance")), "odd-makers")
    found = load_plugins()
    (broken,) = found.notes.broken
    assert (broken.entry_point, broken.distribution) == ("odd", "odd-makers")
    assert (broken.reason, broken.try_) == ("the needs of balance, odd form a circle", "let one of them need less")
    assert found.notes.analysers == whole.notes.analysers != ()


@pytest.mark.parametrize("needed", [API_VERSION, f"{MAJOR}.0"])
def test_a_plug_in_that_needs_what_is_offered_is_used(needed: str, installed: Installed) -> None:
    module = analyser_module(StubAnalyser(one_finding))
    module.NEEDS_API = needed
    installed.add("sound", module)
    found = load_plugins()
    assert found.notes.broken == ()
    assert "stub" in {analyser.name for analyser in found.analysers}


def test_an_undeclared_quantity_is_told_with_whose_it_is() -> None:
    notes = load_plugins().notes.analysers
    stub = StubAnalyser(one_finding)
    check_quantities(one_finding(None), stub, notes)
    unknown = [Finding(quantity=q, value=1.0, unit="1", method="counted") for q in ("level_change", "hoops", "loops")]
    with pytest.raises(ValueError) as told:  # noqa: PT011 (the whole message is compared)
        check_quantities(Result(findings=tuple(unknown)), stub, notes)
    assert str(told.value) == (
        "it returned hoops, level_change, which it does not declare; level_change is declared by change (fairhearing)"
    )


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
