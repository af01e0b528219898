"""Use of a second thread where machine code does the work: reading ahead, and parting work in two."""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from queue import SimpleQueue
from typing import TypeVar

T = TypeVar("T")


def read_ahead(fill: Callable[[Iterator[T]], Iterator[T]], buffers: Sequence[T]) -> Generator[T, None, None]:
    """What `fill` yields in a thread of its own, in order; it is handed a buffer again when the next item is asked for.

    Parameters
    ----------
    fill : function of an iterator of buffers
        Yields one item for each buffer that it takes. The iterator ends when nobody asks any more.
    buffers : sequence
        One more than items that wait at a time.

    Raises
    ------
    Exception
        Whatever `fill` raises, after the items that came before.
    """
    free: SimpleQueue[T | None] = SimpleQueue()
    filled: SimpleQueue[tuple[T, T] | None] = SimpleQueue()
    stopped = threading.Event()
    for buffer in buffers:
        free.put(buffer)

    def run() -> None:
        taken: list[T] = []

        def handed() -> Generator[T, None, None]:
            while (buffer := free.get()) is not None and not stopped.is_set():
                taken.append(buffer)
                yield buffer

        try:
            for item in fill(handed()):
                filled.put((item, taken.pop()))
        finally:
            filled.put(None)

    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="read-ahead") as pool:
        running = pool.submit(run)
        try:
            while (found := filled.get()) is not None:
                yield found[0]
                free.put(found[1])
            running.result()
        finally:
            stopped.set()
            free.put(None)


def halves(items: Sequence[T], seconds: Callable[[T], float]) -> tuple[list[T], list[T]]:
    """Two parts that take about as long: the longest item first, each to the part that has less.

    Examples
    --------
    >>> halves([1.0, 4.0, 3.0], seconds=lambda item: item)
    ([4.0], [3.0, 1.0])
    """
    here: list[T] = []
    there: list[T] = []
    for item in sorted(items, key=seconds, reverse=True):
        less = sum(map(seconds, here)) <= sum(map(seconds, there))
        (here if less else there).append(item)
    return here, there
