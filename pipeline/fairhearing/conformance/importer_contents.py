"""What an importer made of a file: whether it is what such a file holds, and how two of them differ."""

from __future__ import annotations

from collections.abc import Mapping

from fairhearing.audio import RecordingFile
from fairhearing.contracts import Reading, ResponseCurve, ScoreTable, SourceFile
from fairhearing.session import ScoreFile

Content = ResponseCurve | ScoreTable | RecordingFile


def content_fault(file: SourceFile, content: Content | None) -> str | None:
    """What the content of a file lacks to be what such a file holds, in words; None if it lacks nothing."""
    if not isinstance(content, _wanted(file)):
        names = " or ".join(kind.__name__ for kind in _wanted(file))
        return f"the content is a {type(content).__name__}, not a {names}"
    if isinstance(content, ScoreTable):
        uneven = [name for name, column in content.columns.items() if len(column) != len(content.lines)]
        return f"the columns {uneven} have not as many rows as there are lines" if uneven else None
    if isinstance(content, RecordingFile):
        return _recording_fault(file, content)
    return _curve_fault(content) if isinstance(content, ResponseCurve) else None


def _wanted(file: SourceFile) -> tuple[type, ...]:
    if isinstance(file.item, ScoreFile):
        return (ScoreTable,)
    kinds: dict[str, tuple[type, ...]] = {"response": (ResponseCurve,), "recording": (RecordingFile,)}
    return kinds.get(file.item.kind, (ResponseCurve, RecordingFile))


def _curve_fault(curve: ResponseCurve) -> str | None:
    import numpy as np

    arrays = [curve.frequency_hz, curve.level_db, *([] if curve.phase_deg is None else [curve.phase_deg])]
    if not all(isinstance(array, np.ndarray) and array.dtype == np.float64 and array.ndim == 1 for array in arrays):
        return "a column of the curve is no one-dimensional array of float64"
    if len({len(array) for array in arrays}) > 1 or not all(np.isfinite(array).all() for array in arrays):
        return "the columns of the curve differ in length, or hold what is no finite number"
    grids = [curve.frequency_hz, *(harmonic.frequency_hz for harmonic in curve.harmonics)]
    if not all(len(grid) > 0 and grid[0] > 0 and bool((np.diff(grid) > 0).all()) for grid in grids):
        return "the frequencies do not rise from above 0 Hz"
    uneven = [h.order for h in curve.harmonics if not len(h.frequency_hz) == len(h.level_db) == len(h.noise_level_db)]
    return f"the columns of the harmonics of order {uneven} differ in length" if uneven else None


def _recording_fault(file: SourceFile, recording: RecordingFile) -> str | None:
    if (recording.sha256, recording.size, recording.modified_ns) != (file.sha256, file.size, file.modified_ns):
        return "hash, size or time of the recording are not those of the file"
    form = recording.format
    if min(form.rate_hz, form.n_channels, form.n_frames) < 1:
        return f"the format {form} is of no sound"
    return None


def differences(some: Mapping[str, Reading], others: Mapping[str, Reading]) -> str | None:
    """How the readings of the same files differ, caveats and all, in words; None if they are the same."""
    if some.keys() != others.keys():
        return f"readings of {sorted(some)} against {sorted(others)}"
    for name, reading in some.items():
        found = difference(reading, others[name])
        if found is None and reading.caveats != others[name].caveats:
            found = f"caveats {reading.caveats} against {others[name].caveats}"
        if found is not None:
            return found if len(some) == 1 else f"{name}: {found}"
    return None


def difference(one: Reading, other: Reading) -> str | None:
    """How the contents or the problems of two readings differ, in words; None if they are the same."""
    if one.problem is not None or other.problem is not None:
        told = [str(reading.problem) if reading.problem is not None else "read" for reading in (one, other)]
        return None if told[0] == told[1] else f"{told[0]!r} against {told[1]!r}"
    if isinstance(one.content, ResponseCurve) and isinstance(other.content, ResponseCurve):
        return _curve_difference(one.content, other.content)
    if isinstance(one.content, ScoreTable) and isinstance(other.content, ScoreTable):
        return _table_difference(one.content, other.content)
    if isinstance(one.content, RecordingFile) and isinstance(other.content, RecordingFile):
        formats = one.content.format, other.content.format
        return None if formats[0] == formats[1] else f"{formats[0]} against {formats[1]}"
    return f"a {type(one.content).__name__} against a {type(other.content).__name__}"


def _curve_difference(one: ResponseCurve, other: ResponseCurve) -> str | None:
    import numpy as np

    for name in ("frequency_hz", "level_db", "phase_deg"):
        first, second = getattr(one, name), getattr(other, name)
        if (first is None) != (second is None):
            return f"{name} is there in one of them only"
        if first is None:
            continue
        if len(first) != len(second):
            return f"{name} has {len(first)} against {len(second)} values"
        unequal = np.flatnonzero(~((first == second) | (np.isnan(first) & np.isnan(second))))
        if len(unequal):
            place = int(unequal[0])
            return f"{name}[{place}] is {float(first[place])!r} against {float(second[place])!r}"
    return None


def _table_difference(one: ScoreTable, other: ScoreTable) -> str | None:
    if list(one.columns) != list(other.columns):
        return f"columns {list(one.columns)} against {list(other.columns)}"
    for name, column in one.columns.items():
        if column != other.columns[name]:
            pairs = zip(column, other.columns[name], strict=False)
            row, values = next(((i, p) for i, p in enumerate(pairs) if p[0] != p[1]), (min(len(column), 0), ("", "")))
            return f"{name} of row {row + 1} is {values[0]!r} against {values[1]!r}"
    return None if one.lines == other.lines else f"lines {one.lines[:5]} … against {other.lines[:5]} …"
