"""Behind `fairhearing unseal`: finds the plan of a session and opens it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fairhearing.cli.plan import one_session
from fairhearing.errors import InputProblem
from fairhearing.protocol.opening import Opened, unseal
from fairhearing.session import PLAN_FOLDER, PLAN_NAME, SEAL_NAME

if TYPE_CHECKING:
    from fairhearing.protocol.looking import Looked
    from fairhearing.session import Session

COMMAND = "the command line of 'fairhearing unseal'"


def answer_unseal(folder: Path, reason: str | None) -> Opened:
    """What was opened of the plan of a session.

    Raises
    ------
    InputProblem
        There is no plan, the reason is empty, or the plan cannot be opened; nothing has been written then.
    """
    words = None if reason is None else " ".join(reason.split())
    if words == "":
        raise InputProblem("--reason is empty", where=COMMAND, try_="say why it is opened now")
    session, place = _planned(folder)
    return unseal(session, place, words)


def answer_look(folder: Path, text: str, reason: str | None = None) -> Looked:
    """What a planned look at the plan of a session tells.

    Raises
    ------
    InputProblem
        There is no plan, or no such look, or it cannot be taken; nothing has been written then.
    """
    from fairhearing.protocol.looking import look

    try:
        number = int(text)
    except ValueError:
        raise InputProblem(f"--look {text!r} is not a whole number", where=COMMAND, try_="write --look 1") from None
    if reason is not None:
        raise InputProblem(
            "--reason stands beside --look, which opens nothing", where=COMMAND, try_="leave one of the two out"
        )
    session, place = _planned(folder)
    return look(session, place, number)


def _planned(folder: Path) -> tuple[Session, Path]:
    """The session and the folder of its plan."""
    session = one_session(folder)
    place = session.folder / (session.listening.plan_folder or PLAN_FOLDER)
    if not (place / PLAN_NAME).exists() and not (place / SEAL_NAME).exists():
        raise InputProblem(
            "the session has no sealed plan", where=str(place), try_="fairhearing plan draws, seals and writes one"
        )
    return session, place
