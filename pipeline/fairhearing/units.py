"""The units that findings are stated in: a closed list, and those that an analyser adds for itself."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from fairhearing.contracts import Analyser, OwnUnits
from fairhearing.errors import nearest
from fairhearing.result import Finding, Result

# SI units and their parts as they are written in it; levels as ITU-R BS.1770 and AES17 write them; names of scales.
UNITS: Mapping[str, str] = MappingProxyType(
    {
        "1": "a plain number: a share, a ratio, a count",
        "%": "hundredths",
        "dB": "decibel, of a ratio or re what the quantity says",
        "dBV": "decibel re 1 V",
        "dBFS": "decibel re full scale",
        "dBTP": "decibel re full scale, true peak",
        "LU": "loudness unit",
        "LKFS": "loudness, K-weighted, re full scale",
        "Hz": "hertz",
        "kHz": "kilohertz",
        "oct": "octave",
        "s": "second",
        "ms": "millisecond",
        "us": "microsecond",
        "ohm": "ohm",
        "kohm": "kilohm",
        "nF": "nanofarad",
        "uF": "microfarad",
        "pF": "picofarad",
        "V": "volt",
        "mV": "millivolt",
        "A": "ampere",
        "W": "watt",
        "Pa": "pascal",
        "m": "metre",
        "mm": "millimetre",
        "m2": "square metre",
        "m3": "cubic metre",
        "deg": "degree of an angle",
        "degC": "degree Celsius",
        "impairment": "grade on the scale of impairment, 1 to 5",
        "quality": "grade on the scale of quality, 0 to 100",
        "comparison": "grade on the scale of comparison, -3 to 3",
    }
)


def known_units(analyser: Analyser) -> Mapping[str, str]:
    """What a finding of this analyser may be stated in, each unit with what it is: the list, and its `own_units`.

    One that needs a unit which the list lacks has an attribute such as `own_units = {"furlong": "201.168 m"}`.

    Raises
    ------
    ValueError
        Its `own_units` is no mapping of words to words, or gives a unit of the list another meaning.

    Examples
    --------
    >>> from fairhearing.contracts import Needs
    >>> class Track:
    ...     name, version, quantities, needs, symmetries = "track", "1", frozenset({"way"}), Needs(), ()
    ...     own_units = {"furlong": "201.168 m"}
    ...     def analyse(self, inputs): ...
    >>> known_units(Track())["furlong"]
    '201.168 m'
    """
    if not isinstance(analyser, OwnUnits):
        return UNITS
    own: object = analyser.own_units
    if not isinstance(own, Mapping):
        raise ValueError(f"own_units is {own!r}, not a mapping such as {{'furlong': '201.168 m'}}")
    for unit, meaning in own.items():
        if not all(isinstance(word, str) and word.strip() for word in (unit, meaning)):
            raise ValueError(f"own_units has {unit!r}: {meaning!r}; both are words: the unit, and what it is")
        if unit in UNITS:
            raise ValueError(f"own_units gives {unit!r} a meaning of its own; it is known as: {UNITS[unit]}")
    return {**UNITS, **own}


def check_units(result: Result, analyser: Analyser) -> None:
    """Raise for a finding whose unit is neither in the list nor one of the analyser's own.

    A finding that has a verdict and no value may have no unit ("").

    Raises
    ------
    ValueError
        With the finding's quantity and unit, and the nearest known one.
    """
    known = known_units(analyser)
    for finding in result.findings:
        if not has_known_unit(finding, known):
            raise ValueError(
                f"its finding {finding.quantity} has the unit {finding.unit!r}, which is not known; "
                f"{_nearest(finding.unit, known)} A unit of its own stands in the analyser's attribute own_units, "
                f"with what it is"
            )


def has_known_unit(finding: Finding, known: Mapping[str, str] = UNITS) -> bool:
    """Whether the finding's unit is one of these, or rightly none."""
    return finding.unit in known or (finding.unit == "" and finding.value is None and finding.verdict is not None)


def _nearest(unit: str, known: Mapping[str, str]) -> str:
    """The nearest known unit; first what differs in capitals only, or is called so in words."""
    wanted = unit.strip().casefold()
    for one, meaning in known.items():
        word = re.split("[,:]", meaning)[0].casefold()
        if wanted in (one.casefold(), word, f"{word}s"):
            return f"did you mean {one!r}?"
    close = nearest(unit, known)
    return close if close.endswith("?") else f"{close}."
