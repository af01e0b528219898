"""The forced-choice methods: their words, how often guessing is right, and the test of right answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fairhearing.statistics.contingency import conditional_test
from fairhearing.statistics.detection import Model
from fairhearing.statistics.matching import matching_test
from fairhearing.statistics.proportions import binomial_p_greater
from fairhearing_builtins.analysers.choice_trials import Trial

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceMethod:
    """A method: its words, how many kinds of trial there are, how often guessing is right.

    `n_ways` None: that hangs on how readily somebody says "different", so right answers alone tell nothing. `models`:
    of sensitivity, the headline's first: the variant, the model and its words.
    """

    label: str
    n_kinds: int
    n_ways: int | None
    models: tuple[tuple[str | None, Model, str], ...] = ()
    dealt: str = ""

    @property
    def chance(self) -> float | None:
        """Share of right answers by guessing."""
        return None if self.n_ways is None else 1.0 / self.n_ways


CHOICE_METHODS: dict[str, ChoiceMethod] = {
    "abx": ChoiceMethod(
        label="ABX",
        n_kinds=2,
        n_ways=2,
        models=(
            (None, "abx-independent", "independent observation model"),
            ("differencing", "abx-differencing", "differencing model"),
        ),
    ),
    "same-different": ChoiceMethod(label="same-different", n_kinds=2, n_ways=None),
    "triangle": ChoiceMethod(
        label="triangle",
        n_kinds=3,
        n_ways=3,
        models=((None, "triangle", "Thurstonian model of the triangle (Ennis 1993)"),),
        dealt="the place of the odd one",
    ),
    "duo-trio": ChoiceMethod(
        label="duo-trio",
        n_kinds=2,
        n_ways=2,
        models=((None, "duo-trio", "Thurstonian model of the duo-trio, which is differencing (Ennis 1993)"),),
    ),
    "tetrad": ChoiceMethod(
        label="tetrad",
        n_kinds=3,
        n_ways=3,
        models=((None, "tetrad", "Thurstonian model of the tetrad (Ennis and others 1998)"),),
        dealt="which two belong together",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceTest:
    """One-sided p of so many right answers, how many guessing gives on average, and the words of the test."""

    p_value: float
    expected_right: float
    words: str


def right_answers_test(trials: Sequence[Trial], method: str, balanced: bool) -> ChoiceTest:
    """The test of right answers that the method and the order of presentation ask for."""
    how = CHOICE_METHODS[method]
    n_trials = len(trials)
    if how.chance is not None and not balanced:
        return ChoiceTest(
            p_value=binomial_p_greater(sum(trial.right for trial in trials), n_trials, how.chance),
            expected_right=how.chance * n_trials,
            words=f"exact binomial, one-sided, chance 1/{how.n_ways}",
        )
    tables, strata = _tables(trials, how.n_kinds, balanced)
    if how.n_kinds > 2:
        dealt = matching_test(tables)
        words = f"exact re-randomisation, one-sided: {how.dealt} dealt anew, answers kept ({strata})"
        return ChoiceTest(p_value=dealt.p_value, expected_right=dealt.expected_right, words=words)
    found = conditional_test(tables)
    if how.chance is None:
        words = f'Fisher\'s exact test of "different" to different against same pairs, one-sided ({strata})'
    else:
        words = f"exact conditional test (Fisher's, {strata}), one-sided"
    return ChoiceTest(p_value=found.p_value, expected_right=found.expected_right, words=words)


def _tables(trials: Sequence[Trial], n_kinds: int, balanced: bool) -> tuple[list[IntArray], str]:
    """Counts of played by answered for each stratum, and the strata in words.

    An order drawn trial by trial may be exchanged over all listeners of a sheet; a balanced one within a listener. Of
    those with one trial in a sheet only the order over all of them together can have been balanced.
    """
    counts: dict[tuple[int, str], int] = {}
    for trial in trials:
        counts[trial.entry, trial.listener] = counts.get((trial.entry, trial.listener), 0) + 1
    tables: dict[tuple[int, str | None], IntArray] = {}
    for trial in trials:
        alone = not balanced or counts[trial.entry, trial.listener] == 1
        key = (trial.entry, None if alone else trial.listener)
        table = tables.setdefault(key, np.zeros((n_kinds, n_kinds), dtype=np.int64))
        table[trial.choice.played, trial.choice.answered] += 1
    if not balanced:
        return list(tables.values()), "a stratum per sheet"
    singles = "" if 1 not in counts.values() else "; those with one trial in it together"
    return list(tables.values()), f"a stratum per listener and sheet{singles}"
