"""What the plan asked, answered as it was planned: equivalence, looks while it ran, and what could have been shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Literal

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, ListeningPlan, Needs, Result, Rule, Symmetry, hookimpl
from fairhearing.statistics.equivalence import (
    EquivalenceTest,
    ListenersEquivalence,
    equivalent_over_listeners,
    equivalent_proportion,
)
from fairhearing.statistics.power import smallest_proportion
from fairhearing.statistics.proportions import clopper_pearson
from fairhearing.statistics.sequential import adjusted_result, sequential_plan
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS
from fairhearing_builtins.analysers.choice_trials import PairTrials, gather, headline
from fairhearing_builtins.analysers.grading_trials import listener_means
from fairhearing_builtins.analysers.listening import (
    CONTROL,
    Pair,
    attributed,
    attribution_fault,
    control_caveats,
    counted,
    in_words,
    labels_are_labels,
)
from fairhearing_builtins.analysers.planned_trials import Planned, differences_from_plan, looked_at, planned_of
from fairhearing_builtins.analysers.trial_order import in_order

RIGHT, PREFERRED, RATED = "proportion_correct", "preference_share", "rating_difference"
EQUIVALENCE, DETECTABLE, SEQUENTIAL = "equivalence", "detectable_share", "sequential"
QUANTITIES = frozenset({EQUIVALENCE, DETECTABLE, RIGHT})
USUAL_POWER = 0.8
CLAIMS = frozenset({"heard"})
TOO_FEW = "not even right answers throughout would have shown it: too few trials"
ENDED_EARLY = "trials ended before the last look and short of the boundary: the interval holds, the plan was not kept"
AS_WRONG = "counted as wrong, as at a planned look: {trials} excluded or without a valid answer"
OVERRUN = "{n} trials after the boundary was crossed are left out"
LOOKS_AS_ONE_LISTENER = (
    "the interval counts all trials as one listener's: where listeners differ it is too narrow (in simulation it then "
    "holds in 83 to 91 % where it says 95 %); p and verdict hold, as guesses are alike"
)
ALIKE = "all listeners have the same value: nothing says how far the next one may be from it"
Test = EquivalenceTest | ListenersEquivalence


class AsPlanned:
    """The result by the looks that were planned, equivalence by the planned margin, and the smallest share findable."""

    name = "as-planned"
    version = "2"
    quantities = QUANTITIES
    needs = Needs(
        methods=frozenset({*CHOICES, "paired-preference", "grading"}),
        findings=frozenset({"level_difference", CONTROL}),
    )
    symmetries = (
        Symmetry(kind="swap-conditions-invariant", quantities=frozenset({DETECTABLE, RIGHT})),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=frozenset({DETECTABLE, EQUIVALENCE})),
        *labels_are_labels(QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """What could have been shown for each pair and method; the rest for the plan's pair, if it was opened."""
        planned = planned_of(inputs)
        detectable = _detectable(inputs, planned)
        findings = [finding for finding, _ in detectable]
        if planned is not None:
            findings += _sequential(inputs, planned)
            findings += _equivalence(inputs, planned)
        return Result(findings=tuple(findings), charts=tuple(_charts(inputs, planned, findings, detectable)))


# --- what could have been shown ---------------------------------------------------------------------------------------


def _detectable(inputs: Inputs, planned: Planned | None) -> list[tuple[Finding, PairTrials]]:
    """The smallest true share right that the trials would have shown with the power, for each pair and method."""
    findings = []
    for pair, pools in gather(inputs).pools.items():
        speaks = headline(pools)
        for method, pool in pools.items():
            if CHOICE_METHODS[method].chance is not None:
                plan = (
                    planned.plan
                    if planned is not None and (planned.pair, planned.plan.method) == (pair, method)
                    else None
                )
                found = _smallest(inputs, pair, method, pool, plan)
                findings.append((replace(found, variant=None if method == speaks else method), pool))
    return findings


def _smallest(inputs: Inputs, pair: Pair, method: str, pool: PairTrials, plan: ListeningPlan | None) -> Finding:
    alpha = inputs.session.criteria.alpha if plan is None else plan.alpha
    power = USUAL_POWER if plan is None else plan.power
    n_trials, how = len(pool.trials), CHOICE_METHODS[method]
    value = smallest_proportion(n_trials, how.chance or 0.5, alpha, power)
    whose = "common practice, no plan says another" if plan is None else "as planned"
    balanced = "; the order was balanced, which this does not allow for" if pool.balanced else ""
    caveats = ("no valid trial",) if not n_trials else (TOO_FEW,) if math.isnan(value) else ()
    return Finding(
        quantity=DETECTABLE,
        value=None if caveats else value,
        unit="1",
        n=n_trials or None,
        method=f"{how.label}, the smallest true share of right answers that {counted(n_trials, 'trial', 'trials')} "
        f"show with power {power:g} ({whose}) at alpha {alpha:g}: exact binomial, one-sided, chance 1/{how.n_ways}"
        f"{balanced}",
        condition=pair.condition,
        reference=pair.reference,
        of=RIGHT,
        caveats=caveats,
    )


