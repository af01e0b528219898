"""d_prime of forced-choice trials, by the models of their method."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fairhearing.api import Finding
from fairhearing.statistics.detection import d_prime
from fairhearing.statistics.proportions import Interval
from fairhearing.statistics.same_different import Rule, same_different_d_prime
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS
from fairhearing_builtins.analysers.choice_trials import Trial
from fairhearing_builtins.analysers.listening import ONE_LISTENER_CAVEAT, Tally, interval_over_listeners

ALL_RIGHT = "all answers are right: d-prime has no estimate, only a lower bound"
NO_UPPER_BOUND = "the interval of the proportion reaches 1: d-prime has no upper bound"
BELOW_CHANCE = "fewer right answers than chance gives: d-prime is set to 0"
ONE_SORT_OF_PAIRS = "only one sort of pairs, same or different, was played: d-prime can't be had"
ONE_ANSWER = "the same answer throughout tells nothing of sensitivity"
NO_MISS = "no different pair was missed or no same pair called different: d-prime has no estimate, only a lower bound"
NO_UPPER_BOUND_OF_RATES = "the intervals of hits and false alarms reach 1 or 0: d-prime has no upper bound"
NO_MORE_HITS = "different pairs are called different less often than same pairs: d-prime is set to 0"
RULES: tuple[tuple[str | None, Rule, str], ...] = (
    (None, "differencing", "differencing model"),
    ("independent", "independent", "independent observation model"),
)


def sensitivities(proportion: Finding, trials: Sequence[Trial], method: str) -> list[Finding]:
    """d_prime by each model, headline or not as `proportion`, over all listeners, is."""
    only_one = len({trial.listener for trial in trials}) == 1
    more = (ONE_LISTENER_CAVEAT,) if only_one else ()
    if method == "same-different":
        return _from_rates(proportion, trials, more)
    return _from_proportion(proportion, method, more)


def _from_proportion(proportion: Finding, method: str, more: tuple[str, ...]) -> list[Finding]:
    """The transform of the proportion and of its interval."""
    how = CHOICE_METHODS[method]
    assert proportion.value is not None
    assert proportion.low is not None
    assert proportion.high is not None
    assert how.chance is not None
    findings = []
    for variant, model, words in how.models:
        value, low, high = (d_prime(share, model) for share in (proportion.value, proportion.low, proportion.high))
        caveats = []
        if math.isinf(value):
            caveats.append(ALL_RIGHT)
        elif math.isinf(high):
            caveats.append(NO_UPPER_BOUND)
        if proportion.value < how.chance:
            caveats.append(BELOW_CHANCE)
        text = f"{how.label}, {words}, from proportion_correct over all trials; interval: that of the proportion"
        found = _Estimate(variant=variant, value=value, low=low, high=high, method=text, caveats=(*caveats, *more))
        findings.append(found.finding(proportion))
    return findings


@dataclass(frozen=True, slots=True, kw_only=True)
class _Estimate:
    """A d-prime with its bounds, which may be infinite or no number."""

    variant: str | None
    value: float
    low: float
    high: float
    method: str
    caveats: tuple[str, ...]

    def finding(self, proportion: Finding) -> Finding:
        """The finding, beside the proportion that it goes with."""
        value, low, high = (x if math.isfinite(x) else None for x in (self.value, self.low, self.high))
        names = [name for name in (proportion.variant, self.variant) if name is not None]
        return Finding(
            quantity="d_prime",
            variant="-".join(names) or None,
            value=value,
            unit="1",
            low=low,
            high=high,
            confidence=proportion.confidence,
            n=proportion.n,
            method=self.method,
            condition=proportion.condition,
            reference=proportion.reference,
            caveats=self.caveats,
        )


# --- same-different ---------------------------------------------------------------------------------------------------


def _from_rates(proportion: Finding, trials: Sequence[Trial], more: tuple[str, ...]) -> list[Finding]:
    """From the rates of "different" to different and to same pairs.

    d-prime rises with hits and falls with false alarms, so bounds of both, each at half the error, bound it.
    """
    assert proportion.confidence is not None
    hits, false_alarms = (_different(trials, played) for played in (1, 0))
    counts = "; ".join(f"{said} {_share(rate)}" for said, rate in (("hits", hits), ("false alarms", false_alarms)))
    findings = []
    for variant, rule, words in RULES:
        text = f"same-different, {words}, from the rates over all trials ({counts})"
        if not hits or not false_alarms:
            value, bounds, caveats = math.nan, Interval(low=math.nan, high=math.nan), [ONE_SORT_OF_PAIRS]
        else:
            value = same_different_d_prime(_rate(hits), _rate(false_alarms), rule)
            bounds = _bounds(hits, false_alarms, proportion.confidence, rule)
            caveats = _rate_caveats(hits, false_alarms, value, bounds)
            text += "; interval: from those of both rates over listeners, each at half the error (Bonferroni)"
        found = _Estimate(
            variant=variant, value=value, low=bounds.low, high=bounds.high, method=text, caveats=(*caveats, *more)
        )
        findings.append(found.finding(proportion))
    return findings


def _different(trials: Sequence[Trial], played: int) -> list[Tally]:
    """Of each listener, how often pairs of this sort were called different."""
    own: dict[str, list[int]] = {}
    for trial in trials:
        if trial.choice.played == played:
            own.setdefault(trial.listener, []).append(trial.choice.answered)
    return [Tally(listener=who, halves=2 * sum(said), n_trials=len(said)) for who, said in sorted(own.items())]


def _rate(tallies: Sequence[Tally]) -> float:
    return sum(tally.halves for tally in tallies) / (2 * sum(tally.n_trials for tally in tallies))


def _share(tallies: Sequence[Tally]) -> str:
    return f"{sum(tally.halves for tally in tallies) // 2} of {sum(tally.n_trials for tally in tallies)}"


def _bounds(hits: Sequence[Tally], false_alarms: Sequence[Tally], confidence: float, rule: Rule) -> Interval:
    each = (1.0 + confidence) / 2.0
    of_hits, of_alarms = interval_over_listeners(hits, each), interval_over_listeners(false_alarms, each)
    low = same_different_d_prime(of_hits.low, of_alarms.high, rule)
    high = same_different_d_prime(of_hits.high, of_alarms.low, rule)
    return Interval(low=0.0 if math.isnan(low) else low, high=math.inf if math.isnan(high) else high)


def _rate_caveats(hits: Sequence[Tally], false_alarms: Sequence[Tally], value: float, bounds: Interval) -> list[str]:
    caveats = []
    if math.isnan(value):
        caveats.append(ONE_ANSWER)
    elif math.isinf(value):
        caveats.append(NO_MISS)
    elif math.isinf(bounds.high):
        caveats.append(NO_UPPER_BOUND_OF_RATES)
    if _rate(hits) < _rate(false_alarms):
        caveats.append(NO_MORE_HITS)
    return caveats
