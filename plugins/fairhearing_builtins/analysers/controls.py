"""Whether listeners heard what all should hear, and what they reported of what was not there: controls and shams."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Needs, Result, Rule, Symmetry, hookimpl
from fairhearing.statistics.proportions import binomial_p_greater
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS, right_answers_test
from fairhearing_builtins.analysers.choice_trials import PairTrials
from fairhearing_builtins.analysers.control_trials import (
    Answers,
    choice_controls,
    choice_shams,
    graded_shams,
    other_controls,
    shams,
)
from fairhearing_builtins.analysers.exclusions import left_out_caveats
from fairhearing_builtins.analysers.listening import (
    ALL_LISTENERS,
    CONTROL,
    EXACT_INTERVAL,
    ONE_LISTENER_CAVEAT,
    Pair,
    Tally,
    counted,
    exact_interval,
    in_words,
    labels_are_labels,
    tallies_of,
    total_share,
)

DIFFERENT, RIGHT = "sham_difference_share", "sham_correct_share"
QUANTITIES = frozenset({CONTROL, DIFFERENT, RIGHT})
AGREEING = (
    "share of answers that go the way that most of them go; which of the two should win is not said, so p is twice the "
    "one-sided exact binomial against 1/2; no preference and rated alike count against it"
)
REPORTED = "share of trials in which a difference was reported, though the same was played throughout"
APART = (
    "share of listeners' programmes and seats in which shams, which are hidden equals, were not all graded alike, "
    "though the same was played throughout"
)
GRADED_ALONE = frozenset({"grading-quality", "grading-impairment"})
GIVEN_AWAY = (
    "shams were answered as their key has it more often than guessing gives: something else than the conditions gives "
    "the answers away"
)
WORDS = {"paired-preference": "paired preference", **{name: how.label for name, how in CHOICE_METHODS.items()}}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Share:
    """A share of answers by method: over all and of each listener; what is tested of it over all is said already."""

    quantity: str
    method: str
    variant: str | None
    pair: Pair | None
    tallies: Sequence[Tally]
    said: str
    p_value: float | None = None
    verdict: str | None = None
    caveats: tuple[str, ...] = ()


class Controls:
    """Right answers in trials that all should get right, and differences reported where there are none."""

    name = "controls"
    version = "2"
    quantities = QUANTITIES
    needs = Needs(methods=frozenset({*CHOICES, "paired-preference", "grading"}), roles=frozenset({"control", "sham"}))
    symmetries = (
        Symmetry(kind="swap-conditions-invariant", quantities=frozenset({CONTROL})),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        *labels_are_labels(QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Each method has findings of its own; the first one that a session has is the headline."""
        shares = [*_controls(inputs), *_sham_shares(inputs)]
        findings = [finding for share in shares for finding in _findings(inputs, share)]
        charts = [chart for quantity in (CONTROL, DIFFERENT, RIGHT) for chart in _charts(quantity, findings)]
        return Result(findings=tuple(findings), charts=tuple(charts))


def _controls(inputs: Inputs) -> list[_Share]:
    """The positive controls of each pair, forced choices first."""
    choices, others = choice_controls(inputs), other_controls(inputs)
    shares = []
    for pair in sorted({*choices, *others}, key=lambda p: (p.condition, p.reference)):
        own = [_choice_control(inputs, pair, method, pool) for method, pool in choices.get(pair, {}).items()]
        own += [_other_control(inputs, pair, answers) for answers in others.get(pair, {}).values()]
        shares += _with_variants(own)
    return shares


def _with_variants(shares: Sequence[_Share]) -> list[_Share]:
    """The first with trials is the headline; the others have their method as variant."""
    first = next((share for share in shares if share.tallies), shares[0] if shares else None)
    return [share if share is first else replace(share, variant=share.method) for share in shares]


def _choice_control(inputs: Inputs, pair: Pair, method: str, pool: PairTrials) -> _Share:
    tallies = tallies_of((trial.listener, 2 * trial.right) for trial in pool.trials)
    share = _Share(
        quantity=CONTROL,
        method=method,
        variant=None,
        pair=pair,
        tallies=tallies,
        said=f"positive control, {WORDS[method]}: share of right answers",
        caveats=(*pool.caveats, *left_out_caveats(pool.excluded, pool.n_left_out)),
    )
    if not tallies:
        return share
    test = right_answers_test(pool.trials, method, pool.balanced)
    return _tested(inputs, share, test.p_value, test.words)


def _other_control(inputs: Inputs, pair: Pair, answers: Answers) -> _Share:
    share = _Share(
        quantity=CONTROL,
        method=answers.method,
        variant=None,
        pair=pair,
        tallies=answers.tallies,
        said=f"positive control, {_words(answers.method)}",
        caveats=answers.caveats,
    )
    if not answers.answers:
        return share
    n_counted = sum(counts for _, counts in answers.answers)
    p_value = min(1.0, 2.0 * binomial_p_greater(n_counted, len(answers.answers)))
    return _tested(inputs, share, p_value, AGREEING)


