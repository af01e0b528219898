"""Reading ahead keeps order and errors and ends with its reader; halves take about as long."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from fairhearing.threads import halves, read_ahead


def names() -> set[str]:
    return {thread.name.split("_")[0] for thread in threading.enumerate()}


def test_items_come_in_order_in_the_buffers_that_were_given() -> None:
    def fill(buffers: Iterator[list[int]]) -> Iterator[list[int]]:
        for number in range(50):
            buffer = next(buffers)
            buffer[:] = [number]
            yield buffer

    given: list[list[int]] = [[], [], []]
    seen = []
    for item in read_ahead(fill, given):
        assert any(item is buffer for buffer in given)
        time.sleep(0.001 if item[0] % 7 == 0 else 0)
        seen.append(item[0])
    assert seen == list(range(50))
    assert "read-ahead" not in names()


def test_what_is_raised_comes_after_the_items_before_it() -> None:
    def fill(buffers: Iterator[list[int]]) -> Iterator[list[int]]:
        yield next(buffers)
        yield next(buffers)
        raise OSError("gone")

    seen = []
    with pytest.raises(OSError, match="gone"):
        seen.extend(read_ahead(fill, [[1], [2], [3]]))
    assert seen == [[1], [2]]


def test_the_thread_ends_when_its_reader_stops() -> None:
    taken = []

    def fill(buffers: Iterator[int]) -> Iterator[int]:
        for buffer in buffers:
            taken.append(buffer)
            yield buffer

    stream = read_ahead(fill, [1, 2, 3])
    assert next(stream) == 1
    stream.close()
    assert "read-ahead" not in names()
    assert len(taken) <= 4


def test_nobody_reads_further_ahead_than_there_are_buffers() -> None:
    filled = []

    def fill(buffers: Iterator[int]) -> Iterator[int]:
        for buffer in buffers:
            filled.append(buffer)
            yield buffer

    stream = read_ahead(fill, [1, 2, 3])
    next(stream)
    time.sleep(0.05)
    assert len(filled) == 3
    stream.close()


def test_halves_take_about_as_long() -> None:
    here, there = halves([5, 1, 4, 2, 3, 3], seconds=float)
    assert sorted(here + there) == [1, 2, 3, 3, 4, 5]
    assert sum(here) == sum(there) == 9
