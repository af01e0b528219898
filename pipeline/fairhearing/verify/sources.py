"""The files of a session as they were when it went into a store, against the files as they lie now."""

from __future__ import annotations

import shutil
from pathlib import Path

from fairhearing.store import open_store
from fairhearing.store.read import read_session, session_ids
from fairhearing.verify.difference import Difference

_SHOWN = 16


def read_sources(store: Path, aside: Path) -> dict[str, dict[str, str]]:
    """The hash of every file of the newest revision of every session, by session and path.

    The store is copied to `aside` first: opening one that an earlier version wrote would change it.
    """
    copy = shutil.copyfile(store, aside)
    with open_store(copy, create=False) as opened:
        return {
            session: {note.path: note.sha256 for note in read_session(opened, session).sources}
            for session in session_ids(opened)
        }


def compare_sources(stated: dict[str, dict[str, str]], found: dict[str, dict[str, str]]) -> list[Difference]:
    """Files that changed, went or came, of the sessions that both have."""
    differences = []
    for session in sorted(set(stated) & set(found)):
        before, now = stated[session], found[session]
        for path in sorted(before.keys() | now.keys()):
            if before.get(path) != now.get(path):
                differences.append(
                    Difference(
                        part="file",
                        what=f"{session}: {path}",
                        stated=_hash(before.get(path)),
                        found=_hash(now.get(path)),
                    )
                )
    return differences


def _hash(sha256: str | None) -> str:
    return "none" if sha256 is None else f"sha256 {sha256[:_SHOWN]}…"
