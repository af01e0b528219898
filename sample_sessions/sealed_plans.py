"""A plan for a blind listening and its seal, written from their documented form: hashes, sealed key, looks.

The commitment is the SHA-256 of canonical JSON (keys sorted, no blanks, ASCII) of criteria, key, plan and salt; each
part has a hash of its own. The sealed key is a line of warning and the base64 of a zlib stream.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import zlib
from fractions import Fraction
from statistics import NormalDist
from typing import Any

WARNING = (
    "DO NOT OPEN: the sealed order of a blind listening session. fairhearing unseal opens it when all have answered."
)
LINE = 76
MOST_STORED = 65_535  # bytes of a stored block, RFC 1951

Values = dict[str, Any]


def canonical(value: Any) -> bytes:
    """The one way to write a value for hashing."""
    return json.dumps(value, sort_keys=True, separators=(",", ":")).encode("ascii")


def sha256(data: bytes) -> str:
    """Hexadecimal digits of the hash."""
    return hashlib.sha256(data).hexdigest()


def seal(key: Values, criteria: Values, plan: Values, salt: str) -> Values:
    """What seal.json holds."""
    parts = {"key": key, "criteria": criteria, "plan": plan}
    return {
        "format": 1,
        "commitment": sha256(canonical({**parts, "salt": salt})),
        "parts": {part: sha256(canonical({"part": part, "salt": salt, "value": parts[part]})) for part in parts},
        "criteria": criteria,
    }


def stored(data: bytes) -> bytes:
    """A zlib stream without compression (RFC 1950): the same bytes whatever library is installed."""
    blocks = [data[start : start + MOST_STORED] for start in range(0, len(data), MOST_STORED)]
    stream = bytearray(b"\x78\x01")
    for block in blocks:
        size = len(block).to_bytes(2, "little")
        stream += bytes([block is blocks[-1]]) + size + bytes(255 - byte for byte in size) + block
    return bytes(stream) + zlib.adler32(data).to_bytes(4, "big")


def packed_key(key: Values, salt: str) -> str:
    """The sealed file."""
    text = base64.b64encode(stored(canonical({"key": key, "salt": salt}))).decode("ascii")
    return "\n".join([WARNING, *(text[start : start + LINE] for start in range(0, len(text), LINE)), ""])


def readable(value: Any) -> str:
    """JSON for people; what is hashed is its canonical form."""
    return json.dumps(value, indent=1, sort_keys=True) + "\n"


def in_eights(commitment: str) -> str:
    """The commitment as sheets print it."""
    return " ".join(commitment[start : start + 8] for start in range(0, len(commitment), 8))


def looks_at(n_at_looks: list[int], alpha: float) -> list[Values]:
    """How many right answers end a listening at each look, and what whoever guesses has spent by then.

    Spending by Lan and DeMets after O'Brien and Fleming, one-sided: 2 - 2 Phi(z / sqrt(t)), z for alpha / 2. Guessing
    is one in two; every path of right and wrong answers is counted in whole numbers.
    """
    z = NormalDist().inv_cdf(1 - alpha / 2)
    going_on, before, spent, looks = {0: 1}, 0, Fraction(0), []
    for n_trials in n_at_looks:
        more, paths = n_trials - before, dict[int, int]()
        for n_right, ways in going_on.items():
            for right in range(more + 1):
                paths[n_right + right] = paths.get(n_right + right, 0) + ways * math.comb(more, right)
        allowed = 2 - 2 * NormalDist().cdf(z / math.sqrt(n_trials / n_at_looks[-1]))
        needed, ended = n_trials + 1, Fraction(0)
        while spent + ended + Fraction(paths.get(needed - 1, 0), 2**n_trials) <= allowed:
            needed -= 1
            ended += Fraction(paths.get(needed, 0), 2**n_trials)
        spent += ended
        looks.append({"n_trials": n_trials, "n_right_needed": needed, "alpha_spent": float(spent)})
        going_on, before = {n: ways for n, ways in paths.items() if n < needed}, n_trials
    return looks
