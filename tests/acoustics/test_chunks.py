"""Chunks of a stream: the same whatever blocks come and however they lie in memory, and not copied without need."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fairhearing.acoustics.chunks import Chunks
from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.acoustics.loudness import KWeightedEnergy
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.summaries import BlockLevels, PowerSpectrum
from fairhearing.acoustics.true_peak import TruePeak

RATE_HZ = 8000


def noise(n_frames, n_channels=2):
    return np.random.default_rng(3).normal(0.1, 0.2, (n_frames, n_channels))


def by_channel(block):
    """The same block, channel by channel in memory, read-only."""
    laid = np.asfortranarray(block)
    laid.setflags(write=False)
    return laid


@pytest.mark.parametrize("n_frames_of_block", [1, 99, 100, 101, 250, 1000])
@pytest.mark.parametrize("laid", [np.ascontiguousarray, by_channel])
def test_chunks_are_those_of_the_stream_and_what_is_left_is_the_rest(n_frames_of_block, laid):
    samples = noise(1033)
    chunks, found = Chunks(100, 2), []
    for at in range(0, len(samples), n_frames_of_block):
        found += [chunk.copy() for chunk in chunks.feed(laid(samples[at : at + n_frames_of_block]))]
    np.testing.assert_array_equal(np.concatenate([*found, chunks.rest], axis=1), samples.T)
    assert [chunk.shape for chunk in found] == [(2, 100)] * 10


def test_a_block_that_lies_channel_by_channel_is_not_copied():
    block = by_channel(noise(250))
    assert [np.shares_memory(chunk, block) for chunk in Chunks(100, 2).feed(block)] == [True, True]
    assert [np.shares_memory(chunk, block) for chunk in Chunks(100, 2).feed(noise(250))] == [False, False]


@pytest.mark.parametrize(
    "summary",
    [BlockLevels(), FilteredLevels((80.0,)), KWeightedEnergy(), LowSpectrum(), PowerSpectrum(), TruePeak()],
    ids=lambda summary: summary.name,
)
@pytest.mark.parametrize("n_channels", [1, 2, 3])
def test_not_a_bit_of_a_summary_depends_on_how_a_block_lies_in_memory(summary, n_channels):
    samples = noise(9 * RATE_HZ + 77, n_channels)
    format = SimpleNamespace(rate_hz=RATE_HZ, n_channels=n_channels, n_frames=len(samples))
    made = []
    for laid, n_frames_of_block in ((np.ascontiguousarray, 4000), (by_channel, 4000), (by_channel, 7777)):
        accumulator = summary.start(format)
        for at in range(0, len(samples), n_frames_of_block):
            accumulator.update(laid(samples[at : at + n_frames_of_block]))
        made.append(accumulator.result())
    for other in made[1:]:
        for name, values in made[0].items():
            np.testing.assert_array_equal(other[name], values)
