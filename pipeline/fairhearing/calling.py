"""Calls a plug-in: whatever it raises becomes a PluginProblem that names it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from fairhearing.errors import PluginProblem

T = TypeVar("T")


def call_plugin(name: str, version: str, where: str, function: Callable[[], T]) -> T:
    """What `function` returns.

    Raises
    ------
    PluginProblem
        The plug-in raised anything at all.
    """
    try:
        return function()
    except (Exception, SystemExit) as error:  # a plug-in may fail in any way; it costs its own findings only
        told = " ".join(str(error).split()) or "no message"
        raise PluginProblem(
            f"plug-in {name} {version} failed: {type(error).__name__}: {told}",
            where=where,
            try_="update or remove the plug-in, or tell its author",
        ) from error
