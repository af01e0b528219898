"""How often the intervals of corner and order hold the truth, over simulated sessions with rooms of their own.

`python -m simulations.corner_coverage` from the folder tests prints a table and writes it to corner_coverage.md beside
this file.
"""

from __future__ import annotations

import argparse
import math
import platform
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fairhearing.api import (
    Chain,
    Condition,
    Criteria,
    Finding,
    Inputs,
    ResponseCurve,
    Room,
    Seat,
    Session,
    Take,
)
from fairhearing_builtins.analysers.filter import Filter
from simulations.rooms_with_filter import SimulatedSession, Variant, simulate

TABLE = Path(__file__).with_suffix(".md")
RANGES_HZ = ((20, 40), (40, 80), (80, 120), (120, 160))
QUANTITIES = ("corner over seats", "corner at a seat", "order")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One interval: what it is of, the session's truth, and whether it holds it (None: there is none)."""

    quantity: str
    corner_hz: float
    most_repeats: int
    n_seats: int
    covers: bool | None
    error: float | None  # of ln corner or of the order
    half_width: float | None


def as_inputs(simulated: SimulatedSession, in_place: bool) -> Inputs:
    """The session as an analyser gets it."""
    conditions = (
        Condition(id="out", label="out", reference=True),
        Condition(id="in", label="in", chain=Chain(design_corner_hz=simulated.corner_hz, setting_kohm=47.0)),
    )
    session = Session(
        id="simulated",
        date=None,
        question="",
        room=Room(id="simulated"),
        conditions=conditions,
        seats=tuple(Seat(id=seat) for seat in simulated.seats),
        measurements=(),
        scores=(),
        criteria=Criteria(),
        folder=Path("."),
    )
    takes = tuple(
        Take(
            kind="response",
            point="seat",
            playing="main",
            in_place=in_place,
            seat=take.seat,
            condition=take.condition,
            repeat=str(take.repeat),
            channel=take.channel if len(simulated.channels) > 1 else None,
            programme=None,
            curve=ResponseCurve(frequency_hz=simulated.frequency_hz, level_db=take.level_db, phase_deg=take.phase_deg),
            path=f"{take.seat}_{take.channel}_{take.condition}_{take.repeat}.csv",
        )
        for take in simulated.takes
    )
    return Inputs(session=session, takes=takes)


def outcomes(simulated: SimulatedSession, in_place: bool) -> list[Outcome]:
    """What the program says of one simulated session, against its truth."""
    found = []
    for finding in Filter().analyse(as_inputs(simulated, in_place)).findings:
        if finding.channel is not None or finding.variant is not None:
            continue
        if finding.quantity == "corner_frequency":
            name = QUANTITIES[0] if finding.seat is None else QUANTITIES[1]
            found.append(_outcome(name, simulated, finding, simulated.corner_hz, math.log))
        elif finding.quantity == "filter_order" and finding.seat is None:
            found.append(_outcome(QUANTITIES[2], simulated, finding, 1.0, float))
    return found


def _outcome(
    name: str, simulated: SimulatedSession, finding: Finding, truth: float, scale: Callable[[float], float]
) -> Outcome:
    value, low, high = finding.value, finding.low, finding.high
    has_interval = value is not None and low is not None and high is not None
    return Outcome(
        quantity=name,
        corner_hz=simulated.corner_hz,
        most_repeats=simulated.most_repeats,
        n_seats=len(simulated.seats),
        covers=low <= truth <= high if has_interval else None,
        error=scale(value) - scale(truth) if has_interval else None,
        half_width=(scale(high) - scale(low)) / 2 if has_interval else None,
    )


def narrowed(outcome: Outcome, factor: float) -> Outcome:
    """The same with its interval made narrower by a factor."""
    if outcome.error is None or outcome.half_width is None:
        return outcome
    half = outcome.half_width * factor
    return replace(outcome, half_width=half, covers=abs(outcome.error) <= half)


def run(n_sessions: int, seed: int, variant: Variant) -> list[Outcome]:
    """All outcomes of `n_sessions` simulated sessions."""
    generator = np.random.default_rng(seed)
    return [outcome for _ in range(n_sessions) for outcome in outcomes(simulate(generator, variant), variant.in_place)]


def coverage(found: Iterable[Outcome], quantity: str) -> tuple[float, int]:
    """Share of the intervals of one quantity that hold the truth, and how many intervals there are."""
    covers = [outcome.covers for outcome in found if outcome.quantity == quantity and outcome.covers is not None]
    return (float(np.mean(covers)) if covers else math.nan), len(covers)


def table(found: Sequence[Outcome]) -> list[str]:
    """Rows of a Markdown table: a group of sessions each."""
    groups: list[tuple[str, Callable[[Outcome], bool]]] = [("all", lambda _: True)]
    for low, high in RANGES_HZ:
        groups.append((f"{low} to {high} Hz", lambda o, a=low, b=high: a <= o.corner_hz < b))
    for n in sorted({o.most_repeats for o in found}):
        groups.append((f"2 to {n} repeats" if n > 2 else "2 repeats", lambda o, n=n: o.most_repeats == n))
    for n in sorted({o.n_seats for o in found}):
        groups.append((f"{n} seat{'s' if n > 1 else ''}", lambda o, n=n: o.n_seats == n))
    rows = ["| sessions | " + " | ".join(QUANTITIES) + " |", "|---|" + "---|" * len(QUANTITIES)]
    for label, belongs in groups:
        chosen = [o for o in found if belongs(o)]
        cells = []
        for quantity in QUANTITIES:
            share, n = coverage(chosen, quantity)
            cells.append(f"{100 * share:.1f} % of {n}" if n else "-")
        rows.append(f"| {label} | " + " | ".join(cells) + " |")
    return rows


def summary(found: Sequence[Outcome]) -> list[str]:
    """What the table does not say: how many are null, how far off on average, how wide."""
    lines = []
    for quantity in QUANTITIES:
        of_it = [o for o in found if o.quantity == quantity]
        sound = [o for o in of_it if o.error is not None and o.half_width is not None]
        bias = np.mean([o.error / o.half_width for o in sound])
        wide = np.median([o.half_width for o in sound])
        lines.append(
            f"- {quantity}: {len(of_it) - len(sound)} of {len(of_it)} null or without an interval; half width "
            f"{wide:.3f} in the median; mean error {bias:+.3f} half widths"
        )
    return lines


def main() -> None:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20261125)
    arguments = parser.parse_args()
    lines = [
        "# How often nominal 95 % intervals hold the truth",
        "",
        f"    python -m simulations.corner_coverage --sessions {arguments.sessions} --seed {arguments.seed}",
        "",
        f"From the folder tests, with Python {platform.python_version()}, numpy {np.__version__}. One to four seats, "
        "one or two channels, each with a room of its own; corner 20 to 160 Hz; 2 to 5 repeats, each cell its own; "
        "each take its own placement error (0.3 dB, smooth over a third of an octave), 0.1 dB of take noise, ambient "
        "noise 20 dB under the unfiltered bass. Half widths and errors: of ln corner, of the order.",
    ]
    for title, in_place in (("Microphone put back for each take", False), ("Repeats in place", True)):
        found = run(arguments.sessions, arguments.seed, Variant(in_place=in_place))
        lines += ["", f"## {title}", "", *table(found), "", *summary(found)]
    text = "\n".join(lines) + "\n"
    print(text)
    TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
