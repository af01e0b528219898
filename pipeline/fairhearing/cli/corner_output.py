"""The answer of `fairhearing corner` as plain text and as JSON, with its warnings and cautions."""

from __future__ import annotations

from collections.abc import Callable

from fairhearing.acoustics.boost import BOOST_WARNING_DB
from fairhearing.cli.corner import Cell, CornerAnswer, CornerQuestion, Row

CAUTIONS = (
    "Switch everything off and let the supplies discharge before moving a cable or a setting.",
    "The filter belongs in the line ahead of the amplifier. Inside a power amplifier are mains and stored charge:\n"
    "opening it and mains wiring are for licensed people and follow local codes.",
)
LABEL_WIDTH = 24
SETTING_HEAD = "set, kOhm"


def corner_json(answer: CornerAnswer) -> dict[str, object]:
    """All numbers of the answer, keys with units, as one JSON object."""
    question = answer.question
    return {
        "format": 1,
        "capacitance_nf": answer.capacitance_nf,
        "design_corner_hz": question.design_corner_hz,
        "setting_kohm": question.setting_kohm,
        "load_kohm": question.load_kohm,
        "source_ohm": question.source_ohm,
        "cable_pf": question.cable_pf,
        "corner_hz": answer.corner_hz,
        "corner_low_hz": answer.corner_range.low_hz,
        "corner_high_hz": answer.corner_range.high_hz,
        "capacitance_tolerance": question.tolerances.capacitor,
        "input_resistance_tolerance": question.tolerances.inputs,
        "as_measured_corner_hz": answer.as_measured_hz,
        "tap_kohm": list(question.tap_kohm),
        "tap_before_kohm": list(question.tap_before_kohm),
        "second_input_kohm": question.second_input_kohm,
        "measuring_input_kohm": question.measuring_input_kohm,
        "coupling_capacitor_uf": question.coupling_capacitor_uf,
        "balanced": question.balanced,
        "capacitance_per_leg_nf": 2.0 * answer.capacitance_nf if question.balanced else None,
        "corner_ratio": answer.corner_ratio,
        "corner_octaves": answer.corner_octaves,
        "level_at_20_hz_db": answer.level_at_20_hz_db,
        "passband_db": answer.passband_db,
        "boost_remainder": [
            {
                "frequency_hz": remainder.frequency_hz,
                "filter_in_db": remainder.filter_in_db,
                "filter_out_db": remainder.filter_out_db,
            }
            for remainder in answer.boost
        ],
        "compared_with_hz": answer.compared_hz,
        "table": [_row_json(row) for row in answer.rows],
        "warnings": list(_warnings(answer)),
        "cautions": [" ".join(caution.split()) for caution in CAUTIONS],
    }


def _row_json(row: Row) -> dict[str, object]:
    return {
        "setting_kohm": row.setting_kohm,
        "capacitance_nf": row.capacitance_nf,
        "loads": [
            {
                "load_kohm": cell.load_kohm,
                "corner_hz": cell.corner_hz,
                "corner_ratio": cell.corner_ratio,
                "corner_octaves": cell.corner_octaves,
            }
            for cell in row.cells
        ],
    }


def corner_text(answer: CornerAnswer) -> str:
    """The answer as aligned plain text: the same input gives the same bytes."""
    blocks = [_summary(answer)]
    if answer.boost:
        blocks.append(_boost_table(answer))
    warnings = _warnings(answer)
    if warnings:
        blocks.append("\n".join(f"WARNING: {warning}" for warning in warnings))
    blocks += _tables(answer)
    blocks.append("\n".join(CAUTIONS))
    return "\n\n".join(blocks)


def _summary(answer: CornerAnswer) -> str:
    question, limits = answer.question, answer.corner_range
    per_leg = f", {2.0 * answer.capacitance_nf:.4g} nF in each leg" if question.balanced else ""
    lines = [
        _line("series capacitor", f"{answer.capacitance_nf:.4g} nF{per_leg}"),
        _line("load", f"{question.load_kohm:g} kOhm"),
        _line("source, cable", f"{question.source_ohm:g} Ohm, {question.cable_pf:g} pF"),
        *_hung(question),
        _line("corner", f"{_hertz(answer.corner_hz)} Hz"),
        _line("", f"{_hertz(limits.low_hz)} to {_hertz(limits.high_hz)} Hz with {_tolerances(question)}"),
    ]
    if answer.as_measured_hz is not None:
        seen = f"{_hertz(answer.as_measured_hz)} Hz with {question.measuring_input_kohm:g} kOhm on the line"
        lines.append(_line("corner as measured", seen))
    if question.design_corner_hz is not None:
        lines += [
            _line("meant corner", f"{question.design_corner_hz:g} Hz, set for {question.setting_kohm:g} kOhm"),
            _line("corner over meant", _ratio_and_octaves(answer)),
        ]
    lines += [
        _line("level at 20 Hz", f"{_decibel(answer.level_at_20_hz_db, 2)} dB"),
        _line("level in the passband", f"{_decibel(answer.passband_db, 2)} dB"),
    ]
    return "\n".join(lines)


