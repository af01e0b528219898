"""ReportInputs made by hand: a session with listeners, one without; a scenario of our own with known numbers."""

from __future__ import annotations

import math
from pathlib import Path

from fairhearing.api import (
    AnalyserResult,
    Chain,
    Condition,
    Criteria,
    Finding,
    Refusal,
    ReportInputs,
    Result,
    Room,
    Seat,
    Session,
    SourceNote,
    Table,
)

from .build_charts import (
    FREQUENCY_HZ,
    corner_chart,
    foreign_chart,
    high_pass_db,
    level_chart,
    map_chart,
    preference_chart,
    responses_chart,
    target_chart,
    trials_chart,
)

HALL, STUDY = "north-hall-2026-05-09", "study-2026-05-16"
NOMINAL_HZ = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200)
EXACT_HZ = tuple(10 ** (index / 10) for index in range(13, 24))


def session(identifier: str, *, setting_kohm: float, question: str, warnings: tuple[str, ...] = ()) -> Session:
    """A session with a filter in and out at three seats."""
    chain = Chain(
        design_corner_hz=90.0, setting_kohm=setting_kohm, amplifier_input_kohm=47.0, source_output_ohm=150.0,
        cable_capacitance_pf=300.0, bass_given_back=True,
    )  # fmt: skip
    return Session(
        id=identifier,
        date=identifier[-10:],
        question=question,
        room=Room(id=identifier[:-11], size_m=(7.4, 5.1, 2.9), temperature_c=21.0),
        conditions=(
            Condition(id="out", label="Filter out", reference=True),
            Condition(id="in", label="Filter in", chain=chain, trim_db=-0.25),
        ),
        seats=(
            Seat(id="A", position_m=(3.2, 1.4, 1.15)),
            Seat(id="B", position_m=(3.2, 3.1, 1.15)),
            Seat(id="C", position_m=(5.6, 2.2, 1.15), weight=0.5),
        ),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("nowhere"),
        warnings=warnings,
    )


def measured(quantity: str, value: float | None, half: float | None, unit: str, **more: object) -> Finding:
    """A measured finding, filter in against out, with a symmetric interval."""
    fields: dict[str, object] = {
        "condition": "in", "reference": "out", "point": "seat", "playing": "both", "n": 4, "confidence": 0.95,
        "method": f"{quantity}: t interval from repeats pooled over seats",
    }  # fmt: skip
    if value is not None and half is not None:
        fields |= {"low": value - half, "high": value + half}
    return Finding(quantity=quantity, value=value, unit=unit, **(fields | more))  # type: ignore[arg-type]


def bands(*, per_seat: float) -> tuple[Finding, ...]:
    """level_change over seats and at each seat, one band without data."""
    found = []
    for index, (nominal, exact) in enumerate(zip(NOMINAL_HZ, EXACT_HZ, strict=True)):
        edges = (exact * 10**-0.05, exact * 10**0.05)
        for seat, shift in ((None, 0.0), ("A", per_seat), ("B", -per_seat)):
            missing = index == 0 and seat == "B"
            value = None if missing else high_pass_db(exact, 90.0) + shift
            caveats = ("less than 15 dB above the noise",) if missing else ()
            found.append(
                measured(
                    "level_change",
                    value,
                    0.4,
                    "dB",
                    seat=seat,
                    band_hz=edges,
                    nominal_hz=float(nominal),
                    caveats=caveats,
                )
            )
    return tuple(found)


def filter_findings(corner_hz: float, verdict: str) -> tuple[Finding, ...]:
    """Corner, expectation, ratio and octaves, order."""
    ratio = corner_hz / 90.0
    main = {"playing": "main"}
    return (
        measured("corner_frequency", corner_hz, corner_hz * 0.026, "Hz", **main),
        measured("expected_corner_frequency", 90.0, None, "Hz", n=None, confidence=None, point=None, playing=None),
        measured("corner_ratio", ratio, ratio * 0.026, "1", verdict=verdict, **main),
        measured("corner_ratio", math.log2(ratio), 0.037, "oct", variant="octaves", **main),
        measured("filter_order", 1.02, 0.06, "1", verdict="first-order", **main),
        measured("implied_load", 46_873.0, 1210.0, "ohm", **main),
        measured("passband_gain", -0.03, 0.05, "dB", **main),
        *(measured("corner_frequency", corner_hz + shift, 4.0, "Hz", seat=seat, **main)
          for seat, shift in (("A", -0.8), ("B", 1.1), ("C", 0.2))),
    )  # fmt: skip


def analysed(identifier: str, analyser: str, *findings: Finding, **more: object) -> AnalyserResult:
    """An analyser's result in one session."""
    result = Result(findings=findings, **more)  # type: ignore[arg-type]
    return AnalyserResult(session=identifier, room=identifier[:-11], analyser=analyser, version="1", result=result)


