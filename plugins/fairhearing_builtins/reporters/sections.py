"""What one session's part of the page shows, ready for the template: no prose of its own, no HTML around it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from fairhearing.api import Condition, ReportInputs, Session, SourceNote
from fairhearing_builtins.reporters import numbers, tables, words
from fairhearing_builtins.reporters.answer import Verdict, has_listening, quoted, verdict_on, without_listening_words
from fairhearing_builtins.reporters.figures import Figure, Undrawn, figures
from fairhearing_builtins.reporters.identity import Stated
from fairhearing_builtins.reporters.listening_run import ListeningRun, listening_run
from fairhearing_builtins.reporters.names import UniqueNames
from fairhearing_builtins.reporters.reasons import Doubts, Reasons, quantity_text, reasons


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """All that the page shows of one session; `session` None: findings over many sessions."""

    anchor: str
    session: Session | None
    listening: bool
    verdicts: tuple[Verdict, ...]
    confidences: Markup | None
    reasons: Reasons
    figures: tuple[Figure, ...]
    headlines: tuple[tables.TableRow, ...]
    parts: tuple[tables.TableRow, ...]
    bands: tuple[tables.BandTable, ...]
    methods: tuple[tuple[Markup, tuple[Markup, ...]], ...]
    criteria: tuple[tuple[str, str], ...]
    chains: tuple[tuple[Condition, tuple[tuple[str, str], ...]], ...]
    sources: tuple[SourceNote, ...]
    table_paths: tuple[str, ...]
    analysers: tuple[tuple[str, str], ...]
    run: ListeningRun

    @property
    def band_groups(self) -> tuple[tuple[Markup, tuple[tables.BandTable, ...]], ...]:
        """The tables by band, those of one quantity together."""
        groups: dict[Markup, list[tables.BandTable]] = {}
        for table in self.bands:
            groups.setdefault(table.quantity, []).append(table)
        return tuple((quantity, tuple(of_quantity)) for quantity, of_quantity in groups.items())

    @property
    def has_findings(self) -> bool:
        """Whether any finding stands for this session."""
        return bool(self.headlines or self.parts or self.bands)


def of_session(lines: Sequence[str], session: str, alone: bool) -> tuple[str, ...]:
    """The lines that belong to a session: all if it is alone, else those that name it."""
    return tuple(line for line in lines if alone or names_session(line, session))


def names_session(line: str, session: str) -> bool:
    """Whether a line holds a session's id as a word of its own.

    >>> names_session("north-hall: scores/a.csv", "north-hall"), names_session("north-hall: scores/a.csv", "hall")
    (True, False)
    """
    return re.search(rf"(?<![\w-]){re.escape(session)}(?![\w-])", line) is not None


def section(
    inputs: ReportInputs,
    session: Session | None,
    stated: Sequence[Stated],
    table_paths: dict[str, tuple[str, ...]],
    names: UniqueNames,
) -> Section:
    """The part of the page on one session.

    Parameters
    ----------
    inputs : ReportInputs
    session : Session or None
        None for findings over many sessions.
    stated : sequence of Stated
        All findings of the report.
    table_paths : dict
        Session id -> paths of its tables in the report folder.
    names : UniqueNames
        Gives each chart a name of its own; one for the whole report.
    """
    identifier = session.id if session else None
    own = tuple(one for one in stated if one.session == identifier)
    results = tuple(
        sorted((one for one in inputs.results if (one.session or None) == identifier), key=lambda one: one.analyser)
    )
    listening = has_listening(own)
    drawn, undrawn = figures(results, own, _labels(session), names, listening)
    verdicts = tuple(verdict_on(own, session, condition, listening) for condition in _treatments(session, own))
    used = [one for verdict in verdicts for one in verdict.used]
    alone = len(inputs.sessions) == 1
    lists = reasons(
        own,
        used,
        session,
        results,
        of_session(inputs.unread, session.id, alone) if session else (),
        of_session(inputs.problems, session.id, alone) if session else (),
        listening,
    )
    return Section(
        anchor=f"session-{names.name((identifier or 'over-rooms',))}",
        session=session,
        listening=listening,
        verdicts=verdicts,
        confidences=_confidences(used),
        reasons=_with_undrawn(lists, undrawn),
        figures=drawn,
        headlines=tables.headline_rows(own, session, listening),
        parts=tables.part_rows(own, session, listening),
        bands=tables.band_tables(own, session),
        methods=_methods(own, listening),
        criteria=_criteria(session, listening) if session else (),
        chains=tuple((one, state_rows(one, session)) for one in session.conditions) if session else (),
        sources=tuple(one for one in inputs.sources if one.session == identifier),
        table_paths=table_paths.get(identifier or "", ()),
        run=listening_run(results),
        analysers=tuple(dict.fromkeys((one.analyser, one.version) for one in results)),
    )


def _labels(session: Session | None) -> dict[str, str]:
    return {one.id: one.label for one in session.conditions if one.label} if session else {}


def _treatments(session: Session | None, own: Sequence[Stated]) -> tuple[str | None, ...]:
    if session is not None:
        return tuple(one.id for one in session.treatments)
    return (None,) if any(one.finding.quantity == "balance" for one in own) else ()


def _confidences(used: Sequence[Stated]) -> Markup | None:
    by_level: dict[float, Stated] = {}
    for one in used:
        if one.finding.confidence is not None and one.finding.low is not None:
            by_level.setdefault(one.finding.confidence, one)
    shown = [numbers.element(by_level[level], "confidence") for level in sorted(by_level)]
    named = [Markup("{} %").format(one) for one in shown if one is not None]
    return Markup(words.AND).join(named) if named else None


def _with_undrawn(lists: Reasons, undrawn: Sequence[Undrawn]) -> Reasons:
    if not undrawn:
        return lists
    lines = tuple(
        Markup(words.UNDRAWN).format(name=quoted(one.name), analyser=quoted(one.analyser), why=quoted(one.why))
        for one in undrawn
    )
    return dataclasses.replace(lists, doubts=(*lists.doubts, Doubts(title=words.NOT_DRAWN_TITLE, lines=lines)))


def _methods(own: Sequence[Stated], listening: bool) -> tuple[tuple[Markup, tuple[Markup, ...]], ...]:
    by_quantity: dict[Markup, dict[str, None]] = {}
    for one in own:
        text = without_listening_words(one.finding.method, listening)
        by_quantity.setdefault(quantity_text(one), {})[text] = None
    return tuple((quantity, tuple(map(quoted, texts))) for quantity, texts in by_quantity.items())


def _cell(value: object) -> str:
    if value is None:
        return words.NOT_SAID
    if isinstance(value, bool):
        return words.YES_NO[value]
    if isinstance(value, tuple):
        return ", ".join(map(_cell, value)) or words.NULL
    return f"{value:g}".replace("-", numbers.MINUS) if isinstance(value, float) else str(value)


def _criteria(session: Session, listening: bool) -> tuple[tuple[str, str], ...]:
    rows: list[tuple[str, str]] = []
    for field in dataclasses.fields(session.criteria):
        value: object = getattr(session.criteria, field.name)
        if field.name == "benefit" and not listening:
            kept = [one for one in session.criteria.benefit if one not in words.LISTENING_BENEFITS]
            left_out = len(kept) < len(session.criteria.benefit)
            value = (*kept, words.NOBODY_LISTENED) if left_out else tuple(kept)
        rows.append((words.CRITERIA_NAMES.get(field.name, field.name), _cell(value)))
    return tuple(rows)


def state_rows(condition: Condition, session: Session) -> tuple[tuple[str, str], ...]:
    """What is said of a condition's chain and equipment, a row for each key that has a value; then what changed."""
    rows = [
        (words.CHAIN_NAMES.get(key, key), _cell(value)) for key, value in condition.states.items() if value is not None
    ]
    if rows and not condition.reference:
        changed = condition.changes_from(session.reference)
        named = "; ".join(words.CHAIN_NAMES.get(key, key) for key in changed) or words.NULL
        rows.append((words.CHANGES.format(reference=session.reference.label), named))
    return tuple(rows)


def position_text(position: tuple[float, float, float] | None) -> str:
    """A position or a size as "3.2, 1.4, 1.15"."""
    return _cell(position)
