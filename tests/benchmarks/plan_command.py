"""`fairhearing plan --dry-run` against `fairhearing corner`: both reckon by themselves, and neither loads arrays."""

from __future__ import annotations

import subprocess
import sys
from functools import partial

from benchmarks.ratio import Ratio, turn_about

CORNER = ("corner", "--design-corner-hz", "100", "--setting-kohm", "20", "--load-kohm", "100")
PLANS = {
    "plan, heard": ("--question", "heard", "--effect", "0.7"),
    "plan, heard, three looks": ("--question", "heard", "--effect", "0.7", "--looks", "3"),
    "plan, equivalent": ("--question", "equivalent", "--margin", "0.6"),
    "plan, preferred": ("--question", "preferred", "--effect", "0.7"),
}
LIMIT = 2.0


def command(*arguments: str) -> str:
    """What the program prints, in a process of its own."""
    finished = subprocess.run(
        [sys.executable, "-m", "fairhearing", *arguments], capture_output=True, text=True, check=True
    )
    return finished.stdout


def run(repeats: int) -> dict[str, Ratio]:
    """The ratios, after each has answered."""
    ratios = {}
    for label, options in PLANS.items():
        arguments = ("plan", *options, "--dry-run")
        if "What it can show" not in command(*arguments):
            raise AssertionError(f"{' '.join(arguments)} did not answer")
        ratios[label] = turn_about(
            partial(command, *CORNER), partial(command, *arguments), repeats, LIMIT, "peer: fairhearing corner"
        )
    return ratios
