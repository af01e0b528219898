"""What each condition is worth against the reference where more than two were compared in pairs: worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Needs, Result, Rule, Symmetry, Table, hookimpl
from fairhearing.statistics.bradley_terry import (
    FloatArray,
    WorthFit,
    by_group,
    fit_worth,
    model_covariance,
    with_pseudo_wins,
)
from fairhearing.statistics.listeners import t_quantile
from fairhearing_builtins.analysers.exclusions import with_and_without
from fairhearing_builtins.analysers.listening import (
    ONE_LISTENER_CAVEAT,
    Pair,
    attribution_fault,
    counted,
    label,
    labels_are_labels,
)
from fairhearing_builtins.analysers.worth_trials import Comparisons, comparisons

WORTH = frozenset({"worth"})
POSITION_ADJUSTED, PSEUDO_WIN = "position-adjusted", "pseudo-win"
PSEUDO_WORDS = "half a win either way added to every pair that was compared"
INFINITE = (
    "infinite: this condition or the reference, or what links them, won or lost all that would bound it; "
    f"variant {PSEUDO_WIN}: {PSEUDO_WORDS}"
)
UNLINKED = "never compared with the reference, directly or through other conditions"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A fit with the covariance of its worths and how it was had."""

    variant: str | None
    fit: WorthFit
    covariance: FloatArray
    method: str


