"""The three hooks of a plug-in module; each only registers, by returning a list."""

from __future__ import annotations

from collections.abc import Sequence

import pluggy

from fairhearing.contracts import Analyser, Importer, Reporter

PROJECT = "fairhearing"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def fairhearing_importers() -> Sequence[Importer]:  # type: ignore[empty-body]
    """The importers that this module offers."""


@hookspec
def fairhearing_analysers() -> Sequence[Analyser]:  # type: ignore[empty-body]
    """The analysers that this module offers."""


@hookspec
def fairhearing_reporters() -> Sequence[Reporter]:  # type: ignore[empty-body]
    """The reporters that this module offers."""
