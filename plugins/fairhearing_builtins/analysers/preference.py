"""Which of condition and reference listeners prefer: paired-preference sheets to preference_share and none_share."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

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
from fairhearing.statistics.listeners import holm, smallest_sign_flip_p, t_interval
from fairhearing.statistics.proportions import Interval, binomial_p_two_sided
from fairhearing.statistics.resampling import sign_flip_test
from fairhearing_builtins.analysers.exclusions import left_out_caveats, with_and_without
from fairhearing_builtins.analysers.listening import (
    CONTROL,
    EXACT_INTERVAL,
    ONE_LISTENER_CAVEAT,
    Pair,
    Tally,
    attributed,
    attribution_fault,
    chart_suffix,
    control_caveats,
    counted,
    exact_interval,
    in_words,
    label,
    labels_are_labels,
    listener_chart,
    named_parts,
    part_chart,
    share_findings,
    shared_alpha,
    tallies_of,
    widest,
)
from fairhearing_builtins.analysers.listening_programmes import SHARE, programme_caveats
from fairhearing_builtins.analysers.preference_trials import PairTrials, Trial, gather

NO_LEANING = Fraction(1, 2)
CLAIMS = frozenset({"preferred", "not-preferred"})
PREFERRING = frozenset({"preference_share"})
NOT_PREFERRING = frozenset({"none_share"})
QUANTITIES = PREFERRING | NOT_PREFERRING
HALVES_INTERVAL = f"{EXACT_INTERVAL}, a half counted against either bound"
UNANIMOUS_CAVEAT = (
    "all listeners have the same share: t over listeners has no width, so the interval is the wider of the exact ones "
    "over listeners and over all trials"
)


class Preference:
    """Share of preferences over listeners, and of no preference."""

    name = "preference"
    version = "4"
    quantities = QUANTITIES
    needs = Needs(methods=frozenset({"paired-preference"}), findings=frozenset({"level_difference", SHARE, CONTROL}))
    symmetries = (
        Symmetry(kind="swap-conditions-mirrors", quantities=PREFERRING),
        Symmetry(kind="swap-conditions-invariant", quantities=NOT_PREFERRING),
        Symmetry(kind="doubled-trials-invariant", quantities=PREFERRING),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        *labels_are_labels(QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each condition that the sheets set against the reference; sheets of the same pair are pooled."""
        return with_and_without(inputs, self._analyse, PREFERRING)

    def _analyse(self, inputs: Inputs) -> Result:
        gathered = gather(inputs)
        findings: list[Finding] = []
        charts: list[ChartRequest] = []
        for pair, pool in gathered.pools.items():
            shares = _shares(inputs, pair, pool)
            findings += shares
            if pool.trials:
                findings += _none_shares(inputs, pair, pool.trials)
            chart = _chart(inputs.session, pair, shares)
            charts += [chart, *(one for word in ("programme", "seat") for one in part_chart(chart, word, shares))]
        return Result(findings=tuple(findings), charts=tuple(charts), refusals=gathered.refusals)


def _of(trials: Sequence[Trial], listener: str) -> list[Trial]:
    return [trial for trial in trials if trial.listener == listener]


def _tallies(trials: Sequence[Trial]) -> list[Tally]:
    """A tally of preferences per listener, by code."""
    return tallies_of((trial.listener, trial.halves) for trial in trials)


def _shares(inputs: Inputs, pair: Pair, pool: PairTrials) -> list[Finding]:
    """preference_share over listeners, then of each listener."""
    caveats = [*pool.caveats, *left_out_caveats(pool.excluded, pool.n_invalid)]
    if pool.n_same:
        caveats.append(f"left out: {counted(pool.n_same, 'trial', 'trials')} that set a condition against itself")
    if not pool.trials:
        return [
            Finding(
                quantity="preference_share",
                value=None,
                unit="1",
                method="paired preference",
                condition=pair.condition,
                reference=pair.reference,
                caveats=(*caveats, "no valid trial of this condition against the reference"),
            )
        ]
    n_neither = sum(trial.halves == 1 for trial in pool.trials)
    if n_neither:
        caveats.append(
            f"{counted(n_neither, 'answer', 'answers')} of {len(pool.trials)} without a preference: half each"
        )
    tallies = _tallies(pool.trials)
    if len(tallies) == 1:
        own = _own_share(inputs, pair, pool.trials, tallies[0])
        weak = control_caveats(inputs, own.verdict or "")
        over_all = replace(own, listener=None, caveats=(*caveats, ONE_LISTENER_CAVEAT, *own.caveats, *weak))
        return [over_all, *_of_all_parts(inputs, pair, pool.trials), own]
    findings = [_over_listeners(inputs, pair, pool.trials, tallies, tuple(caveats))]
    findings += _of_all_parts(inputs, pair, pool.trials)
    raw = [_binomial_p(_of(pool.trials, tally.listener)) for tally in tallies]
    for tally, p_holm in zip(tallies, holm(raw), strict=True):
        own = _own_share(inputs, pair, _of(pool.trials, tally.listener), tally, float(p_holm))
        findings.append(replace(own, method=f"{own.method}; verdict by Holm over {len(tallies)} listeners"))
    return findings


