"""One thing that does not agree: what it is, what was stated, what was found."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """`part`: seal, file, finding or report. `what` names the thing; `stated` and `found` are short texts."""

    part: str
    what: str
    stated: str
    found: str

    def line(self) -> str:
        """All of it in one line.

        >>> Difference(part="finding", what="hall/level", stated="value 0.1", found="value 0.2").line()
        'finding hall/level: stated value 0.1, found value 0.2'
        """
        return f"{self.part} {self.what}: stated {self.stated}, found {self.found}"
