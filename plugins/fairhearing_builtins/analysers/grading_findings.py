"""rating_difference: over listeners, by programme and listener, with and without those whom screening leaves out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from fairhearing.api import Finding, Inputs
from fairhearing.statistics.crossed import crossed_mean
from fairhearing.statistics.listeners import holm, smallest_sign_flip_p, t_interval
from fairhearing.statistics.resampling import SignFlipTest, sign_flip_test
from fairhearing_builtins.analysers.grading_trials import Unit, by_part, listener_means, mean_of
from fairhearing_builtins.analysers.listening import (
    ONE_LISTENER_CAVEAT,
    Pair,
    attributed,
    attribution_fault,
    control_caveats,
    counted,
    shared_alpha,
)

ALL_LISTENERS = "all-listeners"
CLAIMS = frozenset({"better", "worse"})
WIDEST = {"comparison": 3.0, "quality": 100.0, "impairment": 4.0}  # the largest difference that a scale allows
ONLY_WORSE = "the scale `impairment` grades what is worse than the hidden reference (BS.1116): it cannot show better"
SCREENED_TEST = (
    "who is left out depends on the very grades that are tested: p comes from exchanging condition and reference and "
    "screening anew, listener by listener"
)
SCREENED_INTERVAL = (
    "the interval is of those who are left, and who is left depends on the grades: it does not hold the mean of all "
    "listeners; that of the variant {variant} does"
)
PROGRAMMES_DIFFER = (
    "where programmes differ as much as listeners do, this claims a difference that is not there a little more often "
    "than it says: in simulation in 6 to 7 % of sessions where it says 5 %"
)
SAME = "all have the same difference: t has no width, so there is no interval"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A pair on a scale: all its differences, who is left out and why, and what comes before a variant's name.

    `note`: what the method has to say of the scale. `weights`: 1/2 or 0 for a listener whom screening leaves out as
    the conditions are named, or would with their names exchanged, or both; 1 for those not in it.
    """

    inputs: Inputs
    scale: str
    pair: Pair
    prefix: str | None
    units: Sequence[Unit]
    left_out: Mapping[str, str]
    weights: Mapping[str, Fraction]
    note: str
    caveats: tuple[str, ...]

    def variant(self, name: str | None) -> str | None:
        """The variant of a finding: the scale goes before it where another scale has the headline."""
        return "-".join(part for part in (self.prefix, name) if part is not None) or None

    def finding(self, **said: object) -> Finding:
        """A rating_difference of this pair."""
        stated = {"quantity": "rating_difference", "unit": self.scale, "condition": self.pair.condition,
                  "reference": self.pair.reference, **said}  # fmt: skip
        return Finding(**stated)  # type: ignore[arg-type]


def differences(case: Case) -> list[Finding]:
    """Every rating_difference of the pair: over listeners, by programme, of each listener, and the variants."""
    means = listener_means(case.units)
    if not means:
        caveat = "no listener rated both this condition and the reference in the same programme and seat"
        method = f"grading on the scale {case.scale}"
        return [case.finding(value=None, variant=case.variant(None), method=method, caveats=(*case.caveats, caveat))]
    own = _of_listeners(case, list(means))
    if len(means) == 1:
        screening = [f"screening would leave this listener out: {why}" for why in case.left_out.values()]
        told = (*case.caveats, *screening, ONE_LISTENER_CAVEAT)
        weak = control_caveats(case.inputs, own[0].verdict or "")
        return [replace(own[0], listener=None, caveats=(*told, *own[0].caveats, *weak)), *own]
    findings = [_over_listeners(case, case.units)]
    if case.left_out:
        everyone = replace(case, left_out={}, weights={})
        findings.append(_over_listeners(everyone, case.units, variant=ALL_LISTENERS))
    findings += [*_of_parts(case, "programme"), *_of_parts(case, "seat")]
    findings += _mixed_model(case, list(means))
    return [*findings, *own]


# --- over listeners ---------------------------------------------------------------------------------------------------


