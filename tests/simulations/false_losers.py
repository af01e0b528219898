"""How often an audit of several seats calls one worse where nothing changed, and finds the one that truly is.

`python -m simulations.false_losers` from the folder tests prints a table and writes it to false_losers.md beside this
file.
"""

from __future__ import annotations

import argparse
import platform
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.api import Condition, Criteria, Finding, Inputs, ResponseCurve, Room, Seat, Session, Take
from fairhearing_builtins.analysers.seats import Seats
from fairhearing_builtins.analysers.target import Target

FloatArray = npt.NDArray[np.float64]

TABLE = Path(__file__).with_suffix(".md")
FREQUENCY_HZ = np.geomspace(17.0, 4600.0, 98)
PLACEMENT_DB, TAKE_DB = 0.3, 0.1
CONDITIONS = ("out", "in")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How a session is made: seats, the fewest and the most repeats of a cell, seats that lose and by how much."""

    n_seats: int = 5
    fewest: int = 3
    most: int = 5
    n_losers: int = 0
    loss_db: float = 2.0
    smallest_change_db: float = 0.5


@dataclass(frozen=True, kw_only=True)
class Audit:
    """What one session was said to show: seats called worse each by itself, and together, and whether all intervals
    held the truth of no change."""

    alone: frozenset[str]
    together: frozenset[str]
    all_hold: bool
    intervals: bool


def session_of(setting: Setting) -> Session:
    """Seats that all count alike, and no filter."""
    return Session(
        id="simulated",
        date=None,
        question="",
        room=Room(id="simulated"),
        conditions=tuple(Condition(id=name, label=name, reference=name == "out") for name in CONDITIONS),
        seats=tuple(Seat(id=f"S{k}") for k in range(setting.n_seats)),
        measurements=(),
        scores=(),
        criteria=Criteria(smallest_change_db=setting.smallest_change_db),
        folder=Path("."),
    )


def room_db(draw: np.random.Generator) -> FloatArray:
    """One seat's response: modes below 230 Hz, and almost flat above."""
    level = np.zeros(len(FREQUENCY_HZ))
    for mode_hz in 22.0 * np.cumprod(1.0 + draw.uniform(0.15, 0.4, 9)):
        level += draw.normal(0.0, 4.0) * np.exp(-((np.log2(FREQUENCY_HZ / mode_hz) / draw.uniform(0.15, 0.4)) ** 2))
    return np.where(FREQUENCY_HZ < 230.0, level, 0.3 * level)


def with_loss(level_db: FloatArray, loss_db: float) -> FloatArray:
    """The bass so much further from flat, root mean square: every peak and dip grows."""
    bass = (FREQUENCY_HZ > 17.8) & (FREQUENCY_HZ < 224.0)
    factor = 1.0 + loss_db / float(np.sqrt(np.mean(level_db[bass] ** 2)))
    return np.where(FREQUENCY_HZ < 230.0, factor * level_db, level_db)


def error_db(draw: np.random.Generator) -> FloatArray:
    """One take's error: the microphone put back elsewhere (smooth over a third of an octave), and the take's own."""
    octave = np.log2(FREQUENCY_HZ)
    speed, phase = draw.uniform(0.5, 9.0, 30), draw.uniform(0.0, 2.0 * np.pi, 30)
    placement = np.sqrt(2.0 / 30.0) * np.cos(np.outer(octave, speed) + phase).sum(axis=1)
    return PLACEMENT_DB * placement + TAKE_DB * draw.standard_normal(len(octave))


def simulate(draw: np.random.Generator, setting: Setting) -> Inputs:
    """One session; the first `n_losers` seats get worse by `loss_db`, at all others nothing changes."""
    session = session_of(setting)
    takes = []
    for index, seat in enumerate(session.seats):
        room = room_db(draw)
        levels = {"out": room, "in": with_loss(room, setting.loss_db) if index < setting.n_losers else room}
        takes.append(_take(seat.id, None, 1, np.full(len(FREQUENCY_HZ), -80.0)))
        for name in CONDITIONS:
            n_repeats = int(draw.integers(setting.fewest, setting.most + 1))
            takes += [_take(seat.id, name, k + 1, levels[name] + error_db(draw)) for k in range(n_repeats)]
    return Inputs(session=session, takes=tuple(takes))


