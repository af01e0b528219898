"""Where each key of a TOML text stands: key path -> line number.

`tomllib` reads the text and says nothing of positions. This index is made of a text that tomllib has accepted, so it
needs to know where a key, a string or a bracket begins and ends, and no more.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass

KeyPath = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_STRINGS = (  # the long quotes first: "" would else be read as an empty string
    re.compile(r'"""(?:\\.|[^\\])*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:\\.|[^"\\\n])*"'),
    re.compile(r"'[^'\n]*'"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineIndex:
    """Line numbers, from 1, by key path; elements of an array are numbered from 0."""

    lines: Mapping[KeyPath, int]

    def line_of(self, path: KeyPath) -> int:
        """The line of `path`; where it has none of its own, of the nearest parent that has one; at last 1."""
        for length in range(len(path), 0, -1):
            line = self.lines.get(path[:length])
            if line is not None:
                return line
        return 1


def index_lines(text: str) -> LineIndex:
    r"""The line on which each key, table and array element of a valid TOML text begins.

    Parameters
    ----------
    text : str
        A text that tomllib reads. What an invalid text gives is of no use.

    Returns
    -------
    LineIndex

    Examples
    --------
    >>> index = index_lines("[a]\nb = 1\n[[c]]\n[[c]]\nd.e = [\n  1,\n  2,\n]\n")
    >>> index.line_of(("a", "b")), index.line_of(("c", 1, "d", "e", 1)), index.line_of(("a", "missing"))
    (2, 7, 1)
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.run()
    return LineIndex(lines=scanner.lines)


class _Lost(Exception):
    """The scanner met what it does not know: what it has so far stands, the rest falls back to the parent's line."""


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.lines: dict[KeyPath, int] = {}
        self._newlines = [match.start() for match in re.finditer("\n", text)]
        self._n_tables: dict[KeyPath, int] = {}  # of each array of tables, so far

    def run(self) -> None:
        table: KeyPath = ()
        try:
            self._skip(_GAP)
            while self.position < len(self.text):
                if self._peek("["):
                    table = self._header()
                else:
                    self._pair(table)
                self._skip(_GAP)
        except _Lost:
            return

    def _header(self) -> KeyPath:
        line = self._line()
        brackets = "[[" if self._peek("[[") else "["
        self._expect(brackets)
        *parents, last = self._key()
        self._expect("]" * len(brackets))
        path: KeyPath = ()
        for part in parents:
            path = (*path, part)
            self.lines.setdefault(path, line)
            if path in self._n_tables:
                path = (*path, self._n_tables[path] - 1)
        path = (*path, last)
        if brackets == "[[":
            self.lines.setdefault(path, line)
            n_before = self._n_tables.get(path, 0)
            self._n_tables[path] = n_before + 1
            path = (*path, n_before)
        self.lines[path] = line
        return path

    def _pair(self, table: KeyPath) -> None:
        line = self._line()
        path = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._expect("=")
        self._skip(_BLANK)
        self._value(path)

    def _key(self) -> list[str]:
        parts: list[str] = []
        while True:
            self._skip(_BLANK)
            bare = _BARE_KEY.match(self.text, self.position)
            if bare:
                self.position = bare.end()
                parts.append(bare.group())
            else:
                parts.append(str(tomllib.loads(f"key = {self._string()}")["key"]))
            self._skip(_BLANK)
            if not self._peek("."):
                return parts
            self._expect(".")

    def _value(self, path: KeyPath) -> None:
        if self._peek("["):
            self._expect("[")
            n_elements = 0
            self._skip(_GAP)
            while not self._peek("]"):
                element = (*path, n_elements)
                self.lines[element] = self._line()
                self._value(element)
                n_elements += 1
                self._skip_comma()
            self._expect("]")
        elif self._peek("{"):
            self._expect("{")
            self._skip(_GAP)
            while not self._peek("}"):
                self._pair(path)
                self._skip_comma()
            self._expect("}")
        elif self._peek('"') or self._peek("'"):
            self._string()
        else:
            scalar = _SCALAR.match(self.text, self.position)
            if scalar is None:
                raise _Lost
            self.position = scalar.end()

    def _string(self) -> str:
        for form in _STRINGS:
            match = form.match(self.text, self.position)
            if match:
                self.position = match.end()
                return match.group()
        raise _Lost

    def _skip_comma(self) -> None:
        self._skip(_GAP)
        if self._peek(","):
            self._expect(",")
            self._skip(_GAP)

    def _skip(self, form: re.Pattern[str]) -> None:
        match = form.match(self.text, self.position)
        self.position = match.end() if match else self.position

    def _peek(self, mark: str) -> bool:
        return self.text.startswith(mark, self.position)

    def _expect(self, mark: str) -> None:
        self._skip(_BLANK)
        if not self._peek(mark):
            raise _Lost
        self.position += len(mark)

    def _line(self) -> int:
        return bisect_left(self._newlines, self.position) + 1
