"""Loops over samples in machine code (_loops.c), or in numpy where that was not built; other threads go on meanwhile.

Arrays are contiguous and of double precision. Nothing here depends on where a stream was cut.
"""

from __future__ import annotations

import ctypes
import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt

from fairhearing.acoustics import _plain_loops as plain

FloatArray = npt.NDArray[np.float64]

FILE = Path(__file__).with_name("_loops.library")
_ADDRESS, _WHOLE, _NUMBER = ctypes.c_void_p, ctypes.c_int64, ctypes.c_double
_PARAMETERS = {
    "energies": (_ADDRESS, _ADDRESS, _WHOLE, _ADDRESS, _ADDRESS, _ADDRESS, _WHOLE, _WHOLE, _ADDRESS),
    "levels": (_ADDRESS, _WHOLE, _WHOLE, _ADDRESS),
    "raise_peaks": (_ADDRESS, _WHOLE, _ADDRESS, _WHOLE, _WHOLE, _NUMBER, _NUMBER, _ADDRESS),
    "every": (_ADDRESS, _ADDRESS, _WHOLE, _WHOLE, _WHOLE, _ADDRESS),
    "total": (_ADDRESS, _WHOLE),
    "add_squares": (_ADDRESS, _WHOLE, _WHOLE, _ADDRESS),
    "take_apart": (_ADDRESS, _WHOLE, _WHOLE, _WHOLE, _ADDRESS),
}


def _load() -> ctypes.CDLL | None:
    """What was built when the package was installed; None if it was not, or is for another machine."""
    if sys.byteorder != "little":
        return None
    try:
        library = ctypes.CDLL(str(FILE))
    except OSError:
        return None
    for name, parameters in _PARAMETERS.items():
        function = getattr(library, name)
        function.argtypes, function.restype = parameters, None
    library.total.restype = _NUMBER
    return library


BUILT = _load()


def energies(
    channels: tuple[FloatArray, FloatArray],
    sections: FloatArray,
    state: FloatArray,
    sums: FloatArray,
    n_summed: int,
    n_frames: int,
) -> FloatArray:
    """Mean squares of two channels behind two sections of the second order, of each block that is full now.

    Parameters
    ----------
    channels : two (n,) arrays
    sections : (2, 6), rows b0 b1 b2 1 a1 a2
    state : (2, 4), written: of each channel, two of each section (transposed direct form II)
    sums : (2,), written: squares of the `n_summed` last outputs, which fill no block yet
    n_summed, n_frames : int
        Of the block under way, and of a block.

    Returns
    -------
    (n_blocks, 2)
    """
    n = len(channels[0])
    energy = np.empty(((n_summed + n) // n_frames, 2))
    if n and BUILT is None:
        plain.energies(channels, sections, state, sums, n_summed, energy, n_frames)
    elif n and BUILT is not None:
        one, other = channels
        BUILT.energies(
            _at(one, n), _at(other, n), n, _at(sections, 12), _at(state, 8), _at(sums, 2), n_summed, n_frames,
            _at(energy, 2 * len(energy)),
        )  # fmt: skip
    return energy


def levels(blocks: FloatArray) -> FloatArray:
    """Sum, sum of squares, highest and lowest of each row of (n_blocks, n): (4, n_blocks)."""
    n_blocks, n = blocks.shape
    found = np.empty((4, n_blocks))
    if BUILT is None:
        plain.levels(blocks, found)
    else:
        BUILT.levels(_at(blocks, n_blocks * n), n_blocks, n, _at(found, 4 * n_blocks))
    return found


def raise_peaks(values: FloatArray, taps: FloatArray, chord: float, bend: float, peaks: FloatArray) -> None:
    """Raise the largest sample (peaks[0]) and the largest point of the wave (peaks[1]).

    `values`: (n,), n at least the number of taps; `taps`: (n_points, n_taps). Of waves that do not lie within the
    values nothing is looked at. Runs whose bound, `chord` times the largest sample plus `bend` times the largest second
    difference, lies below the peak are passed over.
    """
    if BUILT is None:
        plain.raise_peaks(values, taps, peaks)
    else:
        n_points, n_taps = taps.shape
        BUILT.raise_peaks(
            _at(values, len(values)), len(values), _at(taps, taps.size), n_points, n_taps, chord, bend, _at(peaks, 2)
        )


def every(values: FloatArray, taps: FloatArray, factor: int, n_found: int) -> FloatArray:
    """So many of the filtered values, one in each `factor`; the first stands on the first (n_taps,) values."""
    found = np.empty(n_found)
    if n_found and len(values) < (n_found - 1) * factor + len(taps):
        raise ValueError(f"{len(values)} values are too few for {n_found} filtered ones")
    if BUILT is None:
        if n_found:
            plain.every(values, taps, factor, found)
    else:
        BUILT.every(_at(values, 0), _at(taps, len(taps)), len(taps), factor, n_found, _at(found, n_found))
    return found


def total(values: FloatArray) -> float:
    """Their sum."""
    return plain.total(values) if BUILT is None else float(BUILT.total(_at(values, len(values)), len(values)))


def add_squares(parts: npt.NDArray[np.float32], sums: FloatArray) -> None:
    """Add the squared magnitudes of complex numbers to sums.

    `parts`: (n_windows, 2 n) of single precision, real and imaginary parts in turn; `sums`: (n,), written.
    """
    if BUILT is None:
        plain.add_squares(parts, sums)
        return
    n_windows = len(parts)
    if parts.dtype != np.float32 or not parts.flags.c_contiguous or parts.shape[1] != 2 * len(sums):
        raise ValueError(f"{parts.shape} {parts.dtype} are no contiguous windows of {len(sums)} bins in float32")
    BUILT.add_squares(parts.ctypes.data, n_windows, len(sums), _at(sums, len(sums)))


def take_apart(raw: bytearray, found: FloatArray) -> None:
    """Samples of 24 bits (little-endian, interleaved, behind one byte that is not looked at), full scale 1.0.

    `found`: (n_channels, n_frames), written, each row contiguous.
    """
    n_channels, n_frames = found.shape
    if len(raw) < 3 * n_channels * n_frames + 1:
        raise ValueError(f"{len(raw)} bytes are too few for {n_frames} frames")
    if BUILT is None or (n_frames > 1 and found.strides[1] != found.itemsize):
        plain.take_apart(raw, found)
    else:
        before = (ctypes.c_char * len(raw)).from_buffer(raw)
        stride = found.strides[0] // found.itemsize
        BUILT.take_apart(ctypes.addressof(before), n_frames, n_channels, stride, found.ctypes.data)


def _at(values: FloatArray, n_least: int) -> int:
    """Where an array lies in memory; raises ValueError for one that is not what the loops take."""
    if values.dtype != np.float64 or not values.flags.c_contiguous or values.size < n_least:
        raise ValueError(f"an array of {values.size} {values.dtype} is no contiguous one of {n_least} float64")
    return values.ctypes.data
