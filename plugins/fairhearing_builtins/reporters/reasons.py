"""What speaks for a change, what against, what is missing or doubtful: the lists under the answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from fairhearing.api import AnalyserResult, Session
from fairhearing_builtins.reporters import numbers, words
from fairhearing_builtins.reporters.answer import (
    compose,
    is_headline,
    is_over_all,
    label_of,
    quoted,
    verdict_text,
    without_listening_words,
)
from fairhearing_builtins.reporters.identity import Stated

Standing = Literal["for", "against", "neither", "open"]
PARTS = ("seat", "channel", "programme", "listener")


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """A heading and its lines under "missing or doubtful"."""

    title: str
    lines: tuple[Markup, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reasons:
    """The lists of one session."""

    speaks_for: tuple[Markup, ...]
    speaks_against: tuple[Markup, ...]
    neither: tuple[Markup, ...]
    doubts: tuple[Doubts, ...]


def standing(verdict: str) -> Standing:
    """Where a verdict stands: for the change, against it, neither, or open."""
    if verdict in words.FOR_VERDICTS:
        return "for"
    if verdict in words.AGAINST_VERDICTS:
        return "against"
    return "open" if verdict in words.OPEN_VERDICTS else "neither"


def quantity_text(one: Stated) -> Markup:
    """A quantity in words; an id that we don't know as it is."""
    known = words.QUANTITIES.get(one.finding.quantity)
    return Markup.escape(known) if known else quoted(one.finding.quantity)


def places(shown: Sequence[Stated]) -> dict[str, str]:
    """By id where each of those was measured and what played, that nothing else tells apart."""
    alike = Counter(map(_without_place, shown))
    found = {}
    for one in shown:
        if alike[_without_place(one)] > 1:
            point, playing = one.finding.point or "", one.finding.playing or ""
            parts = (words.POINTS.get(point, ""), words.PLAYING.get(playing, playing))
            found[one.id] = ", ".join(part for part in parts if part)
    return found


def _without_place(one: Stated) -> tuple[object, ...]:
    return (one.finding.quantity, one.finding.condition, *(getattr(one.finding, name) for name in PARTS))


def part_text(one: Stated, session: Session | None, several: bool, place: str = "") -> Markup:
    """Of what part and, where a session has several, of which condition a finding is: ", seat A, Filter in"."""
    said = [
        Markup("{} {}").format(words.WHERE[name], quoted(str(getattr(one.finding, name))))
        for name in PARTS
        if getattr(one.finding, name) is not None
    ]
    said += [quoted(place)] if place else []
    if several and one.finding.condition is not None:
        said.append(label_of(session, one.finding.condition))
    return Markup("").join(Markup(", {}").format(part) for part in said)


def decided(stated: Iterable[Stated]) -> list[Stated]:
    """What the lists show: headlines with a verdict, parts that speak against, parts without a headline.

    Where looks were planned, what holds by the looks stands in the place of the headline.
    """
    known = list(stated)
    looked = {
        (one.finding.quantity, one.finding.condition)
        for one in known
        if one.finding.variant == words.BY_LOOKS_VARIANT and one.finding.verdict is not None
    }
    candidates = [
        one
        for one in known
        if one.finding.verdict is not None
        and one.finding.quantity != "balance"
        and is_headline(one)
        and one.finding.band_hz is None
        and one.finding.listener is None
        and not (is_over_all(one) and (one.finding.quantity, one.finding.condition) in looked)
    ]
    headlines = {(one.finding.quantity, one.finding.condition) for one in candidates if is_over_all(one)} | looked
    audits = [one for one in candidates if one.finding.quantity == "seat_audit"]
    return [
        one
        for one in candidates
        if is_over_all(one)
        or one.finding.variant == words.BY_LOOKS_VARIANT
        or (words.TOLD_BY.get(one.finding.quantity, one.finding.quantity), one.finding.condition) not in headlines
        or (_is_against(one) and one.finding.channel is None and not _is_told_by(one, audits))
    ]


def _is_against(one: Stated) -> bool:
    return standing(one.finding.verdict or "") == "against"


def _is_told_by(one: Stated, audits: Sequence[Stated]) -> bool:
    """Whether a seat that is worse by itself is told by the audit of all seats together: as worse, or as a place that
    counts nothing."""
    if one.finding.quantity != "target_deviation_change":
        return False
    audited = {a.finding.seat: a for a in audits if a.finding.condition == one.finding.condition}
    if not audited or one.finding.seat is None:
        return False
    return one.finding.seat not in audited or _is_against(audited[one.finding.seat])


