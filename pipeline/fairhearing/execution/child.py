"""The other process: takes calls from standard input until it closes, and answers each.

Whatever a call prints goes to standard error: standard output carries the answers.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from importlib import import_module
from queue import SimpleQueue
from typing import BinaryIO

from fairhearing.execution.messages import receive, send

# The answer's first word.
READY, DONE, FAILED = "ready", "done", "failed"


def serve() -> None:
    """Answer calls until the parent closes the pipe; then end, in the middle of a call if need be."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    calls: SimpleQueue[tuple[str, tuple[object, ...]]] = SimpleQueue()
    requests = sys.stdin.buffer
    path, preparation, limit_bytes = _setting(requests)
    sys.path[:] = path
    if preparation is not None:
        _answer((preparation, ()))
    threading.Thread(target=_listen, args=(requests, calls), daemon=True).start()
    base = _used_bytes()
    _limit_memory(base, limit_bytes)
    send(answers, (READY, 0))
    while True:
        word, told = _answer(calls.get())
        send(answers, (word, told, max(0, _used_bytes() - base)))


def _setting(requests: BinaryIO) -> tuple[list[str], str | None, int]:
    setting: tuple[list[str], str | None, int] = receive(requests)  # type: ignore[assignment]
    return setting


def _listen(requests: BinaryIO, calls: SimpleQueue[tuple[str, tuple[object, ...]]]) -> None:
    """Hand on each call. A call too large for the limit, or a parent that is gone, ends the process."""
    try:
        while True:
            calls.put(receive(requests))  # type: ignore[arg-type]
    finally:
        os._exit(0)


def _answer(call: tuple[str, tuple[object, ...]]) -> tuple[str, object]:
    try:
        return DONE, _function(call[0])(*call[1])
    except BaseException as error:  # nothing may end the process but the parent
        return FAILED, f"{type(error).__name__}: {error}"


def _function(name: str) -> Callable[..., object]:
    module, _, attribute = name.partition(":")
    function: Callable[..., object] = getattr(import_module(module), attribute)
    return function


def _used_bytes() -> int:
    """Memory that is this process's own to write; 0 where the system does not tell."""
    try:
        with open("/proc/self/status", encoding="ascii") as file:
            return next((1024 * int(line.split()[1]) for line in file if line.startswith("VmData:")), 0)
    except OSError:
        return 0


def _limit_memory(base: int, limit_bytes: int) -> None:
    """Let no more be allocated; a system without such limits goes without."""
    try:
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_DATA)
        resource.setrlimit(resource.RLIMIT_DATA, (base + limit_bytes, hard))
    except (ImportError, ValueError, OSError):
        return


if __name__ == "__main__":
    serve()
