"""Right answers of listeners who differ: the chance-corrected beta-binomial model, fitted by maximum likelihood."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

# The beta has no density at its ends: a maximum this near to one is said to lie there.
_NEAREST = 1e-9
_SHARES = (_NEAREST, *(step / 20 for step in range(1, 20)), 1.0 - _NEAREST)
_SPREADS = (0.0, 0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 0.99, 1.0 - 1e-6)
_PRECISE = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class BetaBinomialFit:
    """Share of listening above chance, how much listeners differ in it, its likelihood interval, the log-likelihood.

    `share`: mean over listeners, 0 guessing to 1 always right; `overdispersion`: 0 all alike to 1, NaN where `share` is
    0 or 1, which leaves nothing to differ in; `low`, `high`: of `share`.
    """

    share: float
    overdispersion: float
    low: float
    high: float
    log_likelihood: float
    chance: float

    @property
    def proportion_correct(self) -> float:
        """Expected share of right answers."""
        return self._right(self.share)

    @property
    def interval(self) -> tuple[float, float]:
        """Of the expected share of right answers."""
        return self._right(self.low), self._right(self.high)

    def _right(self, share: float) -> float:
        return self.chance + (1.0 - self.chance) * share


def fit_beta_binomial(
    n_right: Sequence[int], n_trials: Sequence[int], chance: float, confidence: float = 0.95
) -> BetaBinomialFit:
    r"""The model in which each listener hears the difference in a share of trials of their own, and else guesses.

    Right answers of a listener with the share s are binomial with probability :math:`c + (1 - c) s`; s is beta with
    mean :math:`\mu` and :math:`\gamma = 1/(a + b + 1)`. The interval of :math:`\mu` is where the profile likelihood
    stays within half the chi-squared quantile of its maximum.

    Parameters
    ----------
    n_right, n_trials : sequence of int, one a listener
    chance : float, 0 to 1
        Share that guessing gets right.
    confidence : float, 0 to 1

    Returns
    -------
    BetaBinomialFit

    Raises
    ------
    ValueError
        No listener, a listener without trials, more right answers than trials, a chance or confidence of 0 or 1.

    Notes
    -----
    A likelihood interval over a handful of listeners may be too narrow: how much they differ is then hardly known.

    References
    ----------
    Brockhoff 2003, Food Quality and Preference 14, 405-417 (the chance-corrected form).

    Examples
    --------
    >>> fit = fit_beta_binomial([12, 11, 12, 6, 7, 5], [12] * 6, 0.5)
    >>> round(fit.proportion_correct, 3), fit.overdispersion > 0.3
    (0.732, True)
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; it lies between 0 and 1")
    likelihood = _Likelihood(n_right, n_trials, chance)
    share = _likeliest_share(likelihood)
    spread = _likeliest_spread(likelihood, share)
    best = likelihood(share, spread)
    low, high = _ends(likelihood, share, best, confidence)
    at_end = min(share, 1.0 - share) <= _NEAREST
    return BetaBinomialFit(
        share=float(round(share)) if at_end else share,
        overdispersion=math.nan if at_end else spread,
        low=low,
        high=high,
        log_likelihood=best,
        chance=chance,
    )


def _likeliest_spread(likelihood: _Likelihood, share: float) -> float:
    """The overdispersion of the largest likelihood where the share is given."""
    return _top(likelihood.heights(share, _SPREADS), lambda at: likelihood.slopes(share, at)[1], _SPREADS)


def _likeliest_share(likelihood: _Likelihood) -> float:
    """The share of the largest likelihood, with the overdispersion that goes best with it."""

    def slope(share: float) -> float:
        return likelihood.slopes(share, _likeliest_spread(likelihood, share))[0]

    return _top([float(likelihood.heights(share, _SPREADS).max()) for share in _SHARES], slope, _SHARES)


def _top(heights: Sequence[float] | FloatArray, slope: Callable[[float], float], grid: Sequence[float]) -> float:
    """Where the slope falls through 0 near the highest point of the grid: more exact than heights can tell."""
    from scipy.optimize import brentq

    low = high = max(range(len(grid)), key=lambda index: heights[index])
    while low > 0 and slope(grid[low]) <= 0.0:
        low -= 1
    while high < len(grid) - 1 and slope(grid[high]) >= 0.0:
        high += 1
    if slope(grid[low]) <= 0.0:
        return grid[low]
    return grid[high] if slope(grid[high]) >= 0.0 else float(brentq(slope, grid[low], grid[high], xtol=_PRECISE))


