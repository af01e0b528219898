"""Recordings by reference, and the summaries of them that are kept: written, read, brought up to date."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fairhearing.audio import AudioFormat, Recording, RecordingFile, RecordingSource, Summary, summary_parameters
from fairhearing.store.connection import Store
from fairhearing.store.rows import array, insert_rows, number, select_rows, text, texts

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

_OF = ("path", "kind", "point", "playing", "in_place", "seat", "condition", "repeat", "channel", "programme")
_SCALE = ("full_scale_pa", "full_scale_v")
_FORMAT = ("rate_hz", "n_channels", "n_frames", "subtype")
_FILE = ("sha256", "size", "modified_ns")
_KEY = "content_sha256 = ? AND name = ? AND version = ? AND parameters = ?"


def write_recordings(store: Store, session_id: str, revision: int, sources: Sequence[RecordingSource]) -> None:
    """What each recording is of, and how to know its file again."""
    columns: dict[str, Sequence[object]] = {
        "session_id": [session_id] * len(sources),
        "revision": [revision] * len(sources),
        "ordinal": list(range(len(sources))),
    }
    columns |= {name: [getattr(source.recording, name) for source in sources] for name in (*_OF, *_SCALE)}
    columns |= {name: [getattr(source.file.format, name) for source in sources] for name in _FORMAT}
    columns |= {name: [getattr(source.file, name) for source in sources] for name in _FILE}
    columns["applied"] = [list(source.recording.applied) for source in sources]
    insert_rows(store, "recordings", columns)


def update_modified(store: Store, session_id: str, revision: int, sources: Sequence[RecordingSource]) -> None:
    """Note the time of change of files whose bytes were found to be the same."""
    for source in sources:
        store.connection.execute(
            "UPDATE recordings SET modified_ns = ? "
            "WHERE session_id = ? AND revision = ? AND path = ? AND modified_ns <> ?",
            [source.file.modified_ns, session_id, revision, source.recording.path, source.file.modified_ns],
        )


def read_recordings(store: Store, session_id: str, revision: int) -> tuple[RecordingSource, ...]:
    """The recordings of one revision, without summaries."""
    query = "SELECT * FROM recordings WHERE session_id = ? AND revision = ? ORDER BY ordinal"
    return tuple(_source(row) for row in select_rows(store, query, [session_id, revision]))


def _source(row: Mapping[str, object]) -> RecordingSource:
    format = AudioFormat(
        rate_hz=_whole(row["rate_hz"]),
        n_channels=_whole(row["n_channels"]),
        n_frames=_whole(row["n_frames"]),
        subtype=str(row["subtype"]),
    )
    file = RecordingFile(
        format=format, sha256=str(row["sha256"]), size=_whole(row["size"]), modified_ns=_whole(row["modified_ns"])
    )
    recording = Recording(
        kind=row["kind"],  # type: ignore[arg-type]
        point=row["point"],  # type: ignore[arg-type]
        playing=row["playing"],  # type: ignore[arg-type]
        in_place=bool(row["in_place"]),
        seat=text(row["seat"]),
        condition=text(row["condition"]),
        repeat=str(row["repeat"]),
        channel=text(row["channel"]),
        programme=text(row["programme"]),
        path=str(row["path"]),
        format=format,
        full_scale_pa=number(row["full_scale_pa"]),
        full_scale_v=number(row["full_scale_v"]),
        applied=texts(row["applied"]),
    )
    return RecordingSource(recording=recording, file=file)


def _whole(value: object) -> int:
    assert isinstance(value, int)
    return value


def write_summary(store: Store, content_sha256: str, summary: Summary, arrays: Mapping[str, FloatArray]) -> None:
    """Keep the arrays that a summary gave for these bytes."""
    n = len(arrays)
    insert_rows(
        store,
        "summaries",
        {
            "content_sha256": [content_sha256] * n,
            "name": [summary.name] * n,
            "version": [summary.version] * n,
            "parameters": [summary_parameters(summary)] * n,
            "array_name": list(arrays),
            "shape": [list(values.shape) for values in arrays.values()],
            "content": [values.ravel() for values in arrays.values()],
        },
    )


def read_summary(store: Store, content_sha256: str, summary: Summary) -> Mapping[str, FloatArray] | None:
    """The kept arrays of a summary for these bytes; None if there are none."""
    answer = store.connection.execute(
        f"SELECT array_name, shape, content FROM summaries WHERE {_KEY} ORDER BY array_name",
        [content_sha256, summary.name, summary.version, summary_parameters(summary)],
    ).fetchnumpy()
    found = {
        str(name): array(content).reshape([int(length) for length in shape])
        for name, shape, content in zip(answer["array_name"], answer["shape"], answer["content"], strict=True)
    }
    return found or None
