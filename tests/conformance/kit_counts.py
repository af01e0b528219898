"""Counts of the kit's run over every built-in plug-in: rules that ran, were kept, waived, skipped, broken.

python tests/conformance/kit_counts.py
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator

from fairhearing.conformance import Report
from fairhearing.conformance.by_name import check_by_name
from fairhearing.registry import load_plugins

BUILT_IN = "fairhearing"
COLUMNS = ("rules", "kept", "waived", "skipped", "broken")


def built_in_names() -> list[str]:
    """The names of the built-in plug-ins, each once, in the order in which they are listed."""
    notes = load_plugins().notes
    every = (*notes.importers, *notes.analysers, *notes.reporters)
    return list(dict.fromkeys(note.name for note in every if note.distribution == BUILT_IN))


def counted(report: Report) -> Counter[str]:
    """How many rules there are, and how many came to each state."""
    return Counter({"rules": len(report.outcomes)}) + Counter(outcome.state for outcome in report.outcomes)


def lines(reports: Iterable[Report]) -> Iterator[str]:
    """A line for each plug-in as its report comes, one for all, and why rules were skipped."""
    n_plugins, total, reasons = 0, Counter[str](), Counter[str]()
    yield _line("plug-in", COLUMNS)
    for report in reports:
        count = counted(report)
        yield _line(report.plugin, (count[name] for name in COLUMNS))
        n_plugins, total = n_plugins + 1, total + count
        reasons.update(outcome.why for outcome in report.outcomes if outcome.state == "skipped")
    yield _line(f"{n_plugins} in all", (total[name] for name in COLUMNS))
    yield ""
    yield from (f"skipped {count:4} x: {why}" for why, count in sorted(reasons.items(), key=lambda r: (-r[1], r[0])))


def _line(name: str, cells: Iterable[object]) -> str:
    return f"{name:28}" + "".join(f"{cell:>9}" for cell in cells)


def main(names: Iterable[str]) -> int:
    """Print the counts of these plug-ins; 1 if a rule is broken."""
    reports: list[Report] = []
    for line in lines(_kept(reports, names)):
        print(line, flush=True)
    return 0 if all(report.passed for report in reports) else 1


def _kept(reports: list[Report], names: Iterable[str]) -> Iterator[Report]:
    for name in names:
        for report in check_by_name(name):
            reports.append(report)
            yield report


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or built_in_names()))
