"""Printing: results on standard output, all else on standard error."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable, Mapping
from typing import TypeVar

A = TypeVar("A")


def make_printable() -> None:
    """Let a stream whose encoding lacks a character print its escape instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def say(text: str) -> None:
    """Print text on standard output; a reader that has gone away is no fault."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        # The interpreter flushes once more at its end and would complain about the closed pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say_json(content: Mapping[str, object]) -> None:
    """Print one strict JSON object on standard output."""
    say(json.dumps(content, indent=2, allow_nan=False))


def say_answer(
    answer: A, to_json: Callable[[A], Mapping[str, object]], to_text: Callable[[A], str], *, as_json: bool
) -> None:
    """Print what a command answers: one strict JSON object, or text for people."""
    if as_json:
        say_json(to_json(answer))
    else:
        say(to_text(answer))


def warn(text: str) -> None:
    """Print text on standard error."""
    print(text, file=sys.stderr, flush=True)
