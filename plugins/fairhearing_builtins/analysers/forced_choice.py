"""Whether listeners told the condition from the reference: proportion_correct, d_prime, answer_share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fairhearing.api import (
    ChartRequest,
    Finding,
    Inputs,
    Needs,
    Result,
    Rule,
    Symmetry,
    hookimpl,
)
from fairhearing.statistics.listeners import holm
from fairhearing.statistics.proportions import Interval
from fairhearing_builtins.analysers.choice_rows import METHODS
from fairhearing_builtins.analysers.choice_spread import beta_binomial
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS, ChoiceTest, right_answers_test
from fairhearing_builtins.analysers.choice_trials import PairTrials, Trial, gather, headline
from fairhearing_builtins.analysers.exclusions import left_out_caveats, with_and_without
from fairhearing_builtins.analysers.listening import (
    CONTROL,
    EXACT_INTERVAL,
    LOOKS_CAVEAT,
    ONE_LISTENER_CAVEAT,
    OVER_LISTENERS_INTERVAL,
    Pair,
    Tally,
    attributed,
    attribution_fault,
    chart_suffix,
    control_caveats,
    counted,
    exact_interval,
    in_words,
    interval_over_listeners,
    label,
    labels_are_labels,
    listener_chart,
    named_parts,
    part_chart,
    share_findings,
    tallies_of,
)
from fairhearing_builtins.analysers.listening_programmes import SHARE, programme_caveats
from fairhearing_builtins.analysers.sensitivities import sensitivities

CLAIMS = frozenset({"heard"})
TOLD_APART = frozenset({"proportion_correct", "d_prime"})
LEANING = frozenset({"answer_share"})
RIGHT_ANSWERS = frozenset({"proportion_correct"})
QUANTITIES = TOLD_APART | LEANING
LIMITED_RUNS_CAVEAT = (
    "the order was balanced: p holds the counts fixed; if runs were limited as well, "
    "a listener who tends to alternate gains a little that p does not see"
)
MIXED_CHANCE_CAVEAT = (
    'how many answers guessing gets right hangs on how readily somebody says "different" and on how many pairs were '
    "different: p and d_prime allow for that, the share of right answers does not"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """The trials of one pair by one method. `variant` None: the method that speaks for the pair."""

    inputs: Inputs
    pair: Pair
    method: str
    variant: str | None
    pool: PairTrials

    @property
    def label(self) -> str:
        """The method as it stands in `method`."""
        return CHOICE_METHODS[self.method].label

    def test(self, trials: Sequence[Trial]) -> ChoiceTest:
        """The test of these of its trials."""
        return right_answers_test(trials, self.method, self.pool.balanced)


class ForcedChoice:
    """Proportion of right answers, sensitivity and response bias from forced-choice sheets."""

    name = "forced-choice"
    version = "7"
    quantities = QUANTITIES
    needs = Needs(methods=METHODS, findings=frozenset({"level_difference", SHARE, CONTROL}))
    symmetries = (
        Symmetry(kind="swap-conditions-invariant", quantities=TOLD_APART),
        Symmetry(kind="swap-conditions-mirrors", quantities=LEANING),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        *labels_are_labels(QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each pair of conditions and each method; sheets of the same pair and method are pooled."""
        return with_and_without(inputs, self._analyse, RIGHT_ANSWERS)

    def _analyse(self, inputs: Inputs) -> Result:
        gathered = gather(inputs)
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for pair, pools in gathered.pools.items():
            speaks = headline(pools)
            for method, pool in pools.items():
                variant = None if method == speaks else method
                task = _Task(inputs=inputs, pair=pair, method=method, variant=variant, pool=pool)
                proportions = _proportions(task)
                findings += proportions
                if pool.trials:
                    findings += beta_binomial(proportions[0], _tallies(pool.trials, _right), method, _left_out(pool))
                    findings += sensitivities(proportions[0], pool.trials, method)
                if pool.trials and method == "abx":
                    findings += _leanings(task)
                charts += _charts(task, proportions)
        return Result(findings=tuple(findings), charts=tuple(charts), refusals=gathered.refusals)


def _tallies(trials: Sequence[Trial], counts: Callable[[Trial], bool]) -> list[Tally]:
    """A tally per listener, by code, of the trials that `counts` counts."""
    return tallies_of((trial.listener, 2 * counts(trial)) for trial in trials)


def _proportions(task: _Task) -> list[Finding]:
    """proportion_correct over listeners, then of each listener."""
    pool, criteria = task.pool, task.inputs.session.criteria
    left_out = _left_out(pool)
    if not pool.trials:
        return [_null_proportion(task, (*left_out, "no valid trial"))]
    caveats = list(left_out)
    if pool.balanced:
        caveats.append(LIMITED_RUNS_CAVEAT)
    if _has_looks(task):
        caveats.append(LOOKS_CAVEAT)
    if CHOICE_METHODS[task.method].chance is None:
        caveats.append(MIXED_CHANCE_CAVEAT)
    tallies = _tallies(pool.trials, _right)
    only_one = len(tallies) == 1
    over_all = _proportion(
        task, pool.trials, interval_over_listeners(tallies, criteria.confidence),
        EXACT_INTERVAL if only_one else OVER_LISTENERS_INTERVAL,
    )  # fmt: skip
    if only_one:
        caveats.append(ONE_LISTENER_CAVEAT)
    caveats += control_caveats(task.inputs, over_all.verdict or "")
    findings = [replace(over_all, caveats=(*caveats, *over_all.caveats))]
    findings += _of_parts(task, "programme", lambda trial: trial.programme)
    findings += _of_parts(task, "seat", lambda trial: trial.seat)
    own_trials = [[trial for trial in pool.trials if trial.listener == tally.listener] for tally in tallies]
    adjusted = holm([task.test(own).p_value for own in own_trials])
    for tally, own, p_holm in zip(tallies, own_trials, adjusted, strict=True):
        interval = exact_interval([tally], criteria.confidence)
        finding = _proportion(task, own, interval, EXACT_INTERVAL, float(p_holm))
        method = finding.method + f"; verdict by Holm over {counted(len(tallies), 'listener', 'listeners')}"
        findings.append(replace(finding, listener=tally.listener, method=method))
    return findings


