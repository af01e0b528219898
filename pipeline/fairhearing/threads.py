"""Two ways to use a second thread where numpy does the work: reading ahead, and sharing out a few calls."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from queue import SimpleQueue
from types import TracebackType
from typing import TypeVar

T = TypeVar("T")


def read_ahead(fill: Callable[[Iterator[T]], Iterator[T]], buffers: Sequence[T]) -> Iterator[T]:
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

        def handed() -> Iterator[T]:
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


class Pair:
    """Two threads, the caller's and one more; a context manager."""

    def __enter__(self) -> Pair:
        self._other = ThreadPoolExecutor(max_workers=1, thread_name_prefix="pair")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._other.shutdown(wait=True)

    def do(self, here: Sequence[Callable[[], object]], there: Sequence[Callable[[], object]] = ()) -> None:
        """Make all calls, the second ones in the other thread; returns when all are done."""
        running = self._other.submit(_make, there) if there else None
        try:
            _make(here)
        finally:
            if running is not None:
                running.result()


def _make(calls: Sequence[Callable[[], object]]) -> None:
    for call in calls:
        call()


def halves(items: Sequence[T], seconds: Callable[[T], float]) -> tuple[list[T], list[T]]:
    """Two parts that take about as long: the longest item first, each to the part that has less.

    Examples
    --------
    >>> halves([1.0, 4.0, 3.0], seconds=lambda item: item)
    ([4.0], [3.0, 1.0])
    """
    parts: tuple[list[T], list[T]] = ([], [])
    for item in sorted(items, key=seconds, reverse=True):
        less = min(parts, key=lambda part: sum(map(seconds, part)))
        less.append(item)
    return parts
