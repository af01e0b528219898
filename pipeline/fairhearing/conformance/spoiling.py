"""Ways in which a file comes to an importer spoilt or written otherwise: bytes in, bytes out."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

N_TRUNCATIONS = 24
HUGE = 300_000
DEEP = 60_000
WORDS = ("spoiled", '"spoiled"')
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_POINT = re.compile(r"(?<![\w.])([+-]?\d+)\.(\d+)(?!\d|\.\d)")
_COMMA = re.compile(r"(?<![\w,])([+-]?\d+),(\d+)(?!\d|,\d)")
_NUMBER = {
    ".": re.compile(r"(?<![\w.])[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?(?![\w.])"),
    ",": re.compile(r"(?<![\w,])[+-]?\d+(?:,\d+)?(?:[eE][+-]?\d+)?(?![\w,])"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoilt:
    """Bytes with what was done to them; `line`: the line that was spoiled, counted from 1."""

    what: str
    data: bytes
    line: int | None = None


def hostile(data: bytes) -> Iterator[Spoilt]:
    """What no importer must stumble over: nothing, a byte, cut at many places, binary, wrongly encoded, huge."""
    yield Spoilt(what="an empty file", data=b"")
    for byte in (b"\0", b"x", b"{", b"\n", b"\xff", b'"'):
        yield Spoilt(what=f"the one byte {byte!r}", data=byte)
    places = {1, 2, 3, 7, len(data) - 1, *(len(data) * i // N_TRUNCATIONS for i in range(1, N_TRUNCATIONS))}
    for place in sorted(place for place in places if 0 < place < len(data)):
        yield Spoilt(what=f"the sample cut after {place} bytes", data=data[:place])
    yield Spoilt(what="every byte value", data=bytes(range(256)) * 4)
    yield Spoilt(what="the sample with a zero byte in its middle", data=_inserted(data, b"\0"))
    yield Spoilt(what="the sample with bytes that are no UTF-8", data=_inserted(data, b"\xc3\x28\xa0\xfe"))
    yield Spoilt(what="half of a UTF-16 character", data=codecs.BOM_UTF16_LE + b"2\x000\x00\x00")
    yield Spoilt(what="UTF-16 that is none", data=codecs.BOM_UTF16_BE + b"\xd8\x00\xd8\x00")
    text = text_of(data)
    if text is not None:
        for encoding in ("utf-16", "utf-32", "utf-7"):
            yield Spoilt(what=f"the sample in {encoding}", data=text.encode(encoding))
    yield Spoilt(what="one line of digits without end", data=b"1" * HUGE)
    yield Spoilt(what="one line of fields without end", data=b"1,2;" * (HUGE // 4))
    yield Spoilt(what="brackets opened and never closed", data=b"[" * DEEP)
    yield Spoilt(what="braces opened and never closed", data=b'{"a":' * (DEEP // 5))
    yield Spoilt(what="the start of an archive that is none", data=b"PK\x03\x04" + bytes(range(256)))


def _inserted(data: bytes, more: bytes) -> bytes:
    middle = len(data) // 2
    return data[:middle] + more + data[middle:]


def text_of(data: bytes) -> str | None:
    """The text of a text file without byte order mark; None for what is no UTF-8 text."""
    try:
        text = data.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError:
        return None
    return None if _CONTROL.search(text) or not text.strip() else text


def other_line_ends(data: bytes) -> bytes | None:
    """CRLF where LF is and the other way round; None for what is no text."""
    text = text_of(data)
    if text is None:
        return None
    changed = text.replace("\r\n", "\n") if "\r\n" in text else text.replace("\n", "\r\n")
    return _with_mark_of(data, changed)


def other_mark(data: bytes) -> bytes | None:
    """With a byte order mark, or without if there is one; None for what is no text."""
    if text_of(data) is None:
        return None
    if data.startswith(codecs.BOM_UTF8):
        return data.removeprefix(codecs.BOM_UTF8)
    return codecs.BOM_UTF8 + data


def other_decimals(data: bytes) -> bytes | None:
    """Decimal commas for points, or points for commas; None for what is no text with decimals.

    >>> other_decimals(b"20.5;85.1\\n"), other_decimals(b"20,5;85,1\\n"), other_decimals(b"20;85\\n")
    (b'20,5;85,1\\n', b'20.5;85.1\\n', None)
    """
    text = text_of(data)
    if text is None:
        return None
    decimal = decimal_of(text)
    if decimal is None:
        return None
    changed = _POINT.sub(r"\1,\2", text) if decimal == "." else _COMMA.sub(r"\1.\2", text)
    return None if changed == text else _with_mark_of(data, changed)


def decimal_of(text: str) -> str | None:
    """The decimal separator of a text: the point if any number has one, else a comma that parts no fields.

    >>> decimal_of("20.5,85.1"), decimal_of("20,5;85,1"), decimal_of("1,2,in")
    ('.', ',', None)
    """
    if re.search(r"\d\.\d", text):
        return "."
    return "," if re.search(r"\d,\d", text) and re.search(r"[;\t]", text) else None


def spoiled_rows(data: bytes, *, last_only: bool) -> Iterator[Spoilt]:
    """The file with one number of one of its middle rows replaced by a word, each number in turn.

    Rows are the lines with as many numbers as most lines that have any. `last_only`: only the last number of the row.
    """
    text = text_of(data)
    if text is None:
        return
    pattern = _NUMBER[decimal_of(text) or "."]
    lines = text.split("\n")
    counts = [len(pattern.findall(line)) for line in lines]
    usual = Counter(count for count in counts if count).most_common(1)
    rows = [place for place, count in enumerate(counts) if usual and count == usual[0][0]]
    if not rows:
        return
    place = rows[len(rows) // 2]
    numbers = list(pattern.finditer(lines[place]))
    for number in numbers[-1:] if last_only else numbers:
        for word in WORDS:
            line = lines[place][: number.start()] + word + lines[place][number.end() :]
            changed = "\n".join([*lines[:place], line, *lines[place + 1 :]])
            what = f"{number.group()!r} of line {place + 1} replaced by {word}"
            yield Spoilt(what=what, data=_with_mark_of(data, changed), line=place + 1)


def _with_mark_of(data: bytes, text: str) -> bytes:
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    return mark + text.encode("utf-8")