def _of_all_parts(inputs: Inputs, pair: Pair, trials: Sequence[Trial]) -> list[Finding]:
    """preference_share in each programme and at each seat."""
    return [
        *_of_parts(inputs, pair, trials, "programme", lambda trial: trial.programme),
        *_of_parts(inputs, pair, trials, "seat", lambda trial: trial.seat),
    ]


def _of_parts(
    inputs: Inputs, pair: Pair, trials: Sequence[Trial], word: str, part_of: Callable[[Trial], str | None]
) -> list[Finding]:
    """preference_share in each part that trials name, where they name two or more; raw p, verdict by Holm."""
    names = named_parts(map(part_of, trials))
    own_trials = [[trial for trial in trials if part_of(trial) == name] for name in names]
    several = [_tallies(own) for own in own_trials]
    raw = [
        _binomial_p(own) if len(tallies) == 1 else sign_flip_test([t.share for t in tallies], NO_LEANING).p_value
        for own, tallies in zip(own_trials, several, strict=True)
    ]
    findings = []
    for name, own, tallies, p_holm in zip(names, own_trials, several, holm(raw), strict=True):
        if len(tallies) == 1:
            found = replace(_own_share(inputs, pair, own, tallies[0], float(p_holm)), listener=None)
            weak = control_caveats(inputs, found.verdict or "")
            found = replace(found, caveats=(ONE_LISTENER_CAVEAT, *found.caveats, *weak))
        else:
            found = _over_listeners(inputs, pair, own, tallies, (), float(p_holm), len(names))
        findings.append(
            replace(
                found,
                programme=name if word == "programme" else None,
                seat=name if word == "seat" else None,
                method=f"{found.method}; verdict by Holm over {len(names)} {word}s",
            )
        )
    return findings


def _over_listeners(
    inputs: Inputs,
    pair: Pair,
    trials: Sequence[Trial],
    tallies: Sequence[Tally],
    caveats: tuple[str, ...],
    p_for_verdict: float | None = None,
    n_verdicts: int = 1,
) -> Finding:
    """The mean of the listeners' shares, tested and with its interval over listeners.

    The verdict goes by `p_for_verdict`, adjusted for `n_verdicts`, else by the p that is stated.
    """
    criteria = inputs.session.criteria
    shares = [tally.share for tally in tallies]
    mean = statistics.mean(shares)
    test = sign_flip_test(shares, NO_LEANING)
    interval, rule = _interval(tallies, criteria.confidence), "t over listeners, cut at 0 and 1"
    if len(set(shares)) == 1:
        caveats, rule = (*caveats, UNANIMOUS_CAVEAT), f"{EXACT_INTERVAL} over listeners or over all trials"
    if n_verdicts * smallest_sign_flip_p(len(tallies)) > criteria.alpha:
        caveats = (
            *caveats,
            f"{len(tallies)} listeners: no result could have shown it (the smallest possible p is "
            f"{smallest_sign_flip_p(len(tallies)):.3g}{shared_alpha(n_verdicts)})",
        )
    verdict, why = _verdict(inputs, pair, trials, mean, test.p_value if p_for_verdict is None else p_for_verdict)
    return Finding(
        quantity="preference_share",
        value=float(mean),
        unit="1",
        low=interval.low,
        high=interval.high,
        confidence=criteria.confidence,
        p_value=test.p_value,
        n=len(tallies),
        method=f"paired preference, mean over {len(tallies)} listeners ({len(trials)} trials); "
        f"p: {test.method} over listeners, two-sided; interval: {rule}",
        condition=pair.condition,
        reference=pair.reference,
        verdict=verdict,
        caveats=(*caveats, *why, *control_caveats(inputs, verdict)),
    )


