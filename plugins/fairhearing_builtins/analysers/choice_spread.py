"""Right answers by a model in which listeners differ: the variant `beta-binomial` of proportion_correct."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from fairhearing.api import Finding
from fairhearing.statistics.beta_binomial import fit_beta_binomial
from fairhearing_builtins.analysers.choice_tests import CHOICE_METHODS
from fairhearing_builtins.analysers.listening import Tally, counted

BETA_BINOMIAL = "beta-binomial"
# A likelihood interval is right for many listeners. The limit is our own choice between 12 listeners, of whom it holds
# in 92.7 %, and 40 (93.6 %): tests/simulations/listening_size.md.
ENOUGH_LISTENERS = 20
TOO_NARROW = (
    "{listeners}: a likelihood interval over fewer than {enough} may be too narrow, as how much listeners differ is "
    "hardly known (in simulation it then holds in 90 to 93 % where it says 95 %); that of the headline is by t over "
    "listeners"
)
NOTHING_TO_DIFFER_IN = "the share stands at an end: how much listeners differ can't be told from this"


def beta_binomial(
    over_all: Finding, tallies: Sequence[Tally], method: str, left_out: Sequence[str]
) -> tuple[Finding, ...]:
    """The variant beside `over_all`; none without two listeners or more with repeats and a chance that is known.

    Parameters
    ----------
    over_all : Finding
        proportion_correct over listeners.
    tallies : sequence of Tally, one a listener
    method : str
    left_out : sequence of str
        What is to be said of trials that do not count.
    """
    how = CHOICE_METHODS[method]
    if how.chance is None or over_all.confidence is None or sum(tally.n_trials > 1 for tally in tallies) < 2:
        return ()
    n_right = [tally.halves // 2 for tally in tallies]
    fit = fit_beta_binomial(n_right, [tally.n_trials for tally in tallies], how.chance, over_all.confidence)
    low, high = fit.interval
    caveats = list(left_out)
    if len(tallies) < ENOUGH_LISTENERS:
        listeners = counted(len(tallies), "listener", "listeners")
        caveats.append(TOO_NARROW.format(listeners=listeners, enough=ENOUGH_LISTENERS))
    if math.isnan(fit.overdispersion):
        caveats.append(NOTHING_TO_DIFFER_IN)
        spread = "overdispersion not to be told"
    else:
        spread = f"overdispersion {fit.overdispersion:.3f} (0 all alike, 1 each always or never)"
    found = replace(
        over_all,
        variant="-".join(part for part in (over_all.variant, BETA_BINOMIAL) if part),
        value=fit.proportion_correct,
        low=low,
        high=high,
        p_value=None,
        verdict=None,
        method=f"{how.label}, chance-corrected beta-binomial by maximum likelihood over {len(tallies)} listeners "
        f"({over_all.n} trials): {spread}, share above chance {fit.share:.3f}; interval: profile likelihood",
        caveats=tuple(caveats),
    )
    return (found,)