# --- looks ------------------------------------------------------------------------------------------------------------


def _sequential(inputs: Inputs, planned: Planned) -> list[Finding]:
    """proportion_correct by the looks of the plan: the first that crosses, else the last that was reached."""
    plan, looked = planned.plan, looked_at(planned)
    how = CHOICE_METHODS.get(plan.method)
    if looked is None or how is None or how.chance is None:
        return []
    spending: Literal["pocock", "obrien-fleming"] = "pocock" if plan.spending == "pocock" else "obrien-fleming"
    bounds = sequential_plan(looked.n_at_looks, how.chance, plan.alpha, spending)
    needed = bounds.n_right_needed
    crossed = [look for look, n in enumerate(looked.n_right) if (bound := needed[look]) is not None and n >= bound]
    look = crossed[0] if crossed else len(looked.n_right) - 1
    n_trials, n_right = looked.n_trials[look], looked.n_right[look]
    confidence = inputs.session.criteria.confidence
    found = adjusted_result(bounds, look, n_right, confidence)
    fault = attribution_fault(inputs, planned.pair, {trial.seat for trial in planned.choices})
    verdict, why = attributed("heard" if found.boundary_crossed else "not-shown", fault, CLAIMS)
    n_planned = plan.looks[look].n_trials if found.boundary_crossed else plan.n_trials * len(plan.listeners)
    caveats = [*differences_from_plan(planned, n_trials, n_planned), *why]
    if looked.n_wrong_unseen[look]:
        caveats.append(AS_WRONG.format(trials=counted(looked.n_wrong_unseen[look], "trial", "trials")))
    if len(planned.listeners) > 1:
        caveats.append(LOOKS_AS_ONE_LISTENER)
    if not found.as_planned:
        caveats.append(ENDED_EARLY)
    if len(planned.played) > n_trials:
        caveats.append(OVERRUN.format(n=len(planned.played) - n_trials))
    bound_words = "no number of right answers crosses" if needed[look] is None else f"{needed[look]} needed"
    finding = Finding(
        quantity=RIGHT,
        variant=SEQUENTIAL,
        value=found.estimate,
        unit="1",
        low=found.low,
        high=found.high,
        confidence=confidence,
        p_value=found.p_value,
        n=n_trials,
        method=f"{how.label}, look {look + 1} of {len(plan.looks)} after {n_trials} trials: {n_right} right, "
        f"{bound_words}, {'crossed' if found.boundary_crossed else 'not crossed'}; boundaries: {spending} spending of "
        f"alpha {plan.alpha:g}, exact; value median-unbiased, p and interval adjusted for the looks (stage-wise)",
        condition=planned.pair.condition,
        reference=planned.pair.reference,
        verdict=verdict,
        caveats=(*caveats, *control_caveats(inputs, verdict)),
    )
    return [finding]


# --- equivalence ------------------------------------------------------------------------------------------------------


def _equivalence(inputs: Inputs, planned: Planned) -> list[Finding]:
    """Whether what was scored lies within the margin that the plan fixed; nothing without one."""
    plan = planned.plan
    if plan.margin is None:
        return []
    of = RIGHT if plan.method in CHOICES else PREFERRED if plan.method == "paired-preference" else RATED
    unit = plan.scale or "" if of == RATED else "1"
    said = Finding(
        quantity=EQUIVALENCE,
        value=None,
        unit=unit,
        of=of,
        method=f"two one-sided tests, {_margin_words(of, plan.margin, unit)}",
        condition=planned.pair.condition,
        reference=planned.pair.reference,
        verdict="not-shown",
        caveats=(
            *differences_from_plan(planned, planned.n_trials, plan.n_trials * len(plan.listeners)),
            *control_caveats(inputs, "not-shown"),
        ),
    )
    test, n_counted, words = _test(planned, of, plan.margin)
    if test is None:
        why = "no valid trial" if not planned.n_trials else "one listener: it takes two to see how listeners differ"
        return [replace(said, caveats=(*said.caveats, why))]
    has_width = math.isfinite(test.low) and math.isfinite(test.high)
    finding = replace(
        said,
        value=test.estimate,
        low=test.low if has_width else None,
        high=test.high if has_width else None,
        confidence=test.confidence,
        p_value=test.p_value,
        n=n_counted,
        method=f"{said.method}; p: {words}; interval: {100 * test.confidence:g} %",
        verdict="equivalent" if test.within else "not-shown",
        caveats=said.caveats if has_width else (*said.caveats, ALIKE),
    )
    return [finding]


def _margin_words(of: str, margin: float, unit: str) -> str:
    low, high = _margins(of, margin)
    if low is None:
        return f"margin fixed by the plan: no more than {high:g} right"
    named = "" if unit == "1" else f" on the scale {unit}"
    return f"margins fixed by the plan: {low:g} to {high:g}{named}"


