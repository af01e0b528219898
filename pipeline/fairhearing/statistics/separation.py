"""Which differences of worth the data hold at a finite value, by linear programmes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def finite_differences(rows: FloatArray, observed: FloatArray, n_items: int) -> npt.NDArray[np.bool_]:
    r"""Whether each difference of two worths has a finite maximum-likelihood value.

    The likelihood does not fall along a direction d if in every cell each outcome that was seen stays as likely against
    all others: :math:`d \cdot (x_k - x_l) \ge 0` for all seen k and all l (Albert and Anderson 1984). A difference is
    finite if no such direction moves it; each is maximised over them within the unit box.

    Parameters
    ----------
    rows : (n_cells, n_outcomes, n_parameters) ndarray
        What each outcome adds to each parameter; the first n_items - 1 are the worths of items 1 and up, item 0's is 0.
    observed : (n_cells, n_outcomes) ndarray, counts
    n_items : int

    Returns
    -------
    (n_items, n_items) ndarray of bool, symmetric, True on the diagonal

    Examples
    --------
    >>> rows = np.array([[[0.0], [1.0]]])  # item 0 against item 1
    >>> [bool(finite_differences(rows, np.array([[3.0, losses]]), 2)[0, 1]) for losses in (0.0, 1.0)]
    [False, True]
    """
    from scipy.optimize import linprog

    steeper = [
        rows[cell, seen] - rows[cell, other]
        for cell, seen in zip(*np.nonzero(observed), strict=True)
        for other in range(rows.shape[1])
        if other != seen
    ]
    finite = np.ones((n_items, n_items), dtype=np.bool_)
    constraints = -np.array(steeper) if steeper else None
    limits = None if constraints is None else np.zeros(len(steeper))
    for one in range(n_items):
        for other in range(one + 1, n_items):
            aim = np.zeros(rows.shape[2])
            aim[other - 1] += 1.0
            if one > 0:
                aim[one - 1] -= 1.0
            found = (linprog(sign * aim, A_ub=constraints, b_ub=limits, bounds=(-1.0, 1.0)) for sign in (1.0, -1.0))
            moved = max(-float(one_way.fun or 0.0) for one_way in found)
            finite[one, other] = finite[other, one] = bool(moved < 1e-7)
    return finite
