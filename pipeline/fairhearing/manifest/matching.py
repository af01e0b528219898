"""Gives each file of the folder to the one entry whose pattern reads its name in one way."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from fairhearing.errors import nearest
from fairhearing.manifest.entries import PLAYING, Entry, KnownIds
from fairhearing.manifest.faults import FaultLog, nearest_file
from fairhearing.manifest.listing import Listing
from fairhearing.manifest.patterns import Pattern, Reading, TooManyReadings, parse_pattern, read_name
from fairhearing.session import MeasurementFile, Playing, ScoreFile

AnyEntry = Entry[MeasurementFile] | Entry[ScoreFile]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A file that an entry matches, and what its name says."""

    path: str
    entry: AnyEntry
    values: Mapping[str, str]


@dataclass(slots=True, kw_only=True)
class _Matches:
    """What has been found for all entries: `touched` files are matched or at fault."""

    claims: list[Claim] = field(default_factory=list)
    unknown: list[tuple[AnyEntry, str, Reading]] = field(default_factory=list)
    touched: set[str] = field(default_factory=set)
    answered: set[int] = field(default_factory=set)  # ids of the entries that match something, or whose fault is told


def match_files(
    entries: Sequence[AnyEntry], listing: Listing, ids: KnownIds, named: Collection[str], log: FaultLog
) -> list[Claim]:
    """The files that the entries match, each once, by entry and path; faults go to `log`.

    Parameters
    ----------
    entries : sequence of Entry
    listing : Listing
        What lies in the folder.
    ids : KnownIds
    named : collection of str
        Files that have another part (a microphone's correction, the target): a placeholder does not match them.
    log : FaultLog
    """
    allowed = _allowed_values(ids)
    matches = _Matches()
    paths = [*listing.files, *listing.refused]
    for entry in entries:
        if entry.pattern is not None:
            for path in paths:
                if not (entry.pattern.placeholders and path in named):
                    _match(entry, entry.pattern, path, allowed, listing, matches)
    claims = _claimed_once(matches, log)
    _tell_unknown(matches, allowed, log)
    for entry in entries:
        if entry.pattern is not None and id(entry) not in matches.answered:
            _tell_nothing_matched(entry, entry.pattern, listing, log)
    order = {id(entry): index for index, entry in enumerate(entries)}
    return sorted(claims, key=lambda claim: (order[id(claim.entry)], claim.path))


def measurement_file(claim: Claim, template: MeasurementFile) -> MeasurementFile:
    """The template of the entry with the path and what the name says."""
    values = claim.values
    playing: dict[str, Playing] = {word: word for word in PLAYING}
    return replace(
        template,
        path=claim.path,
        seat=values.get("seat", template.seat),
        condition=values.get("condition", template.condition),
        repeat=values.get("repeat", template.repeat),
        channel=values.get("channel", template.channel),
        programme=values.get("programme", template.programme),
        playing=playing.get(values.get("playing", ""), template.playing),
    )


def score_file(claim: Claim, template: ScoreFile) -> ScoreFile:
    """The template of the entry with the path and what the name says."""
    values = claim.values
    return replace(
        template,
        path=claim.path,
        listener=values.get("listener", template.listener),
        seat=values.get("seat", template.seat),
        programme=values.get("programme", template.programme),
    )


def _allowed_values(ids: KnownIds) -> dict[str, dict[str, str]]:
    """For each placeholder whose values are known: the value as a name has it -> as session.toml has it."""
    known: dict[str, Sequence[str]] = {"seat": ids.seats, "condition": ids.conditions, "playing": PLAYING}
    return {name: {unicodedata.normalize("NFC", id_): id_ for id_ in ids_} for name, ids_ in known.items()}


