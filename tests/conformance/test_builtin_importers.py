"""Every built-in importer keeps every rule of the kit, found by entry point like anyone's."""

from __future__ import annotations

import pytest

from fairhearing.conformance.importer import importer_cases, offered_samples
from fairhearing.conformance.kit import report
from fairhearing.contracts import Importer
from fairhearing.registry import load_plugins

IMPORTERS = load_plugins().importers


@pytest.mark.parametrize("importer", IMPORTERS, ids=lambda one: one.name)
def test_it_keeps_every_rule(importer: Importer) -> None:
    done = report(importer.name, importer_cases(importer, samples=offered_samples(importer)))
    print(*done.lines(), sep="\n")
    assert done.passed, "\n".join(done.lines())
    assert sum(outcome.state == "kept" for outcome in done.outcomes) >= 8


class Greedy:
    """Says yes to everything and reads nothing of it."""

    def __init__(self, importer: Importer) -> None:
        self.name, self.version, self.kinds = "greedy", "1", importer.kinds

    def recognise(self, file: object) -> object:
        raise OSError("cannot look")

    def read(self, files: object, session: object) -> list[object]:
        return []


def test_an_importer_that_raises_and_reads_nothing_is_caught() -> None:
    first = IMPORTERS[0]
    done = report("greedy", importer_cases(Greedy(first), samples=offered_samples(first)))  # type: ignore[arg-type]
    broken = {outcome.rule for outcome in done.outcomes if outcome.state == "broken"}
    assert "recognise-never-raises" in broken
    assert not done.passed
