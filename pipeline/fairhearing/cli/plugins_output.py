"""What `fairhearing plugins` prints: every plug-in, what it offers, and what does not load."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fairhearing.registry import BrokenPlugin, PluginList, PluginNote

HEAD = ("name", "version", "kind", "distribution", "offers")


def plugins_json(found: PluginList) -> dict[str, object]:
    """The list as one JSON object."""
    return {
        "format": 1,
        "importers": [_note_json(note) for note in found.importers],
        "analysers": [_note_json(note) for note in found.analysers],
        "reporters": [_note_json(note) for note in found.reporters],
        "broken": [_broken_json(broken) for broken in found.broken],
    }


def _note_json(note: PluginNote) -> dict[str, object]:
    return {
        "name": note.name,
        "version": note.version,
        "kind": note.kind,
        "distribution": note.distribution,
        "distribution_version": note.distribution_version,
        "offers": list(note.offers),
    }


def _broken_json(broken: BrokenPlugin) -> dict[str, object]:
    return {
        "entry_point": broken.entry_point,
        "distribution": broken.distribution,
        "reason": broken.reason,
        "try": broken.try_,
    }


def plugins_text(found: PluginList) -> str:
    """The list as an aligned table; the broken ones below it in three lines each."""
    notes = (*found.importers, *found.analysers, *found.reporters)
    rows = [HEAD, *(_row(note) for note in notes)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEAD) - 1)]
    lines = []
    for row in rows:
        cells = [f"{cell:<{width}}" for cell, width in zip(row[:-1], widths, strict=True)]
        lines.append("  ".join((*cells, row[-1])).rstrip())
    for broken in found.broken:
        lines += [
            "",
            f"NOT USED: {broken.entry_point}: {broken.reason}",
            f"  where: {broken.distribution or 'distribution not known'}",
            f"  try:   {broken.try_}",
        ]
    return "\n".join(lines)


def _row(note: PluginNote) -> tuple[str, ...]:
    distribution = f"{note.distribution} {note.distribution_version}".strip()
    return note.name, note.version, note.kind, distribution, ", ".join(note.offers)
