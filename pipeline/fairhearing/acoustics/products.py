"""Products of matrices and vectors that stay in the thread that asks for them."""

from __future__ import annotations

from functools import lru_cache
from typing import TypeVar

import numpy as np
import numpy.typing as npt

T = TypeVar("T", np.float32, np.float64)
FloatArray = npt.NDArray[np.float64]

# OpenBLAS multiplies matrices with m n k above this (its SMP_THRESHOLD_MIN x GEMM_MULTITHREAD_THRESHOLD) on several
# threads. They wait for each other, and where others want the processor that was measured to take 40 times as long.
_MOST_PRODUCTS = 65_536 * 4
_MOST_OF_DOT = 9_600  # and sums of products above 10,000


def multiply(rows: npt.NDArray[T], matrix: npt.NDArray[T], out: npt.NDArray[T]) -> None:
    """Write `rows` times `matrix` into `out`, a part at a time.

    All parts are one call where they can be alike: with every call the threads of a process pass on what they share,
    which costs more than a small product.

    Parameters
    ----------
    rows : (…, n, k)
    matrix : (k, m)
    out : (…, n, m)

    Examples
    --------
    >>> found = np.empty((2, 1))
    >>> multiply(np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([[1.0], [10.0]]), found)
    >>> found.tolist()
    [[21.0], [43.0]]
    """
    n, most = rows.shape[-2], max(1, _MOST_PRODUCTS // matrix.size)
    n_parts = _parts_alike(n, most)
    if n_parts:
        np.matmul(_parted(rows, n_parts), matrix, out=_parted(out, n_parts))
        return
    for start in range(0, n, most):
        np.matmul(rows[..., start : start + most, :], matrix, out=out[..., start : start + most, :])


@lru_cache(maxsize=256)
def _parts_alike(n: int, most: int) -> int:
    """Into how many parts of one length n rows can be cut, each of `most` rows at most but not many less; 0 if none."""
    least = max(1, -(-n // most))
    return next((n_parts for n_parts in range(least, 3 * least + 1) if n % n_parts == 0), 0)


def _parted(values: npt.NDArray[T], n_parts: int) -> npt.NDArray[T]:
    return values.reshape(*values.shape[:-2], n_parts, values.shape[-2] // n_parts, values.shape[-1])


def square_sums(rows: FloatArray) -> FloatArray:
    """Sum of the squares of each row, a part of it at a time.

    Parameters
    ----------
    rows : (…, k)

    Returns
    -------
    (…,)

    Examples
    --------
    >>> square_sums(np.array([[1.0, 2.0], [3.0, 4.0]])).tolist()
    [5.0, 25.0]
    """
    found = np.zeros(rows.shape[:-1])
    for start in range(0, rows.shape[-1], _MOST_OF_DOT):
        part = rows[..., start : start + _MOST_OF_DOT]
        found += np.vecdot(part, part)
    return found
