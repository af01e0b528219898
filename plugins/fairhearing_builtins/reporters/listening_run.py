"""How a listening was run and what became of its trials: two tables of the analysers that stand on the page itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from fairhearing.api import AnalyserResult, Table
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.answer import quoted

RUN_TABLE, FLOW_TABLE = "how-it-was-run", "trial-flow"
RUN_COLUMNS = ("what", "said")
COUNTS = frozenset({"planned", "played", "answered", "excluded", "scored"})
WHOLE = "all listeners"


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowRow:
    """What became of the trials of one role: a cell for each of `words.FLOW_COLUMNS`, and whether it is a count."""

    cells: tuple[tuple[Markup, bool], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ListeningRun:
    """What was said of the run; the trials over all listeners, and of each."""

    said: tuple[tuple[Markup, Markup], ...] = ()
    over_all: tuple[FlowRow, ...] = ()
    of_each: tuple[FlowRow, ...] = ()


def listening_run(results: Iterable[AnalyserResult]) -> ListeningRun:
    """The two tables of a session; empty where no analyser made them."""
    tables = {table.name: table for one in results for table in one.result.tables}
    run, flow = tables.get(RUN_TABLE), tables.get(FLOW_TABLE)
    rows = _rows(flow, tuple(words.FLOW_COLUMNS))
    place = tuple(words.FLOW_COLUMNS).index("listener")
    return ListeningRun(
        said=tuple((quoted(_text(what)), quoted(_text(said))) for what, said in _rows(run, RUN_COLUMNS)),
        over_all=tuple(_flow_row(row) for row in rows if row[place] == WHOLE),
        of_each=tuple(_flow_row(row) for row in rows if row[place] != WHOLE),
    )


def _rows(table: Table | None, columns: Sequence[str]) -> list[tuple[object, ...]]:
    """The rows of these columns, in this order; none where a table of that name has other columns."""
    if table is None or not set(columns) <= set(table.columns):
        return []
    return list(zip(*(table.columns[name] for name in columns), strict=False))


def _flow_row(row: Sequence[object]) -> FlowRow:
    named = zip(words.FLOW_COLUMNS, row, strict=True)
    return FlowRow(cells=tuple((_cell(name, value), name in COUNTS) for name, value in named))


def _cell(name: str, value: object) -> Markup:
    known = words.ROLES.get(str(value)) if name == "role" else None
    return Markup.escape(known) if known else quoted(_text(value))


def _text(value: object) -> str:
    return "" if value is None else str(value)