class Worth:
    """Log-odds that each condition is preferred to the reference, from all comparisons of three or more."""

    name = "worth"
    version = "2"
    quantities = WORTH
    needs = Needs(methods=frozenset({"paired-preference"}), findings=frozenset({"level_difference"}))
    symmetries = (
        Symmetry(kind="swap-conditions-negates", quantities=WORTH),
        Symmetry(kind="first-second-invariant", quantities=WORTH),
        Symmetry(kind="row-order-invariant", quantities=WORTH),
        *labels_are_labels(WORTH),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings for each condition against the session's reference; nothing where two conditions were compared."""
        return with_and_without(inputs, self._analyse, WORTH)

    def _analyse(self, inputs: Inputs) -> Result:
        sheets = sorted((s for s in inputs.sheets if s.method == "paired-preference"), key=lambda s: s.entry)
        made = comparisons(sheets, inputs.session)
        if len(made.conditions) < 3:
            return Result()
        total = made.counts.sum(axis=0)
        fits = [_fitted(made, None), _fitted(made, POSITION_ADJUSTED)]
        if _linked(total)[0].any() and not fits[0].fit.finite[_linked(total)].all():
            fits.append(_fitted(made, PSEUDO_WIN))
        findings = [
            _finding(inputs, made, fitted, index) for fitted in fits for index in range(1, len(made.conditions))
        ]
        tables = (_contrasts(inputs, made, fits), _terms(fits))
        return Result(findings=tuple(findings), tables=tables, charts=(_chart(inputs, findings),))


def _fitted(made: Comparisons, variant: str | None) -> Fitted:
    """Worths by likelihood, and their covariance over listeners (over trials with one listener)."""
    counts = made.counts
    total = counts.sum(axis=0)
    if variant == PSEUDO_WIN and len(counts):
        # What is added belongs to no listener: each carries its share, so that leaving one out leaves the rest.
        counts = counts + (with_pseudo_wins(total) - total) / len(counts)
        total = counts.sum(axis=0)
    fit = fit_worth(total, first_position=variant == POSITION_ADJUSTED)
    n_listeners = len(counts)
    if not fit.finite.all():
        covariance = np.full((len(total), len(total)), math.nan)
    else:
        covariance = by_group(counts, fit) if n_listeners > 1 else model_covariance(fit)
    ties = ", Davidson's ties" if total[:, :, 1].any() else ""
    term = {POSITION_ADJUSTED: ", first-position term", PSEUDO_WIN: f", {PSEUDO_WORDS}"}.get(variant or "", "")
    over = (
        f"jackknife over {n_listeners} listeners, t with {n_listeners - 1} degrees of freedom"
        if n_listeners > 1
        else "normal, all trials independent"
    )
    method = (
        f"Bradley-Terry{ties}{term}, maximum likelihood over {int(made.counts.sum())} trials of "
        f"{len(made.conditions)} conditions; log-odds; interval: {over}"
    )
    return Fitted(variant=variant, fit=fit, covariance=covariance, method=method)


def _linked(total: FloatArray) -> npt.NDArray[np.bool_]:
    """Which two conditions comparisons link, directly or through others."""
    reach: npt.NDArray[np.bool_] = np.eye(len(total), dtype=bool) | (total.sum(axis=2) > 0) | (total.sum(axis=2).T > 0)
    for _ in range(len(total)):
        reach = reach @ reach
    return reach


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contrast:
    """A worth less another, its interval, and what is to be said of it."""

    value: float | None
    low: float | None
    high: float | None
    caveats: tuple[str, ...]


def _contrast(made: Comparisons, fitted: Fitted, one: int, other: int, confidence: float) -> _Contrast:
    """Worth of `one` less worth of `other`; null where the data do not bound it."""
    total = made.counts.sum(axis=0)
    if not _linked(total)[one, other]:
        return _Contrast(value=None, low=None, high=None, caveats=(UNLINKED,))
    if not fitted.fit.finite[one, other]:
        return _Contrast(value=None, low=None, high=None, caveats=(INFINITE,))
    value = float(fitted.fit.worth[one] - fitted.fit.worth[other])
    matrix = fitted.covariance
    variance = float(matrix[one, one] + matrix[other, other] - 2.0 * matrix[one, other])
    n_listeners = len(made.listeners)
    if not math.isfinite(variance) or variance <= 1e-18:
        why = "no interval: without one of the listeners, or with all of one mind, it cannot be had"
        return _Contrast(value=value, low=None, high=None, caveats=(why,))
    half = t_quantile(confidence, n_listeners - 1 if n_listeners > 1 else None) * math.sqrt(variance)
    return _Contrast(value=value, low=value - half, high=value + half, caveats=())


def _finding(inputs: Inputs, made: Comparisons, fitted: Fitted, index: int) -> Finding:
    confidence = inputs.session.criteria.confidence
    pair = Pair(condition=made.conditions[index], reference=made.conditions[0])
    found = _contrast(made, fitted, index, 0, confidence)
    caveats = [*made.caveats, *found.caveats]
    if len(made.listeners) == 1:
        caveats.append(ONE_LISTENER_CAVEAT)
    if fitted.variant == PSEUDO_WIN:
        caveats.append("a convention that keeps it finite; it pulls all worths together")
    fault = attribution_fault(inputs, pair, made.seats)
    if fault is not None and found.low is not None and found.high is not None and (found.low > 0.0 or found.high < 0.0):
        caveats.append(fault)
    return Finding(
        quantity="worth",
        value=found.value,
        unit="1",
        variant=fitted.variant,
        low=found.low,
        high=found.high,
        confidence=confidence,
        n=len(made.listeners) or None,
        method=fitted.method,
        condition=pair.condition,
        reference=pair.reference,
        caveats=tuple(caveats),
    )


# --- beside the findings ----------------------------------------------------------------------------------------------


def _contrasts(inputs: Inputs, made: Comparisons, fits: Sequence[Fitted]) -> Table:
    """Every pair of conditions, in every variant."""
    total = made.counts.sum(axis=0)
    rows = []
    for fitted in fits:
        for one in range(len(made.conditions)):
            for other in range(one):
                found = _contrast(made, fitted, one, other, inputs.session.criteria.confidence)
                n_trials = int(total[one, other].sum() + total[other, one].sum())
                pair = (made.conditions[one], made.conditions[other])
                rows.append(
                    (fitted.variant, *pair, found.value, found.low, found.high, n_trials, "; ".join(found.caveats))
                )
    names = ("variant", "condition", "against", "worth", "low", "high", "n_trials", "caveats")
    return Table(
        name="worth-contrasts",
        columns=dict(zip(names, map(list, zip(*rows, strict=True)), strict=True)),
        units={name: "1" if name in ("worth", "low", "high") else "" for name in names},
    )


def _terms(fits: Sequence[Fitted]) -> Table:
    """Davidson's nu and the first-position term of each fit, where they can be had."""
    rows = []
    for fitted in fits:
        sound = bool(fitted.fit.finite.all())
        nu = math.exp(fitted.fit.log_tie) if sound else None
        rows.append((fitted.variant, nu, fitted.fit.first_position if sound else None))
    terms = ("variant", "tie_term", "first_position_term")
    return Table(
        name="worth-terms",
        columns=dict(zip(terms, map(list, zip(*rows, strict=True)), strict=True)),
        units={"variant": "", "tie_term": "1", "first_position_term": "1"},
    )


def _chart(inputs: Inputs, findings: Sequence[Finding]) -> ChartRequest:
    session = inputs.session
    drawn = [finding for finding in findings if finding.variant is None]
    reference = label(session, session.reference.id)
    told = "; ".join(
        f"{label(session, f.condition or '')}: {'not to be had' if f.value is None else f'{f.value:+.2f}'}"
        for f in drawn
    )
    return ChartRequest(
        name="worth",
        title=f"Worth against {reference}",
        alternative=f"Log-odds that each of {counted(len(drawn), 'condition', 'conditions')} is preferred to "
        f"{reference}, with intervals. {told}. Above 0 it is preferred more often than not.",
        form="interval",
        data={
            "condition": [label(session, finding.condition or "") for finding in drawn],
            "worth": [finding.value for finding in drawn],
            "low": [finding.low for finding in drawn],
            "high": [finding.high for finding in drawn],
        },
        x=Axis(column="worth", label="Worth, log-odds", unit="1"),
        y=Axis(column="condition", label="Condition", scale="category"),
        low="low",
        high="high",
        rules=(Rule(at=0.0, label=reference),),
    )


@hookimpl
def fairhearing_analysers() -> list[Worth]:
    """The analyser of worths."""
    return [Worth()]