def _match(
    entry: AnyEntry,
    pattern: Pattern,
    path: str,
    allowed: Mapping[str, Mapping[str, str]],
    listing: Listing,
    matches: _Matches,
) -> None:
    reader = entry.reader
    line = reader.line("files")
    try:
        readings = read_name(pattern, path, allowed)
    except TooManyReadings:
        what = f"files = {pattern.text!r} can read {path!r} in very many ways"
        reader.log.add(line, what, "set the placeholders apart with _ or /")
        matches.touched.add(path)
        matches.answered.add(id(entry))
        return
    if len(readings.known) > 1:
        first, second = (_told(reading) for reading in readings.known[:2])
        what = f"{path!r} can be read in two ways: {first}; or {second}"
        reader.log.add(line, what, "rename the file or the ids, or set the placeholders apart with / in files")
    elif readings.known and path in listing.refused:
        reader.log.add(line, f"{path!r} {listing.refused[path]}", "copy the file itself into the session folder")
    elif readings.known:
        values = {name: allowed.get(name, {}).get(value, value) for name, value in readings.known[0]}
        matches.claims.append(Claim(path=path, entry=entry, values=values))
    elif readings.unknown:
        best = max(readings.unknown, key=lambda reading: -len(_unknown_values(reading, allowed)))
        matches.unknown.append((entry, path, best))
        return
    else:
        return
    matches.touched.add(path)
    matches.answered.add(id(entry))


def _claimed_once(matches: _Matches, log: FaultLog) -> list[Claim]:
    first: dict[str, Claim] = {}
    for claim in matches.claims:
        other = first.setdefault(claim.path, claim)
        if other is claim:
            continue
        lines = [other.entry.reader.line("files"), claim.entry.reader.line("files")]
        what = f"{claim.path!r} is matched twice: by files of line {lines[0]} and of line {lines[1]}"
        log.add(lines[1], what, "make one of the two patterns narrower, so that one entry has the file")
    return list(first.values())


def _unknown_values(reading: Reading, allowed: Mapping[str, Mapping[str, str]]) -> list[tuple[str, str]]:
    return [(name, value) for name, value in reading if name in allowed and value not in allowed[name]]


def _tell_unknown(matches: _Matches, allowed: Mapping[str, Mapping[str, str]], log: FaultLog) -> None:
    """One fault for each entry, placeholder and value; not for a file that another entry reads."""
    paths: dict[tuple[int, str, str], list[str]] = {}
    entries: dict[int, AnyEntry] = {}
    for entry, path, reading in matches.unknown:
        if path in matches.touched:
            continue
        matches.answered.add(id(entry))
        entries[id(entry)] = entry
        for name, value in _unknown_values(reading, allowed):
            if allowed[name] or (name == "seat" and entry.sound):  # else told already: nothing is defined at all
                paths.setdefault((id(entry), name, value), []).append(path)
    for (entry_id, name, value), found in paths.items():
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        wanted = "is none of " + ", ".join(PLAYING) if name == "playing" else f"names no {name}"
        what = f"{found[0]!r}{more}: {{{name}}} is {value!r}, which {wanted}"
        log.add(entries[entry_id].reader.line("files"), what, nearest(value, allowed[name].values()))


def _tell_nothing_matched(entry: AnyEntry, pattern: Pattern, listing: Listing, log: FaultLog) -> None:
    line = entry.reader.line("files")
    for path, reason in listing.refused.items():
        n_parts = path.count("/") + 1
        head = parse_pattern("/".join(pattern.text.split("/")[:n_parts]), pattern.placeholders)
        if path == "." or (isinstance(head, Pattern) and _fits(head, path)):
            what = f"files = {pattern.text!r} matches nothing: {path!r} {reason}"
            log.add(line, what, "copy the files themselves into the session folder")
            return
    log.add(line, f"files = {pattern.text!r} matches nothing", nearest_file(pattern.text, listing.files))


def _fits(head: Pattern, path: str) -> bool:
    try:
        return bool(read_name(head, path, {}).known)
    except TooManyReadings:
        return True


def _told(reading: Reading) -> str:
    return ", ".join(f"{name} {value!r}" for name, value in reading)
