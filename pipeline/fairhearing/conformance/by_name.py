"""An installed plug-in looked up by its name and put through the rules of its kind, on the samples it brings along."""

from __future__ import annotations

from collections.abc import Iterator

from fairhearing.conformance.analyser import analyser_cases
from fairhearing.conformance.golden import write_golden
from fairhearing.conformance.importer import importer_cases, offered_samples
from fairhearing.conformance.importer_samples import ImporterSample
from fairhearing.conformance.kit import Report, report
from fairhearing.conformance.reporter import reporter_cases
from fairhearing.conformance.summary import summary_cases
from fairhearing.contracts import Analyser, Importer, Reporter
from fairhearing.errors import FairHearingError, InputProblem, nearest
from fairhearing.registry import Plugins, load_plugins

Plugin = Importer | Analyser | Reporter


def check_by_name(name: str) -> tuple[Report, ...]:
    """What the rules come to: a report for each installed plug-in of this name, and for each summary it asks for.

    An importer is tested on its attribute `samples` (paths or ImporterSample), an analyser on its attribute `samples`
    (Inputs) or, without it, on the kit's own sessions.

    Raises
    ------
    InputProblem
        No installed plug-in has the name, it does not load, or its samples are not usable.
    """
    return tuple(one for plugin in _named(name) for one in _reports(plugin))


def write_golden_by_name(name: str) -> tuple[str, ...]:
    """Write the golden files of an installed importer's samples; what changed, a unified diff for each that did.

    Raises
    ------
    InputProblem
        No installed importer has the name, it brings no samples, or one of them is not read.
    """
    plugins = _named(name)
    importers = [plugin for plugin in plugins if isinstance(plugin, Importer)]
    if not importers:
        raise InputProblem(
            f"{name!r} is no importer: only importers have golden files",
            where="--write-golden",
            try_="leave out --write-golden",
        )
    diffs = []
    for importer in importers:
        for sample in _samples(importer):
            try:
                diffs.append(write_golden(importer, sample))
            except (FairHearingError, ValueError, OSError) as error:
                told = error.what if isinstance(error, FairHearingError) else str(error)
                raise InputProblem(
                    f"no golden file is written: {told.splitlines()[0]}",
                    where=str(sample.path),
                    try_="correct the importer or its sample first",
                ) from error
    return tuple(diff for diff in diffs if diff)


def _named(name: str) -> list[Plugin]:
    plugins = load_plugins()
    everything: tuple[Plugin, ...] = (*plugins.importers, *plugins.analysers, *plugins.reporters)
    found = [plugin for plugin in everything if plugin.name == name]
    if not found:
        raise _unknown(name, plugins, [plugin.name for plugin in everything])
    return found


def _unknown(name: str, plugins: Plugins, known: list[str]) -> InputProblem:
    for broken in plugins.notes.broken:
        if broken.entry_point == name:
            return InputProblem(
                f"the plug-in {name!r} does not load: {broken.reason}", where=broken.distribution, try_=broken.try_
            )
    return InputProblem(
        f"there is no plug-in {name!r}", where="the plug-ins that are installed", try_=nearest(name, known)
    )


def _reports(plugin: Plugin) -> Iterator[Report]:
    """What it is, is decided as the registry does: by what it offers."""
    try:
        if isinstance(plugin, Importer):
            yield report(f"importer {plugin.name}", importer_cases(plugin, samples=_samples(plugin)))
        elif isinstance(plugin, Analyser):
            given = getattr(plugin, "samples", None)
            yield report(f"analyser {plugin.name}", analyser_cases(plugin, samples=given))
            for summary in plugin.needs.summaries:
                yield report(f"summary {summary.name}", summary_cases(summary))
        else:
            yield report(f"reporter {plugin.name}", reporter_cases(plugin))
    except ValueError as error:
        raise InputProblem(
            f"the samples of {plugin.name!r} are not usable: {error}",
            where=f"the attribute samples of {type(plugin).__name__}",
            try_="correct it; what it may hold stands in the help of fairhearing.conformance",
        ) from error


def _samples(importer: Importer) -> tuple[ImporterSample, ...]:
    samples = offered_samples(importer)
    if not samples:
        raise InputProblem(
            f"the importer {importer.name!r} brings no samples, and the kit cannot make files for it",
            where=f"the attribute samples of {type(importer).__name__}",
            try_="give it samples = (Path(…), …), files beside the module that it must read",
        )
    return samples
