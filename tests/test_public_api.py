"""The public surface is as recorded; and what would break a plug-in that is out there is caught, each kind of it."""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path
from types import ModuleType

import pytest
import record_public_api
from public_changes import Recording, changes, endings, name_of, record, recorded
from public_surface import HOOKS, LISTED, PACKAGES, lines_of_names, modules_in, own_names, surface

import fairhearing.api
import fairhearing.conformance
from fairhearing.api import API_VERSION

RECORD = recorded(record_public_api.RECORD.read_text(encoding="utf-8"))
DAY, BEFORE, AFTER = "2027-06-01", "2027-05-31", "2027-06-02"
NUMBERS = count()
Make = Callable[[str], Recording]
MODULE = """
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol
from fairhearing.deprecation import Moved, Until, deprecated, moved_attributes

Shape = Literal["round", "square"]

@dataclass(frozen=True, slots=True, kw_only=True)
class Bowl:
    depth_mm: float
    shape: Shape = "round"
    handles: tuple[str, ...] = ()

    @property
    def depth_m(self) -> float:
        return self.depth_mm / 1000

    def filled(self, with_: str, *, to: float = 1.0) -> "Bowl":
        return self

class Maker(Protocol):
    name: str
    def make(self, size: float) -> Bowl: ...

class Broken(ValueError):
    def __init__(self, what: str, *, where: str) -> None: ...

def depth_mm(volume: float, width: float | None = None, *, unit: str = "mm") -> float:
    return volume

def old_depth(volume: float) -> float:
    return volume

def stacked_mm(bowls: Sequence[Bowl | str]) -> float:
    return 0.0

__all__ = ["Bowl", "Maker", "Broken", "depth_mm", "old_depth", "stacked_mm"]
"""


@pytest.fixture
def made() -> Iterator[Make]:
    """What makes modules from their source; they are forgotten afterwards."""
    names: list[str] = []

    def make(source: str) -> Recording:
        module = ModuleType(f"crockery_{next(NUMBERS)}")
        names.append(module.__name__)
        sys.modules[module.__name__] = module
        exec("from __future__ import annotations\n" + source, vars(module))
        lines = lines_of_names(module, [name for name in own_names(module) if name in module.__all__])
        texts = tuple(line.replace(module.__name__, "crockery", 1) for line in lines)
        return Recording(version=API_VERSION, on=BEFORE, lines=texts)

    yield make
    for name in names:
        del sys.modules[name]


# --- the project's own ------------------------------------------------------------------------------------------------


def test_the_public_surface_is_as_recorded() -> None:
    now = Recording(version=API_VERSION, on=RECORD.on, lines=tuple(surface()))
    told = [line for change in changes(RECORD, now) for line in change.told()]
    assert told == [], f"run {record_public_api.COMMAND}"
    assert RECORD.text() == now.text(), f"run {record_public_api.COMMAND}"
    assert RECORD.text() == record_public_api.RECORD.read_text(encoding="utf-8")


def test_nothing_is_recorded_that_was_to_be_gone_by_then() -> None:
    """Held against the day of the recording, so that no test fails because a day went by."""
    assert [line for line, ending in endings(RECORD) if ending[1] <= RECORD.on] == []


def test_every_public_name_has_a_line() -> None:
    names = {name_of(line) for line in RECORD.lines}
    assert len(names) == len(RECORD.lines)
    assert {f"{LISTED[0]}.{name}" for name in fairhearing.api.__all__} <= names
    assert {f"{LISTED[1]}.{name}" for name in fairhearing.conformance.__all__} <= names
    assert {name for name in names if name.startswith(HOOKS)} == {
        f"{HOOKS}.fairhearing_{kind}" for kind in ("importers", "analysers", "reporters")
    }


def test_every_public_function_and_class_of_the_numerics_has_a_line() -> None:
    names = {name_of(line) for line in RECORD.lines}
    for module in (module for package in PACKAGES for module in modules_in(package)):
        tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
        defined = [node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)]
        for name in defined:
            assert (f"{module.__name__}.{name}" in names) == (not name.startswith("_")), name


