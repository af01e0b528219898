"""An analyser with the sessions that it is tried on, and how a rule runs it: as the core would, on copies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial

from fairhearing.analysing import needed, refusal
from fairhearing.calling import call_plugin
from fairhearing.conformance.changes import copied
from fairhearing.conformance.kit import RuleBroken
from fairhearing.conformance.worlds import DECOY, worlds
from fairhearing.contracts import Analyser, Inputs
from fairhearing.errors import PluginProblem
from fairhearing.recordings import summaries_asked_for
from fairhearing.result import Finding, Result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AnalyserSubject:
    """An analyser and its samples: the author's, or the kit's own worlds where none are given."""

    analyser: Analyser
    samples: tuple[Inputs, ...]
    results: dict[str, Result] = field(default_factory=dict)

    def __iter__(self) -> Iterator[Inputs]:
        """Each sample that the core would hand to the analyser, whole."""
        return (sample for sample in self.samples if self.narrowed(sample) is not None)

    def narrowed(self, inputs: Inputs) -> Inputs | None:
        """What the core would hand to the analyser; None where it would refuse."""
        narrowed = needed(inputs, self.analyser, inputs.findings)
        return narrowed if refusal(narrowed, self.analyser) is None else None

    def result(self, inputs: Inputs) -> Result:
        """What the analyser returns for a sample as it is; run once for all rules."""
        name = inputs.session.id
        if name not in self.results:
            self.results[name] = self.changed(inputs, "as it is")
        return self.results[name]

    def changed(self, inputs: Inputs, how: str) -> Result:
        """What the analyser returns for a changed sample; `how` says what was changed, for the message."""
        narrowed = self.narrowed(inputs)
        return Result() if narrowed is None else run(self.analyser, copied(narrowed), how)


def own_worlds(analyser: Analyser) -> tuple[Inputs, ...]:
    """The kit's worlds with what this analyser wants of others' findings and of recordings."""
    return worlds({*analyser.needs.findings, DECOY}, partial(summaries_asked_for, analyser))


def subject_of(analyser: Analyser, samples: Sequence[Inputs] | None) -> AnalyserSubject:
    """The analyser with these samples, or with the kit's own worlds.

    Raises
    ------
    ValueError
        There are no samples, two have the id of one session, or the core would hand none of them to the analyser.
    """
    own = own_worlds(analyser) if samples is None else tuple(samples)
    ids = [sample.session.id for sample in own]
    if not ids:
        raise ValueError("samples is empty: leave it out to use the kit's own")
    if len(set(ids)) < len(ids):
        raise ValueError(f"two samples have one session id: {', '.join(ids)}")
    subject = AnalyserSubject(analyser=analyser, samples=own)
    if next(iter(subject), None) is None:
        narrowed = needed(own[0], analyser, own[0].findings)
        refused = refusal(narrowed, analyser)
        raise ValueError(f"no sample meets the needs of {analyser.name}: {'' if refused is None else refused.why}")
    return subject


def run(analyser: Analyser, inputs: Inputs, how: str) -> Result:
    """What the analyser returns.

    Raises
    ------
    RuleBroken
        It raised anything, or returned something else than a Result.
    """
    where = f"session {inputs.session.id}, {how}"
    try:
        result: object = call_plugin(analyser.name, analyser.version, where, partial(analyser.analyse, inputs))
    except PluginProblem as problem:
        raise RuleBroken(f"{where}: {problem.what}") from problem
    if not isinstance(result, Result):
        raise RuleBroken(f"{where}: it returned a {type(result).__name__}, not a Result")
    return result


def of_quantities(result: Result, quantities: frozenset[str]) -> list[Finding]:
    """The findings of these quantities."""
    return [finding for finding in result.findings if finding.quantity in quantities]
