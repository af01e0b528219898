"""Charts as analysers ask for them, made by hand: every form, a gap, a stranger's hostile text."""

from __future__ import annotations

import math

from fairhearing.api import Axis, ChartRequest, Rule

FREQUENCY_HZ = [20.0 * 2 ** (index / 12) for index in range(108)]
HERTZ = Axis(column="frequency", label="Frequency", unit="Hz", scale="log")


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
