"""Whether listeners told the condition from the reference: ABX sheets to proportion_correct, d_prime, answer_share."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fairhearing.api import (
    ChartRequest,
    Finding,
    Inputs,
    Needs,
    Result,
    Rule,
    Session,
    Symmetry,
    hookimpl,
)
from fairhearing.statistics.contingency import conditional_test
from fairhearing.statistics.detection import Model, d_prime
from fairhearing.statistics.listeners import holm
from fairhearing.statistics.proportions import Interval, binomial_p_greater
from fairhearing_builtins.analysers.abx_trials import PairTrials, Trial, gather
from fairhearing_builtins.analysers.listening import (
    EXACT_INTERVAL,
    ONE_LISTENER_CAVEAT,
    OVER_LISTENERS_INTERVAL,
    Pair,
    Tally,
    attributed,
    attribution_fault,
    chart_suffix,
    counted,
    exact_interval,
    in_words,
    interval_over_listeners,
    label,
    listener_chart,
    share_findings,
)
from fairhearing_builtins.analysers.listening_programmes import SHARE, programme_caveats

CHANCE = 0.5
CLAIMS = frozenset({"heard"})
TOLD_APART = frozenset({"proportion_correct", "d_prime"})
LEANING = frozenset({"answer_share"})
QUANTITIES = TOLD_APART | LEANING
MODELS: tuple[tuple[str | None, Model, str], ...] = (
    (None, "abx-independent", "independent observation"),
    ("differencing", "abx-differencing", "differencing"),
)
BINOMIAL = "exact binomial, one-sided, chance 1/2"
CONDITIONAL = "exact conditional test (Fisher's, a stratum per listener and sheet), one-sided"
LIMITED_RUNS_CAVEAT = (
    "the order was balanced: p holds the counts fixed; if runs were limited as well, "
    "a listener who tends to alternate gains a little that p does not see"
)


class ForcedChoice:
    """Proportion of right answers, sensitivity and response bias from ABX sheets."""

    name = "forced-choice"
    version = "3"
    quantities = QUANTITIES
    needs = Needs(methods=frozenset({"abx"}), findings=frozenset({"level_difference", SHARE}))
    symmetries = (
        Symmetry(kind="swap-conditions-invariant", quantities=TOLD_APART),
        Symmetry(kind="swap-conditions-mirrors", quantities=LEANING),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-listeners-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-seats-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-programmes-invariant", quantities=QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each pair of conditions that the sheets compare; sheets of the same pair are pooled."""
        gathered: dict[Pair, PairTrials] = {}
        refusals = []
        for sheet in sorted((s for s in inputs.sheets if s.method == "abx"), key=lambda s: s.entry):
            refusal = gather(sheet, inputs.session, gathered)
            if refusal is not None:
                refusals.append(refusal)
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for pair in sorted(gathered, key=lambda p: (p.condition, p.reference)):
            proportions = _proportions(inputs, pair, gathered[pair])
            findings += proportions
            if gathered[pair].trials:
                findings += _sensitivities(proportions[0], gathered[pair])
                findings += _leanings(inputs, pair, gathered[pair])
            charts.append(_chart(inputs.session, pair, proportions))
        return Result(findings=tuple(findings), charts=tuple(charts), refusals=tuple(refusals))


def _tallies(trials: Sequence[Trial], counts: Callable[[Trial], bool]) -> list[Tally]:
    """A tally per listener, by code, of the trials that `counts` counts."""
    found = []
    for listener in sorted({trial.listener for trial in trials}):
        own = [trial for trial in trials if trial.listener == listener]
        found.append(Tally(listener=listener, halves=2 * sum(map(counts, own)), n_trials=len(own)))
    return found


def _proportions(inputs: Inputs, pair: Pair, pool: PairTrials) -> list[Finding]:
    """proportion_correct over listeners, then of each listener."""
    criteria = inputs.session.criteria
    caveats = list(pool.caveats)
    if pool.n_left_out:
        caveats.append(f"left out: {counted(pool.n_left_out, 'trial', 'trials')} without a valid answer")
    if not pool.trials:
        return [_null_proportion(pair, (*caveats, "no valid trial"))]
    if pool.balanced:
        caveats.append(LIMITED_RUNS_CAVEAT)
    tallies = _tallies(pool.trials, _right)
    only_one = len(tallies) == 1
    over_all = _proportion(
        inputs, pair, pool, pool.trials, interval_over_listeners(tallies, criteria.confidence),
        EXACT_INTERVAL if only_one else OVER_LISTENERS_INTERVAL,
    )  # fmt: skip
    if only_one:
        caveats.append(ONE_LISTENER_CAVEAT)
    findings = [replace(over_all, caveats=(*caveats, *over_all.caveats))]
    own_trials = [[trial for trial in pool.trials if trial.listener == tally.listener] for tally in tallies]
    adjusted = holm([_p_value(own, pool.balanced) for own in own_trials])
    for tally, own, p_holm in zip(tallies, own_trials, adjusted, strict=True):
        interval = exact_interval([tally], criteria.confidence)
        finding = _proportion(inputs, pair, pool, own, interval, EXACT_INTERVAL, float(p_holm))
        method = finding.method + f"; verdict by Holm over {counted(len(tallies), 'listener', 'listeners')}"
        findings.append(replace(finding, listener=tally.listener, method=method))
    return findings