def _over_listeners(
    case: Case,
    units: Sequence[Unit],
    variant: str | None = None,
    p_for_verdict: float | None = None,
    n_verdicts: int = 1,
) -> Finding:
    """The mean over those who are not left out, with its t interval; p by `_test`."""
    everyone = listener_means(units)
    kept = [mean for name, mean in everyone.items() if name not in case.left_out]
    tested, test = _test(case, everyone)
    caveats = [*case.caveats, *_screening_caveats(case, everyone)]
    n_weighed = sum(case.weights.get(name, 1) > 0 for name in everyone)
    smallest = smallest_sign_flip_p(max(n_weighed, 1))
    if n_verdicts * smallest > case.inputs.session.criteria.alpha:
        caveats.append(
            f"{counted(n_weighed, 'listener', 'listeners')}: no result could have shown it (the smallest possible "
            f"p is {smallest:.3g}{shared_alpha(n_verdicts)})"
        )
    if kept and any(name in case.weights for name in everyone):
        caveats.append(f"{SCREENED_TEST}; of those who are left alone, p would be {sign_flip_test(kept).p_value:.3g}")
    if len(kept) < len(everyone):
        caveats.append(SCREENED_INTERVAL.format(variant=case.variant(ALL_LISTENERS)))
    mean = mean_of(kept) if kept else None
    decisive = test.p_value if p_for_verdict is None else p_for_verdict
    verdict, why = _verdict(case, units, mean, tested, decisive)
    interval, no_interval = _t_interval(case, kept)
    return case.finding(
        variant=case.variant(variant),
        value=None if mean is None else float(mean),
        low=interval[0],
        high=interval[1],
        confidence=case.inputs.session.criteria.confidence,
        p_value=None if mean is None else test.p_value,
        n=len(kept) or None,
        method=_method(case, units, len(kept), len(everyone), test),
        verdict=verdict,
        caveats=(*caveats, *no_interval, *why, *control_caveats(case.inputs, verdict)),
    )


def _test(case: Case, means: Mapping[str, Fraction]) -> tuple[Fraction, SignFlipTest]:
    """The weighed mean and its sign-flip p.

    A sign that flips exchanges condition and reference for a listener, who is then screened anew: left out one way,
    the two ways differ by half of what they otherwise do. So p holds although screening looks at the same grades.
    """
    weighed = [case.weights.get(name, Fraction(1)) * mean for name, mean in means.items()]
    return mean_of(weighed), sign_flip_test(weighed)


def _method(case: Case, units: Sequence[Unit], n_kept: int, n_all: int, test: SignFlipTest) -> str:
    what = counted(len(units), "trial", "trials") if units[0].of_trial else f"{len(units)} cells of programme and seat"
    over = f"{n_kept} listeners" if n_kept == n_all else f"{n_kept} of {n_all} listeners, the others screened out"
    anew = ", each screened anew with the conditions exchanged" if case.weights else ""
    return (
        f"grading on the scale {case.scale}, mean over {over} ({what}); p: {test.method} over listeners{anew}, "
        f"two-sided; interval: t over listeners{case.note}"
    )


def _screening_caveats(case: Case, rated: Mapping[str, Fraction]) -> tuple[str, ...]:
    return tuple(f"listener {name} left out: {why}" for name, why in case.left_out.items() if name in rated)


def _t_interval(case: Case, values: Sequence[Fraction]) -> tuple[tuple[float | None, float | None], tuple[str, ...]]:
    """t over the values, cut to what the scale allows; or why there is none."""
    if len(values) < 2:
        why = "screening leaves no listener" if not values else "one value: no interval"
        return (None, None), (why,)
    if len(set(values)) == 1:
        return (None, None), (SAME,)
    widest = WIDEST[case.scale]
    found = t_interval([float(v) for v in values], case.inputs.session.criteria.confidence, -widest, widest)
    return (found.low, found.high), ()


def _verdict(
    case: Case, units: Sequence[Unit], shown: Fraction | None, tested: Fraction, p_value: float | None
) -> tuple[str, tuple[str, ...]]:
    """The word for a difference whose sign `shown` and `tested` share, if p says so."""
    alike = shown is not None and shown * tested > 0
    if p_value is None or not alike or p_value > case.inputs.session.criteria.alpha:
        return "not-shown", ()
    if tested > 0 and case.scale == "impairment":
        return "not-shown", (ONLY_WORSE,)
    fault = attribution_fault(case.inputs, case.pair, {unit.cell[1] for unit in units})
    return attributed("better" if tested > 0 else "worse", fault, CLAIMS)


# --- by programme and seat --------------------------------------------------------------------------------------------


