"""The tables of findings: headlines, parts, bands; each number in an element that names its finding."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from fairhearing.api import Session
from fairhearing_builtins.reporters import numbers, words
from fairhearing_builtins.reporters.answer import is_over_all, label_of, quoted, verdict_text, without_listening_words
from fairhearing_builtins.reporters.identity import Stated
from fairhearing_builtins.reporters.reasons import quantity_text

# What tells two rows of one quantity apart, in the order in which it is said.
TELLING = ("of", "variant", "condition", "reference", "seat", "channel", "programme", "listener", "point", "playing")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """One finding; None where it has no such field."""

    id: str
    quantity: Markup
    where: Markup
    value: Markup | None
    interval: Markup | None
    confidence: Markup | None
    p_value: Markup | None
    n: Markup | None
    verdict: str
    caveats: tuple[Markup, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTable:
    """The findings of one quantity by band: a column for each seat, over seats first.

    `quantity`: with its unit; `where`: what tells the table from others of it; `title`: both.
    """

    quantity: Markup
    where: Markup
    title: Markup
    columns: tuple[Markup, ...]
    rows: tuple[tuple[str, tuple[Markup | None, ...]], ...]


def where_text(one: Stated, session: Session | None, leave_out: Sequence[str] = ()) -> Markup:
    """What a finding is of: condition, seat, channel and so on; the usual reference and point are not said."""
    said: list[Markup] = []
    usual = {"reference": session.reference.id if session else None, "point": "seat"}
    for name in TELLING:
        value = getattr(one.finding, name)
        if value is None or name in leave_out or usual.get(name) == value:
            continue
        if name == "condition":
            said.append(label_of(session, value))
        elif name == "reference":
            said.append(Markup("{} {}").format(words.WHERE[name], label_of(session, value)))
        elif name == "playing" and value in words.PLAYING:
            said.append(Markup.escape(words.PLAYING[value]))
        elif name == "point" and value in words.POINTS:
            said.append(Markup("{} {}").format(words.WHERE[name], words.POINTS[value]))
        elif name == "of" and value in words.QUANTITIES:
            said.append(Markup.escape(words.QUANTITIES[value]))
        else:
            said.append(Markup("{} {}").format(words.WHERE[name], quoted(str(value))))
    return Markup(", ").join(said)


def table_row(one: Stated, session: Session | None, listening: bool) -> TableRow:
    """A finding as a row."""
    confidence = numbers.element(one, "confidence") if one.finding.low is not None else None
    return TableRow(
        id=one.id,
        quantity=quantity_text(one),
        where=where_text(one, session),
        value=numbers.with_unit(one),
        interval=numbers.interval(one),
        confidence=Markup("{} %").format(confidence) if confidence is not None else None,
        p_value=numbers.element(one, "p_value"),
        n=numbers.element(one, "n"),
        verdict=verdict_text(one.finding.verdict),
        caveats=tuple(quoted(without_listening_words(caveat, listening)) for caveat in one.finding.caveats),
    )


def headline_rows(stated: Iterable[Stated], session: Session | None, listening: bool) -> tuple[TableRow, ...]:
    """The findings over all seats, channels, programmes and listeners."""
    return tuple(table_row(one, session, listening) for one in stated if is_over_all(one))


def part_rows(stated: Iterable[Stated], session: Session | None, listening: bool) -> tuple[TableRow, ...]:
    """The findings on a seat, a channel, a programme or a listener, and the variants."""
    return tuple(
        table_row(one, session, listening) for one in stated if not is_over_all(one) and one.finding.band_hz is None
    )


def _band_label(one: Stated) -> str:
    finding = one.finding
    if finding.nominal_hz is not None:
        return f"{finding.nominal_hz:g}"
    low, high = finding.band_hz or (0.0, 0.0)
    return f"{low:.4g}–{high:.4g}"


def band_tables(stated: Iterable[Stated], session: Session | None) -> tuple[BandTable, ...]:
    """The findings by band: a table for each quantity, condition, channel and so on; rows bands, columns seats."""
    groups: dict[tuple[object, ...], list[Stated]] = {}
    for one in stated:
        if one.finding.band_hz is not None:
            own = tuple(getattr(one.finding, name) for name in TELLING if name != "seat")
            groups.setdefault((one.analyser, one.finding.quantity, *own), []).append(one)
    return tuple(_band_table(group, session) for group in groups.values())


def _band_table(group: Sequence[Stated], session: Session | None) -> BandTable:
    seats = sorted({one.finding.seat for one in group}, key=lambda seat: (seat is not None, seat or ""))
    bands = sorted({one.finding.band_hz for one in group if one.finding.band_hz is not None})
    cells = {(one.finding.band_hz, one.finding.seat): one for one in group}
    labels = {one.finding.band_hz: _band_label(one) for one in group}
    first = group[0]
    unit = numbers.unit_text(first.finding)
    quantity = Markup("{}{}").format(quantity_text(first), f", {unit}" if unit else "")
    where = where_text(first, session, ("seat",))
    rows = [
        (labels[band], tuple(_band_cell(cells[band, seat]) if (band, seat) in cells else None for seat in seats))
        for band in bands
    ]
    columns = [
        Markup.escape(words.OVER_SEATS) if seat is None else Markup("{} {}").format(words.WHERE["seat"], quoted(seat))
        for seat in seats
    ]
    title = Markup("{}: {}").format(quantity, where)
    return BandTable(quantity=quantity, where=where, title=title, columns=tuple(columns), rows=tuple(rows))


def _band_cell(one: Stated) -> Markup | None:
    value, between = numbers.element(one, "value"), numbers.interval(one)
    if value is None or between is None:
        return value
    return Markup('{} <span class="between">({})</span>').format(value, between)
