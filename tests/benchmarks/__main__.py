"""All benchmarks, or those named: `cd tests && python -m benchmarks [NAME ...] [--repeats N]`. Exit 1 over a limit."""

from __future__ import annotations

import argparse
import os
import pkgutil
import sys
from importlib import import_module

import benchmarks

HELPERS = {"__main__", "ratio"}


def names() -> list[str]:
    """Every module here that measures something."""
    return sorted(module.name for module in pkgutil.iter_modules(benchmarks.__path__) if module.name not in HELPERS)


def main() -> int:
    """Print a line for each ratio."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("name", nargs="*", choices=[[], *names()], help="which; all if none is named")
    parser.add_argument("--repeats", type=int, default=7)
    said = parser.parse_args()
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}; medians of {said.repeats} turns")
    print(f"{'':28} {'peer s':>9} {'ours s':>9} {'ratio':>8} {'limit':>8}  held")
    held = True
    for name in said.name or names():
        for label, ratio in import_module(f"benchmarks.{name}").run(said.repeats).items():
            held = held and ratio.holds
            print(
                f"{label:28} {ratio.peer_s:9.4f} {ratio.ours_s:9.4f} {ratio.value:8.4f} {ratio.limit:8.4f}  "
                f"{'yes ' if ratio.holds else 'NO  '}  {ratio.note}",
                flush=True,
            )
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
