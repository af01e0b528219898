"""The chunks of WAV and RF64 files: where each begins and how long it says it is, as EBU Tech 3306 lays them out."""

from __future__ import annotations

import struct
from io import BytesIO

import pytest

from fairhearing.audio import RiffChunk, riff_chunks

NOT_SAID = 0xFFFFFFFF


def chunk(word: bytes, content: bytes, length: int | None = None) -> bytes:
    """A chunk with its padding to an even length."""
    said = len(content) if length is None else length
    return word + struct.pack("<I", said) + content + b"\0" * (len(content) % 2)


def found(*chunks: bytes, head: bytes = b"RIFF\0\0\0\0WAVE") -> list[RiffChunk]:
    return list(riff_chunks(BytesIO(head + b"".join(chunks))))


def test_every_chunk_up_to_the_samples_is_given_with_the_padding_between() -> None:
    made = found(chunk(b"fmt ", b"x" * 16), chunk(b"LIST", b"odd"), chunk(b"data", b"12345"), chunk(b"last", b""))
    assert [(one.word, one.begins, one.length) for one in made] == [
        (b"fmt ", 20, 16),
        (b"LIST", 44, 3),
        (b"data", 56, 5),
    ]


def test_a_length_that_is_not_said_stands_in_ds64() -> None:
    sizes = struct.pack("<QQQ", 1, 5_000_000_000, 2)
    assert found(chunk(b"ds64", sizes), chunk(b"data", b"", NOT_SAID))[-1].length == 5_000_000_000
    assert found(chunk(b"data", b"", NOT_SAID))[-1].length is None
    assert found(chunk(b"ds64", sizes), chunk(b"data", b"1234"))[-1].length == 4
    assert [one.length for one in found(chunk(b"ds64", b"short"), chunk(b"data", b"", NOT_SAID))] == [5, None]


@pytest.mark.parametrize("end", [b"", b"dat", b"data\1\0"])
def test_a_file_that_ends_within_a_head_has_no_more_chunks(end: bytes) -> None:
    assert [one.word for one in found(chunk(b"fmt ", b"x" * 16), end)] == [b"fmt "]


def test_a_loop_of_empty_chunks_comes_to_an_end() -> None:
    assert len(found(chunk(b"junk", b"") * 20_000)) == 10_000


def test_the_stream_may_be_moved_between_two_chunks() -> None:
    stream = BytesIO(b"RIFF\0\0\0\0WAVE" + chunk(b"fmt ", b"x" * 16) + chunk(b"data", b"1234"))
    words = []
    for one in riff_chunks(stream):
        stream.seek(one.begins)
        words.append((one.word, stream.read(one.length or 0)))
    assert words == [(b"fmt ", b"x" * 16), (b"data", b"1234")]
