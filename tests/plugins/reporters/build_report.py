"""ReportInputs made by hand: a session with listeners, one without; a scenario of our own with known numbers."""

from __future__ import annotations

import math
from pathlib import Path

from fairhearing.api import (
    AnalyserResult,
    Axis,
    Chain,
    ChartRequest,
    Condition,
    Criteria,
    Finding,
    Refusal,
    ReportInputs,
    Result,
    Room,
    Rule,
    Seat,
    Session,
    SourceNote,
    Table,
)

HALL, STUDY = "north-hall-2026-05-09", "study-2026-05-16"
FREQUENCY_HZ = [20.0 * 2 ** (index / 12) for index in range(108)]
NOMINAL_HZ = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200)
EXACT_HZ = tuple(10 ** (index / 10) for index in range(13, 24))
HERTZ = Axis(column="frequency", label="Frequency", unit="Hz", scale="log")


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


def high_pass_db(frequency_hz: float, corner_hz: float) -> float:
    """Level of a first-order high-pass."""
    return -10 * math.log10(1 + (corner_hz / frequency_hz) ** 2)


def room_db(frequency_hz: float, seat: int) -> float:
    """A room's response at a seat: three smooth humps, no more."""
    humps = ((34.0, 7.0, 0.22), (58.0 + 6 * seat, -6.0, 0.16), (140.0 - 9 * seat, 4.0, 0.3))
    return sum(gain * math.exp(-((math.log2(frequency_hz / centre) / width) ** 2)) for centre, gain, width in humps)


def responses_chart(corner_hz: float) -> ChartRequest:
    """Level in and out at three seats with bands of repeatability and a gap."""
    rows = [
        (f, seat, label, room_db(f, index) + (high_pass_db(f, corner_hz) if label == "in" else 0.0))
        for index, seat in enumerate("ABC")
        for label in ("out", "in")
        for f in FREQUENCY_HZ
    ]
    levels = [None if seat == "C" and 900 < f < 1300 else 75 + level for f, seat, _, level in rows]
    return ChartRequest(
        name="responses-in",
        title="Level at each seat, filter in and out",
        alternative="At all three seats the level with the filter in falls below that with the filter out under 90 Hz.",
        form="line",
        data={
            "frequency": [row[0] for row in rows],
            "seat": [row[1] for row in rows],
            "condition": [row[2] for row in rows],
            "level": levels,
            "low": [None if level is None else level - 0.6 for level in levels],
            "high": [None if level is None else level + 0.6 for level in levels],
        },
        x=HERTZ,
        y=Axis(column="level", label="Level", unit="dB"),
        series="condition",
        panel="seat",
        low="low",
        high="high",
    )


def corner_chart(corner_hz: float) -> ChartRequest:
    """The measured change and the fitted high-pass."""
    wobble = [0.25 * math.sin(9 * math.log(f)) for f in FREQUENCY_HZ]
    change = [high_pass_db(f, corner_hz) + w for f, w in zip(FREQUENCY_HZ, wobble, strict=True)]
    fit = [high_pass_db(f, corner_hz) for f in FREQUENCY_HZ]
    return ChartRequest(
        name="corner-in",
        title=f"The change and the filter fitted to it, corner {corner_hz:.1f} Hz",
        alternative="The measured change follows a first-order high-pass.",
        form="line",
        data={
            "frequency": FREQUENCY_HZ * 2,
            "curve": ["measured"] * len(FREQUENCY_HZ) + ["fitted"] * len(FREQUENCY_HZ),
            "change": change + fit,
        },
        x=HERTZ,
        y=Axis(column="change", label="Change of level", unit="dB"),
        series="curve",
        rules=(Rule(at=-3.01, label="three decibels down"),),
    )


def target_chart() -> ChartRequest:
    """Deviation from the target by seat, before and after."""
    return ChartRequest(
        name="target-in",
        title="Deviation of the bass from the target, seat by seat",
        alternative="Seats A and B come closer to the target; seat C moves away.",
        form="interval",
        data={
            "seat": ["A", "A", "B", "B", "C", "C"],
            "condition": ["out", "in"] * 3,
            "deviation": [6.1, 3.2, 5.4, 3.0, 4.0, 5.1],
            "low": [5.8, 2.9, 5.1, 2.7, 3.7, 4.8],
            "high": [6.4, 3.5, 5.7, 3.3, 4.3, 5.4],
        },
        x=Axis(column="deviation", label="Deviation from the target", unit="dB"),
        y=Axis(column="seat", label="Seat", scale="category"),
        series="condition",
        low="low",
        high="high",
    )


