"""Frozen dataclasses to plain JSON values and back, by their type hints."""

from __future__ import annotations

import dataclasses
import json
import types
from collections.abc import Callable, Hashable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")


def encode(value: object) -> str:
    """Compact, strict JSON of a dataclass: keys sorted, so that equal values give equal text.

    Raises
    ------
    TypeError
        It holds something that is neither text, number, truth value, None, sequence, mapping, path nor dataclass.
    ValueError
        It holds a number that is not finite.

    Examples
    --------
    >>> from fairhearing.session import Room
    >>> encode(Room(id="hall", size_m=(7.4, 5.1, 2.9)))
    '{"id":"hall","size_m":[7.4,5.1,2.9],"temperature_c":null}'
    """
    return json.dumps(value, default=_plain, allow_nan=False, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def decode(kind: type[T], text: str) -> T:
    """The dataclass of type `kind` that `encode` wrote; keys that `kind` does not have are left out."""
    read: Callable[[object], T] = _reader(cast("Hashable", kind))
    return read(json.loads(text))


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): entry for key, entry in value.items()}
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Sequence):
        return list(value)
    raise TypeError(f"cannot write a {type(value).__name__} into the store")


def _as_it_is(value: Any) -> Any:
    return value


def _as_float(value: Any) -> Any:
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


@cache
def _reader(kind: Hashable) -> Callable[[Any], Any]:
    """What turns a JSON value into a value of type `kind`; None stays None."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return _union_reader(arguments)
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return _dataclass_reader(kind)
    if origin is tuple and not (len(arguments) == 2 and arguments[1] is Ellipsis):
        readers = [_reader(argument) for argument in arguments]
        return _unless_none(lambda value: tuple(read(v) for read, v in zip(readers, value, strict=True)))
    if isinstance(origin, type) and issubclass(origin, Mapping):
        read_value = _reader(arguments[1])
        return _unless_none(lambda value: {key: read_value(entry) for key, entry in value.items()})
    if isinstance(origin, type) and issubclass(origin, Sequence):
        read_entry = _reader(arguments[0])
        if read_entry is _as_it_is:
            return _unless_none(tuple)
        return _unless_none(lambda value: tuple(map(read_entry, value)))
    if kind is Path:
        return _unless_none(Path)
    return _as_float if kind is float else _as_it_is


def _unless_none(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda value: None if value is None else read(value)


def _dataclass_reader(kind: type) -> Callable[[Any], Any]:
    readers = {name: _reader(hint) for name, hint in get_type_hints(kind).items()}

    def read(value: Mapping[str, Any]) -> Any:
        return kind(**{name: readers[name](entry) for name, entry in value.items() if name in readers})

    return _unless_none(read)


def _union_reader(options: tuple[Any, ...]) -> Callable[[Any], Any]:
    structured = [o for o in options if dataclasses.is_dataclass(o) or get_origin(o) in (tuple, Mapping, Sequence)]
    if structured:
        read_structured = _reader(structured[0])
        return lambda value: read_structured(value) if isinstance(value, (dict, list)) else value
    return _as_float if float in options and int not in options else _as_it_is
