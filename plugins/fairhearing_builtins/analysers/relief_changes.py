"""What the change does to a programme at the amplifier, in dB: voltage, current, power, headroom, with intervals."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from fairhearing.statistics.block_quantiles import ENOUGH_EXCEEDING, log_ratio_of_quantiles
from fairhearing.statistics.block_ratio import LogRatio, log_ratio_of_sums
from fairhearing_builtins.analysers.relief_load import Electric
from fairhearing_builtins.analysers.relief_waves import BLOCK_S, Wave

SELDOM = 0.01
DOUBLING_DB = 10 * math.log10(2)
FEWEST_PROGRAMMES = 3
_DB_OF_LOG = 20 / math.log(10)

ALONG = "t interval along the programme, by the slow waves of the paired blocks of 0.1 s (equal-weighted cosines)"
BY_GROUPS = "t interval along the programme, by the jackknife over ten groups of paired blocks"
OVER = "mean over programmes of the dB values; t interval over programmes"
OVER_FEW = "mean over programmes of the dB values; interval along the programmes, put together"
TOO_SHORT = "too short for an interval: one needs {needed:.0f} s, of which 1 % are ten blocks"
RATHER_SHORT = "shorter than {needed:.0f} s: the interval is somewhat too narrow (simulated: it holds 0.90 for 0.95)"
FEW_BLOCKS = "too short for an interval along the programme: fewer than 8 blocks"
HIGHEST_ONLY = "from the single highest peak of each condition: no interval"
WHOLE_ONLY = "from the whole recordings: no interval along the programme"
NO_BLOCKS = "the recordings have too little in common"
NOT_EACH = "two programmes, not each with an interval: none over them"
NOT_VOLT = "no full scale in volt is given: it holds if both conditions were recorded with one gain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change in dB, or None with the caveat that says why; standard error and its degrees of freedom (0: none)."""

    quantity: str
    value_db: float | None
    method: str
    variant: str | None = None
    error_db: float = math.nan
    degrees_of_freedom: float = 0.0
    caveats: tuple[str, ...] = ()

    def half_db(self, confidence: float) -> float | None:
        """Half the width of the interval; None where there is none."""
        if not (self.degrees_of_freedom >= FEWEST_PROGRAMMES - 1 and math.isfinite(self.error_db)):
            return None
        return float(special.stdtrit(self.degrees_of_freedom, 0.5 + confidence / 2)) * self.error_db


def changes_of(condition: Wave, reference: Wave, electric: tuple[Electric, Electric] | None) -> list[Change]:
    """All changes of one programme; `electric` None: only voltages (the amplifier's input)."""
    voltage = _voltage(condition, reference)
    found = [voltage, *_whole(condition, reference)]
    if electric is not None:
        found += _electric(voltage, *electric)
        headroom = _headroom(condition, reference)
        peak_db = -_db(condition.highest / reference.highest)
        peak = Change(quantity="headroom_won", variant="peak", value_db=peak_db, method=_WHAT["peak"],
                      caveats=(HIGHEST_ONLY,))  # fmt: skip
        found += [headroom, peak, against_doubling(headroom)]
    return found


def null_changes(why: str, *, electric: bool) -> list[Change]:
    """Every change that there would be, without a value."""
    names: list[tuple[str, str | None]]
    names = [("amplifier_voltage_change", None), ("amplifier_peak_voltage_change", None), ("crest_factor_change", None)]
    if electric:
        names += [("amplifier_current_change", None), ("amplifier_power_change", None), ("headroom_won", None),
                  ("headroom_won", "peak"), ("headroom_against_doubling", None)]  # fmt: skip
    return [
        Change(quantity=q, variant=v, value_db=None, method="condition against reference", caveats=(why,))
        for q, v in names
    ]


_WHAT = {
    "voltage": "20 lg of the root mean square voltages, condition over reference, steady offset removed; " + ALONG,
    "highest": "20 lg of the highest peaks, condition over reference, steady offset removed",
    "crest": "change of 20 lg of highest peak over root mean square, steady offset removed",
    "current": "20 lg of the root mean square currents, condition over reference",
    "power": "10 lg of the mean powers, condition over reference",
    "headroom": "20 lg of the peaks that 1 % of the blocks of 0.1 s exceed, reference over condition; " + BY_GROUPS,
    "peak": "20 lg of the highest peaks, reference over condition",
    "doubling": "headroom won less 10 lg 2, which doubling the power of the supply would give; ",
}


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio)


def _voltage(condition: Wave, reference: Wave) -> Change:
    energies = condition.energy, reference.energy
    if not (len(energies[0]) and energies[0].sum() > 0 and energies[1].sum() > 0):
        return Change(quantity="amplifier_voltage_change", value_db=None, method=_WHAT["voltage"], caveats=(NO_BLOCKS,))
    ratio = log_ratio_of_sums(*energies)
    return _from_ratio("amplifier_voltage_change", ratio, 0.5, _WHAT["voltage"], (FEW_BLOCKS,))


def _from_ratio(quantity: str, ratio: LogRatio, power: float, method: str, short: tuple[str, ...]) -> Change:
    """A change from the logarithm of a ratio; `power`: 0.5 where it is one of energies."""
    known = ratio.degrees_of_freedom > 0
    return Change(
        quantity=quantity,
        value_db=power * _DB_OF_LOG * ratio.value,
        method=method,
        error_db=power * _DB_OF_LOG * ratio.standard_error,
        degrees_of_freedom=float(ratio.degrees_of_freedom),
        caveats=() if known else short,
    )