def level_chart() -> ChartRequest:
    """Level difference by seat against the tolerance."""
    return ChartRequest(
        name="level-in",
        title="Level difference, seat by seat",
        alternative="All seats lie within the tolerance.",
        form="interval",
        data={
            "seat": ["A", "B", "C", "over seats"],
            "difference": [0.02, -0.03, 0.05, 0.01],
            "low": [-0.05, -0.1, -0.02, -0.04],
            "high": [0.09, 0.04, 0.12, 0.06],
        },
        x=Axis(column="difference", label="Level difference", unit="dB"),
        y=Axis(column="seat", label="Seat", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=-0.1, label="tolerance"), Rule(at=0.1, label="tolerance")),
    )


def map_chart() -> ChartRequest:
    """The seats from above, shaded by the change of deviation."""
    return ChartRequest(
        name="seats-in",
        title="Where the bass gets better or worse",
        alternative="Seats A and B improve, seat C gets worse.",
        form="seat-map",
        data={"x": [3.2, 3.2, 5.6], "y": [1.4, 3.1, 2.2], "seat": ["A", "B", "C"], "change": [-2.9, -2.4, 1.1]},
        x=Axis(column="x", label="Along the room", unit="m"),
        y=Axis(column="y", label="Across the room", unit="m"),
        series="seat",
        value=Axis(column="change", label="Change of deviation", unit="dB"),
    )


def trials_chart() -> ChartRequest:
    """Right answers by listener with the chance line."""
    return ChartRequest(
        name="trials-in",
        title="Right answers, listener by listener",
        alternative="Seven of eight listeners lie above the line of guessing.",
        form="bar",
        data={
            "listener": [f"L{index:02d}" for index in range(1, 9)],
            "right": [0.75, 0.6875, 0.8125, 0.5, 0.6875, 0.75, 0.625, 0.6875],
            "low": [0.48, 0.41, 0.54, 0.25, 0.41, 0.48, 0.35, 0.41],
            "high": [0.93, 0.89, 0.96, 0.75, 0.89, 0.93, 0.85, 0.89],
        },
        x=Axis(column="listener", label="Listener", scale="category"),
        y=Axis(column="right", label="Share of right answers", unit="1"),
        low="low",
        high="high",
        rules=(Rule(at=0.5, label="guessing"),),
    )


def preference_chart() -> ChartRequest:
    """Choices won by listener, and over them."""
    return ChartRequest(
        name="preference-in",
        title="Choices that the filter in won",
        alternative="Six of eight listeners chose the filter in more often.",
        form="forest",
        data={
            "listener": [*[f"L{index:02d}" for index in range(1, 9)], "all"],
            "share": [0.8, 0.6, 0.9, 0.5, 0.7, 0.8, 0.4, 0.7, 0.675],
            "low": [0.44, 0.26, 0.55, 0.19, 0.35, 0.44, 0.12, 0.35, 0.54],
            "high": [0.97, 0.88, 0.99, 0.81, 0.93, 0.97, 0.74, 0.93, 0.81],
        },
        x=Axis(column="share", label="Share of choices won", unit="1"),
        y=Axis(column="listener", label="Listener", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.5, label="no preference"),),
    )


def foreign_chart() -> ChartRequest:
    """A grid of somebody else's analyser, with awkward column names and hostile text."""
    return ChartRequest(
        name="decay/times & more",
        title="Decay <script>alert(1)</script> time",
        alternative='A "grid" of decay times; <b>not measured</b> at one place.',
        form="grid",
        data={
            "band.low[0]": ["low", "low", "high", "high"],
            "seat:N": ["A", "</script><script>alert(2)</script>", "A", "</script><script>alert(2)</script>"],
            "t": [0.41, 0.38, None, 0.29],
        },
        x=Axis(column="band.low[0]", label="Band", scale="category"),
        y=Axis(column="seat:N", label="Seat", scale="category"),
        value=Axis(column="t", label="Decay time", unit="s"),
    )


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
