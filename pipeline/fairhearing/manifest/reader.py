"""Reads one table of session.toml key by key, with a fault for each value that cannot be."""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TypeVar

from fairhearing.errors import nearest
from fairhearing.manifest.faults import FaultLog, form_of, shown
from fairhearing.manifest.lines import KeyPath, LineIndex
from fairhearing.manifest.patterns import is_word_character

Word = TypeVar("Word", bound=str)


def is_id(text: str) -> bool:
    """Whether `text` is a word of letters, digits, - and _.

    >>> is_id("north-hall_2"), is_id("north hall"), is_id("")
    (True, False, False)
    """
    return bool(text) and all(is_word_character(character) or character == "_" for character in text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The range of a number: `above` and `below` themselves are out of it, `at_least` and `at_most` are in it."""

    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    def broken_by(self, value: float) -> bool:
        """Whether `value` is out of the range."""
        return (
            (self.above is not None and value <= self.above)
            or (self.at_least is not None and value < self.at_least)
            or (self.below is not None and value >= self.below)
            or (self.at_most is not None and value > self.at_most)
        )

    def __str__(self) -> str:
        said = (("above", self.above), ("at least", self.at_least), ("below", self.below), ("at most", self.at_most))
        return " and ".join(f"{word} {limit:g}" for word, limit in said if limit is not None)


ANY = Limits()
POSITIVE = Limits(above=0.0)
NOT_NEGATIVE = Limits(at_least=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableReader:
    """A table with its name as it stands in session.toml (`header`), its key path and the log for its faults.

    `broken`: what stands there is no table; that has been told, and nothing is missed in it.
    """

    table: Mapping[str, object]
    header: str
    path: KeyPath
    lines: LineIndex
    log: FaultLog
    broken: bool = False

    def line(self, *keys: str) -> int:
        """The line of the table, or of a key in it."""
        return self.lines.line_of((*self.path, *keys))

    def fault(self, key: str, what: str, try_: str) -> None:
        """Note a fault on the line of `key`; `what` follows the key and its value."""
        self.log.add(self.line(key), f"{key} = {shown(self.table[key])} in {self.header} {what}", try_)

    def known_keys(self, known: Collection[str]) -> None:
        """A fault for each key that is not one of `known`."""
        for key in self.table:
            if key not in known:
                self.log.add(self.line(key), f"unknown key {key!r} in {self.header}", nearest(key, known))

    def missing(self, key: str, try_: str) -> None:
        """A fault for a required key that is not there."""
        if not self.broken:
            self.log.add(self.line(), f"{key} is missing in {self.header}", try_)

    def text(self, key: str, *, may_be_empty: bool = False) -> str | None:
        """The text of `key`; None where it is not said or at fault."""
        value = self.table.get(key)
        if value is None:
            return None
        if not isinstance(value, str):
            self.fault(key, f"is {form_of(value)}, not text", f'write it in quotes: {key} = "…"')
            return None
        if not value.strip() and not may_be_empty:
            self.fault(key, "is empty", f"fill {key} in, or leave the line out")
            return None
        return value

    def id(self, key: str) -> str | None:
        """The id that `key` gives: a word of letters, digits, - and _."""
        value = self.text(key)
        if value is None or is_id(value):
            return value
        self.fault(key, "is no id", "write a word of letters, digits, - and _")
        return None

    def date(self, key: str) -> str | None:
        """The date of `key` as text; a TOML date becomes YYYY-MM-DD."""
        value = self.table.get(key)
        if isinstance(value, datetime.date):
            return value.isoformat()
        return self.text(key)

    def choice(self, key: str, words: tuple[Word, ...], default: Word) -> Word:
        """The one of `words` that `key` gives, else `default`."""
        value = self.text(key)
        if value is None:
            return default
        for word in words:
            if word == value:
                return word
        self.fault(key, "is not a known word", nearest(value, words))
        return default

    def words(self, key: str, known: Collection[str], default: tuple[str, ...]) -> tuple[str, ...]:
        """The words that `key` lists, each one of `known`, none twice; else `default`."""
        value = self.table.get(key)
        if value is None:
            return default
        if not isinstance(value, list):
            self.fault(key, f"is {form_of(value)}, not a list of words", f'write {key} = ["…", "…"]')
            return default
        for index, word in enumerate(value):
            line = self.lines.line_of((*self.path, key, index))
            if not isinstance(word, str) or word not in known:
                said = f"{key} in {self.header} has {shown(word)}, which is not a known word"
                self.log.add(line, said, nearest(str(word), known))
            elif word in value[:index]:
                self.log.add(line, f"{key} in {self.header} has {word!r} twice", "say it once")
        return tuple(word for word in value if isinstance(word, str))

    def number(self, key: str, default: float, limits: Limits = ANY) -> float:
        """The number of `key`, else `default`."""
        value = self.optional_number(key, limits)
        return default if value is None else value

    def optional_number(self, key: str, limits: Limits = ANY) -> float | None:
        """The number of `key`; None where it is not said or at fault."""
        value = self.table.get(key)
        if value is None:
            return None
        number = as_number(value)
        if number is None:
            self.fault(key, f"is {form_of(value)}, not a number", number_hint(key, value))
            return None
        if not math.isfinite(number):
            self.fault(key, "is not a finite number", "write a number, or leave the line out")
            return None
        if limits.broken_by(number):
            self.fault(key, "is out of range", f"write a number {limits}")
            return None
        return number

    def one_or_more(self, key: str, limits: Limits = ANY) -> tuple[float, ...] | None:
        """The number of `key`, or the numbers that it lists; None where it is not said or at fault."""
        value = self.table.get(key)
        if not isinstance(value, list):
            number = self.optional_number(key, limits)
            return None if number is None else (number,)
        numbers = [as_number(element) for element in value]
        sound = [n for n in numbers if n is not None and math.isfinite(n) and not limits.broken_by(n)]
        if len(sound) < len(numbers):
            self.fault(key, f"is no list of numbers {limits}".rstrip(), f"write {key} = [100.0, 150.0]")
            return None
        return tuple(sound)

    def flag(self, key: str) -> bool | None:
        """Whether `key` is true; None where it is not said or at fault."""
        value = self.table.get(key)
        if value is None or isinstance(value, bool):
            return value
        self.fault(
            key, f"is {form_of(value)}, not true or false", f"write {key} = true or {key} = false, without quotes"
        )
        return None

    def triple(self, key: str, order: str, limits: Limits = ANY) -> tuple[float, float, float] | None:
        """The three numbers of `key`; `order` says what they are."""
        wanted = f"three numbers{f' {limits}' if str(limits) else ''}"
        numbers = self._numbers(key, 3, wanted, f"write {key} = [{order}]", limits)
        return None if numbers is None else (numbers[0], numbers[1], numbers[2])

    def band(self, key: str, default: tuple[float, float]) -> tuple[float, float]:
        """The two edges of `key`, hertz, lower before upper; else `default`."""
        hint = f"write {key} = [lower, upper] in Hz"
        numbers = self._numbers(key, 2, "two numbers above 0", hint, POSITIVE)
        if numbers is None:
            return default
        if numbers[0] >= numbers[1]:
            self.fault(key, "does not rise", hint)
            return default
        return (numbers[0], numbers[1])

    def _numbers(self, key: str, n_wanted: int, wanted: str, hint: str, limits: Limits) -> list[float] | None:
        value = self.table.get(key)
        if value is None:
            return None
        numbers = [as_number(element) for element in value] if isinstance(value, list) else []
        sound = [n for n in numbers if n is not None and math.isfinite(n) and not limits.broken_by(n)]
        if len(numbers) != n_wanted or len(sound) != n_wanted:
            self.fault(key, f"is not {wanted}", hint)
            return None
        return sound

    def table_of(self, key: str, header: str) -> TableReader:
        """The table that stands under `key`; an empty one where it is missing or at fault."""
        value = self.table.get(key, {})
        path = (*self.path, key)
        if isinstance(value, dict):
            return TableReader(table=value, header=header, path=path, lines=self.lines, log=self.log)
        written = f"[[{key}]]" if isinstance(value, list) and value and isinstance(value[0], dict) else shown(value)
        self.log.add(self.line(key), f"{key} is {form_of(value)} ({written}), not a table", f"write {header}")
        return TableReader(table={}, header=header, path=path, lines=self.lines, log=self.log, broken=True)

    def named_tables(self, key: str) -> dict[str, TableReader]:
        """The tables [key.X] by X, in the order of the file; X must be an id."""
        readers: dict[str, TableReader] = {}
        parent = self.table_of(key, f"[{key}.X]")
        for name in parent.table:
            if not is_id(name):
                self.log.add(
                    parent.line(name), f"{name!r} in [{key}] is no id", "write a word of letters, digits, - and _"
                )
            readers[name] = parent.table_of(name, f"[{key}.{name}]")
        return readers

    def entries(self, key: str) -> list[TableReader]:
        """The tables [[key]], in the order of the file."""
        value = self.table.get(key, [])
        header = f"[[{key}]]"
        if not isinstance(value, list):
            self.log.add(
                self.line(key), f"{key} is {form_of(value)}, not a list of tables", f"write {header} with two brackets"
            )
            return []
        readers = []
        for index, element in enumerate(value):
            path = (*self.path, key, index)
            if isinstance(element, dict):
                readers.append(TableReader(table=element, header=header, path=path, lines=self.lines, log=self.log))
            else:
                what = f"{key} has {shown(element)}, which is {form_of(element)}, not a table"
                self.log.add(self.lines.line_of(path), what, f"write {header} and the keys below it")
        return readers


def as_number(value: object) -> float | None:
    """`value` as a float if it is a TOML number, else None; one too large for a float is infinite."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def number_hint(key: str, value: object) -> str:
    """What to try where a number was wanted."""
    if isinstance(value, str):
        try:
            return f"write it without quotes: {key} = {float(value.strip().replace(',', '.')):g}"
        except ValueError:
            return f"write the number alone, without quotes: the unit stands in the name {key}"
    return f"write {key} = and a number"