def _proportion(
    inputs: Inputs,
    pair: Pair,
    pool: PairTrials,
    trials: Sequence[Trial],
    interval: Interval,
    rule: str,
    p_for_verdict: float | None = None,
) -> Finding:
    """proportion_correct of these trials; the verdict goes by `p_for_verdict`, else by the p that is stated."""
    criteria = inputs.session.criteria
    n_right = sum(map(_right, trials))
    p_value = _p_value(trials, pool.balanced)
    shown = (p_value if p_for_verdict is None else p_for_verdict) <= criteria.alpha
    fault = attribution_fault(inputs, pair, {trial.seat for trial in trials})
    verdict, caveats = attributed("heard" if shown else "not-shown", fault, CLAIMS)
    caveats += programme_caveats(inputs, pair, {trial.programme for trial in trials})
    return Finding(
        quantity="proportion_correct",
        value=n_right / len(trials),
        unit="1",
        low=interval.low,
        high=interval.high,
        confidence=criteria.confidence,
        p_value=p_value,
        n=len(trials),
        method=f"ABX, {n_right} of {len(trials)} right; p: {CONDITIONAL if pool.balanced else BINOMIAL}; "
        f"interval: {rule}",
        condition=pair.condition,
        reference=pair.reference,
        verdict=verdict,
        caveats=caveats,
    )


def _null_proportion(pair: Pair, caveats: tuple[str, ...]) -> Finding:
    return Finding(
        quantity="proportion_correct",
        value=None,
        unit="1",
        method="ABX",
        condition=pair.condition,
        reference=pair.reference,
        caveats=caveats,
    )


def _right(trial: Trial) -> bool:
    return trial.played == trial.answered


def _p_value(trials: Sequence[Trial], balanced: bool) -> float:
    """One-sided p of so many right answers, by the test that the order of presentation asks for."""
    if not balanced:
        return binomial_p_greater(sum(map(_right, trials)), len(trials), CHANCE)
    tables: dict[tuple[str, int], list[list[int]]] = {}
    for trial in trials:
        table = tables.setdefault((trial.listener, trial.entry), [[0, 0], [0, 0]])
        table[trial.played][trial.answered] += 1
    return conditional_test([np.array(table, dtype=np.int64) for table in tables.values()]).p_value


def _sensitivities(proportion: Finding, pool: PairTrials) -> list[Finding]:
    """d_prime by each model, as the transform of the proportion and of its interval."""
    assert proportion.value is not None
    assert proportion.low is not None
    assert proportion.high is not None
    findings = []
    for variant, model, name in MODELS:
        value, low, high = (d_prime(share, model) for share in (proportion.value, proportion.low, proportion.high))
        caveats = []
        if math.isinf(value):
            caveats.append("all answers are right: d-prime has no estimate, only a lower bound")
        elif math.isinf(high):
            caveats.append("the interval of the proportion reaches 1: d-prime has no upper bound")
        if proportion.value < CHANCE:
            caveats.append("fewer right answers than chance gives: d-prime is set to 0")
        if len({trial.listener for trial in pool.trials}) == 1:
            caveats.append(ONE_LISTENER_CAVEAT)
        findings.append(
            Finding(
                quantity="d_prime",
                variant=variant,
                value=None if math.isinf(value) else value,
                unit="1",
                low=low,
                high=None if math.isinf(high) else high,
                confidence=proportion.confidence,
                n=proportion.n,
                method=f"ABX, {name} model, from proportion_correct over all trials; interval: that of the proportion",
                condition=proportion.condition,
                reference=proportion.reference,
                caveats=tuple(caveats),
            )
        )
    return findings


def _leanings(inputs: Inputs, pair: Pair, pool: PairTrials) -> list[Finding]:
    """Which condition the answers lean to, whatever was played."""
    confidence = inputs.session.criteria.confidence
    tallies = _tallies(pool.trials, lambda trial: trial.answered)
    what = f"share of answers that name {pair.condition}, whatever was played"
    return share_findings("answer_share", tallies, pair, confidence, what, "trials")


def _chart(session: Session, pair: Pair, proportions: Sequence[Finding]) -> ChartRequest:
    names = f"{label(session, pair.condition)} against {label(session, pair.reference)}"
    over_all = proportions[0]
    return listener_chart(
        f"trials-{chart_suffix(session, pair)}",
        f"Right answers by listener: {names}",
        f"Proportion of right answers of each listener and of all, with intervals; {names}. "
        f"All listeners: {in_words(over_all.value)}; guessing gives 50 %.",
        "Proportion of right answers",
        proportions,
        Rule(at=CHANCE, label="chance"),
    )


@hookimpl
def fairhearing_analysers() -> list[ForcedChoice]:
    """The analyser of forced choices."""
    return [ForcedChoice()]