def hall_results() -> tuple[AnalyserResult, ...]:
    """The hall: set as meant, one seat worse, heard and preferred."""
    change = "target_deviation_change"
    people = {"point": None, "playing": None}
    curve = Table(
        name="change",
        columns={"frequency": FREQUENCY_HZ, "level_db": [None, *[-1.0] * 107], "seat": ["A"] * 108},
        units={"frequency": "Hz", "level_db": "dB", "seat": ""},
    )
    return (
        analysed(HALL, "filter", *filter_findings(89.1, "as-set"), charts=(corner_chart(89.1),)),
        analysed(
            HALL, "level", *bands(per_seat=0.3), measured("level_difference", 0.01, 0.05, "dB", verdict="matched"),
            measured("guard_band_change", -0.12, 0.2, "dB", verdict="untouched"),
            measured("subsonic_level_change", None, None, "dB", n=None, caveats=("no recordings in this session",)),
            tables=(curve,), charts=(level_chart(), responses_chart(89.1)),
            refusals=(Refusal(what="subsonic energy", why="no recording was made", try_="record a programme"),),
        ),
        analysed(
            HALL, "target", measured(change, -1.4, 0.5, "dB", verdict="undecided",
                                     caveats=("seat C is worse, so that the whole is not improved",)),
            measured(change, -2.9, 0.4, "dB", seat="A", verdict="improved"),
            measured(change, -2.4, 0.4, "dB", seat="B", verdict="improved"),
            measured(change, 1.1, 0.4, "dB", seat="C", verdict="worse"),
            measured("smallest_detectable_change", 0.42, None, "dB", of=change),
            charts=(target_chart(), map_chart()),
        ),
        analysed(
            HALL, "forced-choice",
            measured("proportion_correct", 0.6875, 0.08, "1", verdict="heard", p_value=0.0000123, n=128, **people),
            measured("d_prime", 1.42, 0.5, "1", n=128, **people),
            *(measured("proportion_correct", right, 0.2, "1", listener=f"L{i:02d}", p_value=p, n=16,
                       verdict=v, **people)
              for i, (right, p, v) in enumerate(((0.75, 0.038, "not-shown"), (0.8125, 0.0106, "heard")), 1)),
            charts=(trials_chart(),),
        ),
        analysed(
            HALL, "preference",
            measured("preference_share", 0.675, 0.135, "1", verdict="preferred", p_value=0.031, n=8, **people),
            charts=(preference_chart(),),
        ),
        analysed(
            HALL, "balance",
            Finding(quantity="balance", value=None, unit="", condition="in", reference="out", verdict="mixed",
                    method="required: as-set shown (corner_ratio), untouched shown (guard_band_change), no-seat-worse"
                    " refuted (seat C); benefits: preferred shown (preference_share)"),
        ),
    )  # fmt: skip


def study_results() -> tuple[AnalyserResult, ...]:
    """The study: set for a fifth of the load, nobody listened."""
    caught = ("the corner lies below the data at seat B",)
    return (
        analysed(STUDY, "filter", *filter_findings(18.2, "mis-set"), charts=(corner_chart(18.2),)),
        analysed(
            STUDY, "level",
            measured("level_difference", 0.14, 0.09, "dB", verdict="undecided", caveats=caught),
            measured("guard_band_change", 0.06, 0.21, "dB", verdict="untouched"),
            charts=(responses_chart(18.2),),
        ),
        analysed(STUDY, "target", measured("target_deviation_change", -0.1, 0.3, "dB", verdict="unchanged")),
        analysed(
            STUDY, "decay-times", measured("reverberation_time", 0.36, 0.04, "s", verdict="short", n=2),
            charts=(foreign_chart(),),
        ),
        analysed(
            STUDY, "balance",
            Finding(quantity="balance", value=None, unit="", condition="in", reference="out", verdict="no-gain",
                    method="required: as-set refuted (corner_ratio); benefits: improved refuted, preferred undecided,"
                    " better undecided; what can be heard was not asked"),
            refusals=(Refusal(what="preference", why="no sheet says what is preferred", try_=""),),
        ),
    )  # fmt: skip


def sources(identifier: str) -> tuple[SourceNote, ...]:
    """Two files with their digests."""
    return tuple(
        SourceNote(
            session=identifier, path=f"responses/{name}.csv", sha256=f"{index:064x}", size=4096 + index,
            importer="response-table", caveats=("a row at 0 Hz was dropped",) if index else (),
        )
        for index, name in enumerate(("A_in_1", "A_out_1"))
    )  # fmt: skip


SOFTWARE = {"fairhearing": "0.1.0", "numpy": "2.4.0", "python": "3.11.9"}


def hall() -> ReportInputs:
    """The session with listeners alone."""
    return ReportInputs(
        sessions=(session(HALL, setting_kohm=47.0, question="Does the high-pass help at the sofa?"),),
        results=hall_results(),
        sources=sources(HALL),
        software=SOFTWARE,
    )


def study() -> ReportInputs:
    """The session without listeners alone."""
    quiet = session(
        STUDY, setting_kohm=9.4, question="Is the filter set right?", warnings=("notes.txt is matched by nothing",)
    )
    return ReportInputs(
        sessions=(quiet,),
        results=study_results(),
        sources=sources(STUDY),
        unread=(f"{STUDY}: scores/grades.csv (grading)",),
        problems=("plug-in room-decay 0.3 did not load: no module named 'absent'",),
        software=SOFTWARE,
    )


def both() -> ReportInputs:
    """Both sessions in one report."""
    one, other = hall(), study()
    return ReportInputs(
        sessions=one.sessions + other.sessions,
        results=one.results + other.results,
        sources=one.sources + other.sources,
        unread=other.unread,
        problems=other.problems,
        software=SOFTWARE,
    )
