"""What holds for every test: a skip fails the run unless pyproject.toml lists it with its reason; counts at the end."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest
from conformance.kit_counts import lines
from hypothesis import settings

ROOT = Path(__file__).parent.parent

# Machines under load are slow, not wrong; and a failure must come back in the next run.
settings.register_profile("project", deadline=None, derandomize=True)
settings.load_profile("project")


# Analysers run where a test can put others in their place and see their warnings; tests of workers undo this.
os.environ["FAIRHEARING_IN_PROCESS"] = "1"


def _allowed_skips() -> dict[str, str]:
    with (ROOT / "pyproject.toml").open("rb") as file:
        tool = tomllib.load(file)["tool"]
    allowed: dict[str, str] = tool.get("fairhearing-tests", {}).get("allowed-skips", {})
    return allowed


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """A skipped test that is not listed is a failed one."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and item.nodeid not in _allowed_skips():
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped and is not listed in pyproject.toml: {report.longrepr}"
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The counts of the kit's run over the built-in plug-ins."""
    reports = [report for state in ("passed", "failed") for report in terminalreporter.stats.get(state, [])]
    counts = list(lines(entry for report in reports for entry in report.user_properties))
    if counts:
        terminalreporter.section("rules of the kit, built-in plug-ins")
        terminalreporter.write_line("\n".join(counts))
