"""From what a session holds to results: each analyser with what it declared, in order, kept where nothing changed."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial

from fairhearing import __version__
from fairhearing.audio import Recording, summary_key
from fairhearing.calling import call_plugin
from fairhearing.contracts import Analyser, Inputs, Needs, declared_summaries
from fairhearing.errors import PluginProblem
from fairhearing.execution.worker import Worker, WorkStopped
from fairhearing.recordings import Lacking, summaries_asked_for, wanted_summaries
from fairhearing.registry import PluginNote, Plugins, check_quantities, load_plugins
from fairhearing.result import AnalyserResult, ChartRequest, Finding, Refusal, Result, Table
from fairhearing.session import Session
from fairhearing.store.codec import decode, encode
from fairhearing.store.read import StoredSession
from fairhearing.units import check_units

# Within a session and an analyser, no two findings agree in all of these.
IDENTITY = (
    "quantity", "variant", "of", "point", "playing", "seat", "condition", "reference", "channel", "programme",
    "listener", "band_hz",
)  # fmt: skip


def analyse_session(
    stored: StoredSession,
    analysers: Sequence[Analyser],
    kept: Mapping[str, AnalyserResult],
    lacking: Sequence[Lacking] = (),
    worker: Worker | None = None,
    notes: Sequence[PluginNote] = (),
) -> dict[str, AnalyserResult]:
    """The result of every analyser, by key; a kept one with the same key is not computed again.

    `stored` has its recordings with their summaries; `lacking`: those that could not be had. Analysers run in
    `worker`, within its limits; without one in this process. `notes`: whose a quantity is, where one returns another's.
    """
    results: dict[str, AnalyserResult] = {}
    findings: list[Finding] = []
    for analyser in analysers:
        inputs = needed(stored.inputs, analyser, findings)
        lost = _lost(stored.inputs, analyser, lacking)
        key = _key(stored, analyser, inputs.findings, lost)
        result = kept.get(key)
        if result is None or result.problem is not None:
            result = _run(inputs, analyser, lost, worker, notes)
        results[key] = result
        findings += result.result.findings
    return results


def unread_lines(stored: StoredSession, analysers: Sequence[Analyser]) -> tuple[str, ...]:
    """A line for each sheet or measurement kind that no installed analyser reads."""
    read = {(m, role) for analyser in analysers for m in analyser.needs.methods for role in analyser.needs.roles}
    kinds = {kind for analyser in analysers for kind in analyser.needs.kinds}
    session = stored.inputs.session.id
    lines = [
        f"{session}: {', '.join(sheet.paths)} ({sheet.method}, {len(sheet.trials)} trials) is in the store; "
        f"no installed analyser reads {sheet.method} sheets yet"
        for sheet in stored.inputs.sheets
        if (sheet.method, sheet.role) not in read
    ]
    measured = [*(take.kind for take in stored.inputs.takes), *(r.kind for r in stored.inputs.recordings)]
    for kind in sorted(set(measured) - kinds):
        count = measured.count(kind)
        lines.append(f"{session}: {count} files of kind {kind} are in the store; no installed analyser reads them yet")
    return tuple(lines)


def needed(inputs: Inputs, analyser: Analyser, findings: Sequence[Finding]) -> Inputs:
    """What the analyser declared, and nothing else; the sheets' frames are its own copies."""
    needs = analyser.needs
    closing = () if needs.closing else [file.path for file in inputs.session.measurements if file.closing]
    return replace(
        inputs,
        takes=tuple(
            t
            for t in inputs.takes
            if t.kind in needs.kinds and t.point in needs.points and (needs.closing or not t.closing)
        ),
        sheets=tuple(
            replace(sheet, trials=sheet.trials.copy())
            for sheet in inputs.sheets
            if sheet.method in needs.methods and sheet.role in needs.roles
        ),
        recordings=_with_summaries(inputs.session, [r for r in inputs.recordings if r.path not in closing], analyser),
        findings=tuple(finding for finding in findings if finding.quantity in needs.findings),
    )


def _with_summaries(session: Session, recordings: Sequence[Recording], analyser: Analyser) -> tuple[Recording, ...]:
    """The recordings that the analyser reads, each with just the summaries that it declared."""
    kept = []
    for recording in recordings:
        keys = wanted_summaries(session, recording, [analyser])
        if _reads(analyser, recording) and set(keys) <= set(recording.summaries):
            kept.append(replace(recording, summaries={key: recording.summaries[key] for key in keys}))
    return tuple(kept)


def _reads(analyser: Analyser, recording: Recording) -> bool:
    return recording.kind in analyser.needs.kinds and recording.point in analyser.needs.points


def _lost(inputs: Inputs, analyser: Analyser, lacking: Sequence[Lacking]) -> tuple[Refusal, ...]:
    """A refusal for each recording that the analyser reads and cannot have."""
    refusals = []
    for recording in inputs.recordings:
        keys = wanted_summaries(inputs.session, recording, [analyser])
        problem = next((one.problem for one in lacking if one.path == recording.path and one.key in keys), None)
        if problem is not None:
            what = f"no findings of {analyser.name} from {recording.path}"
            refusals.append(Refusal(what=what, why=problem.what, try_=problem.try_))
    return tuple(refusals)