def _whole(condition: Wave, reference: Wave) -> list[Change]:
    peak_db = _db(condition.highest / reference.highest)
    crest_db = peak_db - 10 * math.log10(condition.mean_square / reference.mean_square)
    return [
        Change(quantity="amplifier_peak_voltage_change", value_db=peak_db, method=_WHAT["highest"],
               caveats=(HIGHEST_ONLY,)),
        Change(quantity="crest_factor_change", value_db=crest_db, method=_WHAT["crest"], caveats=(HIGHEST_ONLY,)),
    ]  # fmt: skip


def _electric(voltage: Change, condition: Electric, reference: Electric) -> list[Change]:
    """Into one resistance both change as the voltage does, interval and all; by a table they come from the spectra."""
    same = condition.told == reference.told and not condition.by_table
    found = []
    for what, quantity, over, under, factor, caveats in (
        ("current", "amplifier_current_change", condition.current, reference.current, 20.0,
         (*condition.current_caveats, *reference.current_caveats)),
        ("power", "amplifier_power_change", condition.power, reference.power, 10.0,
         (*condition.power_caveats, *reference.power_caveats)),
    ):  # fmt: skip
        caveats = tuple(dict.fromkeys(caveats))
        method = f"{_WHAT[what]}, {condition.told}"
        if over is None or under is None:
            found.append(Change(quantity=quantity, value_db=None, method=_WHAT[what], caveats=caveats))
        elif same:
            found.append(replace(voltage, quantity=quantity, method=f"{method}; {ALONG}"))
        else:
            value = factor * math.log10(over / under)
            found.append(Change(quantity=quantity, value_db=value, method=method, caveats=(WHOLE_ONLY, *caveats)))
    return found


def _headroom(condition: Wave, reference: Wave) -> Change:
    peaks = reference.peak, condition.peak
    quantiles = [float(np.quantile(one, 1 - SELDOM)) if len(one) else 0.0 for one in peaks]
    if not min(quantiles) > 0:
        return Change(quantity="headroom_won", value_db=None, method=_WHAT["headroom"], caveats=(NO_BLOCKS,))
    ratio = log_ratio_of_quantiles(*peaks, SELDOM)
    needed_s = 10 / SELDOM * BLOCK_S
    found = _from_ratio("headroom_won", ratio, 1.0, _WHAT["headroom"], (TOO_SHORT.format(needed=needed_s),))
    if ratio.degrees_of_freedom and len(peaks[0]) * SELDOM < ENOUGH_EXCEEDING:
        found = replace(found, caveats=(RATHER_SHORT.format(needed=ENOUGH_EXCEEDING / SELDOM * BLOCK_S),))
    return found


def against_doubling(headroom: Change) -> Change:
    """Headroom won over what twice the power of the supply would give."""
    value = None if headroom.value_db is None else headroom.value_db - DOUBLING_DB
    method = _WHAT["doubling"] + headroom.method
    return replace(headroom, quantity="headroom_against_doubling", value_db=value, method=method)


def verdict_of(change: Change, confidence: float) -> str | None:
    """Whether the headroom won reaches what doubling the power would give, by the interval."""
    if change.quantity != "headroom_against_doubling":
        return None
    half = change.half_db(confidence)
    if change.value_db is None or half is None:
        return "undecided"
    if change.value_db - half >= 0:
        return "reaches"
    return "falls-short" if change.value_db + half < 0 else "undecided"


def over_programmes(changes: Sequence[Change]) -> Change | None:
    """The mean of one quantity over programmes; None where fewer than two have a value."""
    known = [change for change in changes if change.value_db is not None]
    values = [change.value_db for change in changes if change.value_db is not None]
    if len(known) < 2:
        return None
    left_out = len(changes) - len(known)
    caveats = (f"{left_out} of {len(changes)} programmes left out: they have no value",) if left_out else ()
    what = known[0].method.split("; ")[0]
    mean = replace(known[0], value_db=statistics.fmean(values), error_db=math.nan, degrees_of_freedom=0.0)
    if len(known) < FEWEST_PROGRAMMES:
        return _over_few(replace(mean, method=f"{what}; {OVER_FEW}", caveats=caveats), known)
    return replace(
        mean,
        error_db=statistics.stdev(values) / math.sqrt(len(known)),
        degrees_of_freedom=len(known) - 1.0,
        method=f"{what}; {OVER}",
        caveats=caveats,
    )


def _over_few(mean: Change, known: Sequence[Change]) -> Change:
    """With the errors along the programmes put together, where each has one."""
    if not all(one.degrees_of_freedom > 0 for one in known):
        return replace(mean, caveats=(*mean.caveats, NOT_EACH))
    squares = np.array([one.error_db**2 for one in known])
    freedoms = np.array([one.degrees_of_freedom for one in known])
    total = float(squares.sum())
    # Welch, Biometrika 34 (1947) 28-35: degrees of freedom of a sum of independent squares.
    freedom = total**2 / float(np.sum(squares**2 / freedoms)) if total > 0 else float(freedoms.min())
    return replace(mean, error_db=math.sqrt(total) / len(known), degrees_of_freedom=freedom)
