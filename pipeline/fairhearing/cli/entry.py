"""The way in: runs a command, turns what can go wrong into words on standard error and an exit code.

0    done
1    our fault
2    the input, the command line or the place to write is at fault; nothing was changed
3    done in part, or the answer is no
130  interrupted
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from types import TracebackType

import typer
from typer.main import get_command

from fairhearing.cli.application import PROGRAM, application
from fairhearing.cli.printing import make_printable, warn
from fairhearing.errors import FairHearingError, InputProblem

INTERRUPTED = 130
TRACE_VARIABLE = "FAIRHEARING_TRACE"


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code of the command that the arguments name; without arguments those of the process are taken.

    What nobody foresaw is left to the interpreter, which ends with code 1 and prints it through `tell_unforeseen`.
    """
    if arguments is None:
        sys.excepthook = tell_unforeseen
        make_printable()
        arguments = sys.argv[1:]
    try:
        code = get_command(application).main(args=list(arguments), prog_name=PROGRAM, standalone_mode=False)
    except FairHearingError as problem:
        warn(str(problem))
        return problem.exit_code
    except typer.TyperException as problem:
        warn(str(_usage_problem(problem)))
        return InputProblem.exit_code
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    if code == INTERRUPTED:
        warn("interrupted")
    return int(code or 0)


def tell_unforeseen(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Print one line for an exception that nobody foresaw, and where its trace is to be had."""
    if os.environ.get(TRACE_VARIABLE) == "1":
        sys.__excepthook__(kind, error, trace)
    message = " ".join(str(error).split())
    warn(f"internal error: {kind.__name__}" + (f": {message}" if message else ""))
    warn(f"  this is a fault of {PROGRAM}, not of your data; {TRACE_VARIABLE}=1 in the environment prints its trace")


def _usage_problem(problem: typer.TyperException) -> InputProblem:
    """A fault of the command line in our three lines."""
    context = getattr(problem, "ctx", None)
    command = context.command_path if context is not None else PROGRAM
    return InputProblem(
        " ".join(problem.format_message().split()).rstrip("."),
        where=f"the command line of '{command}'",
        try_=f"'{command} --help' shows what it takes",
    )
