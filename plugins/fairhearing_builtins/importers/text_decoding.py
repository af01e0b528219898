"""Bytes as text: UTF-8 or UTF-16 with or without byte order mark, else Latin-1; binary files are refused."""

from __future__ import annotations

import codecs
import re

_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet (it starts with 'PK')"),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet or document"),
    (b"%PDF-", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"RIFF", "a RIFF container such as a WAV recording"),
    (b"fLaC", "a FLAC recording"),
    (b"OggS", "an Ogg recording"),
    (b"\x1f\x8b", "a gzip archive"),
)
_BYTE_ORDER_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_LANGUAGES = ((re.compile(r"\s*(?:\{|\[\s*[\[{])"), "JSON"), (re.compile(r"\s*<"), "XML or HTML"))
_CONTROL = re.compile("[\x00-\x08\x0b-\x0c\x0e-\x1f\x7f]")
_PLAIN_ASCII = bytes([*b"\t\n\r", *range(0x20, 0x7F)])
_DOS_END_OF_FILE = "\x1a"
_SAMPLE_BYTES = 4096


class NotTextError(ValueError):
    """The bytes are no text that we read; the message says what they are."""


def decode_text(data: bytes, *, whole: bool = True) -> str:
    """The text of a file with every line end turned into a line feed.

    Parameters
    ----------
    data : bytes
        The file, or its head.
    whole : bool
        False where `data` is only the head of a file, so that it may end in the middle of a character.

    Returns
    -------
    str, without byte order mark

    Raises
    ------
    NotTextError
        The file is empty, binary, UTF-32, or ends in the middle of a character.

    Notes
    -----
    Any bytes are valid Latin-1: a file in another one-byte encoding is read, with wrong letters in its comments.

    Examples
    --------
    >>> decode_text(b"20,85\\r\\n25,84\\r\\n")
    '20,85\\n25,84\\n'
    """
    if not data:
        raise NotTextError("the file is empty (0 bytes)")
    for signature, name in _SIGNATURES:
        if data.startswith(signature):
            raise NotTextError(f"binary: {name}")
    if data.isascii() and not data.translate(None, _PLAIN_ASCII):  # what most files are, and quickly seen
        return data.decode("ascii").replace("\r\n", "\n").replace("\r", "\n")
    text = _decode(data, whole=whole).removesuffix(_DOS_END_OF_FILE)
    control = _CONTROL.search(text)
    if control is not None:
        offset = data.find(control.group().encode("ascii"))
        raise NotTextError(f"binary: byte 0x{ord(control.group()):02x} at offset {offset}")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def other_language(text: str) -> str | None:
    """What a text is that holds no table but another language, by its first characters; None for a possible table.

    >>> other_language('{"points": []}'), other_language("[Hz] [dB]"), other_language("20 85.1")
    ('JSON', None, None)
    """
    return next((name for start, name in _LANGUAGES if start.match(text)), None)


def _decode(data: bytes, *, whole: bool) -> str:
    for mark, encoding in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            if encoding.startswith("utf-32"):
                raise NotTextError("the text is UTF-32, which is not read")
            if encoding == "utf-8":
                return _utf8_or_latin1(data[len(mark) :], whole=whole)
            return _utf16(data[len(mark) :], encoding, whole=whole)
    unmarked = _unmarked_utf16(data)
    if unmarked is not None:
        return _utf16(data, unmarked, whole=whole)
    return _utf8_or_latin1(data, whole=whole)


def _utf8_or_latin1(data: bytes, *, whole: bool) -> str:
    try:
        return codecs.getincrementaldecoder("utf-8")().decode(data, final=whole)
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _utf16(data: bytes, encoding: str, *, whole: bool) -> str:
    try:
        return codecs.getincrementaldecoder(encoding)().decode(data, final=whole)
    except UnicodeDecodeError as error:
        if error.end >= len(data):
            raise NotTextError(f"cut: the {encoding} text ends in the middle of a character") from None
        raise NotTextError(f"binary: no {encoding} text at offset {error.start}") from None


def _unmarked_utf16(data: bytes) -> str | None:
    """The byte order of UTF-16 without a mark: mostly ASCII, so that nearly every second byte is 0 and no other is."""
    sample = data[:_SAMPLE_BYTES]
    even, odd = sample[0::2], sample[1::2]
    for zeros, letters, encoding in ((odd, even, "utf-16-le"), (even, odd, "utf-16-be")):
        if zeros and zeros.count(0) >= 0.75 * len(zeros) and 0 not in letters:
            return encoding
    return None
