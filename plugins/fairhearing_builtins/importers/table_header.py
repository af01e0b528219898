"""Header words and units of a response table, and which column holds what."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fairhearing.api import ImportProblem, nearest

ROLES = ("frequency", "level", "phase", "real", "imaginary")
_NAMES = {
    **dict.fromkeys(("frequency", "freq", "f"), "frequency"),
    **dict.fromkeys(("level", "magnitude", "mag", "amplitude", "gain"), "level"),
    "phase": "phase",
    **dict.fromkeys(("real", "re"), "real"),
    **dict.fromkeys(("imaginary", "imag", "im"), "imaginary"),
}
_HERTZ, _KILOHERTZ = {"hz"}, {"khz"}
_DEGREE, _RADIAN = {"deg", "degs", "degree", "degrees", "°"}, {"rad", "radian", "radians"}
_OTHER_UNITS = {
    "v",
    "mv",
    "µv",
    "uv",
    "pa",
    "mpa",
    "µpa",
    "upa",
    "w",
    "mw",
    "a",
    "ma",
    "ohm",
    "%",
    "s",
    "ms",
    "linear",
    "lin",
    "mhz",
}
_BRACKETED = re.compile(r"(?P<name>[^()\[\]]*?)[\s_]*[(\[](?P<unit>.*)[)\]]")
_NAME_THEN_UNIT = re.compile(r"(?P<name>[^\W_]+)(?:[\s_]*/[\s_]*|[\s_]+)(?P<unit>.+)")
_BLANK_WORD = re.compile(r"[^\s(\[]*[(\[][^)\]]*[)\]]|\S+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A header text as we understand it: its role, None if unknown, and its unit in lower case, "" if not given."""

    role: str | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """The place of each column, from 0, and the units that are to be changed into ours."""

    names: tuple[str, ...]
    frequency: int
    kilohertz: bool = False
    level: int | None = None
    phase: int | None = None
    radian: bool = False
    real: int | None = None
    imaginary: int | None = None

    @property
    def used(self) -> tuple[int, ...]:
        """The places that are read, frequency first."""
        places = (self.frequency, self.level, self.phase, self.real, self.imaginary)
        return tuple(place for place in places if place is not None)

    def name(self, place: int) -> str:
        """Number and name of a column for an error, the number from 1."""
        return f"column {place + 1} ({self.names[place]})" if place < len(self.names) else f"column {place + 1}"


def default_columns(n_fields: int) -> Columns:
    """The columns of a table without a header: Hz, dB, degrees; what follows is ignored.

    >>> default_columns(2).phase is None
    True
    """
    return Columns(
        names=("frequency", "level", "phase")[:n_fields], frequency=0, level=1, phase=2 if n_fields > 2 else None
    )


def understand(text: str) -> Field:
    """Role and unit of a header text; words in any case, the unit in brackets, behind the name, or alone.

    >>> understand("Frequency [kHz]")
    Field(role='frequency', unit='khz')
    """
    text = text.strip().strip('"').strip().lower()
    if text in _NAMES:
        return Field(role=_NAMES[text], unit="")
    if _role_of_unit(text) is not None:
        return Field(role=_role_of_unit(text), unit=text)
    match = _BRACKETED.fullmatch(text) or _NAME_THEN_UNIT.fullmatch(text)
    if match is None:
        return Field(role=None, unit="")
    name, unit = match["name"].strip(), match["unit"].strip()
    # "level uncertainty" is a column of its own, not a level in a unit called uncertainty
    if name in _NAMES and (text[-1] in ")]" or unit in _OTHER_UNITS or _role_of_unit(unit) is not None):
        return Field(role=_NAMES[name], unit=unit)
    if not name or _role_of_unit(name) is not None:
        own = name or unit
        return Field(role=_role_of_unit(own), unit=own)
    return Field(role=None, unit=unit)


def _role_of_unit(unit: str) -> str | None:
    if unit in _HERTZ | _KILOHERTZ:
        return "frequency"
    if unit in _DEGREE | _RADIAN:
        return "phase"
    return "level" if unit == "db" or re.fullmatch(r"db(?:spl|fs|v|u|r|a|c|z|pa)|db[\s_/(\[].*", unit) else None


def is_column_name(text: str) -> bool:
    """Whether a header text names a column that we know.

    >>> is_column_name("dB SPL"), is_column_name("coherence")
    (True, False)
    """
    return understand(text).role is not None


def blank_header_fields(text: str, n_fields: int) -> list[str]:
    """The names of a header whose columns are parted by blanks: a unit belongs to the name before it.

    >>> blank_header_fields("Frequency (Hz)  Level dB", 2)
    ['Frequency (Hz)', 'Level dB']
    """
    fields: list[str] = []
    for word in _BLANK_WORD.findall(text):
        if fields and word[0] in "([":
            fields[-1] += f" {word}"
        else:
            fields.append(word)
    if len(fields) <= n_fields:
        return fields
    merged: list[str] = []
    for word in fields:
        before = understand(merged[-1]) if merged else Field(role=None, unit="")
        unit_of = _role_of_unit(word.lower())
        if before.role is not None and ((unit_of == before.role and not before.unit) or word.lower() in ("spl", "fs")):
            merged[-1] += f" {word}"
        else:
            merged.append(word)
    return merged


