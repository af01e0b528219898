"""The numbers behind `fairhearing corner`: where the corner lies, what a boost leaves, settings against loads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from fairhearing.acoustics.boost import BOOST_FREQUENCIES_HZ, boost_remainder_db
from fairhearing.acoustics.chain import CornerRange, capacitance_f, octaves
from fairhearing.acoustics.network import LineNetwork, line_corner_hz, line_level_db, line_passband_db
from fairhearing.acoustics.tolerances import USUAL, Tolerances, line_corner_range
from fairhearing.errors import InputProblem

# Input resistances of power amplifiers that are often met: common practice, no source.
COMMON_LOADS_KOHM = (10.0, 22.0, 33.0, 47.0, 68.0, 100.0)
LEVEL_FREQUENCY_HZ = 20.0
# Far outside what is built; inside, every formula stays finite.
SMALLEST, LARGEST = 1e-6, 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerQuestion:
    """What the command line said, in its units; None where it said nothing."""

    load_kohm: float
    capacitance_nf: float | None = None
    design_corner_hz: float | None = None
    setting_kohm: float | None = None
    source_ohm: float = 0.0
    cable_pf: float = 0.0
    tap_kohm: tuple[float, ...] = ()
    tap_before_kohm: tuple[float, ...] = ()
    second_input_kohm: float | None = None
    measuring_input_kohm: float | None = None
    coupling_capacitor_uf: float | None = None
    balanced: bool = False
    tolerances: Tolerances = USUAL


@dataclass(frozen=True, slots=True, kw_only=True)
class BoostRemainder:
    """What a boost made for the meant corner leaves too much at one frequency, dB; negative is too little."""

    frequency_hz: float
    filter_in_db: float
    filter_out_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The corner that one setting gives on one load, hertz, and against the corner it is compared with."""

    load_kohm: float
    corner_hz: float
    corner_ratio: float
    corner_octaves: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One setting (None: the capacitor as given) on every load."""

    setting_kohm: float | None
    capacitance_nf: float
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerAnswer:
    """All numbers of the answer. `compared_hz`: the meant corner, else the corner on the given load.

    `capacitance_nf`: what works against the load; on a balanced line half of the capacitor in each leg.
    `as_measured_hz`: the corner that a measuring input on the line sees; None where none is given.
    """

    question: CornerQuestion
    capacitance_nf: float
    corner_hz: float
    corner_range: CornerRange
    as_measured_hz: float | None
    level_at_20_hz_db: float
    passband_db: float
    boost: tuple[BoostRemainder, ...]
    compared_hz: float
    rows: tuple[Row, ...]

    @property
    def corner_ratio(self) -> float | None:
        """Corner over the meant corner; None where no corner is meant."""
        meant_hz = self.question.design_corner_hz
        return None if meant_hz is None else self.corner_hz / meant_hz

    @property
    def corner_octaves(self) -> float | None:
        """Octaves of the corner above the meant corner; None where no corner is meant."""
        meant_hz = self.question.design_corner_hz
        return None if meant_hz is None else octaves(self.corner_hz, meant_hz)


def read_question(
    *,
    load_kohm: str,
    capacitance_nf: str | None,
    design_corner_hz: str | None,
    setting_kohm: str | None,
    source_ohm: str,
    cable_pf: str,
    tap_kohm: Sequence[str],
    tap_before_kohm: Sequence[str],
    second_input_kohm: str | None,
    measuring_input_kohm: str | None,
    coupling_capacitor_uf: str | None,
    balanced: bool,
    capacitor_tolerance_percent: str | None,
    input_tolerance_percent: str | None,
) -> CornerQuestion:
    """The question as the options put it, each read as a number in its range.

    Raises
    ------
    InputProblem
        An option is no number or out of range.
    """
    capacitor = _optional("--capacitor-tolerance-percent", capacitor_tolerance_percent, percent=True)
    inputs = _optional("--input-tolerance-percent", input_tolerance_percent, percent=True)
    return CornerQuestion(
        load_kohm=_number("--load-kohm", load_kohm),
        capacitance_nf=_optional("--capacitance-nf", capacitance_nf),
        design_corner_hz=_optional("--design-corner-hz", design_corner_hz),
        setting_kohm=_optional("--setting-kohm", setting_kohm),
        source_ohm=_number("--source-ohm", source_ohm, zero=True),
        cable_pf=_number("--cable-pf", cable_pf, zero=True),
        tap_kohm=tuple(_number("--tap-kohm", one) for one in tap_kohm),
        tap_before_kohm=tuple(_number("--tap-before-kohm", one) for one in tap_before_kohm),
        second_input_kohm=_optional("--second-input-kohm", second_input_kohm),
        measuring_input_kohm=_optional("--measuring-input-kohm", measuring_input_kohm),
        coupling_capacitor_uf=_optional("--coupling-capacitor-uf", coupling_capacitor_uf),
        balanced=balanced,
        tolerances=Tolerances(
            capacitor=USUAL.capacitor if capacitor is None else capacitor / 100.0,
            inputs=USUAL.inputs if inputs is None else inputs / 100.0,
        ),
    )


def answer_corner(question: CornerQuestion) -> CornerAnswer:
    """All numbers for a filter on a load.

    Raises
    ------
    InputProblem
        Not said, or said twice, what the capacitor is.
    """
    capacitance_nf = _capacitance_nf(question)
    network = _network(question, capacitance_nf, question.load_kohm)
    corner_hz = line_corner_hz(network)
    as_measured_hz = None
    if question.measuring_input_kohm is not None:
        measured = replace(network, measuring_ohm=question.measuring_input_kohm * 1e3)
        as_measured_hz = line_corner_hz(measured, "terminals")
    compared_hz = corner_hz if question.design_corner_hz is None else question.design_corner_hz
    return CornerAnswer(
        question=question,
        capacitance_nf=capacitance_nf,
        corner_hz=corner_hz,
        corner_range=line_corner_range(network, question.tolerances),
        as_measured_hz=as_measured_hz,
        level_at_20_hz_db=line_level_db(LEVEL_FREQUENCY_HZ, network),
        passband_db=line_passband_db(network),
        boost=_boost(network, question.design_corner_hz),
        compared_hz=compared_hz,
        rows=_rows(question, capacitance_nf, compared_hz),
    )


def _capacitance_nf(question: CornerQuestion) -> float:
    """The capacitance that works against the load: as given, or as the setting and the meant corner make it."""
    design_hz, setting_kohm = question.design_corner_hz, question.setting_kohm
    if question.capacitance_nf is not None:
        if design_hz is not None or setting_kohm is not None:
            other = "--design-corner-hz" if design_hz is not None else "--setting-kohm"
            raise _problem(
                f"--capacitance-nf and {other} both say what the capacitor is",
                "give --capacitance-nf alone, or --design-corner-hz with --setting-kohm",
            )
        return question.capacitance_nf / (2.0 if question.balanced else 1.0)
    if design_hz is None and setting_kohm is None:
        raise _problem(
            "nothing says what the capacitor is", "give --capacitance-nf, or --design-corner-hz with --setting-kohm"
        )
    if design_hz is None or setting_kohm is None:
        given, missing = ("--setting-kohm", "--design-corner-hz")
        if setting_kohm is None:
            given, missing = missing, given
        raise _problem(f"{given} stands without {missing}", f"add {missing}, or give --capacitance-nf alone")
    return capacitance_f(design_hz, setting_kohm * 1e3) * 1e9


def _network(question: CornerQuestion, capacitance_nf: float, load_kohm: float) -> LineNetwork:
    """As it plays: without the measuring input."""
    second_kohm, coupling_uf = question.second_input_kohm, question.coupling_capacitor_uf
    return LineNetwork(
        capacitance_f=capacitance_nf * 1e-9,
        input_ohm=load_kohm * 1e3,
        source_ohm=question.source_ohm,
        cable_f=question.cable_pf * 1e-12,
        taps_ohm=tuple(one * 1e3 for one in question.tap_kohm),
        taps_before_ohm=tuple(one * 1e3 for one in question.tap_before_kohm),
        second_input_ohm=None if second_kohm is None else second_kohm * 1e3,
        coupling_f=None if coupling_uf is None else coupling_uf * 1e-6,
    )


def _boost(network: LineNetwork, meant_hz: float | None) -> tuple[BoostRemainder, ...]:
    if meant_hz is None:
        return ()
    return tuple(
        BoostRemainder(
            frequency_hz=frequency_hz,
            filter_in_db=boost_remainder_db(frequency_hz, meant_hz, network),
            filter_out_db=boost_remainder_db(frequency_hz, meant_hz),
        )
        for frequency_hz in BOOST_FREQUENCIES_HZ
    )


def _rows(question: CornerQuestion, capacitance_nf: float, compared_hz: float) -> tuple[Row, ...]:
    """Settings against loads; a single row where only the capacitor is known."""
    loads_kohm = _with_common(question.load_kohm)
    if question.design_corner_hz is None or question.setting_kohm is None:
        return (_row(question, None, capacitance_nf, loads_kohm, compared_hz),)
    return tuple(
        _row(question, setting, capacitance_f(question.design_corner_hz, setting * 1e3) * 1e9, loads_kohm, compared_hz)
        for setting in _with_common(question.setting_kohm)
    )


def _row(
    question: CornerQuestion,
    setting_kohm: float | None,
    capacitance_nf: float,
    loads_kohm: Iterable[float],
    compared_hz: float,
) -> Row:
    cells = []
    for load_kohm in loads_kohm:
        corner_hz = line_corner_hz(_network(question, capacitance_nf, load_kohm))
        cells.append(
            Cell(
                load_kohm=load_kohm,
                corner_hz=corner_hz,
                corner_ratio=corner_hz / compared_hz,
                corner_octaves=octaves(corner_hz, compared_hz),
            )
        )
    return Row(setting_kohm=setting_kohm, capacitance_nf=capacitance_nf, cells=tuple(cells))


def _with_common(value_kohm: float) -> tuple[float, ...]:
    return tuple(sorted({*COMMON_LOADS_KOHM, value_kohm}))


def _optional(option: str, text: str | None, *, percent: bool = False) -> float | None:
    """The number that an option was given, None where it was not; `percent`: 0 is allowed, and 100 is too much."""
    if text is None:
        return None
    value = _number(option, text, zero=percent)
    if percent and value >= 100.0:
        raise _problem(f"{option} is {text!r}, which cannot be", "give a number from 0 to below 100")
    return value


def _number(option: str, text: str, *, zero: bool = False) -> float:
    """The number that an option was given; `zero`: 0 is allowed too."""
    try:
        value = float(text)
    except ValueError:
        raise _problem(
            f"{option} is {text!r}, which is not a number", "write it with a decimal point and no unit, such as 47.5"
        ) from None
    if not (SMALLEST <= value <= LARGEST or (zero and value == 0.0)):
        either = "0, or " if zero else ""
        raise _problem(
            f"{option} is {text!r}, which cannot be", f"give {either}a number from {SMALLEST:g} to {LARGEST:g}"
        )
    return value


def _problem(what: str, try_: str) -> InputProblem:
    return InputProblem(what, where="the command line of 'fairhearing corner'", try_=try_)