def _take(seat: str, condition: str | None, repeat: int, level_db: FloatArray) -> Take:
    return Take(
        kind="noise" if condition is None else "response",
        point="seat",
        playing="main",
        in_place=False,
        seat=seat,
        condition=condition,
        repeat=str(repeat),
        channel=None,
        programme=None,
        curve=ResponseCurve(frequency_hz=FREQUENCY_HZ, level_db=level_db),
        path=f"{seat}_{condition}_{repeat}.csv",
    )


def audit(inputs: Inputs) -> Audit:
    """What the program says of one session."""
    alone = _of(Target().analyse(inputs).findings, "target_deviation_change")
    together = _of(Seats().analyse(inputs).findings, "seat_audit")
    bounds = [(f.low, f.high) for f in together]
    return Audit(
        alone=_worse(alone),
        together=_worse(together),
        all_hold=all(low is not None and high is not None and low <= 0.0 <= high for low, high in bounds),
        intervals=all(low is not None for low, _ in bounds),
    )


def _of(findings: Iterable[Finding], quantity: str) -> list[Finding]:
    return [f for f in findings if f.quantity == quantity and f.variant is None and f.seat is not None]


def _worse(findings: Sequence[Finding]) -> frozenset[str]:
    return frozenset(str(f.seat) for f in findings if f.verdict == "worse")


def run(n_sessions: int, seed: int, setting: Setting) -> list[Audit]:
    """The audits of `n_sessions` simulated sessions."""
    draw = np.random.default_rng(seed)
    return [audit(simulate(draw, setting)) for _ in range(n_sessions)]


def share(marks: Iterable[bool]) -> float:
    """The share of true ones."""
    return float(np.mean(list(marks)))


def row(name: str, setting: Setting, found: Sequence[Audit]) -> str:
    """A line of the table."""
    losers = {f"S{k}" for k in range(setting.n_losers)}
    cells = [
        f"{100 * share(bool(a.alone - losers) for a in found):.1f} %",
        f"{100 * share(bool(a.together - losers) for a in found):.1f} %",
        "-" if losers else f"{100 * share(not a.all_hold for a in found):.1f} %",
        f"{100 * share(losers <= a.alone for a in found):.1f} %" if losers else "-",
        f"{100 * share(losers <= a.together for a in found):.1f} %" if losers else "-",
    ]
    return f"| {name} | " + " | ".join(cells) + " |"


SETTINGS = {
    "nothing changed, 5 seats, 3 to 5 repeats": Setting(),
    "the same, however small a change counts": Setting(smallest_change_db=0.001),
    "5 seats, 2 repeats, however small": Setting(fewest=2, most=2, smallest_change_db=0.001),
    "12 seats, 3 repeats, however small": Setting(n_seats=12, fewest=3, most=3, smallest_change_db=0.001),
    "one of 5 seats truly worse by 2 dB": Setting(n_losers=1),
    "the same, 2 repeats": Setting(fewest=2, most=2, n_losers=1),
    "one of 5 seats truly worse by 0.7 dB": Setting(n_losers=1, loss_db=0.7),
}


def main() -> None:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20261125)
    arguments = parser.parse_args()
    lines = [
        "# How often an audit names a false loser",
        "",
        f"    python -m simulations.false_losers --sessions {arguments.sessions} --seed {arguments.seed}",
        "",
        f"From the folder tests, with Python {platform.python_version()}, numpy {np.__version__}. Each seat has a room "
        "of its own; every take 0.3 dB of placement error, smooth over a third of an octave, and 0.1 dB of its own. "
        "False losers: audits that call a seat worse that is not. Alone: each seat by its own 95 % interval "
        "(target_deviation_change); together: by intervals for all seats (seat_audit). Missed: audits of which any "
        "interval of seat_audit does not hold the truth; 5 % are meant.",
        "",
        "| sessions | false losers, alone | together | missed, together | true loser found, alone | together |",
        "|---|---|---|---|---|---|",
    ]
    for index, (name, setting) in enumerate(SETTINGS.items()):
        lines.append(row(name, setting, run(arguments.sessions, arguments.seed + index, setting)))
    text = "\n".join(lines) + "\n"
    print(text)
    TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
