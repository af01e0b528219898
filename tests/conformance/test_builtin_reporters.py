"""Every built-in reporter keeps every rule of the kit, found by entry point like anyone's."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from fairhearing.api import OutputFile, ReportInputs
from fairhearing.conformance.kit import report
from fairhearing.conformance.reporter import reporter_cases
from fairhearing.contracts import Reporter
from fairhearing.registry import load_plugins


@pytest.mark.parametrize("reporter", load_plugins().reporters, ids=lambda one: one.name)
def test_it_keeps_every_rule(reporter: Reporter) -> None:
    done = report(reporter.name, reporter_cases(reporter))
    print(*done.lines(), sep="\n")
    assert done.passed, "\n".join(done.lines())
    assert sum(outcome.state == "kept" for outcome in done.outcomes) >= 4


class Forgetful:
    """Writes a page that loads a picture from elsewhere and leaves every finding out."""

    name = "forgetful"
    version = "1"

    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        page = '<html><body><img src="https://example.org/x.png">nothing</body></html>'
        return [OutputFile(path="page.html", data=page.encode(), main=True)]


def test_a_reporter_that_leaves_findings_out_and_loads_from_elsewhere_is_caught() -> None:
    done = report("forgetful", reporter_cases(Forgetful()))
    broken = {outcome.rule for outcome in done.outcomes if outcome.state == "broken"}
    assert {"every-claim-appears", "self-contained"} <= broken
    assert "stays-inside" not in broken