def _ends(likelihood: _Likelihood, share: float, best: float, confidence: float) -> tuple[float, float]:
    """Where the profile likelihood has fallen by half the chi-squared quantile; 0 and 1 where it never does."""
    from scipy.optimize import brentq
    from scipy.special import chdtri

    least = best - float(chdtri(1, 1.0 - confidence)) / 2.0

    def above(at: float) -> float:
        return likelihood(at, _likeliest_spread(likelihood, at)) - least

    lowest, highest = _SHARES[0], _SHARES[-1]
    low = 0.0 if above(lowest) >= 0 else float(brentq(above, lowest, share, xtol=_PRECISE))
    high = 1.0 if above(highest) >= 0 else float(brentq(above, share, highest, xtol=_PRECISE))
    return low, high


class _Likelihood:
    """Log-likelihood of all listeners; those with the same counts are summed once.

    A right answer is heard or guessed: of x right ones i are heard, all others guessed right with chance c. Ratios of
    beta functions are products over trials, which hold their digits where the overdispersion goes to 0.
    """

    def __init__(self, n_right: Sequence[int], n_trials: Sequence[int], chance: float) -> None:
        import numpy as np
        from scipy.special import gammaln

        if len(n_right) != len(n_trials) or not len(n_right):
            raise ValueError(f"{len(n_right)} counts of right answers for {len(n_trials)} listeners")
        if not 0.0 < chance < 1.0:
            raise ValueError(f"chance is {chance}; it lies between 0 and 1")
        counted = sorted(Counter(zip(n_right, n_trials, strict=True)).items())
        for (n_own, n), _ in counted:
            if not 0 <= n_own <= n or n < 1:
                raise ValueError(f"{n_own} right of {n} trials")
        right, trials = (np.array(column)[:, None] for column in zip(*(pair for pair, _ in counted), strict=True))
        heard = np.arange(int(right.max()) + 1)[None, :]
        guessed = np.maximum(right - heard, 0)
        ways = gammaln(trials + 1) - gammaln(trials - right + 1) - gammaln(heard + 1) - gammaln(guessed + 1)
        unheard = (trials - right + heard) * math.log(1.0 - chance) + guessed * math.log(chance)
        self._constant = np.where(heard <= right, ways + unheard, -np.inf)
        self._times = np.array([times for _, times in counted])
        self._heard, self._missed = heard, trials - right
        self._steps = np.arange(int(trials.max()) + int(right.max()) + 1, dtype=np.float64)

    def __call__(self, share: float, overdispersion: float) -> float:
        return float(self.heights(share, [overdispersion])[0])

    def heights(self, share: float, overdispersions: Sequence[float]) -> FloatArray:
        """The log-likelihood of a share with each of several overdispersions."""
        import numpy as np

        each = self._each(share, np.array(overdispersions))
        top = each.max(axis=2, keepdims=True)
        return np.asarray((top[:, :, 0] + np.log(np.exp(each - top).sum(axis=2))) @ self._times, dtype=np.float64)

    def slopes(self, share: float, overdispersion: float) -> tuple[float, float]:
        """Derivatives by the share and by the overdispersion."""
        import numpy as np

        each = self._each(share, np.array([overdispersion]))
        weights = np.exp(each - each.max(axis=2, keepdims=True))
        weights *= self._times[:, None] / weights.sum(axis=2, keepdims=True)
        wide, steps = overdispersion / (1.0 - overdispersion), self._steps
        hit, miss, all_of = (1.0 / (start + steps * wide) for start in (share, 1.0 - share, 1.0))
        by_share = self._summed(hit, -miss, np.zeros_like(hit))
        by_wide = self._summed(steps * hit, steps * miss, steps * all_of)
        return float((weights * by_share).sum()), float((weights * by_wide).sum()) / (1.0 - overdispersion) ** 2

    def _each(self, share: float, overdispersions: FloatArray) -> FloatArray:
        """Log-probability by overdispersion, listener's counts, and how many of the right answers were heard."""
        import numpy as np

        reach = self._steps * (overdispersions / (1.0 - overdispersions))[:, None]
        return self._constant + self._summed(np.log(share + reach), np.log(1.0 - share + reach), np.log1p(reach))

    def _summed(self, hit: FloatArray, miss: FloatArray, all_of: FloatArray) -> FloatArray:
        """Terms of hits and misses less those of all together, each summed over as many trials as there are."""
        import numpy as np

        def upto(terms: FloatArray) -> FloatArray:
            sums = np.zeros((*terms.shape[:-1], terms.shape[-1] + 1))
            np.cumsum(terms, axis=-1, out=sums[..., 1:])
            return sums

        hits, misses = upto(hit)[..., self._heard], upto(miss)[..., self._missed]
        return np.asarray(hits + misses - upto(all_of)[..., self._heard + self._missed], dtype=np.float64)
