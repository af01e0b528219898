"""How often each test of listening cries wolf, and how often 95 % intervals hold, where listeners are alike or differ.

`python -m simulations.listening_size` from the folder tests prints a table and writes it to listening_size.md beside
this file.
"""

from __future__ import annotations

import argparse
import math
import platform
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from simulations.listening_made import (
    ALPHA,
    HEARD,
    LOWER_MARGIN,
    MARGIN,
    TASTE,
    Maker,
    at_the_margin,
    guesses,
    heard,
    looks,
    mixed_models,
    modelled,
    preferences,
    ratings_at_the_margin,
    ratings_of,
    trials_at_the_margin,
    worths,
)

TABLE = Path(__file__).with_suffix(".md")
N_LISTENERS = (3, 6, 12, 40)
SD = 0.8  # logit, of listeners about their mean
LOWEST, HIGHEST = 0.93, 0.97
METHODS = ("abx", "triangle", "duo-trio", "same-different", "tetrad")
BETA_BINOMIAL = "right answers, beta-binomial"
SCALES = ("comparison", "quality", "impairment")

NOTES = """
Forced choices and looks cover more than they say with few listeners: their tests are exact, and an interval over
listeners is never narrower than the exact one over trials.

What is off, and why:

- Ratings on the scales quality and impairment, screened: the value and its interval are of the listeners who are left,
  and who prefers the change grades the hidden reference low and is left out. So the interval does not hold the mean of
  all. The test does not mind: it exchanges conditions and screens anew. The variant all-listeners holds.
- All trials as one listener's, and the interval after looks: made for one listener, and sound for guesses, which are
  alike. Over listeners who differ they take trials for independent that are not. So equivalence of several listeners
  goes by the larger p of this and of t over listeners, and the looks have a caveat.
- The beta-binomial: an interval by likelihood, which knows too little of how far listeners differ where they are few.
  Below twenty listeners a caveat says so.
- The mixed model: variances that would be negative are 0, so that it covers more than it says where nothing varies.
  Where four programmes differ as much as listeners do, it claims in 6.7 % with 40 listeners and in 5.8 % with 12 (8000
  sessions each): Satterthwaite's degrees of freedom are a few too many.
"""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One test under one truth; `null`: whether a claim is a false one."""

    test: str
    truth: str
    make: Maker
    null: bool = True


@dataclass(frozen=True, kw_only=True)
class Cell:
    """Share of results that claim, share of intervals that hold, and of how many each."""

    claimed: float
    n: int
    held: float
    n_intervals: int
    n_sessions: int

    @property
    def too_many_claims(self) -> bool:
        """More than alpha by three standard deviations of the simulation."""
        return self.claimed > ALPHA + 3 * math.sqrt(ALPHA * (1 - ALPHA) / self.n_sessions)

    @property
    def off(self) -> bool:
        """Coverage outside 93 to 97 %; where there is no interval at all there is nothing that could be off."""
        return self.n_intervals > 0 and not LOWEST <= self.held <= HIGHEST

    @property
    def covers_too_little(self) -> bool:
        """Less than 93 % by three standard deviations of the simulation."""
        n_intervals = min(self.n_intervals, self.n_sessions)
        return n_intervals > 0 and self.held < LOWEST - 3 * math.sqrt(LOWEST * (1 - LOWEST) / n_intervals)


def rows() -> list[Row]:
    """Every test under every truth."""
    found = []
    for method in METHODS:
        found += [
            Row(test=method, truth="nothing heard", make=partial(guesses, method=method, leaning_sd=0.0)),
            Row(
                test=method, truth="nothing heard, leanings differ", make=partial(guesses, method=method, leaning_sd=SD)
            ),
            Row(test=method, truth="heard, alike", make=partial(heard, method=method, sd=0.0), null=False),
            Row(test=method, truth="heard, listeners differ", make=partial(heard, method=method, sd=SD), null=False),
        ]
    make = partial(modelled, share=0.5, sd=0.0)
    found.append(Row(test=BETA_BINOMIAL, truth="nothing heard", make=make))
    for people, sd in (("alike", 0.0), ("listeners differ", SD)):
        make = partial(modelled, share=HEARD, sd=sd)
        found.append(Row(test=BETA_BINOMIAL, truth=f"heard, {people}", make=make, null=False))
        found += [*_likings(people, sd), *_margins_and_looks(people, sd)]
    order = list(dict.fromkeys(row.test for row in found))
    return sorted(found, key=lambda row: order.index(row.test))


def _likings(people: str, sd: float) -> list[Row]:
    """Preference, ratings and worth where nothing is better to people at large."""
    found = [Row(test="preference", truth=f"none, {people}", make=partial(preferences, sd=sd))]
    for scale in SCALES:
        taste = TASTE[scale] if sd else 0.0
        make = partial(ratings_of, scale=scale, sd=taste)
        found.append(Row(test=f"rating, {scale}", truth=f"none better, {people}", make=make))
        if scale != "comparison":  # there nobody is left out
            make = partial(ratings_of, scale=scale, sd=taste, everyone=True)
            found.append(Row(test=f"rating, {scale}, all listeners", truth=f"none better, {people}", make=make))
    make = partial(mixed_models, sd=TASTE["comparison"] if sd else 0.0)
    found.append(Row(test="rating, mixed model", truth=f"none better, {people}", make=make))
    found.append(Row(test="worth", truth=f"none preferred, {people}", make=partial(worths, sd=sd)))
    return found


def _margins_and_looks(people: str, sd: float) -> list[Row]:
    """Equivalence at the margin, and looks while trials run."""
    margin, found = f"at the margin of {100 * MARGIN:.0f} %", []
    one, both = partial(at_the_margin, sd=sd, lower=None), partial(at_the_margin, sd=sd, lower=LOWER_MARGIN)
    found.append(Row(test="no more right than the margin", truth=f"{margin}, {people}", make=one))
    found.append(Row(test="preference within margins", truth=f"{margin}, {people}", make=both))
    taste = TASTE["comparison"] if sd else 0.0
    make = partial(ratings_at_the_margin, sd=taste)
    found.append(Row(test="rating within margins", truth=f"at the margin, {people}", make=make))
    make = partial(trials_at_the_margin, sd=sd)
    found.append(Row(test="no more right, all trials as one listener's", truth=f"{margin}, {people}", make=make))
    if not sd:
        make = partial(looks, share=0.5, sd=0.0)
        found.append(Row(test="four looks, adjusted", truth="nothing heard", make=make))
    make = partial(looks, share=HEARD, sd=sd)
    found.append(Row(test="four looks, adjusted", truth=f"heard, {people}", make=make, null=False))
    return found


def cell(row: Row, n_listeners: int, n_sessions: int, seed: int) -> Cell:
    """So many sessions of so many listeners."""
    draw = np.random.default_rng([seed, n_listeners, zlib.crc32(f"{row.test}, {row.truth}".encode())])
    found = [outcome for _ in range(n_sessions) for outcome in row.make(draw, n_listeners)]
    intervals = [outcome.held for outcome in found if outcome.held is not None]
    return Cell(
        claimed=float(np.mean([outcome.claimed for outcome in found])),
        n=len(found),
        held=float(np.mean(intervals)) if intervals else math.nan,
        n_intervals=len(intervals),
        n_sessions=n_sessions,
    )


def words(row: Row, found: Cell) -> str:
    """A cell of the table; what is off in bold."""
    claims = f"{100 * found.claimed:.1f}" if row.null else f"({100 * found.claimed:.1f})"
    if row.null and found.too_many_claims:
        claims = f"**{claims}**"
    covers = "none" if not found.n_intervals else f"{100 * found.held:.1f}"
    if found.off:
        covers = f"**{covers}**"
    without = 100 * (1 - found.n_intervals / found.n)
    return f"{claims} / {covers}" + (f" ({without:.0f} without)" if 0.5 <= without < 99.95 else "")


def table(n_sessions: int, seed: int) -> str:
    """The whole page."""
    lines = [
        "# How often tests of listening cry wolf, and how often 95 % intervals hold",
        "",
        f"    python -m simulations.listening_size --sessions {n_sessions} --seed {seed}",
        "",
        f"From the folder tests, with Python {platform.python_version()}, numpy {np.__version__}. Made-up sessions of "
        f"3, 6, 12 and 40 listeners with 12 trials each (worth: 24; ratings on two scales: 4 programmes), alpha 5 %. "
        f"Where listeners differ, they do by {SD} logit (standard deviation), ratings by "
        + ", ".join(f"{sd} on {scale}" for scale, sd in TASTE.items())
        + ". Each cell: claims in per cent / intervals that hold the truth in per cent; claims in brackets are true "
        "ones. In bold: claims above 5 % by more than three standard deviations of the simulation, and coverage "
        "outside 93 to 97 %. Without: results that have no interval.",
        "",
        "| test | truth | " + " | ".join(f"{n} listeners" for n in N_LISTENERS) + " |",
        "|---|---|" + "---|" * len(N_LISTENERS),
    ]
    for row in rows():
        cells = [words(row, cell(row, n, n_sessions, seed)) for n in N_LISTENERS]
        lines.append(f"| {row.test} | {row.truth} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n" + NOTES


def main(arguments: Sequence[str] | None = None) -> None:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20261125)
    told = parser.parse_args(arguments)
    text = table(told.sessions, told.seed)
    print(text)
    TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
