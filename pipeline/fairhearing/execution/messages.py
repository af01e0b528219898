"""How two processes hand each other Python objects through a pipe: pickled, arrays beside it and read-only there."""

from __future__ import annotations

import pickle
import struct
from typing import BinaryIO

_LENGTH = struct.Struct("<Q")


def send(stream: BinaryIO, message: object) -> None:
    """Write one message.

    Raises
    ------
    OSError
        The other side is gone.
    pickle.PicklingError, TypeError, AttributeError
        The message holds what no other process could be given.
    """
    buffers: list[pickle.PickleBuffer] = []
    body = pickle.dumps(message, protocol=5, buffer_callback=buffers.append)
    parts: list[bytes | memoryview] = [body, *(buffer.raw() for buffer in buffers)]
    stream.write(_LENGTH.pack(len(parts)))
    for part in parts:
        stream.write(_LENGTH.pack(len(part)))
        stream.write(part)
    stream.flush()


def receive(stream: BinaryIO) -> object:
    """The next message; its arrays are read-only.

    Raises
    ------
    EOFError
        The other side is gone.
    """
    n_parts = _length(stream)
    body, *buffers = [_exactly(stream, _length(stream)) for _ in range(n_parts)]
    return pickle.loads(body, buffers=buffers)


def _length(stream: BinaryIO) -> int:
    (length,) = _LENGTH.unpack(_exactly(stream, _LENGTH.size))
    return int(length)


def _exactly(stream: BinaryIO, n_bytes: int) -> bytes:
    data = stream.read(n_bytes)
    if len(data) < n_bytes:
        raise EOFError
    return data
