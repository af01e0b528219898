"""findings.json as a test reads it: strict JSON, and one finding picked by what it is of."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# What makes a finding unique; where a test does not say one of them, it is null (a session has to be said).
KEY = (
    "session", "analyser", "quantity", "variant", "of", "point", "playing", "seat", "condition", "reference",
    "channel", "programme", "listener", "band_hz",
)  # fmt: skip
UNSAID = ("variant", "of", "seat", "channel", "programme", "listener")


def _refuse(constant: str) -> float:
    raise ValueError(f"{constant} is not strict JSON")


@dataclass(frozen=True, kw_only=True)
class FindingList:
    """All findings of a run."""

    findings: tuple[dict[str, Any], ...]
    sessions: tuple[str, ...]

    @classmethod
    def read(cls, path: Path) -> FindingList:
        """From findings.json; NaN and Infinity are no JSON."""
        told = json.loads(path.read_text(encoding="utf-8"), parse_constant=_refuse)
        assert told["format"] == 1
        return cls(findings=tuple(told["findings"]), sessions=tuple(told["sessions"]))

    def all(self, session: str, quantity: str, **said: object) -> list[dict[str, Any]]:
        """Every finding with these fields."""
        wanted = {"session": session, "quantity": quantity, **said}
        return [f for f in self.findings if all(f[name] == value for name, value in wanted.items())]

    def one(self, session: str, quantity: str, **said: object) -> dict[str, Any]:
        """The one finding with these fields, null in those of UNSAID that are not said."""
        found = self.all(session, quantity, **{**dict.fromkeys(UNSAID), **said})
        assert len(found) == 1, (session, quantity, said, len(found))
        return found[0]
