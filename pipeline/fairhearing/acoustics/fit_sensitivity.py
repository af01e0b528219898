"""How a fitted high-pass moves with errors of the levels: per point, and for an error that is smooth over frequency."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics.high_pass_fit import (
    DB_PER_NEPER_POWER,
    Change,
    HighPassFit,
    Model,
    centred,
    fit_signed_loss_db,
    parameters_of,
    shape_and_slopes,
)

FloatArray = npt.NDArray[np.float64]


def sensitivity(change: Change, model: Model, fit: HighPassFit) -> FloatArray:
    """How much each fitted parameter moves per dB at each point, from the linearised fit of the first data set.

    Parameters
    ----------
    change, model, fit
        As fitted.

    Returns
    -------
    (n_parameters, n), per dB
        Parameters in order: ln of the (first) corner, ln of the reference's if both are fitted, the order if free.
    """
    parameters = parameters_of(fit, model, len(fit.corner_hz))[:1]
    _, slopes = shape_and_slopes(change.frequency_hz, model, parameters)
    inner = centred(slopes[0], change.starts)
    return np.asarray(np.linalg.solve(inner @ inner.T + 1e-12 * np.eye(len(inner)), inner), dtype=np.float64)


def loss_sensitivity(change: Change, at_hz: float) -> FloatArray:
    """How much the loss of `fit_signed_loss_db` moves per dB at each point, linearised at the first data set's fit.

    Parameters
    ----------
    change : Change
    at_hz : float, hertz

    Returns
    -------
    (n,), dB per dB
    """
    first = Change(frequency_hz=change.frequency_hz, change_db=change.change_db[:1], starts=change.starts)
    u = at_hz**2 * float(np.expm1(fit_signed_loss_db(first, at_hz)[0] / DB_PER_NEPER_POWER))
    slope: FloatArray = centred(-DB_PER_NEPER_POWER / (change.frequency_hz**2 + u), change.starts)
    result: FloatArray = slope / np.sum(slope**2) * DB_PER_NEPER_POWER / (at_hz**2 + u)
    return result


# Bins of the sums over a smooth error: fine against its correlation.
BINS_PER_THIRD_OCTAVE = 12


def smooth_error_variance(frequency_hz: FloatArray, weight_per_db: FloatArray) -> float:
    r"""Variance of :math:`\sum_i w_i e_i` for a level error e of 1 dB that is smooth over a third of an octave.

    Its correlation is :math:`\exp(-x^2/2)` at a distance of x third octaves: on the wide side of what "smooth over a
    third of an octave" may mean, so that what is made of it is rather too wide than too narrow.

    Parameters
    ----------
    frequency_hz : (n,) hertz
    weight_per_db : (n,)

    Returns
    -------
    float, squared unit of the weighted sum

    Examples
    --------
    An error that is the same everywhere would give (1 + 1)^2, one that is independent 1 + 1.

    >>> round(smooth_error_variance(np.array([50.0, 10**0.1 * 50.0]), np.array([1.0, 1.0])), 3)
    3.213
    """
    bins = np.round(10 * np.log10(frequency_hz) * BINS_PER_THIRD_OCTAVE).astype(np.intp)
    weight = np.bincount(bins - bins.min(), weight_per_db)
    distance = np.arange(-4 * BINS_PER_THIRD_OCTAVE, 4 * BINS_PER_THIRD_OCTAVE + 1) / BINS_PER_THIRD_OCTAVE
    return float(weight @ np.convolve(weight, np.exp(-(distance**2) / 2))[4 * BINS_PER_THIRD_OCTAVE :][: len(weight)])
