"""Whether listeners change in the course of their trials, by learning or by tiring: second_half_change."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Needs, Result, Symmetry, hookimpl
from fairhearing.statistics.listeners import t_interval
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.listening import (
    ONE_LISTENER_CAVEAT,
    chart_suffix,
    counted,
    label,
    labels_are_labels,
)
from fairhearing_builtins.analysers.order_results import PREFERRED, RATED, RIGHT, Course, Stage, courses

CHANGE = frozenset({"second_half_change"})
N_BLOCKS = 4
CONDITION_FIRST, REFERENCE_FIRST = "condition-first", "reference-first"
WHAT = {RIGHT: "share of right answers", PREFERRED: "share of preferences", RATED: "difference of ratings"}
TOO_FEW = "no listener has what it takes in both halves of the trials"
ALIKE = "all listeners change by the same: t has no width, so there is no interval"


class OverTrials:
    """Second half of each listener's trials less the first half, mean over listeners; the course of the session."""

    name = "over-trials"
    version = "2"
    quantities = CHANGE
    needs = Needs(methods=frozenset({*CHOICES, "paired-preference", "grading"}))
    symmetries = (
        Symmetry(kind="trial-order-negates", quantities=CHANGE),
        *labels_are_labels(CHANGE),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each pair and method; by what was presented first too, where the sheet says so."""
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for course in courses(inputs):
            own = [_finding(inputs, course, None), *_by_first(inputs, course)]
            findings += own
            charts += _charts(inputs, course, own[0])
        return Result(findings=tuple(findings), charts=tuple(charts))


def _by_first(inputs: Inputs, course: Course) -> list[Finding]:
    """The change among trials in which the one, and in which the other, came first; nothing of what has no value."""
    pair = course.pair
    found = [
        _finding(inputs, course, first)
        for first in (pair.condition, pair.reference)
        if any(stage.first == first for own in course.listeners.values() for stage in own)
    ]
    return [finding for finding in found if finding.value is not None]


def _finding(inputs: Inputs, course: Course, first: str | None) -> Finding:
    """second_half_change over listeners; `first`: of the trials alone in which this condition came first."""
    confidence = inputs.session.criteria.confidence
    listeners = {
        name: [stage for stage in own if first is None or stage.first == first]
        for name, own in course.listeners.items()
    }
    changes = {name: change for name, own in listeners.items() if (change := _change(course, own)) is not None}
    values = list(changes.values())
    order = None if first is None else CONDITION_FIRST if first == course.pair.condition else REFERENCE_FIRST
    only_one = (ONE_LISTENER_CAVEAT,) if len(values) == 1 else ()
    n_trials = sum(len(own) for own in listeners.values())
    among = "" if first is None else f", in trials with {first} first"
    has_interval = len(set(values)) > 1
    interval = t_interval([float(value) for value in values], confidence, *_widest(course)) if has_interval else None
    return Finding(
        quantity="second_half_change",
        value=float(sum(values, Fraction(0)) / len(values)) if values else None,
        unit=course.unit,
        variant="-".join(part for part in (course.variant, order) if part) or None,
        low=None if interval is None else interval.low,
        high=None if interval is None else interval.high,
        confidence=confidence if has_interval else None,
        n=len(values) or None,
        method=f"{WHAT[course.of]}{among}, second half of each listener's trials less the first half, mean over "
        f"{counted(len(values), 'listener', 'listeners')} ({counted(n_trials, 'trial', 'trials')}; the middle one of "
        "an odd number is in neither half); interval: t over listeners",
        condition=course.pair.condition,
        reference=course.pair.reference,
        of=course.of,
        caveats=(
            *course.left_out,
            *only_one,
            *((TOO_FEW,) if not values else (ALIKE,) if len(values) > 1 and not has_interval else ()),
        ),
    )


def _change(course: Course, stages: Sequence[Stage]) -> Fraction | None:
    half = len(stages) // 2
    first, second = course.mean(stages[:half]), course.mean(stages[len(stages) - half :])
    return None if first is None or second is None else second - first


def _widest(course: Course) -> tuple[float, float]:
    """What a change can be at the most: all wrong to all right, or from one end of the scale to the other and back."""
    widest = {"1": 1.0, "comparison": 6.0, "quality": 200.0, "impairment": 8.0}[course.unit]
    return -widest, widest


# --- chart ------------------------------------------------------------------------------------------------------------


def _charts(inputs: Inputs, course: Course, change: Finding) -> list[ChartRequest]:
    """The mean over listeners in each quarter of the trials, with a t interval where there is one."""
    blocks: list[list[float]] = [[] for _ in range(N_BLOCKS)]
    for own in course.listeners.values():
        for block in range(N_BLOCKS):
            part = own[len(own) * block // N_BLOCKS : len(own) * (block + 1) // N_BLOCKS]
            value = course.mean(part)
            if value is not None:
                blocks[block].append(float(value))
    if not any(blocks):
        return []
    confidence = inputs.session.criteria.confidence
    means = [_mean_of(block) for block in blocks]
    intervals = [t_interval(block, confidence) if len(set(block)) > 1 else None for block in blocks]
    session, pair = inputs.session, course.pair
    names = f"{label(session, pair.condition)} against {label(session, pair.reference)}"
    what = WHAT[course.of].capitalize()
    told = "not to be had" if change.value is None else f"{change.value:+.2f}"
    suffix = "-".join(part for part in (chart_suffix(session, pair), course.variant) if part)
    quarters = [f"{name} quarter" for name in ("first", "second", "third", "fourth")]
    stated = "; ".join(f"{name} {_told(mean)}" for name, mean in zip(quarters, means, strict=True))
    chart = ChartRequest(
        name=f"over-trials-{course.of.replace('_', '-')}-{suffix}",
        title=f"{what} over the trials: {names}",
        alternative=f"{what} in each quarter of the trials, mean over listeners with intervals; {names}. {stated}. "
        f"Second half less first half: {told}." + "".join(f" {one[0].upper()}{one[1:]}." for one in course.left_out),
        form="interval",
        data={
            "quarter": quarters,
            "mean": means,
            "low": [None if one is None else one.low for one in intervals],
            "high": [None if one is None else one.high for one in intervals],
        },
        x=Axis(column="mean", label=what, unit=course.unit),
        y=Axis(column="quarter", label="Trials", scale="category"),
        low="low",
        high="high",
    )
    return [chart]


def _told(mean: float | None) -> str:
    return "not to be had" if mean is None else f"{mean:.2f}"


def _mean_of(values: Sequence[float]) -> float | None:
    """The mean, summed in an order that no listener's code decides."""
    return sum(sorted(values)) / len(values) if values else None


@hookimpl
def fairhearing_analysers() -> list[OverTrials]:
    """The analyser of the course of the trials."""
    return [OverTrials()]