# --- what is caught ---------------------------------------------------------------------------------------------------

BREAKING = {
    "a name removed": ("def depth_mm(", "def depth(", "crockery.depth_mm is gone"),
    "a name no longer listed": ('"Broken", ', "", "crockery.Broken is gone"),
    "a field renamed": ("    depth_mm: float\n", "    deep_mm: float\n", "crockery.Bowl.depth_mm is gone"),
    "a field of another type": ("depth_mm: float\n", "depth_mm: float | None\n", "its type was float"),
    "a field made required": ('shape: Shape = "round"', "shape: Shape", "it became required"),
    "another default": ('= "round"', '= "square"', "it was 'round' by default"),
    "a required field added": (
        "    depth_mm: float\n",
        "    depth_mm: float\n    width_mm: float\n",
        "a crockery.Bowl does",
    ),
    "a property removed": ("def depth_m(", "def deep_m(", "crockery.Bowl.depth_m is gone"),
    "a property of another type": ("depth_m(self) -> float", "depth_m(self) -> int", "it is another kind of thing"),
    "a class that can be changed": ("frozen=True", "frozen=False", "it is another kind of thing"),
    "fields by place": (", kw_only=True", "", "it is another kind of thing"),
    "a word removed": ('Literal["round", "square"]', 'Literal["round"]', "words.Shape['square'] is gone"),
    "another base": ("Broken(ValueError)", "Broken(KeyError)", "it is another kind of thing"),
    "a member of a protocol": (
        "    name: str\n",
        "    name: str\n    town: str\n",
        "what others offer as crockery.Maker",
    ),
    "a method of a protocol": (
        "class Maker(Protocol):\n",
        "class Maker(Protocol):\n    def mend(self) -> None: ...\n",
        "what others offer as",
    ),
    "a parameter made required": (
        "width: float | None = None",
        "width: float | None",
        "the parameter width became required",
    ),
    "a parameter made required by keyword": ('unit: str = "mm"', "unit: str", "the parameter unit became required"),
    "a required parameter added": ("*, unit", "*, colour: str, unit", "the parameter colour is required"),
    "a parameter removed": (', *, unit: str = "mm"', "", "the parameter unit is gone"),
    "a parameter renamed": ("depth_mm(volume:", "depth_mm(litres:", "the parameter volume is gone"),
    "a parameter by keyword only": (
        "width: float | None = None, *,",
        "*, width: float | None = None,",
        "the parameter width was positional",
    ),
    "a parameter by place only": (
        "(volume: float, width",
        "(volume: float, /, width",
        "the parameter volume was positional",
    ),
    "parameters in another order": (
        "volume: float, width: float | None = None",
        "width: float | None = None, volume: float = 1.0",
        "volume stood where",
    ),
    "one put between": ("(volume: float, ", "(volume: float, height: float = 1.0, ", "width stood where height stands"),
    "a parameter that takes less": ("width: float | None", "width: float", "the parameter width took None | float"),
    "a sequence that takes less": ("Sequence[Bowl | str]", "Sequence[Bowl]", "the parameter bowls took"),
    "another default of a parameter": ('unit: str = "mm"', 'unit: str = "m"', "the parameter unit was 'mm' by default"),
    "something else returned": ('unit: str = "mm") -> float', 'unit: str = "mm") -> int', "it returned float"),
    "another parameter of a method": ("filled(self, with_", "filled(self, liquid", "the parameter with_ is gone"),
    "another way to make one": (
        "where: str) -> None",
        "where: str, line: int) -> None",
        "the parameter line is required",
    ),
}

