"""findings.json as a report states it against findings.json as the session folders give it now."""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Mapping
from pathlib import Path

from fairhearing.errors import InputProblem
from fairhearing.verify.difference import Difference

FINDINGS_NAME = "findings.json"
FORMAT = 1
# Another processor adds in another order: that much of a number, and no more, may differ.
RELATIVE, ABSOLUTE = 1e-9, 1e-12
_NAMED = "a finding"

Fields = Mapping[str, object]


def read_findings(folder: Path) -> dict[str, Fields]:
    """The findings of a report folder, by id.

    Raises
    ------
    InputProblem
        There is no findings.json, or it is not what a run writes.
    """
    path = folder / FINDINGS_NAME
    try:
        content = json.loads(path.read_bytes(), parse_constant=_no_number)
    except OSError as error:
        raise InputProblem(
            f"there is no report to verify: {error.strerror or error}",
            where=str(path),
            try_="give the folder that 'fairhearing run' wrote with --report",
        ) from error
    except ValueError as error:
        raise _broken(path, f"it is no JSON: {error}") from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise _broken(path, f"its format is not {FORMAT}")
    findings = content.get("findings")
    if not isinstance(findings, list):
        raise _broken(path, "it has no list of findings")
    found: dict[str, Fields] = {}
    for number, fields in enumerate(findings, 1):
        if not isinstance(fields, dict) or not isinstance(fields.get("id"), str):
            raise _broken(path, f"finding {number} has no id")
        if fields["id"] in found:
            raise _broken(path, f"two findings have the id {fields['id']!r}")
        found[fields["id"]] = fields
    return found


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number in JSON")


def _broken(path: Path, why: str) -> InputProblem:
    return InputProblem(
        f"the findings of the report cannot be read: {why}",
        where=str(path),
        try_="write the report anew with 'fairhearing run', or look at who changed the file",
    )


def compare_findings(
    stated: Mapping[str, Fields], found: Mapping[str, Fields], sessions: Collection[str]
) -> list[Difference]:
    """What differs in the findings of these sessions; those of other sessions are left aside."""
    here = {name: fields for name, fields in stated.items() if fields.get("session") in sessions}
    differences = []
    for name in sorted({*here, *found}):
        if name not in found:
            differences.append(Difference(part="finding", what=name, stated=_NAMED, found="none"))
        elif name not in here:
            differences.append(Difference(part="finding", what=name, stated="none", found=_NAMED))
        else:
            differences += _differing(name, here[name], found[name])
    return differences


def _differing(name: str, stated: Fields, found: Fields) -> list[Difference]:
    fields = [field for field in {**found, **stated} if not alike(stated.get(field), found.get(field))]
    return [
        Difference(
            part="finding",
            what=name,
            stated=f"{field} {_short(stated.get(field))}",
            found=f"{field} {_short(found.get(field))}",
        )
        for field in fields
    ]


def alike(one: object, other: object) -> bool:
    """Whether two values of JSON are the same, numbers within what another order of adding may change.

    >>> alike(0.1 + 0.2, 0.3), alike(0.3, 0.3001), alike([1, "a"], [1.0, "a"]), alike(1, True)
    (True, False, True, False)
    """
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(alike, one, other))
    if _is_number(one) and _is_number(other):
        return math.isclose(float(str(one)), float(str(other)), rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    return type(one) is type(other) and one == other


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _short(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 160 else text[:157] + "…"
