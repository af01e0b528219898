"""How well listeners agree with each other and with themselves: listener_agreement and rating_repeatability."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from fairhearing.api import Finding
from fairhearing.statistics.agreement import Correlation, intraclass
from fairhearing.statistics.pooled import pool
from fairhearing_builtins.analysers.grading_trials import Ratings, mean_of, stimulus, turned

Variant = Callable[[str | None], str | None]
AGREEMENTS = (
    (None, "absolute", "ICC(2,1), absolute agreement of single listeners"),
    ("consistency", "consistent", "ICC(3,1), consistency of single listeners"),
    ("mean-of-listeners", "mean_absolute", "ICC(2,k), absolute agreement of the mean over the listeners"),
)


def agreement(ratings: Ratings, confidence: float, variant: Variant) -> list[Finding]:
    """listener_agreement over what all listeners rated: a condition (or a pair) with a programme, mean over repeats."""
    targets: dict[object, dict[str, list[Fraction]]] = {}
    for rating in ratings.ratings:
        names, (programme, _) = stimulus(rating)
        targets.setdefault((names, programme or ""), {}).setdefault(rating.listener, []).append(turned(rating))
    listeners = ratings.listeners
    common = [target for target in sorted(targets, key=str) if len(targets[target]) == len(listeners)]
    what = f"of {len(common)} things that all {len(listeners)} listeners rated (Shrout and Fleiss 1979)"
    if len(common) < 2 or len(listeners) < 2:
        why = "agreement needs two listeners or more who all rated the same two things or more"
        return [_agreement(variant(None), None, confidence, None, AGREEMENTS[0][2], (why,))]
    table = [[float(mean_of(targets[target][name])) for name in listeners] for target in common]
    found = intraclass(table, confidence)
    return [
        _agreement(variant(name), getattr(found, field), confidence, len(listeners), f"{words}, {what}", ())
        for name, field, words in AGREEMENTS
    ]


def _agreement(
    variant: str | None,
    found: Correlation | None,
    confidence: float,
    n_listeners: int | None,
    method: str,
    caveats: tuple[str, ...],
) -> Finding:
    value, low, high = (None, None, None) if found is None else map(_finite, (found.value, found.low, found.high))
    if found is not None and value is None:
        low = high = None
        caveats = (*caveats, "all ratings are alike, or listeners agree less than by chance: there is no correlation")
    elif found is not None and None in (low, high):
        low = high = None
        caveats = (*caveats, "the interval has no finite end: too few things were rated")
    return Finding(
        quantity="listener_agreement",
        value=value,
        unit="1",
        variant=variant,
        low=low,
        high=high,
        confidence=confidence,
        n=n_listeners,
        method=method,
        caveats=caveats,
    )


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None


def repeatability(ratings: Ratings, variant: Variant) -> list[Finding]:
    """rating_repeatability: how far a listener's ratings of the same thing scatter, pooled; and of each listener."""
    import numpy as np

    groups: dict[str, dict[object, list[float]]] = {name: {} for name in ratings.listeners}
    for rating in ratings.ratings:
        groups[rating.listener].setdefault(stimulus(rating), []).append(float(turned(rating)))
    arrays = {name: [np.sort(own) for own in cells.values() if len(own) > 1] for name, cells in groups.items()}
    repeating = {name: sorted(own, key=lambda one: one.tolist()) for name, own in arrays.items() if own}

    def finding(cells: list[np.ndarray], listener: str | None, n: int) -> Finding:
        spread = pool(cells)
        return Finding(
            quantity="rating_repeatability",
            value=math.sqrt(spread.variance),
            unit=ratings.scale,
            variant=variant(None),
            listener=listener,
            n=n,
            method="standard deviation of ratings of the same thing, programme and seat, pooled "
            f"({spread.degrees_of_freedom} degrees of freedom)",
        )

    if not repeating:
        return [
            Finding(
                quantity="rating_repeatability",
                value=None,
                unit=ratings.scale,
                variant=variant(None),
                method="standard deviation of ratings of the same thing, pooled",
                caveats=("no listener rated the same thing, programme and seat twice",),
            )
        ]
    everything = sorted((cell for cells in repeating.values() for cell in cells), key=lambda one: one.tolist())
    own = [finding(cells, name, 1) for name, cells in repeating.items()]
    return [finding(everything, None, len(repeating)), *own]
