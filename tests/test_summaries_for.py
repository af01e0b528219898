"""Checks of summaries that an analyser asks for by what session.toml says."""

from __future__ import annotations

from pathlib import Path

import pytest
from recorded_session import SESSION_ID, Counting, Crossings, plugins, write_session

from fairhearing import run
from fairhearing.api import Finding, Inputs, Needs, Result
from fairhearing.audio import summary_key
from fairhearing.conformance import check_analyser
from fairhearing.conformance.worlds import worlds
from fairhearing.contracts import declared_summaries
from fairhearing.progress import Silent
from fairhearing.store import open_store
from fairhearing.store.read import read_results, read_session


class ByRoom:
    """Counts crossings of a level that hangs on the name of the session."""

    name = "by-room"
    version = "1"
    quantities = frozenset({"crossing_count"})
    needs = Needs(kinds=frozenset({"recording"}))
    symmetries = ()

    def summaries_for(self, session):
        return (Crossings(level=0.001 * len(session.room.id)),)

    def analyse(self, inputs: Inputs) -> Result:
        (summary,) = self.summaries_for(inputs.session)
        counts = [float(one.summary(summary)["count"].sum()) for one in inputs.recordings]
        found = Finding(
            quantity="crossing_count", value=sum(counts), unit="1", method="upward crossings", n=len(counts)
        )
        return Result(findings=(found,))


class Fails(ByRoom):
    name = "fails"

    def summaries_for(self, session):
        raise ZeroDivisionError("no such room")


@pytest.fixture
def analysed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Runs analysers over a session in a store; the results by the analyser's name."""
    write_session(tmp_path / "chapel")
    store = tmp_path / "s.duckdb"

    def work(*analysers):
        monkeypatch.setattr(run, "load_plugins", lambda: plugins(*analysers))
        if not store.exists():
            run.import_sessions([tmp_path / "chapel"], store, False, Silent())
        run.analyse_store(store, Silent())
        with open_store(store, create=False) as opened:
            stored = read_session(opened, SESSION_ID)
            found = read_results(opened, SESSION_ID, stored.revision)
        return {result.analyser: result for result in found.values()}

    return work


def test_what_is_asked_for_is_made_in_the_pass_and_handed_over(analysed):
    (of_session,) = analysed(ByRoom())["by-room"].result.findings
    level = Crossings(level=0.001 * len("chapel"))
    plain = analysed(Counting(level))["counting"].result.findings
    assert (of_session.value, of_session.n) == (sum(f.value or 0.0 for f in plain), 2)


def test_with_and_without_needs_all_are_declared():
    (session,) = {world.session.id: world.session for world in worlds()[:1]}.values()
    (asked,) = declared_summaries(ByRoom(), session)
    assert summary_key(asked) == summary_key(Crossings(level=0.001 * len(session.room.id)))
    assert declared_summaries(Counting(Crossings()), session) == (Crossings(),)


def test_an_analyser_that_fails_at_it_costs_its_own_findings_and_is_named(analysed):
    found = analysed(Fails(), ByRoom())
    assert found["fails"].result.findings == ()
    assert "no such room" in (found["fails"].problem or "")
    assert len(found["by-room"].result.findings) == 1


@check_analyser(ByRoom(), waive={"symmetries-declared": "it is a stub"})
def test_the_kit_makes_them_for_its_own_worlds(rule):
    rule()
