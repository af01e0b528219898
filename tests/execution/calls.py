"""What tests have a worker do. Found by name in the other process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt

PREPARED: list[int] = []
LEFT_BEHIND: list[bytearray] = []


def prepare() -> None:
    PREPARED.append(os.getpid())


def fail_to_prepare() -> None:
    os._exit(9)


def process_id() -> int:
    return os.getpid()


def prepared_in() -> list[int]:
    return PREPARED


def times(left: float, right: float) -> float:
    return left * right


def fill(array: npt.NDArray[np.float64]) -> None:
    array.fill(0.0)


def total(array: npt.NDArray[np.float64]) -> float:
    return float(array.sum())


def say_and_return(text: str) -> str:
    print(text)
    os.write(1, text.encode())
    return text


def sleep(seconds: float) -> str:
    time.sleep(seconds)
    return "awake"


def hang() -> None:
    while True:
        pass


def hang_with_a_child(file: str) -> None:
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    Path(file).write_text(str(child.pid), encoding="ascii")
    hang()


def eat(megabytes: int) -> int:
    return len(bytearray(megabytes * 1_000_000))


def keep(megabytes: int) -> None:
    LEFT_BEHIND.append(bytearray(megabytes * 1_000_000))


def leave(code: int) -> None:
    os._exit(code)


def crash() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def exit_politely() -> None:
    sys.exit("enough")


def return_what_cannot_be_sent() -> object:
    return lambda: None


def threads() -> str:
    return os.environ["OPENBLAS_NUM_THREADS"]
