"""Draws are even, the same from the same seed, balanced where they should be; Williams squares are what they claim."""

from __future__ import annotations

import hashlib
import itertools
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from references.helper import load
from scipy.stats import chi2

from fairhearing.protocol.orders import Draws, new_seed, williams_rows

SEED = "5eed" * 16


def chi_square(counts: list[int], expected: float) -> float:
    return sum((count - expected) ** 2 / expected for count in counts)


def test_the_stream_is_sha256_in_counter_mode_as_it_is_documented() -> None:
    # FIPS 180-4 through hashlib; the bytes are put together here by hand.
    label = b"listener L1"
    start = bytes.fromhex(SEED) + bytes([0, 0, 0, len(label)]) + label
    stream = b"".join(hashlib.sha256(start + bytes(7) + bytes([block])).digest() for block in range(3))
    draws = Draws(SEED, "listener L1")
    assert [draws.below(256) for _ in range(96)] == list(stream)


def test_what_is_out_of_range_is_thrown_away_and_not_folded_back() -> None:
    draws, plain = Draws(SEED, "a"), Draws(SEED, "a")
    taken = [value & 3 for value in (plain.below(256) for _ in range(400)) if value & 3 < 3]
    assert [draws.below(3) for _ in range(len(taken))] == taken


def test_a_number_below_one_is_refused() -> None:
    with pytest.raises(ValueError, match="n is 0; it must be 1 or more"):
        Draws(SEED, "a").below(0)


def test_seeds_and_labels_make_other_streams() -> None:
    streams = {tuple(Draws(seed, label).below(256) for _ in range(16)) for seed in (SEED, "00" * 32) for label in "ab"}
    assert len(streams) == 4
    seeds = {new_seed() for _ in range(20)}
    assert len(seeds) == 20
    assert {len(bytes.fromhex(seed)) for seed in seeds} == {32}


@pytest.mark.parametrize("n", [2, 3, 6, 300])
def test_draws_are_even(n: int) -> None:
    draws = Draws(SEED, "even")
    counts = Counter(draws.below(n) for _ in range(60_000))
    assert chi_square([counts[value] for value in range(n)], 60_000 / n) < chi2.isf(1e-4, n - 1)


def test_every_order_of_four_is_as_likely_as_any_other() -> None:
    draws = Draws(SEED, "orders")
    counts = Counter(tuple(draws.shuffled(range(4))) for _ in range(24_000))
    assert len(counts) == 24
    assert chi_square(list(counts.values()), 1000.0) < chi2.isf(1e-4, 23)


@given(st.integers(0, 60), st.integers(1, 4), st.integers(1, 3))
def test_levels_are_balanced_within_one_and_whole_crossings_exactly(n: int, first: int, second: int) -> None:
    cells = Draws(SEED, f"{n} {first} {second}").cells((range(first), range(second)), n)
    assert len(cells) == n
    for place, n_levels in ((0, first), (1, second)):
        counts = Counter(cell[place] for cell in cells)
        spread = [counts[level] for level in range(n_levels)]
        assert max(spread) - min(spread) <= 1
    if n % (first * second) == 0:
        crossed = Counter(cells)
        assert set(crossed.values()) <= {n // (first * second)}


@pytest.mark.parametrize("n", [3, 4, 5])
def test_williams_squares_are_those_of_the_reference(n: int) -> None:
    reference = load(f"williams-{n}")
    rows = williams_rows(n)
    assert len(rows) == reference.expected["sequences"]
    follows = Counter(pair for row in rows for pair in itertools.pairwise(row))
    assert set(follows) == set(itertools.permutations(range(n), 2))
    assert set(follows.values()) == {reference.expected["each_ordered_pair_count"]}
    assert rows == [tuple(row) for row in reference.expected["one_design"]]


@pytest.mark.parametrize("n", range(2, 13))
def test_in_a_williams_square_each_stands_in_each_place_and_follows_each_equally_often(n: int) -> None:
    rows = williams_rows(n)
    times = 1 if n % 2 == 0 else 2
    assert Counter(itertools.chain.from_iterable(enumerate(row) for row in rows)) == dict.fromkeys(
        itertools.product(range(n), range(n)), times
    )
    follows = Counter(pair for row in rows for pair in itertools.pairwise(row))
    assert follows == dict.fromkeys(itertools.permutations(range(n), 2), times)


def test_one_condition_has_no_order() -> None:
    with pytest.raises(ValueError, match="n is 1; an order takes 2 conditions or more"):
        williams_rows(1)
