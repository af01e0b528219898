"""Arrays into the store as columns of lists, handed over in one piece instead of number by number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fairhearing.store.connection import Store

if TYPE_CHECKING:
    import nanoarrow
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]


def insert_curves(
    store: Store,
    table: str,
    columns: Mapping[str, Sequence[object]],
    arrays: Mapping[str, Sequence[FloatArray | None]],
) -> None:
    """All rows at once: the plain `columns`, and `arrays` as lists of numbers. None is NULL, NaN stays NaN."""
    import nanoarrow
    import pandas as pd

    n_rows = len(next(iter(columns.values())))
    if not n_rows:
        return
    frame = pd.DataFrame({name: pd.Series(list(values), dtype=object) for name, values in columns.items()})
    lists = nanoarrow.c_array_from_buffers(
        nanoarrow.struct({name: nanoarrow.list_(nanoarrow.float64()) for name in arrays}),
        n_rows,
        [None],
        children=[_lists(values) for values in arrays.values()],
    )
    connection = store.connection
    connection.register("new_rows", frame)
    connection.register("new_curves", nanoarrow.ArrayStream(lists))
    names = ", ".join([*columns, *arrays])
    connection.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM new_rows POSITIONAL JOIN new_curves")
    connection.unregister("new_rows")
    connection.unregister("new_curves")


def _lists(arrays: Sequence[FloatArray | None]) -> nanoarrow.c_array.CArray:
    """The arrays one behind the other, with the place where each begins, and which of them are there."""
    import nanoarrow

    there = [array is not None for array in arrays]
    lengths = [0 if array is None else len(array) for array in arrays]
    flat = np.concatenate([np.empty(0), *(array for array in arrays if array is not None)])
    numbers = nanoarrow.c_array_from_buffers(nanoarrow.float64(), len(flat), [None, flat])
    validity = None if all(there) else np.packbits(there, bitorder="little")
    begins = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32)
    return nanoarrow.c_array_from_buffers(
        nanoarrow.list_(nanoarrow.float64()), len(arrays), [validity, begins], children=[numbers]
    )