def columns_from_header(fields: Sequence[str], mapping: Sequence[tuple[str, str]], where: str) -> Columns:
    """Which column holds what.

    Parameters
    ----------
    fields : sequence of str
        The header as it stands in the file.
    mapping : sequence of (our name, header text)
        `columns` of session.toml; wins over what the words say.
    where : str
        File and line of the header.

    Returns
    -------
    Columns

    Raises
    ------
    ImportProblem
        Frequency or level is missing or could be two columns, a unit is none of ours, or `mapping` names no column.

    Examples
    --------
    >>> columns_from_header(["dB", "kHz"], (), "a.csv, line 1").frequency
    1
    """
    understood = [understand(field) for field in fields]
    places = {role: [i for i, field in enumerate(understood) if field.role == role] for role in ROLES}
    mapped = {ours: _mapped_place(ours, theirs, fields, where) for ours, theirs in mapping}
    for ours, place in mapped.items():
        places = {role: [i for i in found if i != place] for role, found in places.items()} | {ours: [place]}
    if "level" in mapped and "real" not in mapped:
        places["real"] = places["imaginary"] = []
    if "real" in mapped and "level" not in mapped:
        places["level"] = []
    _require(places, fields, where)
    complex_values = bool(places["real"] and places["imaginary"])
    columns = Columns(
        names=tuple(field.strip().strip('"') for field in fields),
        frequency=places["frequency"][0],
        level=None if complex_values else places["level"][0],
        phase=places["phase"][0] if places["phase"] and not complex_values else None,
        real=places["real"][0] if complex_values else None,
        imaginary=places["imaginary"][0] if complex_values else None,
    )
    return _with_units(columns, understood, where)


def _mapped_place(ours: str, theirs: str, fields: Sequence[str], where: str) -> int:
    if ours not in ROLES:
        raise ImportProblem(
            f"columns names {ours!r}, which is no column of a response", where=where, try_=nearest(ours, ROLES)
        )
    wanted = theirs.strip().casefold()
    texts = [field.strip().strip('"').strip() for field in fields]
    found = [i for i, text in enumerate(texts) if text.casefold() == wanted]
    if len(found) != 1:
        count = "no" if not found else str(len(found))
        raise ImportProblem(
            f"columns says that {ours} is {theirs!r}, but {count} column of the header has that name: {_shown(fields)}",
            where=where,
            try_=nearest(theirs, texts),
        )
    return found[0]


def _require(places: dict[str, list[int]], fields: Sequence[str], where: str) -> None:
    if places["level"] and (places["real"] and places["imaginary"]):
        both = places["level"] + places["real"]
        raise _two("level", [fields[i] for i in both], where)
    for role in ROLES:
        if len(places[role]) > 1:
            raise _two(role, [fields[i] for i in places[role]], where)
    if not places["frequency"]:
        raise _missing("frequency", fields, where)
    if not places["level"] and not (places["real"] and places["imaginary"]):
        half = [role for role in ("real", "imaginary") if places[role]]
        raise _missing("imaginary" if half == ["real"] else "real" if half else "level", fields, where)


def _two(role: str, texts: Sequence[str], where: str) -> ImportProblem:
    shown = " and ".join(repr(text.strip()) for text in texts)
    example = texts[0].strip().replace('"', "")
    return ImportProblem(
        f"more than one column could be the {role}: {shown}",
        where=where,
        try_=f'say which one in session.toml, such as columns = {{ {role} = "{example}" }}',
    )


def _missing(role: str, fields: Sequence[str], where: str) -> ImportProblem:
    return ImportProblem(
        f"the header names no {role}: {_shown(fields)}",
        where=where,
        try_=f'say which column it is in session.toml, such as columns = {{ {role} = "..." }}',
    )


def _with_units(columns: Columns, understood: Sequence[Field], where: str) -> Columns:
    unit = understood[columns.frequency].unit
    if unit and unit not in _HERTZ | _KILOHERTZ:
        raise _unit_problem(columns, columns.frequency, unit, "Hz or kHz", where)
    kilohertz, radian = unit in _KILOHERTZ, False
    if columns.level is not None:
        unit = understood[columns.level].unit
        if unit and _role_of_unit(unit) != "level":
            raise _unit_problem(columns, columns.level, unit, "dB", where)
    if columns.phase is not None:
        unit = understood[columns.phase].unit
        if unit and unit not in _DEGREE | _RADIAN:
            raise _unit_problem(columns, columns.phase, unit, "degrees or rad", where)
        radian = unit in _RADIAN
    for place in (columns.real, columns.imaginary):
        unit = "" if place is None else understood[place].unit
        if place is not None and _role_of_unit(unit) is not None:
            raise _unit_problem(columns, place, unit, "a linear unit such as V or Pa", where)
    return replace(columns, kilohertz=kilohertz, radian=radian)


def _unit_problem(columns: Columns, place: int, unit: str, wanted: str, where: str) -> ImportProblem:
    name = columns.names[place]
    start = name.lower().rfind(unit)
    cased = name[start : start + len(unit)] if start >= 0 else unit
    return ImportProblem(
        f"column {name!r} is in {cased!r}, which is not {wanted}",
        where=f"{where}, column {place + 1}",
        try_=f"export it in {wanted}",
    )


def _shown(fields: Sequence[str]) -> str:
    return ", ".join(repr(field.strip()) for field in fields)
