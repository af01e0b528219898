"""Frozen dataclasses to plain JSON values and back, by their type hints."""

from __future__ import annotations

import dataclasses
import json
import types
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


def encode(value: object) -> str:
    """Compact, strict JSON of a dataclass: keys sorted, so that equal values give equal text."""
    return json.dumps(_plain(value), allow_nan=False, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def decode(kind: type[T], text: str) -> T:
    """The dataclass of type `kind` that `encode` wrote."""
    return _typed(kind, json.loads(text))  # type: ignore[no-any-return]


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, (str, bool, int, float)) or value is None:
        return value
    if isinstance(value, Sequence):
        return [_plain(entry) for entry in value]
    raise TypeError(f"cannot write a {type(value).__name__} into the store")


def _typed(kind: Any, value: Any) -> Any:
    origin = get_origin(kind)
    if value is None or kind is object or origin is Literal:
        return value
    if origin in (Union, types.UnionType):
        return _typed_union(get_args(kind), value)
    if dataclasses.is_dataclass(kind):
        hints = _hints(kind)
        return kind(**{name: _typed(hints[name], entry) for name, entry in value.items() if name in hints})  # type: ignore[operator]
    if origin is tuple:
        return _typed_tuple(get_args(kind), value)
    if origin is not None and issubclass(origin, Mapping):
        return {key: _typed(get_args(kind)[1], entry) for key, entry in value.items()}
    if origin is not None and issubclass(origin, Sequence):
        return tuple(_typed(get_args(kind)[0], entry) for entry in value)
    if kind is Path:
        return Path(value)
    if kind is float and isinstance(value, int):
        return float(value)
    return value


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _typed_union(options: tuple[Any, ...], value: Any) -> Any:
    structured = [o for o in options if o is not type(None) and (get_origin(o) or dataclasses.is_dataclass(o))]
    if structured and isinstance(value, (dict, list)):
        return _typed(structured[0], value)
    if options[0] is float and isinstance(value, int) and not isinstance(value, bool) and int not in options:
        return float(value)
    return value


def _typed_tuple(arguments: tuple[Any, ...], value: Any) -> tuple[Any, ...]:
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return tuple(_typed(arguments[0], entry) for entry in value)
    return tuple(_typed(argument, entry) for argument, entry in zip(arguments, value, strict=True))