def _of_parts(case: Case, word: Literal["programme", "seat"]) -> list[Finding]:
    """The difference of each part where there are two or more; raw p, verdict by Holm over them."""
    parts = by_part(case.units, word)
    if len(parts) < 2:
        return []
    raw = [_test(case, listener_means(units))[1].p_value for units in parts.values()]
    findings = []
    for (name, units), p_holm in zip(parts.items(), holm(raw), strict=True):
        found = _over_listeners(case, units, None, float(p_holm), len(parts))
        method = f"{found.method}; verdict by Holm over {len(parts)} {word}s"
        programme, seat = (name, None) if word == "programme" else (None, name)
        findings.append(replace(found, method=method, programme=programme, seat=seat))
    return findings


def _mixed_model(case: Case, listeners: Sequence[str]) -> list[Finding]:
    """The mean with listeners and programmes both as random; nothing with one programme, null if a cell is empty."""
    programmes = {name: listener_means(units) for name, units in by_part(case.units, "programme").items()}
    if len(programmes) < 2:
        return []
    said = {"variant": case.variant("mixed-model"), "n": len(listeners)}
    method = "mixed model, listeners and programmes crossed and random"
    if any(name not in means for means in programmes.values() for name in listeners):
        why = "not every listener rated every programme: the closed form needs a complete table"
        return [case.finding(value=None, method=method, caveats=(why,), **said)]
    table = [[float(means[name]) for means in programmes.values()] for name in listeners]
    confidence = case.inputs.session.criteria.confidence
    found = crossed_mean(table, confidence)
    finite = math.isfinite(found.low) and math.isfinite(found.high)
    widest = WIDEST[case.scale]
    return [
        case.finding(
            value=found.mean,
            low=max(found.low, -widest) if finite else None,
            high=min(found.high, widest) if finite else None,
            confidence=confidence,
            p_value=found.p_value if math.isfinite(found.p_value) else None,
            method=f"{method}, REML on the balanced table of all {len(listeners)} listeners by {len(programmes)} "
            + (
                f"programmes; t with {found.degrees_of_freedom:.2f} degrees of freedom (Satterthwaite), two-sided"
                if finite
                else "programmes"
            ),
            caveats=(*(() if finite else (SAME,)), *((PROGRAMMES_DIFFER,) if found.programme_variance > 0.0 else ())),
            **said,
        )
    ]


# --- of each listener -------------------------------------------------------------------------------------------------


def _of_listeners(case: Case, listeners: Sequence[str]) -> list[Finding]:
    """Each listener's own difference; raw p, verdict by Holm over listeners where there are more than one."""
    tests = {}
    for name in listeners:
        own = [unit for unit in case.units if unit.listener == name]
        tests[name] = (own, sign_flip_test([unit.difference for unit in own]) if len(own) > 1 else None)
    tested = [name for name, (_, test) in tests.items() if test is not None]
    adjusted = dict(zip(tested, holm([t.p_value for _, t in tests.values() if t is not None]).tolist(), strict=True))
    return [_own(case, name, *tests[name], adjusted.get(name), len(tested)) for name in listeners]


def _own(
    case: Case, name: str, units: Sequence[Unit], test: SignFlipTest | None, p_holm: float | None, n_tested: int
) -> Finding:
    values = [unit.difference for unit in units]
    mean = mean_of(values)
    verdict, why = _verdict(case, units, mean, mean, p_holm)
    interval, no_interval = _t_interval(case, values)
    over = "trials" if units[0].of_trial else "cells of programme and seat"
    test_words = "" if test is None else f"; p: {test.method} over {over}, two-sided; interval: t over {over}"
    holm_words = f"; verdict by Holm over {n_tested} listeners" if test is not None and n_tested > 1 else ""
    if test is None:
        no_interval = (f"one difference ({over}): neither interval nor p",)
    return case.finding(
        variant=case.variant(None),
        listener=name,
        value=float(mean),
        low=interval[0],
        high=interval[1],
        confidence=case.inputs.session.criteria.confidence,
        p_value=None if test is None else test.p_value,
        n=1,
        method=f"grading on the scale {case.scale}, one listener's mean over {len(values)} {over}{test_words}"
        f"{holm_words}",
        verdict=verdict,
        caveats=(*no_interval, *why),
    )