HARMLESS = {
    "an optional field added": (
        "handles: tuple[str, ...] = ()",
        "handles: tuple[str, ...] = ()\n    colour: str | None = None",
        "crockery.Bowl.colour: str | None = None",
    ),
    "a field made optional": (
        "    depth_mm: float\n",
        "    depth_mm: float = 1.0\n",
        "crockery.Bowl.depth_mm: float = 1.0",
    ),
    "a property added": (
        "    @property\n",
        "    @property\n    def round(self) -> bool: ...\n    @property\n",
        "crockery.Bowl.round: property of bool",
    ),
    "a method added": (
        "    def filled(",
        "    def mend(self) -> None: ...\n    def filled(",
        "crockery.Bowl.mend() -> None",
    ),
    "a word added": ('"square"]', '"square", "oval"]', "words.Shape['oval']"),
    "a function added": ('["Bowl"', '["new_depth", "Bowl"', "crockery.new_depth(volume: float) -> float"),
    "a protocol added": ('["Bowl"', '["Mender", "Bowl"', "crockery.Mender: protocol"),
    "an optional parameter added": (
        'unit: str = "mm"',
        'unit: str = "mm", wet: bool = False',
        "crockery.depth_mm(volume: float, width: float | None = None, *, unit: str = 'mm', wet: bool = False) -> float",
    ),
    "a parameter that takes more": (
        "width: float | None",
        "width: float | str | None",
        "crockery.depth_mm(volume: float, width: float | str | None = None, *, unit: str = 'mm') -> float",
    ),
    "a sequence that takes more": (
        "Sequence[Bowl | str]",
        "Sequence[Bowl | str | float]",
        "crockery.stacked_mm(bowls: Sequence[Bowl | str | float]) -> float",
    ),
    "a day announced": (
        "def old_depth",
        f'@deprecated("{DAY}", use="depth_mm")\ndef old_depth',
        f"crockery.old_depth(volume: float) -> float  [until {DAY}, then depth_mm]",
    ),
}
ADDED = (
    "\ndef new_depth(volume: float) -> float: ...\nclass Mender(Protocol):\n    glue: str\n"
    "new_depth.__module__ = Mender.__module__ = __name__\n"
)


def edited(made: Make, source: str, old: str, new: str) -> tuple[Recording, Recording]:
    """What is recorded of a module, and of the same with one place in it written anew."""
    assert old in source
    return made(source), made(source.replace(old, new, 1))


@pytest.mark.parametrize("kind", BREAKING)
def test_what_breaks_a_plug_in_is_told_and_not_recorded_within_a_major(kind: str, made: Make) -> None:
    *edit, why = BREAKING[kind]
    before, now = edited(made, MODULE, *edit)
    assert any(change.breaks and why in change.breaks for change in changes(before, now))
    refused = record(before, now.lines, API_VERSION, BEFORE)
    assert refused.text is None
    assert refused.said[-1] == f"raise the major of API_VERSION ({API_VERSION}), or keep what is there"
    assert any(line.startswith("  breaks plug-ins: ") and why in line for line in refused.said)
    raised = f"{int(API_VERSION.partition('.')[0]) + 1}.0"
    written = record(before, now.lines, raised, BEFORE)
    assert written.text is not None
    assert changes(recorded(written.text), now) == []
    assert recorded(written.text).version == raised


@pytest.mark.parametrize("kind", HARMLESS)
def test_what_is_added_is_told_as_not_recorded_yet_and_may_be(kind: str, made: Make) -> None:
    *edit, line = HARMLESS[kind]
    before, now = edited(made, MODULE + ADDED, *edit)
    found = changes(before, now)
    assert found, "it is told"
    assert [change.breaks for change in found] == [None] * len(found)
    written = record(before, now.lines, API_VERSION, BEFORE)
    assert f"+ {line}" in written.said
    assert written.said[-1] == f"raise the minor of API_VERSION ({API_VERSION}) if it was released since {BEFORE}"
    assert written.text is not None
    assert changes(recorded(written.text), now) == []


def test_where_nothing_changed_the_recording_stays_as_it_is_to_the_day(made: Make) -> None:
    before = made(MODULE)
    verdict = record(before, made(MODULE).lines, API_VERSION, AFTER)
    assert (verdict.text, verdict.said) == (before.text(), ("nothing changed",))


