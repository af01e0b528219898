"""Checks of what trials are for: a sheet's role from session.toml through the store to the analysers that read it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from plug_in_modules import StubAnalyser

from fairhearing.analysing import needed, refusal, unread_lines
from fairhearing.contracts import Inputs, Needs
from fairhearing.importing import read_session
from fairhearing.registry import load_plugins
from fairhearing.result import Result
from fairhearing.session import MeasurementFile
from fairhearing.store.connection import open_store
from fairhearing.store.read import read_session as read_stored
from fairhearing.store.write import write_session

MANIFEST = """\
format = 1
[session]
id = "s"
[room]
id = "r"
[conditions.out]
reference = true
[conditions.in]
[[scores]]
files = "scored.csv"
method = "abx"
[[scores]]
files = "control.csv"
method = "abx"
role = "control"
[[scores]]
files = "sham.csv"
method = "same-different"
treatment = "in"
role = "sham"
"""
ABX = "listener,trial,x,answer\na,1,in,in\na,2,out,in\n"
SHAM = "listener,trial,first,second,answer\na,1,out,out,same\n"
EVERY_ROLE = frozenset({"scored", "control", "sham"})


def nothing(inputs: Inputs) -> Result:
    return Result()


def reader(*methods: str, roles: frozenset[str] | None = None) -> StubAnalyser:
    said = {} if roles is None else {"roles": roles}
    return StubAnalyser(nothing, needs=Needs(methods=frozenset(methods), **said))  # type: ignore[arg-type]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    files = {"session.toml": MANIFEST, "scored.csv": ABX, "control.csv": ABX, "sham.csv": SHAM}
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def stored(folder: Path, tmp_path: Path):
    content = read_session(folder, load_plugins().importers)
    assert content.problems == ()
    assert [sheet.role for sheet in content.sheets] == ["scored", "control", "sham"]
    with open_store(tmp_path / "store.duckdb", create=True) as store:
        write_session(store, content)
        yield read_stored(store, "s")


def roles(inputs: Inputs) -> list[str]:
    return [sheet.role for sheet in inputs.sheets]


def test_the_store_gives_each_sheet_its_role_back(stored) -> None:
    assert roles(stored.inputs) == ["scored", "control", "sham"]


def test_an_analyser_gets_scored_trials_alone_unless_it_asks_for_others(stored) -> None:
    both = ("abx", "same-different")
    assert roles(needed(stored.inputs, reader(*both), ())) == ["scored"]
    assert roles(needed(stored.inputs, reader(*both, roles=frozenset({"control", "sham"})), ())) == ["control", "sham"]
    assert roles(needed(stored.inputs, reader("abx", roles=EVERY_ROLE), ())) == ["scored", "control"]


def test_a_need_is_not_met_by_trials_of_another_role(stored) -> None:
    for analyser, why in (
        (reader("same-different"), "the session has no score sheets of method same-different"),
        (
            reader("same-different", roles=frozenset({"control"})),
            "the session has no score sheets of method same-different with the role control",
        ),
    ):
        refused = refusal(needed(stored.inputs, analyser, ()), analyser)
        assert refused is not None
        assert refused.why == why


RECORDING = MeasurementFile(path="take.wav", line=1, entry=0, kind="recording", condition="in")


@pytest.mark.parametrize(
    ("measurements", "lacking"),
    [
        ((), "measurements"),
        ((replace(RECORDING, kind="noise"),), "measurements of kind recording"),
        ((RECORDING,), "measurements of kind recording at the point programme"),
    ],
)
def test_a_need_says_no_more_than_is_lacking(stored, measurements: tuple[MeasurementFile, ...], lacking: str) -> None:
    analyser = StubAnalyser(nothing, needs=Needs(kinds=frozenset({"recording"}), points=frozenset({"programme"})))
    inputs = replace(stored.inputs, session=replace(stored.inputs.session, measurements=measurements))
    refused = refusal(needed(inputs, analyser, ()), analyser)
    assert refused is not None
    assert refused.why == f"the session has no {lacking}"


def test_a_session_without_any_sheet_is_not_told_which_are_lacking(stored) -> None:
    inputs = replace(stored.inputs, sheets=(), session=replace(stored.inputs.session, scores=()))
    refused = refusal(needed(inputs, reader("abx"), ()), reader("abx"))
    assert refused is not None
    assert refused.why == "the session has no score sheets"


def test_a_sheet_whose_role_nobody_reads_is_told(stored) -> None:
    lines = unread_lines(stored, [reader("abx", "same-different")])
    assert [line.split(" (")[0] for line in lines] == ["s: control.csv", "s: sham.csv"]
    assert unread_lines(stored, [reader("abx", "same-different", roles=EVERY_ROLE)]) == ()
