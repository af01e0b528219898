"""Plug-in modules made by a test, and entry points that lead to them beside the installed ones."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType, SimpleNamespace

import pytest

from fairhearing.api import Finding, Inputs, Needs, OutputFile, ReportInputs, Result, hookimpl


class StubAnalyser:
    """Does what `work` does, and counts how often."""

    version = "0.1"
    symmetries = ()

    def __init__(
        self,
        work: Callable[[Inputs], object],
        *,
        name: str = "stub",
        quantities: Iterable[str] = ("loops",),
        needs: Needs | None = None,
    ) -> None:
        self.name = name
        self.quantities = frozenset(quantities)
        self.needs = needs or Needs()
        self.n_calls = 0
        self._work = work

    def analyse(self, inputs: Inputs) -> object:
        self.n_calls += 1
        return self._work(inputs)


class StubReporter:
    """Renders what `work` gives."""

    version = "0.1"

    def __init__(self, work: Callable[[ReportInputs], Iterable[object]], *, name: str = "stub-reporter") -> None:
        self.name = name
        self._work = work

    def render(self, inputs: ReportInputs) -> Iterable[object]:
        return self._work(inputs)


def one_finding(inputs: Inputs) -> Result:
    """A result with one finding."""
    return Result(findings=(Finding(quantity="loops", value=1.0, unit="1", method="counted"),))


def written(*paths: str) -> Callable[[ReportInputs], list[OutputFile]]:
    """A reporter's work: these files, the first of them the main one."""
    return lambda _: [OutputFile(path=path, data=path.encode(), main=n == 0) for n, path in enumerate(paths)]


def analyser_module(*analysers: object) -> ModuleType:
    """A module whose hook offers these analysers."""
    module = ModuleType("made_up_plug_in")

    @hookimpl
    def fairhearing_analysers() -> list[object]:
        return list(analysers)

    module.fairhearing_analysers = fairhearing_analysers
    return module


def reporter_module(*reporters: object) -> ModuleType:
    """A module whose hook offers these reporters."""
    module = ModuleType("made_up_plug_in")

    @hookimpl
    def fairhearing_reporters() -> list[object]:
        return list(reporters)

    module.fairhearing_reporters = fairhearing_reporters
    return module


class Installed:
    """Entry points as if distributions had been installed; `builtin` ones are kept if their name is in `keep`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._monkeypatch = monkeypatch
        self._added: list[EntryPoint] = []
        self._keep: Callable[[str], bool] = lambda _: True
        monkeypatch.setattr("fairhearing.registry.entry_points", self._entry_points)

    def keep(self, *names: str) -> None:
        """Of the installed entry points, only those with these names."""
        self._keep = names.__contains__

    def add(
        self,
        name: str,
        module: ModuleType | None,
        distribution: str = "made-up-plug-ins",
        requires: Iterable[str] = (),
    ) -> None:
        """One more entry point; with no module, one that leads nowhere. `requires`: as a distribution states it."""
        path = f"made_up_{len(self._added)}_{name}".replace("-", "_")
        if module is not None:
            self._monkeypatch.setitem(sys.modules, path, module)
        entry_point = EntryPoint(name=name, value=path, group="fairhearing")
        # An entry point learns of its distribution only when a distribution is read from disk.
        vars(entry_point).update(dist=SimpleNamespace(name=distribution, version="0.1", requires=[*requires]))
        self._added.append(entry_point)

    def _entry_points(self, group: str) -> list[EntryPoint]:
        return [e for e in entry_points(group=group) if self._keep(e.name)] + self._added