def _left_out(pool: PairTrials) -> tuple[str, ...]:
    """What is to be said of trials that do not count."""
    return (*pool.caveats, *left_out_caveats(pool.excluded, pool.n_left_out))


def _has_looks(task: _Task) -> bool:
    plan = task.inputs.session.listening.plan
    if plan is None or len(plan.looks) < 2 or plan.method != task.method:
        return False
    return (plan.condition, plan.reference) == (task.pair.condition, task.pair.reference)


def _of_parts(task: _Task, word: str, part_of: Callable[[Trial], str | None]) -> list[Finding]:
    """proportion_correct in each programme or at each seat, where trials name two or more of them."""
    names = named_parts(map(part_of, task.pool.trials))
    own_trials = [[trial for trial in task.pool.trials if part_of(trial) == name] for name in names]
    adjusted = holm([task.test(own).p_value for own in own_trials])
    findings = []
    for name, own, p_holm in zip(names, own_trials, adjusted, strict=True):
        tallies = _tallies(own, _right)
        interval = interval_over_listeners(tallies, task.inputs.session.criteria.confidence)
        rule = EXACT_INTERVAL if len(tallies) == 1 else OVER_LISTENERS_INTERVAL
        finding = _proportion(task, own, interval, rule, float(p_holm))
        only_one = (ONE_LISTENER_CAVEAT,) if len(tallies) == 1 else ()
        findings.append(
            replace(
                finding,
                programme=name if word == "programme" else None,
                seat=name if word == "seat" else None,
                method=f"{finding.method}; verdict by Holm over {len(names)} {word}s",
                caveats=(*only_one, *finding.caveats),
            )
        )
    return [replace(f, caveats=(*f.caveats, *control_caveats(task.inputs, f.verdict or ""))) for f in findings]


def _proportion(
    task: _Task, trials: Sequence[Trial], interval: Interval, rule: str, p_for_verdict: float | None = None
) -> Finding:
    """proportion_correct of these trials; the verdict goes by `p_for_verdict`, else by the p that is stated."""
    criteria = task.inputs.session.criteria
    n_right = sum(map(_right, trials))
    test = task.test(trials)
    shown = (test.p_value if p_for_verdict is None else p_for_verdict) <= criteria.alpha
    fault = attribution_fault(task.inputs, task.pair, {trial.seat for trial in trials})
    verdict, caveats = attributed("heard" if shown else "not-shown", fault, CLAIMS)
    caveats += programme_caveats(task.inputs, task.pair, {trial.programme for trial in trials})
    return Finding(
        quantity="proportion_correct",
        variant=task.variant,
        value=n_right / len(trials),
        unit="1",
        low=interval.low,
        high=interval.high,
        confidence=criteria.confidence,
        p_value=test.p_value,
        n=len(trials),
        method=f"{task.label}, {n_right} of {len(trials)} right; p: {test.words}; interval: {rule}",
        condition=task.pair.condition,
        reference=task.pair.reference,
        verdict=verdict,
        caveats=caveats,
    )


def _null_proportion(task: _Task, caveats: tuple[str, ...]) -> Finding:
    return Finding(
        quantity="proportion_correct",
        variant=task.variant,
        value=None,
        unit="1",
        method=task.label,
        condition=task.pair.condition,
        reference=task.pair.reference,
        caveats=caveats,
    )


def _right(trial: Trial) -> bool:
    return trial.right


def _leanings(task: _Task) -> list[Finding]:
    """Which condition the answers lean to, whatever was played."""
    confidence = task.inputs.session.criteria.confidence
    tallies = _tallies(task.pool.trials, lambda trial: trial.choice.answered == 1)
    what = f"share of answers that name {task.pair.condition}, whatever was played"
    return share_findings("answer_share", tallies, task.pair, confidence, what, "trials")


def _charts(task: _Task, proportions: Sequence[Finding]) -> list[ChartRequest]:
    """By listener; by programme and by seat where there are findings of them."""
    chart = _chart(task, proportions)
    return [chart, *(one for word in ("programme", "seat") for one in part_chart(chart, word, proportions))]


def _chart(task: _Task, proportions: Sequence[Finding]) -> ChartRequest:
    session, pair, trials = task.inputs.session, task.pair, task.pool.trials
    names = f"{label(session, pair.condition)} against {label(session, pair.reference)}"
    chance = CHOICE_METHODS[task.method].chance
    if chance is None:
        chance = task.test(trials).expected_right / len(trials) if trials else 0.5
    over_all = proportions[0]
    suffix = chart_suffix(session, pair) + ("" if task.variant is None else f"-{task.variant}")
    return listener_chart(
        f"trials-{suffix}",
        f"Right answers by listener: {names}" + ("" if task.method == "abx" else f" ({task.label})"),
        f"Proportion of right answers of each listener and of all, with intervals; {names}; {task.label}. "
        f"All listeners: {in_words(over_all.value)}; guessing gives {in_words(chance)}.",
        "Proportion of right answers",
        proportions,
        Rule(at=chance, label="chance"),
    )


@hookimpl
def fairhearing_analysers() -> list[ForcedChoice]:
    """The analyser of forced choices."""
    return [ForcedChoice()]
