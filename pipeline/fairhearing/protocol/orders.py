"""Draws from a seed, by a generator of our own that anyone can run again; balanced lists and Williams squares."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from itertools import product
from typing import TypeVar

T = TypeVar("T")
GENERATOR = "sha256-counter-1"
SEED_BYTES = 32


def new_seed() -> str:
    """A seed of 32 bytes from the system's source of randomness, as 64 hexadecimal digits.

    >>> len(new_seed())
    64
    """
    return secrets.token_hex(SEED_BYTES)


class Draws:
    r"""A stream of even draws that a seed and a label fix.

    Block i of the stream is SHA-256(seed ‖ n ‖ label ‖ i): the seed as bytes, n the label's length in bytes as four
    bytes, the label in UTF-8, i from 0 as eight bytes, all big-endian. FIPS 180-4 for SHA-256.

    Examples
    --------
    >>> draws = Draws("00" * 32, "listener L1")
    >>> [draws.below(2) for _ in range(8)]
    [1, 1, 0, 1, 1, 1, 1, 1]
    """

    def __init__(self, seed: str, label: str) -> None:
        words = label.encode()
        self._start = bytes.fromhex(seed) + len(words).to_bytes(4, "big") + words
        self._n_blocks = 0
        self._left = b""

    def _byte(self) -> int:
        if not self._left:
            self._left = hashlib.sha256(self._start + self._n_blocks.to_bytes(8, "big")).digest()
            self._n_blocks += 1
        byte, self._left = self._left[0], self._left[1:]
        return byte

    def below(self, n: int) -> int:
        """A whole number from 0 to n - 1, each equally likely.

        As many bits as n - 1 has, the lowest of as many whole bytes as they need; one that is n or more is thrown
        away and drawn anew, so that no remainder favours the small ones.
        """
        if n < 1:
            raise ValueError(f"n is {n}; it must be 1 or more")
        n_bits = (n - 1).bit_length()
        while True:
            value = 0
            for _ in range((n_bits + 7) // 8):
                value = value << 8 | self._byte()
            value &= (1 << n_bits) - 1
            if value < n:
                return value

    def shuffled(self, values: Sequence[T]) -> list[T]:
        """The values in an order of which each is equally likely (Fisher and Yates, from the end)."""
        order = list(values)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order

    def balanced(self, levels: Sequence[T], n: int) -> list[T]:
        """n of the levels in a drawn order, each as often as any other or once more or less."""
        if not levels:
            return []
        whole, rest = divmod(n, len(levels))
        return self.shuffled([*(list(levels) * whole), *self.shuffled(levels)[:rest]])

    def cells(self, factors: Sequence[Sequence[T]], n: int) -> list[tuple[T, ...]]:
        """n combinations of the factors' levels: whole crossings first, and each level as often as its siblings.

        What is left over after the whole crossings is balanced for each factor by itself: counts differ by one at most.
        """
        crossing = list(product(*factors))
        whole, rest = divmod(n, len(crossing))
        columns = [self.balanced(levels, rest) for levels in factors]
        left = list(zip(*columns, strict=True)) if rest else []
        return self.shuffled([*(crossing * whole), *left])


def williams_rows(n: int) -> list[tuple[int, ...]]:
    """Orders of n conditions in which each follows each other equally often: n rows, 2n where n is odd.

    Williams, Aust. J. Sci. Res. A 2 (1949) 149: the first row 0, 1, n - 1, 2, n - 2, … and its cyclic shifts; for an
    odd n the mirrored rows too.

    Parameters
    ----------
    n : int, >= 2

    Raises
    ------
    ValueError
        n is below 2.

    Examples
    --------
    >>> williams_rows(4)
    [(0, 1, 3, 2), (1, 2, 0, 3), (2, 3, 1, 0), (3, 0, 2, 1)]
    """
    if n < 2:
        raise ValueError(f"n is {n}; an order takes 2 conditions or more")
    first = [0]
    for step in range(1, n):
        first.append((step + 1) // 2 if step % 2 else n - step // 2)
    rows = [tuple((one + shift) % n for one in first) for shift in range(n)]
    return rows if n % 2 == 0 else [*rows, *(row[::-1] for row in rows)]