def _margins(of: str, margin: float) -> tuple[float | None, float]:
    """Lower and upper margin. Of shares of preferences the plan names one, and the other mirrors it at one half."""
    if of == RIGHT:
        return None, margin
    if of == RATED:
        return -margin, margin
    return 1.0 - margin, margin


def _test(planned: Planned, of: str, margin: float) -> tuple[Test | None, int, str]:
    """The test, how many it counts, and its words; None where there is too little for one."""
    alpha, (low, high) = planned.plan.alpha, _margins(of, margin)
    if of == RIGHT:
        n_trials = len(planned.choices)
        if not n_trials:
            return None, 0, ""
        n_right = sum(trial.right for trial in planned.choices)
        exact = equivalent_proportion(n_right, n_trials, low, high, alpha)
        words = f"exact binomial at the margin, {n_right} of {n_trials} right"
        shares = _shares_right(planned)
        if len(set(shares)) < 2:
            return exact, n_trials, words
        # Trials of listeners who differ are not independent: taken for such they claim in 12 to 15 % of sessions.
        over = equivalent_over_listeners(shares, low, high, alpha)
        words = f"the larger of the {words}, and t over {len(shares)} listeners"
        return (over if over.p_value >= exact.p_value else exact), n_trials, words
    values = _by_listener(planned)
    if len(values) < 2:
        return None, len(values), ""
    test = equivalent_over_listeners(values, low, high, alpha)
    return test, len(values), f"the larger of two t tests over {len(values)} listeners"


def _shares_right(planned: Planned) -> Sequence[Fraction]:
    own = [[one.right for one in planned.choices if one.listener == name] for name in planned.listeners]
    return [Fraction(sum(right), len(right)) for right in own]


def _by_listener(planned: Planned) -> Sequence[Fraction]:
    if planned.ratings:
        return list(listener_means(planned.ratings).values())
    own = in_order(planned.preferences).values()
    return [Fraction(sum(trial.halves for trial in trials), 2 * len(trials)) for trials in own]


# --- charts -----------------------------------------------------------------------------------------------------------

WORDS = {DETECTABLE: "would have been shown", EQUIVALENCE: "against the margin", RIGHT: "by the looks"}
Row = tuple[str, float, float | None, float | None]


def _charts(
    inputs: Inputs,
    planned: Planned | None,
    findings: Sequence[Finding],
    detectable: Sequence[tuple[Finding, PairTrials]],
) -> list[ChartRequest]:
    """Shares in one chart, what was right beside what would have been shown; a difference of ratings in another."""
    rows: list[Row] = []
    for found, pool in detectable:
        if pool.trials:
            n_right = sum(trial.right for trial in pool.trials)
            exact = clopper_pearson(n_right, len(pool.trials), inputs.session.criteria.confidence)
            rows.append((_row("right", found), n_right / len(pool.trials), exact.low, exact.high))
    rows += [
        (_row(WORDS[f.quantity], f), f.value, f.low, f.high) for f in findings if f.unit == "1" and f.value is not None
    ]
    ratings = [f for f in findings if f.unit != "1" and f.value is not None]
    margin = None if planned is None else planned.plan.margin
    rules = [] if margin is None else [Rule(at=margin, label="margin")]
    methods = {f.method.split(",")[0] for f, _ in detectable}
    chances = {how.chance for how in CHOICE_METHODS.values() if how.label in methods and how.chance is not None}
    share_rules = [*rules, *(Rule(at=chance, label="chance") for chance in chances if len(chances) == 1)]
    charts = [_chart("as-planned", "Share", "1", rows, share_rules)] if rows else []
    if ratings:
        own = [(_row(WORDS[f.quantity], f), f.value or 0.0, f.low, f.high) for f in ratings]
        charts.append(_chart("as-planned-ratings", "Difference of ratings", ratings[0].unit, own, rules))
    return charts


def _row(words: str, finding: Finding) -> str:
    told = (words, finding.condition, None if finding.variant == SEQUENTIAL else finding.variant)
    return ", ".join(part for part in told if part is not None)


def _chart(name: str, title: str, unit: str, rows: Sequence[Row], rules: Sequence[Rule]) -> ChartRequest:
    stated = "; ".join(f"{row}: {in_words(value) if unit == '1' else f'{value:+.2f}'}" for row, value, _, _ in rows)
    what, value, low, high = (list(column) for column in zip(*rows, strict=True))
    return ChartRequest(
        name=name,
        title="What was planned, and what could have been shown",
        alternative=f"What the plan asked and what so many trials could have shown, with intervals. {stated}.",
        form="interval",
        data={"what": what, "value": value, "low": low, "high": high},
        x=Axis(column="value", label=title, unit=unit),
        y=Axis(column="what", label="Answers", scale="category"),
        low="low",
        high="high",
        rules=tuple(rules),
    )


@hookimpl
def fairhearing_analysers() -> list[AsPlanned]:
    """The analyser of the plan."""
    return [AsPlanned()]
