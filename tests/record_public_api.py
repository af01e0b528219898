"""Records the public surface in tests/public_api.txt; prints what changed, and refuses what would break plug-ins.

python tests/record_public_api.py [--on DAY]

What is added is recorded. What is taken away or changed is recorded only if the major of API_VERSION is higher than
that of the recording, or if the day until which it was to work has come. DAY (ISO 8601) is today unless it is given.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from public_changes import record, recorded
from public_surface import surface

from fairhearing.api import API_VERSION

RECORD = Path(__file__).parent / "public_api.txt"
COMMAND = "python tests/record_public_api.py"


def main(arguments: Sequence[str] | None = None, place: Path = RECORD) -> int:
    """0 if the surface is recorded, 1 if that is refused: then nothing is written."""
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__)
    parser.add_argument("--on", type=date.fromisoformat, default=None, metavar="DAY")
    on = parser.parse_args(arguments).on or date.today()
    before = recorded(place.read_text(encoding="utf-8")) if place.exists() else None
    verdict = record(before, surface(), API_VERSION, on.isoformat())
    print("\n".join(verdict.said))
    if verdict.text is None:
        print(f"{place.name}: not recorded")
        return 1
    place.write_text(verdict.text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
