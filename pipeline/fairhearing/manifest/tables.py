"""Reads the tables that say what the session is of: session, room, conditions with their chains, seats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.manifest.faults import shown
from fairhearing.manifest.reader import NOT_NEGATIVE, POSITIVE, Limits, TableReader
from fairhearing.session import Chain, Condition, Room, Seat

_CHAIN_LIMITS: dict[str, Limits] = {
    "design_corner_hz": POSITIVE,
    "setting_kohm": POSITIVE,
    "capacitance_nf": POSITIVE,
    "amplifier_input_kohm": POSITIVE,
    "source_output_ohm": NOT_NEGATIVE,
    "cable_capacitance_pf": NOT_NEGATIVE,
    "loudspeaker_ohm": POSITIVE,
}
CHAIN_KEYS = frozenset(Chain.__slots__)
CONDITION_KEYS = frozenset({"reference", "label", "trim_db", "chain"})
SEAT_KEYS = frozenset({"position_m", "weight"})
SESSION_KEYS = frozenset({"id", "date", "question"})
ROOM_KEYS = frozenset({"id", "size_m", "temperature_c"})

# What [chain] says of the filter: the reference condition does not take it over, nor bass_given_back.
_FILTER_KEYS = frozenset({"design_corner_hz", "setting_kohm", "capacitance_nf"})
# A room that people listen in; a temperature in kelvin or a missing point falls out of it. Our own limits.
_TEMPERATURE = Limits(at_least=-50.0, at_most=70.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionTable:
    """What [session] says; `id` is empty where it is at fault."""

    id: str
    date: str | None
    question: str


def read_session(reader: TableReader) -> SessionTable:
    """What [session] says."""
    reader.known_keys(SESSION_KEYS)
    return SessionTable(
        id=_required_id(reader, "north-hall-2026-05-09"),
        date=reader.date("date"),
        question=reader.text("question", may_be_empty=True) or "",
    )


def read_room(reader: TableReader) -> Room:
    """What [room] says."""
    reader.known_keys(ROOM_KEYS)
    return Room(
        id=_required_id(reader, "north-hall"),
        size_m=reader.triple("size_m", "length, width, height", POSITIVE),
        temperature_c=reader.optional_number("temperature_c", _TEMPERATURE),
    )


def read_seats(top: TableReader) -> tuple[Seat, ...]:
    """The seats, in the order of the file."""
    seats = []
    for name, reader in top.named_tables("seats").items():
        reader.known_keys(SEAT_KEYS)
        seats.append(
            Seat(
                id=name,
                position_m=reader.triple("position_m", "x, y, z"),
                weight=reader.number("weight", 1.0, NOT_NEGATIVE),
            )
        )
    return tuple(seats)


def read_conditions(top: TableReader) -> tuple[Condition, ...]:
    """The conditions, in the order of the file, each with the chain that holds in it."""
    shared = _read_chain(top.table_of("chain", "[chain]"))
    readers = top.named_tables("conditions")
    conditions = []
    for name, reader in readers.items():
        reader.known_keys(CONDITION_KEYS)
        reference = reader.flag("reference") or False
        own = _read_chain(reader.table_of("chain", f"[conditions.{name}.chain]"))
        conditions.append(
            Condition(
                id=name,
                label=reader.text("label") or name,
                reference=reference,
                trim_db=reader.number("trim_db", 0.0),
                chain=_merged(shared, own, reference=reference),
            )
        )
    _check_reference(top, conditions, readers)
    return tuple(conditions)


def _required_id(reader: TableReader, example: str) -> str:
    if "id" not in reader.table:
        reader.missing("id", f'write id = "{example}" below {reader.header}')
    return reader.id("id") or ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _WrittenChain:
    numbers: Mapping[str, float]
    bass_given_back: bool | None


def _read_chain(reader: TableReader) -> _WrittenChain:
    reader.known_keys(CHAIN_KEYS)
    numbers = {key: reader.optional_number(key, limits) for key, limits in _CHAIN_LIMITS.items()}
    return _WrittenChain(
        numbers={key: value for key, value in numbers.items() if value is not None},
        bass_given_back=reader.flag("bass_given_back"),
    )


def _merged(shared: _WrittenChain, own: _WrittenChain, *, reference: bool) -> Chain:
    taken = {key: value for key, value in shared.numbers.items() if not (reference and key in _FILTER_KEYS)}
    bass_given_back = own.bass_given_back
    if bass_given_back is None and not reference:
        bass_given_back = shared.bass_given_back
    return Chain(**{**taken, **own.numbers}, bass_given_back=bass_given_back)


def _check_reference(top: TableReader, conditions: list[Condition], readers: Mapping[str, TableReader]) -> None:
    table = "write [conditions.out] with reference = true, and [conditions.in]"
    if not conditions:
        if not isinstance(top.table.get("conditions", {}), dict):
            return  # told already
        top.log.add(top.line("conditions"), f"there are no conditions in {top.header}", table)
        return
    if len(conditions) == 1:
        only = conditions[0].id
        top.log.add(readers[only].line(), f"there is one condition only, {only!r}", f"a comparison takes two: {table}")
    marked = [condition.id for condition in conditions if condition.reference]
    if len(marked) == 1:
        return
    if marked:
        named = ", ".join(f"{name!r} (line {readers[name].line('reference')})" for name in marked)
        what = f"{len(marked)} conditions are the reference: {named}"
        top.log.add(readers[marked[1]].line("reference"), what, "leave reference = true in one of them")
        return
    if any("reference" in reader.table and reader.table["reference"] is not False for reader in readers.values()):
        return  # reference = something else than true or false: told already
    named = ", ".join(f"{shown(name)} (line {reader.line()})" for name, reader in readers.items())
    what = f"no condition is the reference; there are {named}"
    top.log.add(top.line("conditions"), what, "write reference = true in the one that the others are compared with")
