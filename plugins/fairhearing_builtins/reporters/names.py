"""File names and anchors made from ids: safe characters, bounded length, no two alike."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence

LONGEST = 120  # characters of a name; file systems in use take 255 bytes, and a folder stands before it


def safe_name(parts: Sequence[str | None]) -> str:
    """The parts joined by "_", letters, digits, "-" and "_" only; one that is too long ends in a digest of itself.

    >>> safe_name(("hall", "level", "a/b"))
    'hall_level_a-b'
    """
    joined = "_".join(part for part in parts if part)
    name = re.sub(r"[^A-Za-z0-9_-]+", "-", joined) or "-"
    if len(name) <= LONGEST:
        return name
    return f"{name[: LONGEST - 13]}-{hashlib.sha256(joined.encode()).hexdigest()[:12]}"


class UniqueNames:
    """Hands out each name once; a second comer gets a number behind."""

    def __init__(self, taken: Sequence[str] = ()) -> None:
        self._taken = {name.lower() for name in taken}

    def name(self, parts: Sequence[str | None]) -> str:
        """A safe name that was not handed out before, whatever the case of its letters."""
        base = safe_name(parts)
        name, count = base, 1
        while name.lower() in self._taken:
            count += 1
            name = f"{base}-{count}"
        self._taken.add(name.lower())
        return name

    def path(self, folder: str, parts: Sequence[str | None], suffix: str) -> str:
        """folder/name + suffix."""
        return f"{folder}/{self.name(parts)}{suffix}"
