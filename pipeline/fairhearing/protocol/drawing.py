"""Draws every trial of a design from a seed: right answers evenly and each by itself, all else balanced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from fairhearing.protocol.design import CONTROL, Design, KeyTrial, Part
from fairhearing.protocol.methods import cells_of, form_of, grades_one_at_a_time, plays_of
from fairhearing.protocol.orders import Draws, williams_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    """Trials that stay together and in this order: one, or a round in which each condition is graded once."""

    part: Part
    programme: str | None
    seat: str | None
    trials: tuple[dict[str, str], ...]


def draw_trials(design: Design, seed: str) -> tuple[KeyTrial, ...]:
    """All trials, listener by listener in the order in which they are played.

    The same design and seed give the same trials, for ever: the generator is `orders.Draws`, one stream for each
    listener. Which answer is right is drawn trial by trial, evenly, and never balanced or kept from running: with a
    balanced order whoever merely alternates gets more right than chance. Which comes first, programmes and seats are
    balanced within each listener.

    Parameters
    ----------
    design : Design
    seed : str
        64 hexadecimal digits.

    Returns
    -------
    tuple of KeyTrial

    Raises
    ------
    ValueError
        Gradings one at a time whose number of trials is no multiple of the number of conditions.
    """
    rows = _rows(design, Draws(seed, "rows"))
    trials: list[KeyTrial] = []
    for index, listener in enumerate(design.listeners):
        draws = Draws(seed, f"listener {listener}")
        seats: list[str | None] = draws.shuffled(design.seats or (None,))
        practice = _units(design, "practice", design.n_practice, seats[:1], draws, rows[index])
        counts: tuple[tuple[Part, int], ...] = (
            ("scored", design.n_trials),
            ("sham", design.n_sham),
            ("control", design.n_control),
        )
        units = [unit for part, n in counts for unit in _units(design, part, n, seats, draws, rows[index])]
        trials += _numbered(design, listener, practice, _by_seat(units, seats, draws))
    return tuple(trials)


def n_together(design: Design) -> int:
    """How many trials stay together: those of a round of gradings one at a time, else 1."""
    return len(design.conditions) if grades_one_at_a_time(design.method, design.scale) else 1


def _rows(design: Design, draws: Draws) -> list[list[tuple[int, ...]]]:
    """For each listener the orders of the rounds; over all of them each row of the square as often as any other."""
    if not grades_one_at_a_time(design.method, design.scale):
        return [[] for _ in design.listeners]
    n_rounds = design.n_in_session // len(design.conditions)
    square = williams_rows(len(design.conditions))
    dealt: list[tuple[int, ...]] = []
    while len(dealt) < n_rounds * len(design.listeners):
        dealt += draws.shuffled(square)
    # Dealt in turns, so that the rows of one square go to different listeners.
    n_listeners = len(design.listeners)
    return [dealt[index : n_rounds * n_listeners : n_listeners] for index in range(n_listeners)]


def _units(
    design: Design, part: Part, n: int, seats: Sequence[str | None], draws: Draws, rows: list[tuple[int, ...]]
) -> list[_Unit]:
    """The units of one part; rounds take their orders from `rows`, which they use up."""
    together = n_together(design)
    if n % together:
        raise ValueError(f"{n} trials are no whole number of rounds of {together} conditions")
    programmes: tuple[str | None, ...] = design.programmes or (None,)
    if together > 1:
        places = draws.cells((programmes, seats), n // together)
        order = [rows.pop(0) for _ in places]
        return [
            _Unit(part=part, programme=p, seat=s, trials=tuple({"condition": design.conditions[i]} for i in row))
            for (p, s), row in zip(places, order, strict=True)
        ]
    pairs = _pairs(design, part)
    n_right = form_of(design.method, design.scale).n_right
    turns = range(len(pairs) * 2)
    # A cell is programme, seat and turn, all as text or None: the turn tells pair and direction.
    factors: Sequence[Sequence[str | None]] = (programmes, seats, [str(turn) for turn in turns])
    units = []
    for programme, seat, text in draws.cells(factors, n):
        turn = int(text or 0)
        right = draws.below(n_right) if n_right else 0
        cells = cells_of(design.method, pairs[turn // 2], turn % 2, right)
        units.append(_Unit(part=part, programme=programme, seat=seat, trials=(cells,)))
    return units


def _pairs(design: Design, part: Part) -> list[tuple[str, str]]:
    """The pairs that are set against each other: every two conditions where any are graded or preferred in pairs."""
    if form_of(design.method, design.scale).n_right or part in ("sham", "control"):
        return [design.pair]
    ordered = [design.reference, *(one for one in design.conditions if one != design.reference)]
    return list(combinations(ordered, 2))


def _by_seat(units: Sequence[_Unit], seats: Sequence[str | None], draws: Draws) -> list[_Unit]:
    """The units in the order of playing: mixed, but all at one seat before the listener moves to the next."""
    return [unit for seat in seats for unit in draws.shuffled([one for one in units if one.seat == seat])]


def _numbered(design: Design, listener: str, practice: Sequence[_Unit], units: Sequence[_Unit]) -> list[KeyTrial]:
    """Trials with their number, block and place in the session; practice is block 0 and numbered P1, P2, …"""
    trials: list[KeyTrial] = []
    for unit in practice:
        for cells in unit.trials:
            number = f"P{len(trials) + 1}"
            trials.append(_trial(design, listener, number, unit, cells, block=0, position=len(trials) + 1))
    block, in_block, seat = 1, 0, units[0].seat if units else None
    for unit in units:
        if in_block and (unit.seat != seat or in_block + len(unit.trials) > design.block_trials):
            block, in_block = block + 1, 0
        seat = unit.seat
        for cells in unit.trials:
            number = str(len(trials) + 1 - design.n_practice)
            trials.append(_trial(design, listener, number, unit, cells, block=block, position=len(trials) + 1))
            in_block += 1
    return trials


def _trial(
    design: Design, listener: str, number: str, unit: _Unit, cells: dict[str, str], *, block: int, position: int
) -> KeyTrial:
    trial = KeyTrial(
        listener=listener,
        trial=number,
        part=unit.part,
        block=block,
        position=position,
        programme=unit.programme,
        seat=unit.seat,
        cells=cells,
        plays=plays_of(cells),
    )
    if unit.part == "sham":
        return replace(trial, plays=tuple(design.reference for _ in trial.plays))
    if unit.part == "control":
        return replace(trial, plays=tuple(CONTROL if one != design.reference else one for one in trial.plays))
    return trial