def _key(stored: StoredSession, analyser: Analyser, findings: Sequence[Finding], lost: Sequence[Refusal]) -> str:
    digest = hashlib.sha256()
    for part in (analyser.name, analyser.version, __version__, stored.inputs.session.id, stored.content_sha256):
        digest.update(f"{part}\n".encode())
    for key in map(summary_key, summaries_asked_for(analyser, stored.inputs.session)):
        digest.update(f"{key}\n".encode())
    for read in (*findings, *lost):
        digest.update(encode(read).encode())
    return digest.hexdigest()


def _run(
    inputs: Inputs,
    analyser: Analyser,
    lost: tuple[Refusal, ...],
    worker: Worker | None,
    notes: Sequence[PluginNote],
) -> AnalyserResult:
    session = inputs.session
    done = AnalyserResult(
        session=session.id, room=session.room.id, analyser=analyser.name, version=analyser.version, result=Result()
    )
    refused = refusal(inputs, analyser)
    if refused is not None:
        return replace(done, result=Result(refusals=lost or (refused,)))
    try:
        result = _result(analyser, inputs, notes) if worker is None else _result_of(worker, analyser, inputs)
    except PluginProblem as problem:
        return replace(done, problem=problem.line())
    return replace(done, result=replace(result, refusals=(*result.refusals, *lost)))


def _result(analyser: Analyser, inputs: Inputs, notes: Sequence[PluginNote]) -> Result:
    """What the analyser finds, checked; raises PluginProblem."""
    where = f"session {inputs.session.id}"
    return call_plugin(analyser.name, analyser.version, where, partial(_checked_result, analyser, inputs, notes))


def _result_of(worker: Worker, analyser: Analyser, inputs: Inputs) -> Result:
    """As `_result`, from the analyser of the same name in another process."""
    try:
        answer = worker.call(f"{__name__}:{answer_elsewhere.__name__}", analyser.name, inputs)
    except WorkStopped as stopped:
        raise PluginProblem(
            f"plug-in {analyser.name} {analyser.version} {stopped}",
            where=f"session {inputs.session.id}",
            try_="raise the limit if the session is a large one (DEVELOPERS.md, Limits), or tell the plug-in's author",
        ) from stopped
    if isinstance(answer, PluginProblem):
        raise answer
    assert isinstance(answer, str)
    return decode(Result, answer)


def answer_elsewhere(name: str, inputs: Inputs) -> str | PluginProblem:
    """In a worker: the result of the analyser of that name as the store keeps it, or how it failed."""
    plugins = loaded_plugins()
    analyser = next(analyser for analyser in plugins.analysers if analyser.name == name)
    try:
        return encode(_result(analyser, inputs, plugins.notes.analysers))
    except PluginProblem as problem:
        return problem


@cache
def loaded_plugins() -> Plugins:
    """In a worker: the installed plug-ins, loaded once."""
    return load_plugins()


def refusal(inputs: Inputs, analyser: Analyser) -> Refusal | None:
    """Why an analyser cannot work on this session; None if it can."""
    needs = analyser.needs
    what = f"no findings of {analyser.name}"
    lacking = _lacking(inputs, needs)
    wanted = [bool(needs.kinds), bool(needs.methods)]
    if lacking and len(lacking) == sum(wanted):
        why = "the session has no " + " and no ".join(lacking)
        return Refusal(what=what, why=why, try_="add them to session.toml if they were made")
    if len(inputs.session.conditions) < needs.min_conditions:
        return Refusal(what=what, why="the session has too few conditions", try_="name every condition measured")
    return None


def _lacking(inputs: Inputs, needs: Needs) -> list[str]:
    """Which measurements and which sheets there are none of, as far as a session without any of them has to be told."""
    measured, scored = inputs.session.measurements, inputs.session.scores
    lacking = []
    if needs.kinds and not inputs.takes and not inputs.recordings:
        at = f" at the point {_or(needs.points)}" if any(item.kind in needs.kinds for item in measured) else ""
        lacking.append(f"measurements of kind {_or(needs.kinds)}{at}" if measured else "measurements")
    if needs.methods and not inputs.sheets:
        role = "" if "scored" in needs.roles else f" with the role {_or(needs.roles)}"
        lacking.append(f"score sheets of method {_or(needs.methods)}{role}" if scored else "score sheets")
    return lacking


def _or(words: Iterable[str]) -> str:
    return " or ".join(sorted(words))


def _checked_result(analyser: Analyser, inputs: Inputs, notes: Sequence[PluginNote]) -> Result:
    """What the analyser returns; raises for what a store cannot keep or nobody could tell apart."""
    declared_summaries(analyser, inputs.session)  # if it fails at that, its recordings lack them
    result: object = analyser.analyse(inputs)
    if not isinstance(result, Result):
        raise TypeError(f"it returned a {type(result).__name__}, not a Result")
    for name, kind in (("findings", Finding), ("tables", Table), ("charts", ChartRequest), ("refusals", Refusal)):
        strange = next((entry for entry in getattr(result, name) if not isinstance(entry, kind)), None)
        if strange is not None:
            raise TypeError(f"its {name} hold a {type(strange).__name__}, not a {kind.__name__}")
    check_quantities(result, analyser, notes)
    check_units(result, analyser)
    told = Counter(map(_identity, result.findings))
    twice = next((identity for identity, count in told.items() if count > 1), None)
    if twice is not None:
        raise ValueError(f"it returned two findings of {twice[0]} for one and the same thing: {twice[1:]}")
    encode(result)
    return result


def _identity(finding: Finding) -> tuple[object, ...]:
    return tuple(getattr(finding, name) for name in IDENTITY)