# --- days -------------------------------------------------------------------------------------------------------------

MARKED = MODULE.replace("def old_depth", f'@deprecated("{DAY}", use="depth_mm")\ndef old_depth')
WITHOUT = MODULE.replace('"old_depth", ', "")


def test_a_name_may_go_when_its_day_has_come_and_not_before(made: Make) -> None:
    before, without = made(MARKED), made(WITHOUT).lines
    early = record(before, without, API_VERSION, BEFORE)
    assert early.text is None
    assert f"  breaks plug-ins: crockery.old_depth was to work until {DAY}" in early.said
    for day in (DAY, AFTER):
        verdict = record(before, without, API_VERSION, day)
        assert verdict.text is not None
        assert "old_depth" not in verdict.text


def test_nothing_is_recorded_any_more_while_a_name_is_still_there_after_its_day(made: Make) -> None:
    marked = made(MARKED)
    assert record(marked, marked.lines, API_VERSION, BEFORE).text is not None
    late = record(marked, marked.lines, API_VERSION, DAY)
    assert (late.text, late.said) == (None, (f"crockery.old_depth was to work until {DAY}: take it out",))


def test_a_day_may_be_put_off_and_not_brought_forward(made: Make) -> None:
    before, day = replace(made(MARKED), on="2027-01-01"), "2027-02-01"
    later, earlier = (made(MARKED.replace(DAY, new)).lines for new in (AFTER, BEFORE))
    assert record(before, later, API_VERSION, day).text is not None
    refused = record(before, earlier, API_VERSION, day)
    assert refused.text is None
    assert f"  breaks plug-ins: it was to work until {DAY}, not only until {BEFORE}" in refused.said


def test_an_attribute_that_a_module_only_still_gives_has_a_line_with_its_day(made: Make) -> None:
    until = f'Until(date="{DAY}", use="depth_mm")'
    gone = MODULE.replace("def old_depth", "def _old_depth").replace(
        "__all__ =",
        f"__getattr__ = moved_attributes(__name__, {{'old_depth': Moved(value=_old_depth, until={until})}})\n__all__ =",
    )
    assert f"crockery.old_depth(volume: float) -> float  [until {DAY}, then depth_mm]" in made(gone).lines


@pytest.mark.parametrize(("version", "on"), [("0.9", AFTER), (API_VERSION, "2027-05-30")])
def test_nothing_is_recorded_as_earlier_than_what_is_there(version: str, on: str, made: Make) -> None:
    before = made(MODULE)
    verdict = record(before, before.lines, version, on)
    assert (verdict.text, verdict.said[-1]) == (None, f"a later one is recorded: {API_VERSION} on {BEFORE}")


# --- the command ------------------------------------------------------------------------------------------------------


def test_the_command_records_and_prints_the_difference_or_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "surface.txt"
    shown = ["a.b(x: int) -> int"]
    monkeypatch.setattr(record_public_api, "surface", lambda: shown)
    assert record_public_api.main(["--on", BEFORE], place) == 0
    shown.append("a.c: dataclass, frozen, keyword-only")
    assert record_public_api.main(["--on", DAY], place) == 0
    assert "+ a.c: dataclass, frozen, keyword-only\n" in capsys.readouterr().out
    written = place.read_text(encoding="utf-8")
    assert recorded(written) == Recording(version=API_VERSION, on=DAY, lines=tuple(shown))
    shown[0] = "a.b(x: int, y: int) -> int"
    assert record_public_api.main(["--on", AFTER], place) == 1
    assert capsys.readouterr().out.splitlines() == [
        "- a.b(x: int) -> int",
        "+ a.b(x: int, y: int) -> int",
        "  breaks plug-ins: the parameter y is required",
        f"raise the major of API_VERSION ({API_VERSION}), or keep what is there",
        "surface.txt: not recorded",
    ]
    assert place.read_text(encoding="utf-8") == written
