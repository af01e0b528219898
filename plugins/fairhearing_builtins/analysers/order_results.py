"""Trials of every method in the order in which each listener met them, each with what it adds to its quantity."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from fairhearing.api import Inputs
from fairhearing_builtins.analysers import choice_trials, grading_trials, preference_trials
from fairhearing_builtins.analysers.choice_trials import headline
from fairhearing_builtins.analysers.exclusions import left_out_caveats
from fairhearing_builtins.analysers.listening import Pair
from fairhearing_builtins.analysers.trial_order import in_order

RIGHT, PREFERRED, RATED = "proportion_correct", "preference_share", "rating_difference"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One trial, or one rating, of a listener's; `first`: the condition that was presented first, where it is said."""

    first: str | None
    thing: object


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The trials of one pair in order, by listener, of the quantity `of`; `mean` of some of them, None of none.

    `variant`: the method or scale where another one speaks for the pair. `left_out`: what is to be said of trials that
    are not in it.
    """

    of: str
    unit: str
    pair: Pair
    variant: str | None
    listeners: Mapping[str, Sequence[Stage]]
    mean: Callable[[Sequence[Stage]], Fraction | None]
    left_out: tuple[str, ...] = ()


def courses(inputs: Inputs) -> list[Course]:
    """Every pair and method that has trials: forced choices, preferences, ratings."""
    return [*_choices(inputs), *_preferences(inputs), *_ratings(inputs)]


def _mean(values: Sequence[Fraction]) -> Fraction | None:
    return sum(values, Fraction(0)) / len(values) if values else None


def _share_right(stages: Sequence[Stage]) -> Fraction | None:
    trials = [stage.thing for stage in stages]
    return _mean([Fraction(one.right) for one in trials if isinstance(one, choice_trials.Trial)])


def _share_won(stages: Sequence[Stage]) -> Fraction | None:
    trials = [stage.thing for stage in stages]
    return _mean([Fraction(one.halves, 2) for one in trials if isinstance(one, preference_trials.Trial)])


def _choices(inputs: Inputs) -> list[Course]:
    made = []
    for pair, pools in choice_trials.gather(inputs).pools.items():
        speaks = headline(pools)
        for method, pool in pools.items():
            ordered = {
                name: [Stage(first=trial.first, thing=trial) for trial in own]
                for name, own in in_order(pool.trials).items()
            }
            variant = None if method == speaks else method
            made.append(
                Course(
                    of=RIGHT,
                    unit="1",
                    pair=pair,
                    variant=variant,
                    listeners=ordered,
                    mean=_share_right,
                    left_out=left_out_caveats(pool.excluded, pool.n_left_out),
                )
            )
    return made


def _preferences(inputs: Inputs) -> list[Course]:
    made = []
    for pair, pool in preference_trials.gather(inputs).pools.items():
        ordered = {
            name: [Stage(first=_first_of(trial, pair), thing=trial) for trial in own]
            for name, own in in_order(pool.trials).items()
        }
        made.append(
            Course(
                of=PREFERRED,
                unit="1",
                pair=pair,
                variant=None,
                listeners=ordered,
                mean=_share_won,
                left_out=left_out_caveats(pool.excluded, pool.n_invalid + pool.n_same),
            )
        )
    return made


def _first_of(trial: preference_trials.Trial, pair: Pair) -> str:
    return pair.condition if trial.condition_first else pair.reference


def _ratings(inputs: Inputs) -> list[Course]:
    gathered = grading_trials.gather(inputs)
    return [
        _of_scale(ratings, pair, scale if index else None)
        for index, (scale, ratings) in enumerate(gathered.items())
        for pair in ratings.pairs
    ]


def _of_scale(ratings: grading_trials.Ratings, pair: Pair, variant: str | None) -> Course:
    """Ratings of the two conditions; a difference takes both of one cell, so each part is matched by itself."""
    both = {pair.condition, pair.reference}
    own = [r for r in ratings.ratings if r.condition in both and (r.other is None or r.other in both)]
    ordered = {
        name: [Stage(first=rating.other, thing=rating) for rating in rated] for name, rated in in_order(own).items()
    }

    def mean(stages: Sequence[Stage]) -> Fraction | None:
        some = [stage.thing for stage in stages if isinstance(stage.thing, grading_trials.Rating)]
        return _mean([unit.difference for unit in grading_trials.units(some, ratings.scale, pair)])

    return Course(
        of=RATED,
        unit=ratings.scale,
        pair=pair,
        variant=variant,
        listeners=ordered,
        mean=mean,
        left_out=ratings.caveats,
    )
