"""Reads the tables that say what the session is of: session, room, conditions with their chains, seats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.errors import nearest
from fairhearing.manifest.chains import (
    WrittenChain,
    check_filter,
    check_settings,
    merged_chain,
    read_chain,
    read_equipment,
)
from fairhearing.manifest.faults import shown
from fairhearing.manifest.reader import NOT_NEGATIVE, POSITIVE, Limits, TableReader
from fairhearing.session import Condition, Room, Seat

CONDITION_KEYS = frozenset({"reference", "label", "trim_db", "chain", "equipment"})
SEAT_KEYS = frozenset({"position_m", "weight", "near"})
SESSION_KEYS = frozenset({"id", "date", "question"})
ROOM_KEYS = frozenset({"id", "size_m", "temperature_c"})

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
    readers = top.named_tables("seats")
    return tuple(_seat(name, reader, readers) for name, reader in readers.items())


def _seat(name: str, reader: TableReader, readers: Mapping[str, TableReader]) -> Seat:
    """A seat; one that is near another counts nothing by itself."""
    reader.known_keys(SEAT_KEYS)
    near = reader.text("near")
    weight = reader.number("weight", 1.0 if near is None else 0.0, NOT_NEGATIVE)
    seats = [other for other, its in readers.items() if other != name and "near" not in its.table]
    if near is not None and near not in seats:
        why = "is near another itself" if near in readers and near != name else "names no other seat"
        reader.fault("near", why, nearest(near, seats))
    elif near is not None and weight > 0:
        what = f"is above 0, but {name} is a position near {near}, and that place would count twice"
        reader.fault("weight", what, "leave the line out, or leave near out if this is a seat of its own")
    return Seat(id=name, position_m=reader.triple("position_m", "x, y, z"), weight=weight, near=near)


def read_conditions(top: TableReader) -> tuple[Condition, ...]:
    """The conditions, in the order of the file, each with the chain and the equipment that hold in it."""
    shared = read_chain(top.table_of("chain", "[chain]"))
    readers = top.named_tables("conditions")
    conditions: list[Condition] = []
    chains: list[WrittenChain] = []
    for name, reader in readers.items():
        reader.known_keys(CONDITION_KEYS)
        reference = reader.flag("reference") or False
        own = read_chain(reader.table_of("chain", f"[conditions.{name}.chain]"))
        setting = reader.table_of("equipment", f"[conditions.{name}.equipment]")
        equipment = read_equipment(setting)
        chain = merged_chain(shared, own, equipment, reference=reference)
        check_filter(chain, own, setting)
        chains.append(own)
        conditions.append(
            Condition(
                id=name,
                label=reader.text("label") or name,
                reference=reference,
                trim_db=reader.number("trim_db", 0.0),
                chain=chain,
                equipment=equipment,
            )
        )
    check_settings([condition.chain for condition in conditions], chains, shared)
    _check_reference(top, conditions, readers)
    return tuple(conditions)


def _required_id(reader: TableReader, example: str) -> str:
    if "id" not in reader.table:
        reader.missing("id", f'write id = "{example}" below {reader.header}')
    return reader.id("id") or ""


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