def _line(clauses: words.Clauses, one: Stated, session: Session | None, several: bool, place: str) -> Markup:
    value = numbers.with_interval(one)
    values = {
        "quantity": quantity_text(one),
        "where": part_text(one, session, several, place),
        "verdict": Markup.escape(verdict_text(one.finding.verdict)),
        "value": value,
    }
    return compose(clauses, values) or Markup("")


def reasons(
    stated: Sequence[Stated],
    used: Sequence[Stated],
    session: Session | None,
    results: Sequence[AnalyserResult],
    unread: Sequence[str],
    problems: Sequence[str],
    listening: bool,
) -> Reasons:
    """The lists of one session.

    Parameters
    ----------
    stated : sequence of Stated
        Its findings.
    used : sequence of Stated
        Those that the answer rests on.
    session : Session or None
    results : sequence of AnalyserResult
        Those of the session.
    unread, problems : sequence of str
        Lines of the report that belong to this session.
    listening : bool
    """
    several = session is not None and len(session.treatments) > 1
    shown = decided(stated)
    told = places(shown)
    lists = {
        kind: tuple(
            _line(words.LIST_ITEM, one, session, several, told.get(one.id, ""))
            for one in shown
            if standing(one.finding.verdict or "") == kind
        )
        for kind in ("for", "against", "neither", "open")
    }
    headlines = [one for one in stated if one in used or one in shown or is_over_all(one)]
    warnings = session.warnings if session else ()
    doubts = (
        Doubts(title=words.OPEN, lines=lists["open"]),
        Doubts(title=words.REFUSED, lines=_refusals(results, listening)),
        Doubts(title=words.CAVEATS, lines=_caveats(headlines, listening)),
        Doubts(title=words.UNREAD, lines=_quoted_lines(unread, listening)),
        Doubts(title=words.PROBLEMS, lines=(*_failures(results, listening), *_quoted_lines(problems, listening))),
        Doubts(title=words.WARNINGS, lines=_quoted_lines(warnings, listening)),
    )
    return Reasons(
        speaks_for=lists["for"],
        speaks_against=lists["against"],
        neither=lists["neither"],
        doubts=tuple(doubt for doubt in doubts if doubt.lines),
    )


def _quoted_lines(lines: Iterable[str], listening: bool) -> tuple[Markup, ...]:
    return tuple(quoted(without_listening_words(line, listening)) for line in dict.fromkeys(lines))


def _failures(results: Iterable[AnalyserResult], listening: bool) -> tuple[Markup, ...]:
    return tuple(
        Markup(words.DOUBT_FAILED).format(
            analyser=quoted(result.analyser), problem=quoted(without_listening_words(result.problem, listening))
        )
        for result in results
        if result.problem
    )


def _refusals(results: Iterable[AnalyserResult], listening: bool) -> tuple[Markup, ...]:
    told: dict[tuple[str, str], dict[str, None]] = {}
    for result in results:
        for refusal in result.result.refusals:
            told.setdefault((refusal.why, refusal.try_), {})[refusal.what] = None
    lines: list[Markup] = []
    for (why, try_), whats in told.items():
        texts = {"what": _together(whats), "why": why, "try_": try_}
        shown = {
            name: quoted(without_listening_words(text, listening)) if text else None for name, text in texts.items()
        }
        lines.append(compose(words.DOUBT_REFUSED, shown) or quoted(without_listening_words(texts["what"], listening)))
    return tuple(dict.fromkeys(lines))


def _together(whats: Iterable[str]) -> str:
    """Several things not done for one reason; what they begin with in common is said once."""
    first, *others = whats
    begin = words.NO_FINDINGS if first.startswith(words.NO_FINDINGS) else ""
    return ", ".join([first, *(other.removeprefix(begin) for other in others)])


def _caveats(headlines: Iterable[Stated], listening: bool) -> tuple[Markup, ...]:
    of: dict[str, dict[Markup, None]] = {}
    for one in headlines:
        for caveat in one.finding.caveats:
            of.setdefault(without_listening_words(caveat, listening), {})[quantity_text(one)] = None
    return tuple(
        compose(words.DOUBT_CAVEAT, {"caveat": quoted(caveat), "quantities": Markup(", ").join(quantities)})
        or quoted(caveat)
        for caveat, quantities in of.items()
    )
