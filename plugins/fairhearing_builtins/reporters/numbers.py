"""Numbers of findings as the report shows them: rounding for reading, and the element that says which finding it is.

The rule: dB, octaves and milliseconds to two decimals; shares in percent, whole; a p-value to three decimals, below
0.001 to one significant digit; everything else to three significant digits of the value, the ends of its interval to as
many decimals, and one more where value and ends would read alike. Nothing is rounded to the left of the decimal
point. A share that is not 0 or 1 never reads so.
"""

from __future__ import annotations

import math

from markupsafe import Markup

from fairhearing.api import Finding
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.identity import Stated

DECIMALS_BY_UNIT = {"dB": 2, "oct": 2, "ms": 2}
SCALE_BY_UNIT = {"ohm": (0.001, "kΩ")}
SHARES = frozenset({"proportion_correct", "control_correct", "equivalence", "subsonic_share"})
SIGNED = frozenset({"seat_audit", "drift", "matching_trim", "level_left_after_trim"})
MINUS = "\u2212"
NARROW = "\u202f"  # narrow no-break space, between a number and its unit
MOST_DECIMALS = 9


def is_share(finding: Finding) -> bool:
    """Whether a finding is a proportion, shown in percent."""
    return finding.unit == "1" and (finding.quantity in SHARES or finding.quantity.endswith("_share"))


def is_signed(finding: Finding) -> bool:
    """Whether a finding is a change, so that a plus says something."""
    if finding.quantity == "smallest_detectable_change":
        return False
    signed = finding.quantity.endswith(("_change", "_difference", "_gain")) or finding.quantity in SIGNED
    return signed or finding.unit == "oct"


def scale_of(finding: Finding, field: str) -> float:
    """What a field is multiplied by before it is shown: 100 for percent, 0.001 for kilohm, else 1."""
    if field == "confidence":
        return 100.0
    if field not in ("value", "low", "high"):
        return 1.0
    return 100.0 if is_share(finding) else SCALE_BY_UNIT.get(finding.unit, (1.0, ""))[0]


def unit_text(finding: Finding) -> str:
    """The unit behind the number, in words where the trade writes words; "" for none."""
    if is_share(finding):
        return "%"
    if finding.unit in SCALE_BY_UNIT:
        return SCALE_BY_UNIT[finding.unit][1]
    return words.UNITS.get(finding.unit, finding.unit)


def _significant(number: float, digits: int) -> int:
    if number == 0.0:
        return 0
    return min(MOST_DECIMALS, max(0, digits - 1 - math.floor(math.log10(abs(number)))))


def decimals_of(finding: Finding, field: str, number: float) -> int:
    """Decimals of `number`, a field times its scale."""
    if field == "n":
        return 0
    if field == "p_value":
        return 3 if number >= 0.001 else _significant(number, 1)
    if field == "confidence" or is_share(finding):
        nearest_end = min(abs(number), abs(100.0 - number))
        return _significant(nearest_end, 1) if nearest_end < 0.5 else 0
    if field not in ("value", "low", "high"):
        return _significant(number, 3)
    decimals = _decimals_for_reading(finding, number)
    # Where value and ends would read alike the interval is narrow: one decimal more.
    ends = {end * scale_of(finding, "value") for end in (finding.low, finding.value, finding.high) if end is not None}
    alike = len({rounded(end, decimals) for end in ends}) < len(ends)
    return decimals + 1 if alike else decimals


def _decimals_for_reading(finding: Finding, number: float) -> int:
    fixed = DECIMALS_BY_UNIT.get(finding.unit)
    if fixed is not None:
        return fixed
    # The ends of an interval read with as many decimals as the value between them.
    leading = number if finding.value is None else finding.value * scale_of(finding, "value")
    return _significant(leading, 3)


def rounded(number: float, decimals: int, *, signed: bool = False) -> str:
    """A number as text, with a true minus sign, no minus before nothing, and a plus where the sign matters.

    Examples
    --------
    >>> rounded(-0.004, 2, signed=True), rounded(1.5, 1, signed=True)
    ('0.00', '+1.5')
    """
    text = f"{number:.{decimals}f}"
    if float(text) == 0.0:
        return text.lstrip("-")
    plus = "+" if signed and number > 0 else ""
    return plus + text.replace("-", MINUS)


def field_value(finding: Finding, field: str) -> float | None:
    """One of value, low, high, p_value, n, confidence; None where it can't be had."""
    number: float | int | None = getattr(finding, field)
    return None if number is None else float(number)


def element(stated: Stated, field: str) -> Markup | None:
    """A field of a finding in an element that names both, or None where the field is null.

    Parameters
    ----------
    stated : Stated
    field : {"value", "low", "high", "p_value", "n", "confidence"}

    Returns
    -------
    Markup or None
        ``data-scale`` says by what the field was multiplied, if by anything.
    """
    number = field_value(stated.finding, field)
    if number is None:
        return None
    scale = scale_of(stated.finding, field)
    shown = number * scale
    signed = field in ("value", "low", "high") and is_signed(stated.finding)
    text = rounded(shown, decimals_of(stated.finding, field, shown), signed=signed)
    attribute = "" if scale == 1.0 else Markup(' data-scale="{}"').format(f"{scale:g}")
    template = Markup('<span class="n" data-finding="{}" data-field="{}"{}>{}</span>')
    return template.format(stated.id, field, attribute, text)


def with_unit(stated: Stated, field: str = "value") -> Markup | None:
    """A field with its unit behind it."""
    shown = element(stated, field)
    unit = unit_text(stated.finding)
    if shown is None or not unit:
        return shown
    return Markup("{}{}{}").format(shown, NARROW, Markup('<span class="unit">{}</span>').format(unit))


def interval(stated: Stated) -> Markup | None:
    """low to high, or None where there is no interval."""
    low, high = element(stated, "low"), element(stated, "high")
    if low is None or high is None:
        return None
    return Markup(words.INTERVAL).format(low=low, high=high)


def with_interval(stated: Stated) -> Markup | None:
    """The value with its unit and, in brackets, its interval; None where the value is null."""
    value, between = with_unit(stated), interval(stated)
    if value is None or between is None:
        return value
    return Markup('{} <span class="between">({})</span>').format(value, between)
