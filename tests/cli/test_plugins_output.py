"""Checks of what `fairhearing plugins` prints."""

from __future__ import annotations

import json

from fairhearing.cli.plugins_output import plugins_json, plugins_text
from fairhearing.registry import BrokenPlugin, PluginList, PluginNote


def note(name: str, kind: str, offers: tuple[str, ...]) -> PluginNote:
    return PluginNote(
        name=name, version="1.2", kind=kind, distribution="some-plug-ins", distribution_version="0.3", offers=offers
    )


FOUND = PluginList(
    importers=(note("table", "importer", ("response",)),),
    analysers=(note("long-name", "analyser", ("corner_frequency", "filter_order")),),
    reporters=(note("page", "reporter", ()),),
    broken=(BrokenPlugin(entry_point="odd", distribution="odd-plug-in", reason="no hook", try_="update it"),),
)

TEXT = """\
name       version  kind      distribution       offers
table      1.2      importer  some-plug-ins 0.3  response
long-name  1.2      analyser  some-plug-ins 0.3  corner_frequency, filter_order
page       1.2      reporter  some-plug-ins 0.3

NOT USED: odd: no hook
  where: odd-plug-in
  try:   update it"""


def test_plug_ins_stand_in_an_aligned_table_and_the_broken_below_with_their_reason() -> None:
    assert plugins_text(FOUND) == TEXT


def test_the_json_holds_every_plug_in_by_kind_and_the_broken() -> None:
    found = json.loads(json.dumps(plugins_json(FOUND), allow_nan=False))
    assert found["format"] == 1
    assert [len(found[kind]) for kind in ("importers", "analysers", "reporters", "broken")] == [1, 1, 1, 1]
    assert found["analysers"][0] == {
        "name": "long-name",
        "version": "1.2",
        "kind": "analyser",
        "distribution": "some-plug-ins",
        "distribution_version": "0.3",
        "offers": ["corner_frequency", "filter_order"],
    }
    assert found["broken"] == [
        {"entry_point": "odd", "distribution": "odd-plug-in", "reason": "no hook", "try": "update it"}
    ]


def test_no_plug_in_at_all_is_an_empty_table() -> None:
    assert plugins_text(PluginList()) == "name  version  kind  distribution  offers"