def _tested(inputs: Inputs, share: _Share, p_value: float, words: str) -> _Share:
    passed = p_value <= inputs.session.criteria.alpha
    return replace(
        share, p_value=p_value, verdict="passed" if passed else "not-passed", said=f"{share.said}; p: {words}"
    )


def _words(method: str) -> str:
    return WORDS.get(method) or method.replace("grading-", "grading on the scale ")


def _sham_shares(inputs: Inputs) -> list[_Share]:
    different, right = {**shams(inputs), **graded_shams(inputs)}, choice_shams(inputs)
    told = [
        _Share(
            quantity=DIFFERENT,
            method=method,
            variant=None,
            pair=None,
            tallies=answers.tallies,
            said=f"shams, {_words(method)}: {APART if method in GRADED_ALONE else REPORTED}",
            caveats=answers.caveats,
        )
        for method, answers in different.items()
    ]
    chosen = [
        _Share(
            quantity=RIGHT,
            method=method,
            variant=None,
            pair=None,
            tallies=answers.tallies,
            said=f"shams, {WORDS[method]}: share of answers that are right by the key, though the same was played "
            f"throughout; guessing gives 1/{CHOICE_METHODS[method].n_ways}",
            caveats=(*answers.caveats, *_given_away(inputs, method, answers.tallies)),
        )
        for method, answers in right.items()
    ]
    return [*_with_variants(told), *_with_variants(chosen)]


def _given_away(inputs: Inputs, method: str, tallies: Sequence[Tally]) -> tuple[str, ...]:
    chance = CHOICE_METHODS[method].chance
    if not tallies or chance is None:
        return ()
    return (GIVEN_AWAY,) if exact_interval(tallies, inputs.session.criteria.confidence).low > chance else ()


# --- findings and charts ----------------------------------------------------------------------------------------------


def _findings(inputs: Inputs, share: _Share) -> list[Finding]:
    """Over all trials, then of each listener without p and verdict."""
    said = Finding(
        quantity=share.quantity,
        value=None,
        unit="1",
        variant=share.variant,
        method=share.said,
        condition=None if share.pair is None else share.pair.condition,
        reference=None if share.pair is None else share.pair.reference,
        caveats=(*share.caveats, "no valid trial"),
    )
    if not share.tallies:
        return [said]
    confidence = inputs.session.criteria.confidence

    def finding(tallies: Sequence[Tally]) -> Finding:
        interval, n_trials = exact_interval(tallies, confidence), sum(tally.n_trials for tally in tallies)
        return replace(
            said,
            value=total_share(tallies),
            low=interval.low,
            high=interval.high,
            confidence=confidence,
            n=n_trials,
            method=f"{share.said} ({counted(n_trials, 'trial', 'trials')}); interval: {EXACT_INTERVAL}",
            caveats=(),
        )

    only_one = (ONE_LISTENER_CAVEAT,) if len(share.tallies) == 1 else ()
    over_all = replace(
        finding(share.tallies), p_value=share.p_value, verdict=share.verdict, caveats=(*share.caveats, *only_one)
    )
    return [over_all, *(replace(finding([tally]), listener=tally.listener) for tally in share.tallies)]


TITLES = {
    CONTROL: ("positive-control", "Positive control", "Share told apart"),
    DIFFERENT: ("sham-differences", "Differences reported where there were none", "Share of sham trials"),
    RIGHT: ("sham-right-answers", "Shams answered as their key has it", "Share of sham trials"),
}


def _charts(quantity: str, findings: Sequence[Finding]) -> list[ChartRequest]:
    """One chart of a quantity, with a row for each listener and method; none without findings."""
    own = [finding for finding in findings if finding.quantity == quantity and finding.value is not None]
    if not own:
        return []
    name, title, axis = TITLES[quantity]
    ordered = [f for f in own if f.listener is not None] + [f for f in own if f.listener is None]
    several = len({(f.variant, f.condition) for f in own}) > 1
    rows = [_row(finding, several) for finding in ordered]
    stated = "; ".join(f"{row} {in_words(f.value)}" for row, f in zip(rows, ordered, strict=True) if f.listener is None)
    chance = next((how for how in CHOICE_METHODS.values() if how.chance and how.label in own[0].method), None)
    rules = () if quantity == DIFFERENT or chance is None else (Rule(at=chance.chance or 0.0, label="chance"),)
    return [
        ChartRequest(
            name=name,
            title=title,
            alternative=f"{title} of each listener and of all, with intervals. {stated}.",
            form="interval",
            data={
                "listener": rows,
                "share": [f.value for f in ordered],
                "low": [f.low for f in ordered],
                "high": [f.high for f in ordered],
            },
            x=Axis(column="share", label=axis, unit="1"),
            y=Axis(column="listener", label="Listener", scale="category"),
            low="low",
            high="high",
            rules=rules,
        )
    ]


def _row(finding: Finding, several: bool) -> str:
    who = finding.listener or ALL_LISTENERS
    told = [name for name in (finding.condition, finding.variant) if name is not None] if several else []
    return f"{who} ({', '.join(told)})" if told else who


@hookimpl
def fairhearing_analysers() -> list[Controls]:
    """The analyser of controls and shams."""
    return [Controls()]
