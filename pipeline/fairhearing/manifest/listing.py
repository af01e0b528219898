"""What lies in a session folder, and which of it can be read."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fairhearing.files import RECORD_NAME
from fairhearing.manifest.find import MANIFEST_NAME

_LINKED_FOLDER = "is a link to a folder; links to folders are not followed"
_BLOCK_BYTES = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Paths relative to the session folder, with /; without session.toml, hidden ones and what a run wrote.

    `files` can be read; `refused` cannot, with the reason in words.
    """

    files: tuple[str, ...]
    refused: Mapping[str, str]


def list_folder(folder: Path) -> Listing:
    """All that lies in `folder` and its sub-folders.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    Listing, sorted by path
    """
    files: list[str] = []
    refused: dict[str, str] = {}
    waiting = [""]
    while waiting:
        prefix = waiting.pop()
        try:
            with os.scandir(folder / prefix) as found:
                children = list(found)
        except OSError as error:
            refused[prefix.rstrip("/") or "."] = f"cannot be read: {error.strerror}"
            continue
        for child in children:
            path = prefix + child.name
            if child.name.startswith(".") or path == MANIFEST_NAME:
                continue
            if child.is_dir(follow_symlinks=False):
                if not (folder / path / RECORD_NAME).exists():
                    waiting.append(path + "/")
                continue
            # What is no link lies where it is found: nothing has to be followed.
            reason = None if child.is_file(follow_symlinks=False) else refusal(folder, path)
            if reason is None:
                files.append(path)
            else:
                refused[path] = reason
    return Listing(files=tuple(sorted(files)), refused=dict(sorted(refused.items())))


def refusal(folder: Path, path: str) -> str | None:
    """Why the file `path` of `folder` is not read, in words that follow its name; None if it is."""
    place = folder / path
    try:
        if not place.resolve().is_relative_to(folder.resolve()):
            return "is a link that leaves the session folder"
        mode = place.stat().st_mode
    except (OSError, RuntimeError) as error:  # a RuntimeError is a link that leads to itself
        reason = getattr(error, "strerror", None) or "a link that leads to itself"
        return "is a link that leads nowhere" if place.is_symlink() else f"cannot be read: {reason}"
    if stat.S_ISDIR(mode):
        return _LINKED_FOLDER if place.is_symlink() else "is a folder"
    return None if stat.S_ISREG(mode) else "is no file with content"


def sha256_of(place: Path) -> str:
    """The sha256 of a file's bytes, read in blocks."""
    digest = hashlib.sha256()
    with place.open("rb") as stream:
        while block := stream.read(_BLOCK_BYTES):
            digest.update(block)
    return digest.hexdigest()
