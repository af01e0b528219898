"""Rows of the store as plain values and arrays, in and out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fairhearing.store.connection import Store

if TYPE_CHECKING:
    import numpy.typing as npt


def array(values: object) -> npt.NDArray[np.float64]:
    """A list of numbers as a read-only array; NULL is NaN."""
    # A list with a NULL comes as a masked array, whose plain copy would hold 0.0 in its place.
    found: npt.NDArray[np.float64] = np.ma.filled(np.ma.array(values, dtype=np.float64, copy=True), np.nan)
    found.setflags(write=False)
    return found


def text(value: object) -> str | None:
    """Text, or None for what pandas has in its place."""
    return value if isinstance(value, str) else None


def texts(values: object) -> tuple[str, ...]:
    """A list of texts; NULL is an empty one."""
    return tuple(map(str, values)) if isinstance(values, (list, np.ndarray)) else ()


def number(value: object) -> float | None:
    """A number, or None for NULL."""
    return float(value) if isinstance(value, (int, float)) and value == value else None


def select_rows(store: Store, query: str, parameters: list[object]) -> list[dict[str, object]]:
    """The answer to a query, a dictionary for each row."""
    frame = store.connection.execute(query, parameters).df()
    columns = [frame[name].tolist() for name in frame.columns]
    return [dict(zip(map(str, frame.columns), row, strict=True)) for row in zip(*columns, strict=True)]


def insert_rows(store: Store, table: str, columns: Mapping[str, Sequence[object]]) -> None:
    """All rows at once; columns stand in the table's order."""
    import pandas as pd

    if not next(iter(columns.values())):
        return
    frame = pd.DataFrame({name: pd.Series(list(values), dtype=object) for name, values in columns.items()})
    store.connection.register("new_rows", frame)
    store.connection.execute(f"INSERT INTO {table} SELECT {', '.join(columns)} FROM new_rows")
    store.connection.unregister("new_rows")