def _interval(tallies: Sequence[Tally], confidence: float) -> Interval:
    """t over listeners; where all are alike, the wider of the exact ones over listeners and over all trials."""
    shares = [tally.share for tally in tallies]
    if len(set(shares)) > 1:
        return t_interval([float(share) for share in shares], confidence, 0.0, 1.0)
    # Each listener as one trial: the halves of that many trials, both bounds rounded away from the middle.
    halves = 2 * shares[0] * len(tallies)
    below, above = (Tally(listener="", halves=2 * n, n_trials=len(tallies)) for n in (halves // 2, -(-halves // 2)))
    over_listeners = widest(exact_interval([below], confidence), exact_interval([above], confidence))
    return widest(over_listeners, exact_interval(tallies, confidence))


def _own_share(
    inputs: Inputs, pair: Pair, trials: Sequence[Trial], tally: Tally, p_for_verdict: float | None = None
) -> Finding:
    """One listener's share; the verdict goes by `p_for_verdict`, else by the p that is stated."""
    criteria = inputs.session.criteria
    p_value = _binomial_p(trials)
    decisive = p_value if p_for_verdict is None else p_for_verdict
    verdict, why = _verdict(inputs, pair, trials, tally.share, decisive)
    interval = exact_interval([tally], criteria.confidence)
    n_decided = sum(trial.halves != 1 for trial in trials)
    return Finding(
        quantity="preference_share",
        value=float(tally.share),
        unit="1",
        low=interval.low,
        high=interval.high,
        confidence=criteria.confidence,
        p_value=p_value,
        n=1,
        method=f"paired preference, {counted(len(trials), 'trial', 'trials')}; p: exact binomial, two-sided, over the "
        f"{n_decided} with a preference; interval: {EXACT_INTERVAL if n_decided == len(trials) else HALVES_INTERVAL}",
        condition=pair.condition,
        reference=pair.reference,
        listener=tally.listener,
        verdict=verdict,
        caveats=why,
    )


def _binomial_p(trials: Sequence[Trial]) -> float:
    """Two-sided p of one listener's preferences; answers without one are left aside."""
    decided = [trial for trial in trials if trial.halves != 1]
    return binomial_p_two_sided(sum(trial.halves == 2 for trial in decided), len(decided))


def _verdict(
    inputs: Inputs, pair: Pair, trials: Sequence[Trial], share: Fraction, p_value: float
) -> tuple[str, tuple[str, ...]]:
    verdict = "not-shown"
    if p_value <= inputs.session.criteria.alpha and share != NO_LEANING:
        verdict = "preferred" if share > NO_LEANING else "not-preferred"
    fault = attribution_fault(inputs, pair, {trial.seat for trial in trials})
    told, caveats = attributed(verdict, fault, CLAIMS)
    return told, (*caveats, *programme_caveats(inputs, pair, {trial.programme for trial in trials}))


def _none_shares(inputs: Inputs, pair: Pair, trials: Sequence[Trial]) -> list[Finding]:
    """none_share over all trials and of each listener."""
    neither = tallies_of((trial.listener, 2 * (trial.halves == 1)) for trial in trials)
    what = "share of answers without a preference"
    return share_findings("none_share", neither, pair, inputs.session.criteria.confidence, what, "listeners")


def _chart(session: Session, pair: Pair, shares: Sequence[Finding]) -> ChartRequest:
    condition = label(session, pair.condition)
    names = f"{condition} against {label(session, pair.reference)}"
    return listener_chart(
        f"preference-{chart_suffix(session, pair)}",
        f"Share of preferences by listener: {names}",
        f"Share of trials in which each listener, and all of them on average, preferred {condition}, with intervals; "
        f"{names}. Mean over listeners: {in_words(shares[0].value)}; 50 % leans neither way.",
        f"Share of preferences for {condition}",
        shares,
        Rule(at=0.5, label="no preference"),
    )


@hookimpl
def fairhearing_analysers() -> list[Preference]:
    """The analyser of preferences."""
    return [Preference()]
