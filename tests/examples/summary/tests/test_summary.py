"""The reporter keeps the rules of the kit, and writes what it should."""

from __future__ import annotations

import doctest

import fairhearing_summary
import pytest
from fairhearing_summary import Summary, escaped

from fairhearing.api import AnalyserResult, Condition, Criteria, Finding, Refusal, ReportInputs, Result, Room, Session
from fairhearing.conformance import Case, check_reporter

EXPECTED = """\
# Summary

## mill

Is it a gain?

| quantity | of | value | interval | verdict |
|---|---|---|---|---|
| corner\\_frequency | in against out | 88.47 Hz | 84.13 to 92.86 | as-set |
| balance | in against out | – |  | undecided |

### Caveats

- corner\\_frequency: one mode was left out

### Not done

- the decay: no impulse response; measure one
"""


@check_reporter(Summary())
def test_it_keeps(rule: Case) -> None:
    rule()


def inputs() -> ReportInputs:
    session = Session(
        id="mill", date=None, question="Is it a gain?", room=Room(id="mill"),
        conditions=(Condition(id="out", label="Out", reference=True), Condition(id="in", label="In")),
        seats=(), measurements=(), scores=(), criteria=Criteria(), folder=None,
    )  # fmt: skip
    between = {"condition": "in", "reference": "out", "method": "made up"}
    corner = Finding(
        quantity="corner_frequency", value=88.4712, unit="Hz", low=84.131, high=92.8613, verdict="as-set",
        caveats=("one mode was left out",), **between,
    )  # fmt: skip
    at_seat = Finding(quantity="corner_frequency", value=87.0, unit="Hz", seat="A", **between)
    balance = Finding(quantity="balance", value=None, unit="", verdict="undecided", **between)
    refusal = Refusal(what="the decay", why="no impulse response", try_="measure one")
    result = Result(findings=(corner, at_seat, balance), refusals=(refusal,))
    found = AnalyserResult(session="mill", room="mill", analyser="filter", version="1", result=result)
    return ReportInputs(sessions=(session,), results=(found,))


def test_the_file_is_what_a_reader_expects() -> None:
    (file,) = Summary().render(inputs())
    assert (file.path, file.main) == ("summary.md", False)
    assert file.data.decode() == EXPECTED


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("<b>bold</b>", "&lt;b&gt;bold&lt;/b&gt;"),
        ("a | b\n\n# c", "a \\| b \\# c"),
        ("![x](y)", "\\!\\[x\\]\\(y\\)"),
    ],
)
def test_text_stays_text(text: str, expected: str) -> None:
    assert escaped(text) == expected


def test_the_examples_in_its_docstrings_run() -> None:
    assert doctest.testmod(fairhearing_summary).failed == 0