def _hung(question: CornerQuestion) -> list[str]:
    """A line for each sort of part that hangs on the line besides the amplifier."""
    parts = (
        ("taps ahead", question.tap_before_kohm, "kOhm"),
        ("taps behind", question.tap_kohm, "kOhm"),
        ("second input", _one(question.second_input_kohm), "kOhm"),
        ("coupling capacitor", _one(question.coupling_capacitor_uf), "uF"),
    )
    return [
        _line(label, f"{', '.join(f'{one:g}' for one in values)} {unit}") for label, values, unit in parts if values
    ]


def _one(value: float | None) -> tuple[float, ...]:
    return () if value is None else (value,)


def _tolerances(question: CornerQuestion) -> str:
    capacitor, inputs = question.tolerances.capacitor * 100.0, question.tolerances.inputs * 100.0
    return f"capacitor +-{capacitor:g}%, input resistance +-{inputs:g}%"


def _ratio_and_octaves(answer: CornerAnswer) -> str:
    ratio, distance = answer.corner_ratio, answer.corner_octaves
    if ratio is None or distance is None:
        return ""
    side = " below" if distance < 0.0 else " above"
    text = f"{abs(distance):.2f}"
    return f"{ratio:.3f} times, {text} octaves" + (side if float(text) else "")


def _boost_table(answer: CornerAnswer) -> str:
    """What the boost leaves, filter in and out."""
    lines = [
        f"A boost made for {answer.question.design_corner_hz:g} Hz leaves too much by (negative: too little)",
        f"{'Hz':>8}  {'filter in':>12}  {'filter out':>12}",
    ]
    lines += [
        f"{remainder.frequency_hz:>8g}  {_decibel(remainder.filter_in_db, 1):>9} dB"
        f"  {_decibel(remainder.filter_out_db, 1):>9} dB"
        for remainder in answer.boost
    ]
    return "\n".join(lines)


def _warnings(answer: CornerAnswer) -> tuple[str, ...]:
    """One warning for each state in which the boost leaves more than `BOOST_WARNING_DB`."""
    if not answer.boost:
        return ()
    found = []
    for state, most_db in (
        ("in", max(remainder.filter_in_db for remainder in answer.boost)),
        ("out", max(remainder.filter_out_db for remainder in answer.boost)),
    ):
        if most_db > BOOST_WARNING_DB:
            found.append(
                f"with the filter {state} up to {most_db:.1f} dB too much, a danger to the driver: "
                "turn the boost down before this state is played."
            )
    return tuple(found)


def _tables(answer: CornerAnswer) -> list[str]:
    """Hertz, ratio and octaves, each as a table of settings against loads."""
    meant = answer.question.design_corner_hz is not None
    against = "the meant corner" if meant else "the corner on the given load"
    return [
        _table(answer, "Corner in Hz", lambda cell: _hertz(cell.corner_hz)),
        _table(answer, f"Ratio to {against}", lambda cell: f"{cell.corner_ratio:.3f}"),
        _table(answer, f"Octaves above {against}", lambda cell: _decibel(cell.corner_octaves, 2)),
    ]


def _table(answer: CornerAnswer, title: str, text: Callable[[Cell], str]) -> str:
    loads = [f"{cell.load_kohm:g}" for cell in answer.rows[0].cells]
    labels = ["given" if row.setting_kohm is None else f"{row.setting_kohm:g}" for row in answer.rows]
    body = [[text(cell) for cell in row.cells] for row in answer.rows]
    width = max(len(entry) for line in (loads, *body) for entry in line)
    head_width = max(len(SETTING_HEAD), *(len(label) for label in labels))
    if answer.question.design_corner_hz is None:
        head, lines = "", [f"{title}, by load in kOhm (columns)"]
    else:
        head, lines = SETTING_HEAD, [f"{title}, by setting (rows) and load in kOhm (columns)"]
    lines.append(f"  {head:>{head_width}}  " + "  ".join(f"{load:>{width}}" for load in loads))
    for label, entries in zip(labels, body, strict=True):
        lines.append(f"  {label:>{head_width}}  " + "  ".join(f"{entry:>{width}}" for entry in entries))
    return "\n".join(lines)


def _line(label: str, text: str) -> str:
    return f"{label:<{LABEL_WIDTH}}{text}"


def _hertz(value_hz: float) -> str:
    """A frequency to a tenth of a hertz; three significant digits where that would show nothing or too much."""
    return f"{value_hz:.1f}" if 1.0 <= value_hz < 1e6 else f"{value_hz:.3g}"


def _decibel(value: float, places: int) -> str:
    """A signed number without the minus of a rounded zero."""
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text
