"""Whether the plan in a session folder is the one that was sealed, and its opened sheets those that were opened."""

from __future__ import annotations

import hashlib
from pathlib import Path

from fairhearing.errors import ImportProblem, InputProblem
from fairhearing.manifest.lines import index_lines
from fairhearing.protocol.sealing import SEALED_KEY_NAME, SealFault, check_seal, check_without_key, read_object
from fairhearing.session import OPENED_NAME, Session

PUT_BACK = "put back what was sealed; whoever wants it otherwise after the seal needs a new plan"
AS_OPENED = "put back what fairhearing unseal wrote: nothing is edited after a plan was unsealed"
_MANIFEST = "session.toml"


def plan_problems(session: Session) -> tuple[InputProblem, ...]:
    """What was changed of a sealed plan, or of the sheets that it was opened into; none where all is as it was.

    A key that is kept elsewhere until the plan is opened is none of these: then the criteria are compared with those
    in the seal.

    Parameters
    ----------
    session : Session
        Files of the problems are named relative to its folder.

    Returns
    -------
    tuple of InputProblem
    """
    folder = plan_folder(session)
    if folder is None:
        return ()
    fault = seal_fault(session, folder)
    if fault is not None:
        return (ImportProblem(fault.what, where=place_of_fault(fault, session.folder, folder), try_=PUT_BACK),)
    return () if is_sealed(session) else _opened_problems(session.folder, folder)


def plan_folder(session: Session) -> Path | None:
    """Where the session's plan lies; None without one."""
    name = session.listening.plan_folder
    return None if name is None or session.listening.plan is None else session.folder / name


def is_sealed(session: Session) -> bool:
    """Whether the session's plan has not been opened yet."""
    return session.listening.plan is not None and session.listening.plan.sealed


def key_is_apart(session: Session, folder: Path) -> bool:
    """Whether the key of a plan that is still sealed is kept elsewhere."""
    return is_sealed(session) and not (folder / SEALED_KEY_NAME).exists()


def seal_fault(session: Session, folder: Path) -> SealFault | None:
    """What does not match the seal, as far as it can be told from what lies in the folder."""
    check = check_without_key if key_is_apart(session, folder) else check_seal
    return check(folder, session.criteria, session.folder)


def place_of_fault(fault: SealFault, session_folder: Path, folder: Path) -> str:
    """The file of a fault relative to the session folder; for criteria with the line of the first that was changed."""
    if fault.file != _MANIFEST:
        return f"{folder.relative_to(session_folder).as_posix()}/{fault.file}"
    try:
        lines = index_lines((session_folder / _MANIFEST).read_text(encoding="utf-8-sig")).lines
    except (OSError, ValueError):
        return _MANIFEST
    keys = [key.removesuffix("_sha256") for key in fault.criteria]
    said = [line for key in keys if (line := lines.get(("criteria", key))) is not None]
    return f"{_MANIFEST}, line {said[0]}" if said else _MANIFEST


def _opened_problems(session_folder: Path, folder: Path) -> tuple[InputProblem, ...]:
    """The opened sheets against the hashes that were taken when they were written."""
    name = folder.relative_to(session_folder).as_posix()
    try:
        stated = read_object(folder / OPENED_NAME).get("opened_sha256")
    except ValueError as error:
        return (ImportProblem(f"{OPENED_NAME} {error}", where=f"{name}/{OPENED_NAME}", try_=AS_OPENED),)
    if not isinstance(stated, dict):
        what = f"{OPENED_NAME} does not say which sheets were opened"
        return (ImportProblem(what, where=f"{name}/{OPENED_NAME}", try_=AS_OPENED),)
    there = {path.relative_to(folder).as_posix() for path in (folder / "opened").glob("*.csv")}
    return tuple(
        ImportProblem(f"{path} {what}", where=f"{name}/{path}", try_=AS_OPENED)
        for path in sorted({*there, *stated})
        if (what := _change(folder / path, stated.get(path)))
    )


def _change(path: Path, stated: object) -> str:
    """What happened to an opened sheet since; empty where nothing did."""
    if stated is None:
        return "is none of the sheets that were opened"
    try:
        data = path.read_bytes()
    except OSError:
        return "is missing, and was opened"
    return "" if hashlib.sha256(data).hexdigest() == stated else "was changed after the plan was unsealed"
