"""findings.json of a report folder, checked for its frame."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


def findings_in(out: Path) -> list[dict[str, Any]]:
    report = json.loads((out / "findings.json").read_text(encoding="utf-8"))
    assert set(report) == {"format", "sessions", "findings"}
    assert report["format"] == 1
    found: list[dict[str, Any]] = report["findings"]
    return found
