"""File name patterns with placeholders, and every way in which a name can be read by one."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from fairhearing.errors import nearest

# One name may be tried in this many steps; patterns whose placeholders are set apart need a few dozen.
_MOST_STEPS = 20_000
_LONGEST_PATTERN = 1000
_PLACEHOLDER = re.compile(r"\{([^{}/]*)\}")
_ASCII_WORD = re.compile(r"[A-Za-z0-9-]*")
_WILDCARDS = "*?[]"
_MAY_HOLD_UNDERSCORE = ("seat", "condition")

Reading = tuple[tuple[str, str], ...]  # (placeholder, value), in the order of the pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A pattern cut into pieces: (True, name of a placeholder) or (False, text that stands there as it is)."""

    text: str
    pieces: tuple[tuple[bool, str], ...]

    @property
    def placeholders(self) -> frozenset[str]:
        """The names of the placeholders."""
        return frozenset(name for is_placeholder, name in self.pieces if is_placeholder)


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternFault:
    """What is wrong with a pattern or a path, and what to try."""

    what: str
    try_: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """How a name can be read: with values that are all known, and with some that are not."""

    known: tuple[Reading, ...]
    unknown: tuple[Reading, ...]


class TooManyReadings(ValueError):
    """The pattern leaves so many ways open that they are not counted out."""


def path_faults(text: str) -> list[PatternFault]:
    """What is wrong with a path that must stay inside the session folder; an empty list if nothing is.

    >>> [fault.what for fault in path_faults("../a.csv")]
    ["'../a.csv' leaves the session folder (..)"]
    """
    faults: list[PatternFault] = []

    def add(what: str, try_: str) -> None:
        faults.append(PatternFault(what=f"{text!r} {what}", try_=try_))

    if not text.strip():
        add("names no file", "name a file, relative to session.toml")
        return faults
    if any(ord(character) < 32 for character in text) or len(text) > _LONGEST_PATTERN:
        add("is no name of a file", "name a file, relative to session.toml")
        return faults
    if "\\" in text:
        add("has a backslash", f"write / between folders: {text.replace(chr(92), '/')!r}")
    if text.startswith(("/", "~")) or re.match(r"[A-Za-z]:", text):
        add(
            "is not relative to session.toml",
            "name the file from the folder of session.toml on, such as 'folder/name.csv'",
        )
    parts = text.lstrip("/").replace("\\", "/").split("/")
    if ".." in parts:
        add("leaves the session folder (..)", "copy the file into the session folder and name it from there")
    if "" in parts:
        add("has an empty folder name", "write one / between folders and the name of a file at the end")
    return faults


def parse_pattern(text: str, allowed: Collection[str]) -> Pattern | list[PatternFault]:
    """The pattern cut into pieces, or what is wrong with it.

    Parameters
    ----------
    text : str
        As in session.toml, such as ``responses/{seat}_{condition}_{repeat}.csv``.
    allowed : collection of str
        The placeholders that may stand in it.

    Returns
    -------
    Pattern, or a list of at least one PatternFault

    Examples
    --------
    >>> sorted(parse_pattern("{seat}/{repeat}.csv", ["seat", "repeat"]).placeholders)
    ['repeat', 'seat']
    """
    faults = path_faults(text)
    wildcards = [mark for mark in _WILDCARDS if mark in text]
    if wildcards:
        faults.append(
            PatternFault(
                what=f"{text!r} has a wildcard ({' '.join(wildcards)})",
                try_="write a placeholder for what differs: " + ", ".join(f"{{{name}}}" for name in sorted(allowed)),
            )
        )
    for name in dict.fromkeys(_PLACEHOLDER.findall(text)):
        if name not in allowed:
            faults.append(
                PatternFault(what=f"{text!r} has an unknown placeholder {{{name}}}", try_=nearest(name, allowed))
            )
    if set("{}") & set(_PLACEHOLDER.sub("", text)):
        faults.append(
            PatternFault(what=f"{text!r} has a brace without its partner", try_="write {name}, such as {seat}")
        )
    parts = [part for part in text.split("/") if part != "."]
    if any(part.startswith(".") and part != ".." for part in parts):
        faults.append(
            PatternFault(
                what=f"{text!r} names a hidden file or folder", try_="give it a name that does not begin with ."
            )
        )
    if faults:
        return faults
    pieces = _PLACEHOLDER.split(unicodedata.normalize("NFC", "/".join(parts)))
    return Pattern(text=text, pieces=tuple((index % 2 == 1, piece) for index, piece in enumerate(pieces) if piece))


def read_name(pattern: Pattern, path: str, known: Mapping[str, Collection[str]]) -> Readings:
    """Every way in which `path` can be read by `pattern`.

    A placeholder takes one letter, digit or - at least, never /; it takes _ only where that gives a known seat or
    condition; used twice it has the same value.

    Parameters
    ----------
    pattern : Pattern
    path : str
        Relative to the session folder, with /.
    known : mapping of str to collection of str
        The values that a placeholder may have; one that is not listed here may have any.

    Returns
    -------
    Readings
        Both empty: the pattern does not fit. The search ends when two known readings have been found.

    Raises
    ------
    TooManyReadings
        The pattern leaves so many ways open that they are not counted out.

    Examples
    --------
    >>> pattern = parse_pattern("{seat}_{repeat}.csv", ["seat", "repeat"])
    >>> read_name(pattern, "A_b_1.csv", {"seat": ["A_b"]}).known
    ((('seat', 'A_b'), ('repeat', '1')),)
    """
    search = _Search(pattern, unicodedata.normalize("NFC", path), known)
    search.step(0, 0, {})
    return Readings(known=tuple(search.known), unknown=tuple(search.unknown))


def is_word_character(character: str) -> bool:
    """Whether a placeholder may take this character: a letter, a digit or -."""
    return character.isalpha() or character.isdecimal() or character == "-"


class _Search:
    def __init__(self, pattern: Pattern, name: str, allowed: Mapping[str, Collection[str]]) -> None:
        self.pieces = pattern.pieces
        self.name = name
        self.allowed = allowed
        self.known: list[Reading] = []
        self.unknown: list[Reading] = []
        self._n_steps = 0

    def step(self, piece: int, position: int, values: dict[str, str]) -> None:
        self._n_steps += 1
        if self._n_steps > _MOST_STEPS:
            raise TooManyReadings(self.name)
        if piece == len(self.pieces):
            if position == len(self.name):
                self._note(tuple(values.items()))
            return
        is_placeholder, text = self.pieces[piece]
        if not is_placeholder or text in values:
            fixed = values[text] if is_placeholder else text
            if self.name.startswith(fixed, position):
                self.step(piece + 1, position + len(fixed), values)
            return
        for end in self._ends(text, position):
            if len(self.known) > 1:
                return
            self.step(piece + 1, end, {**values, text: self.name[position:end]})

    def _ends(self, placeholder: str, start: int) -> list[int]:
        ascii_word = _ASCII_WORD.match(self.name, start)
        end = start if ascii_word is None else ascii_word.end()
        while end < len(self.name) and is_word_character(self.name[end]):
            end += 1
        ends = list(range(start + 1, end + 1))
        if placeholder in _MAY_HOLD_UNDERSCORE:
            ids = {id_ for id_ in self.allowed.get(placeholder, ()) if "_" in id_ and self.name.startswith(id_, start)}
            ends += [start + len(id_) for id_ in sorted(ids)]
        return ends

    def _note(self, reading: Reading) -> None:
        is_known = all(value in self.allowed[name] for name, value in reading if name in self.allowed)
        (self.known if is_known else self.unknown).append(reading)
