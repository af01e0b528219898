"""Outside values with their source, and a check that proves its own tolerance tight."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent


@dataclass(frozen=True, kw_only=True)
class Reference:
    """One entry: inputs, expected values, absolute or relative tolerance, source, provenance."""

    id: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    tolerance_abs: float
    tolerance_rel: float
    source: str
    provenance: str  # computed | read | from memory


def load(identifier: str) -> Reference:
    """The entry with this id, from any of the JSON files beside this module."""
    for path in sorted(FOLDER.glob("*.json")):
        for entry in json.loads(path.read_text(encoding="utf-8")):
            if entry["id"] == identifier:
                return Reference(
                    id=identifier,
                    inputs=entry["inputs"],
                    expected=entry["expected"],
                    tolerance_abs=float(entry.get("tolerance_abs", 0.0)),
                    tolerance_rel=float(entry.get("tolerance_rel", 0.0)),
                    source=entry["source"],
                    provenance=entry["provenance"],
                )
    raise KeyError(identifier)


def close(actual: float, expected: float, reference: Reference) -> bool:
    """Whether actual agrees with expected within the tolerance that came with the value."""
    return math.isclose(actual, expected, rel_tol=max(reference.tolerance_rel, 1e-15), abs_tol=reference.tolerance_abs)


def check(actual: float, expected: float, reference: Reference) -> None:
    """Assert agreement, and that a value nudged by 1 % (or 0.1 where it is a level near 0) would have failed."""
    assert close(actual, expected, reference), (
        f"{reference.id}: got {actual!r}, expected {expected!r} ({reference.source})"
    )
    nudge = max(abs(expected) * 0.01, 0.1 if expected == 0 else 0.0)
    assert not close(expected + nudge, expected, reference), f"{reference.id}: the tolerance is too wide to fail"
