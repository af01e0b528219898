"""Reads the chains and the states of the equipment: what [chain] says for all, and each condition for itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

from fairhearing.manifest.reader import NOT_NEGATIVE, POSITIVE, Limits, TableReader
from fairhearing.session import Chain, Equipment

_TOLERANCE = Limits(at_least=0.0, below=100.0)
_NUMBERS: dict[str, Limits] = {
    "design_corner_hz": POSITIVE,
    "setting_kohm": POSITIVE,
    "setting_left_kohm": POSITIVE,
    "setting_right_kohm": POSITIVE,
    "capacitance_nf": POSITIVE,
    "amplifier_input_kohm": POSITIVE,
    "second_input_kohm": POSITIVE,
    "measuring_input_kohm": POSITIVE,
    "coupling_capacitor_uf": POSITIVE,
    "source_output_ohm": NOT_NEGATIVE,
    "cable_capacitance_pf": NOT_NEGATIVE,
    "loudspeaker_ohm": POSITIVE,
    "capacitor_tolerance_percent": _TOLERANCE,
    "input_tolerance_percent": _TOLERANCE,
}
_LISTS = ("tap_kohm", "tap_before_kohm")
_FLAGS = ("bass_given_back", "balanced")
NAMED_CHAIN_FILE = "loudspeaker_impedance"
_FILTER: tuple[Literal["in", "out"], ...] = ("in", "out")
_BOOST: tuple[Literal["on", "off"], ...] = ("on", "off")
_POLARITY: tuple[Literal["normal", "inverted"], ...] = ("normal", "inverted")
CHAIN_KEYS = frozenset(Chain.__slots__)
EQUIPMENT_KEYS = frozenset(Equipment.__slots__)

# What [chain] says of the filter: a condition without it does not take it over, nor bass_given_back.
_NAMES_FILTER = ("design_corner_hz", "capacitance_nf")
_FILTER_KEYS = frozenset({"setting_kohm", "setting_left_kohm", "setting_right_kohm", "bass_given_back", *_NAMES_FILTER})


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenChain:
    """What one table says of a chain: the keys that stand in it."""

    values: Mapping[str, float | bool | str | tuple[float, ...]]
    reader: TableReader


def read_chain(reader: TableReader) -> WrittenChain:
    """What a table [chain] or [conditions.X.chain] says."""
    reader.known_keys(CHAIN_KEYS)
    values: dict[str, float | bool | str | tuple[float, ...] | None] = {}
    values |= {key: reader.optional_number(key, limits) for key, limits in _NUMBERS.items()}
    values |= {key: reader.one_or_more(key, POSITIVE) for key in _LISTS}
    values |= {key: reader.flag(key) for key in _FLAGS}
    named = reader.text(NAMED_CHAIN_FILE)
    values[NAMED_CHAIN_FILE] = None if named is None else relative_path(named)
    return WrittenChain(values={key: one for key, one in values.items() if one is not None}, reader=reader)


def relative_path(text: str) -> str:
    """A path of session.toml without the parts that say nothing.

    >>> relative_path("./impedance.csv")
    'impedance.csv'
    """
    return "/".join(part for part in text.split("/") if part != ".")


def chain_tables(top: TableReader) -> list[TableReader]:
    """Every table that says something of a chain, where it is a table; what is none has been told."""
    holders = [top]
    conditions = top.table.get("conditions")
    for name, table in conditions.items() if isinstance(conditions, dict) else ():
        if isinstance(table, dict):
            path = (*top.path, "conditions", name)
            header = f"[conditions.{name}]"
            holders.append(TableReader(table=table, header=header, path=path, lines=top.lines, log=top.log))
    headers = ["[chain]", *(f"{one.header[:-1]}.chain]" for one in holders[1:])]
    return [
        holder.table_of("chain", header)
        for holder, header in zip(holders, headers, strict=True)
        if isinstance(holder.table.get("chain"), dict)
    ]


def read_equipment(reader: TableReader) -> Equipment:
    """What a table [conditions.X.equipment] says."""
    reader.known_keys(EQUIPMENT_KEYS)
    table = reader.table
    return Equipment(
        filter=reader.choice("filter", _FILTER, "in") if "filter" in table else None,
        boost=reader.choice("boost", _BOOST, "on") if "boost" in table else None,
        subwoofer_polarity=(
            reader.choice("subwoofer_polarity", _POLARITY, "normal") if "subwoofer_polarity" in table else None
        ),
        boost_corner_hz=reader.optional_number("boost_corner_hz", POSITIVE),
        boost_db=reader.optional_number("boost_db", NOT_NEGATIVE),
        subwoofer_level_db=reader.optional_number("subwoofer_level_db"),
    )


def merged_chain(shared: WrittenChain, own: WrittenChain, equipment: Equipment, *, reference: bool) -> Chain:
    """The chain that holds in a condition: [chain], overridden key by key; with the filter out, without the filter."""
    without = reference or equipment.filter == "out"
    taken = {key: value for key, value in shared.values.items() if not (without and key in _FILTER_KEYS)}
    return Chain(**cast("dict[str, Any]", {**taken, **own.values}))


def check_filter(chain: Chain, own: WrittenChain, equipment: TableReader) -> None:
    """A fault where filter = "in" or "out" contradicts the chain."""
    said = equipment.table.get("filter")
    if said == "in" and not chain.names_filter:
        hint = f"write design_corner_hz or capacitance_nf below {own.reader.header}"
        equipment.fault("filter", "has no filter: the chain of this condition gives none", hint)
    if said == "out" and chain.names_filter:
        given = next(key for key in _NAMES_FILTER if getattr(chain, key) is not None)
        what = f"contradicts {given} in {own.reader.header} (line {own.reader.line(given)})"
        equipment.fault("filter", what, 'leave one of the two out, or write filter = "in"')


def check_settings(chains: Sequence[Chain], own: Sequence[WrittenChain], shared: WrittenChain) -> None:
    """A fault where left and right are set apart and one capacitor is stated for both."""
    told = set()
    for chain, written in zip(chains, own, strict=True):
        for key in ("setting_left_kohm", "setting_right_kohm"):
            reader = written.reader if key in written.values else shared.reader
            if chain.capacitance_nf is None or getattr(chain, key) is None or (reader.path, key) in told:
                continue
            told.add((reader.path, key))
            what = "stands beside capacitance_nf, which is the same capacitor left and right"
            hint = "leave capacitance_nf out: the settings and design_corner_hz say what the capacitors are"
            reader.fault(key, what, hint)
