"""Tests of the page's part on how the listening was run, and of what became of its trials."""

from __future__ import annotations

from dataclasses import replace

from fairhearing.api import AnalyserResult, Result, Table
from fairhearing_builtins.reporters import words

from .build_report import HALL, hall, measured
from .read_page import Element, loose_digits, read
from .test_page import HOSTILE, page_of

RUN = Table(name="how-it-was-run", columns={"said": ["by a relay", HOSTILE], "what": ["switched", "check"]}, units={})
FLOW = Table(
    name="trial-flow",
    columns={
        "answered": [15, 16, 31], "excluded": [1, 0, 1], "listener": ["L1", "L2", "all listeners"],
        "planned": [16, 16, 32], "played": [16, 16, 32], "reasons": ["1 lorry", None, "1 lorry"],
        "role": ["scored"] * 3, "scored": [14, 16, 30],
    },
    units={},
)  # fmt: skip


def with_tables(*tables: Table) -> list[Element]:
    share = measured("answered_share", 31 / 32, None, "1")
    made = AnalyserResult(
        session=HALL, room="", analyser="trial-flow", version="1", result=Result(findings=(share,), tables=tables)
    )
    return read(page_of(replace(hall(), results=(*hall().results, made))))


def test_how_the_listening_was_run_and_what_became_of_the_trials_stand_on_the_page() -> None:
    elements = with_tables(RUN, FLOW)
    assert loose_digits(elements) == []
    cells = [one.text for one in elements if one.tag == "td"]
    place = cells.index("by a relay")
    assert cells[place + 1] == HOSTILE  # as text, below it
    flows = [[c.text for c in elements if c.tag == "td" and row in c.around] for row in elements if row.tag == "tr"]
    whole = ["To be scored", "all listeners", "32", "32", "31", "1", "30", "1 lorry"]
    assert whole in flows
    assert ["To be scored", "L2", "16", "16", "16", "0", "16", ""] in flows
    (row,) = [row for row in elements if row.tag == "tr" and "all listeners" in row.text and "lorry" in row.text]
    assert not any(one.tag == "details" for one in row.around)
    heads = [one.text for one in elements if one.tag == "th"]
    assert "Why excluded" in heads


def test_without_these_tables_or_with_others_of_their_name_there_are_no_such_parts() -> None:
    strange = replace(FLOW, columns={"else": [1]})
    for elements in (read(page_of(hall())), with_tables(strange, replace(RUN, columns={"what": ["x"]}))):
        assert not {words.RUN, words.FLOW, words.FLOW_OF_EACH} & {one.text for one in elements}
