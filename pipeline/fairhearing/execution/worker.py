"""Calls in a process of their own: one that hangs, eats memory or ends its process costs itself only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from queue import Empty, SimpleQueue
from types import TracebackType
from typing import BinaryIO, cast

from fairhearing.execution.child import DONE, READY
from fairhearing.execution.limits import Limits
from fairhearing.execution.messages import receive, send

# A process of ours is up within a second or two; a machine that needs longer than this has stopped.
_START_SECONDS = 120.0
# Arithmetic in several threads is no faster on arrays of this size, and its sums depend on their number.
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class WorkStopped(Exception):
    """A call gave no answer; the text says why, and is the end of a sentence."""


class Worker:
    """Calls functions by name, one after the other, in another process that is started anew whenever it is lost.

    Parameters
    ----------
    limits : Limits
        For each call.
    preparation : str, optional
        "module:function" that the process calls first, outside of the limits: to import what calls will need.
    path : sequence of str, optional
        Where the process looks for modules; by default as here.
    """

    def __init__(self, limits: Limits, preparation: str | None = None, path: Sequence[str] | None = None) -> None:
        self._limits = limits
        self._preparation = preparation
        self._path = list(sys.path if path is None else path)
        self._process: subprocess.Popen[bytes] | None = None
        self._answers: SimpleQueue[tuple[object, ...]] = SimpleQueue()
        self._ready = False

    def __enter__(self) -> Worker:
        """Starts the process; what it prepares goes on while the caller does something else."""
        self._start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Ends the process, whatever it does."""
        self._stop()

    def call(self, function: str, *arguments: object) -> object:
        """What "module:function" returns for `arguments` in the other process, where their arrays are read-only.

        Raises
        ------
        WorkStopped
            It took too long or too much memory, ended its process, or raised.
        """
        if self._process is None:
            self._start()
        try:
            self._await_ready()
            self._send((function, arguments))
            answer = self._answers.get(timeout=self._limits.seconds)
        except Empty:
            self._stop()
            raise WorkStopped(f"took longer than {self._limits.seconds:g} s") from None
        except BaseException:
            self._stop()
            raise
        if not answer:
            raise WorkStopped(self._how_it_ended())
        word, told, grown = cast(tuple[str, object, int], answer)
        if grown > self._limits.megabytes * 1e6 / 4:
            self._stop()  # what one call left behind is not the next one's to carry
        if word != DONE:
            self._stop()
            raise WorkStopped(f"failed: {told}")
        return told

    def _start(self) -> None:
        # With an empty queue no answer of a process that is gone can be taken for one of this.
        self._answers = SimpleQueue()
        self._ready = False
        self._process = subprocess.Popen(
            [sys.executable, "-m", "fairhearing.execution.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, **_ONE_THREAD, "PYTHONPATH": os.pathsep.join(filter(None, self._path))},
            start_new_session=True,
        )
        threading.Thread(target=_listen, args=(self._process.stdout, self._answers), daemon=True).start()
        self._send((self._path, self._preparation, round(self._limits.megabytes * 1e6)))

    def _send(self, message: object) -> None:
        process = cast("subprocess.Popen[bytes]", self._process)
        with suppress(BrokenPipeError):  # the process has ended: that there is no answer will tell
            send(cast(BinaryIO, process.stdin), message)

    def _await_ready(self) -> None:
        if self._ready:
            return
        try:
            answer = self._answers.get(timeout=_START_SECONDS)
        except Empty:
            answer = ()
        if not answer or answer[0] != READY:
            raise WorkStopped("could not start: its process ended or did not answer")
        self._ready = True

    def _how_it_ended(self) -> str:
        """Why the process is gone, from its exit code; it is put away."""
        process = cast("subprocess.Popen[bytes]", self._process)
        code = process.wait()
        self._stop()
        if code < 0:
            name = signal.Signals(-code).name if -code in set(signal.Signals) else f"signal {-code}"
            return f"ended its process ({name}): a crash, or more than {self._limits.megabytes:g} MB of memory"
        return f"ended its process (exit code {code})"

    def _stop(self) -> None:
        """End the process and all that it started."""
        process, self._process = self._process, None
        if process is None:
            return
        with suppress(OSError):  # it is gone already
            if os.name == "posix":
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
        process.wait()
        with suppress(OSError):  # what was not written yet has nobody to read it
            cast(BinaryIO, process.stdin).close()


def _listen(stream: BinaryIO, answers: SimpleQueue[tuple[object, ...]]) -> None:
    """Hand on each answer; an empty one when there will be no more."""
    with stream:
        try:
            while True:
                answers.put(cast(tuple[object, ...], receive(stream)))
        except (EOFError, OSError):
            answers.put(())
