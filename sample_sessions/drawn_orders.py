"""The order of a planned listening, drawn from its seed: written anew from the rules that plans state, for one method.

A stream is SHA-256 in counter mode: block i is the hash of the seed, the label's length in four bytes, the label, and i
in eight bytes. A number below n takes as many bits as n - 1 has, and is drawn anew where it is n or more.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any

GENERATOR = "sha256-counter-1"
Trial = dict[str, Any]


def bytes_of(seed: str, label: str) -> Iterator[int]:
    """The bytes of a stream, one after the other."""
    words, block = label.encode(), 0
    while True:
        counter = len(words).to_bytes(4, "big") + words + block.to_bytes(8, "big")
        yield from hashlib.sha256(bytes.fromhex(seed) + counter).digest()
        block += 1


def below(n: int, stream: Iterator[int]) -> int:
    """A whole number from 0 to n - 1."""
    bits = (n - 1).bit_length()
    while True:
        value = int.from_bytes([next(stream) for _ in range(-(-bits // 8))], "big") % 2**bits
        if value < n:
            return value


def shuffled(values: Sequence[Any], stream: Iterator[int]) -> list[Any]:
    """The values, exchanged one by one from the end with one that is not behind them."""
    order = list(values)
    for n in range(len(order), 1, -1):
        other = below(n, stream)
        order[n - 1], order[other] = order[other], order[n - 1]
    return order


def spread_evenly(levels: Sequence[Any], n: int, stream: Iterator[int]) -> list[Any]:
    """n of the levels, each as often as the others or once more."""
    extra = shuffled(levels, stream)[: n % len(levels)]
    return shuffled(list(levels) * (n // len(levels)) + extra, stream)


def crossed(factors: Sequence[Sequence[Any]], n: int, stream: Iterator[int]) -> list[tuple[Any, ...]]:
    """n combinations: whole crossings, and what is left over with each factor spread evenly."""
    crossing = list(product(*factors))
    whole, rest = divmod(n, len(crossing))
    columns = [spread_evenly(levels, rest, stream) for levels in factors]
    return shuffled(crossing * whole + list(zip(*columns, strict=True)), stream)


def drawn(plan: dict[str, Any], part: str, n: int, stream: Iterator[int]) -> list[Trial]:
    """n trials of one part, in the order in which they are drawn: what A, B and X are, and what sounds."""
    pair = (plan["reference"], plan["condition"])
    trials = []
    for programme, seat, turn in crossed((plan["programmes"], plan["seats"], (0, 1)), n, stream):
        cells = {"x": pair[below(2, stream)], "first": pair[turn], "second": pair[1 - turn]}
        plays = [cells["first"], cells["second"], cells["x"]]
        if part == "sham":
            plays = [plan["reference"]] * len(plays)
        elif part == "control":
            plays = ["control" if one == plan["condition"] else one for one in plays]
        trials.append({"part": part, "programme": programme, "seat": seat, "cells": cells, "plays": plays})
    return trials


def order_of(plan: dict[str, Any], seed: str) -> list[Trial]:
    """Every trial of every listener: practice first, then all others mixed; for one seat."""
    assert len(plan["seats"]) == 1
    trials: list[Trial] = []
    for listener in plan["listeners"]:
        stream = bytes_of(seed, f"listener {listener}")
        practice = drawn(plan, "practice", plan["n_practice"], stream)
        parts = (("scored", plan["n_trials"]), ("sham", plan["n_sham"]), ("control", plan["n_control"]))
        mixed = shuffled([trial for part, n in parts for trial in drawn(plan, part, n, stream)], stream)
        for position, trial in enumerate([*practice, *mixed], 1):
            number = position - len(practice)
            said = {
                "listener": listener,
                "trial": f"P{position}" if number < 1 else str(number),
                "block": 0 if number < 1 else (number - 1) // plan["block_trials"] + 1,
                "position": position,
            }
            trials.append(trial | said)
    return trials
