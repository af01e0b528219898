"""What `fairhearing verify` prints: what was checked, what differs, what could not be checked."""

from __future__ import annotations

from dataclasses import asdict

from fairhearing.verify import Verification

_ANSWERS = (
    ("the folder is not as it was sealed", {"seal"}),
    ("the report does not say what the folder gives", {"file", "finding", "report"}),
)


def verify_text(verification: Verification) -> str:
    """The lines for people; the last one is the answer."""
    lines = [f"checked: {line}" for line in verification.checked]
    lines += [f"not checked: {line}" for line in verification.notes]
    lines += [difference.line() for difference in verification.differences]
    n = len(verification.differences)
    if n:
        parts = {one.part for one in verification.differences}
        told = [words for words, of in _ANSWERS if parts & of]
        lines.append(f"{n} {'difference' if n == 1 else 'differences'}: {'; '.join(told)}")
    else:
        lines.append("all that was checked is as stated")
    return "\n".join(lines)


def verify_json(verification: Verification) -> dict[str, object]:
    """The same for programs."""
    return {
        "format": 1,
        "as_stated": not verification.differences,
        "checked": list(verification.checked),
        "not_checked": list(verification.notes),
        "differences": [asdict(difference) for difference in verification.differences],
    }
