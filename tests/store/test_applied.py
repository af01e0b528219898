"""What was done to what a file holds, and the harmonics of a sweep, come back from the store as they were written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import duckdb
import numpy as np
import pytest
from bad_input.sound_session import SESSION_ID, sound_files, write_session

from fairhearing.api import AudioFormat, Harmonic, Recording, RecordingFile
from fairhearing.audio import RecordingSource
from fairhearing.contracts import SessionContent
from fairhearing.importing import read_session as read_folder
from fairhearing.registry import load_plugins
from fairhearing.store import open_store
from fairhearing.store.read import StoredSession, read_session
from fairhearing.store.write import write_session as write_content

APPLIED = ("deconvolved with sweep.wav", "microphone correction Küche's mic.csv; 'quoted', [1, 2]")


def harmonic(order: int, n: int) -> Harmonic:
    """Of some frequencies; what cannot be told is NaN."""
    frequency_hz = np.geomspace(20.0, 400.0, n)
    level_db = -40.0 - order - np.arange(n)
    level_db[0] = np.nan
    return Harmonic(order=order, frequency_hz=frequency_hz, level_db=level_db, noise_level_db=level_db - 30.0)


def recording(applied: tuple[str, ...]) -> RecordingSource:
    form = AudioFormat(rate_hz=8000, n_channels=1, n_frames=1200, subtype="PCM_16")
    return RecordingSource(
        recording=Recording(
            kind="recording", point="seat", playing="main", in_place=False, seat="bench", condition="in", repeat="1",
            channel=None, programme="organ", path="organ.wav", format=form, full_scale_pa=20.0, applied=applied,
        ),
        file=RecordingFile(format=form, sha256="dd", size=2444, modified_ns=7, full_scale_pa=20.0),
    )  # fmt: skip


@pytest.fixture
def content(tmp_path: Path) -> SessionContent:
    """Twelve takes: the second has harmonics, the third was worked on; one recording was worked on and one was not."""
    found = read_folder(write_session(tmp_path / "sound", sound_files()), load_plugins().importers)
    takes = list(found.takes)
    takes[1] = replace(takes[1], curve=replace(takes[1].curve, harmonics=(harmonic(2, 5), harmonic(3, 3))))
    takes[2] = replace(takes[2], applied=APPLIED)
    other = recording(())
    other = replace(other, recording=replace(other.recording, repeat="2", path="organ_2.wav"))
    sources = [replace(note, applied=APPLIED) if n == 0 else note for n, note in enumerate(found.sources)]
    recordings = (recording(APPLIED[:1]), other)
    return replace(found, takes=tuple(takes), sources=tuple(sources), recordings=recordings)


@pytest.fixture
def stored(content: SessionContent, tmp_path: Path) -> StoredSession:
    return written_and_read(content, tmp_path / "s.duckdb")


def written_and_read(content: SessionContent, place: Path) -> StoredSession:
    with open_store(place, create=True) as store:
        with store.transaction():
            write_content(store, content)
        return read_session(store, SESSION_ID)


def test_what_was_applied_comes_back_with_its_take_recording_and_file(
    stored: StoredSession, content: SessionContent
) -> None:
    assert [take.applied for take in stored.inputs.takes] == [APPLIED if n == 2 else () for n in range(12)]
    sources = {one.recording.path: one.recording.applied for one in stored.recordings}
    assert sources == {"organ.wav": APPLIED[:1], "organ_2.wav": ()}
    assert {one.path: one.applied for one in stored.inputs.recordings} == {"organ.wav": APPLIED[:1], "organ_2.wav": ()}
    assert stored.sources == content.sources
    assert stored.sources[0].applied == APPLIED


def test_harmonics_come_back_in_order_with_what_cannot_be_told(stored: StoredSession, content: SessionContent) -> None:
    found = {n: take.curve.harmonics for n, take in enumerate(stored.inputs.takes) if take.curve.harmonics}
    assert list(found) == [1]
    assert [one.order for one in found[1]] == [2, 3]
    for ours, theirs in zip(found[1], content.takes[1].curve.harmonics, strict=True):
        for name in ("frequency_hz", "level_db", "noise_level_db"):
            np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name))
            assert getattr(ours, name).dtype == np.float64
    assert np.isnan(found[1][0].level_db[0])


def test_each_revision_keeps_the_harmonics_of_its_own(content: SessionContent, tmp_path: Path) -> None:
    place = tmp_path / "s.duckdb"
    written_and_read(content, place)
    takes = [replace(take, curve=replace(take.curve, harmonics=())) for take in content.takes]
    again = replace(content, takes=tuple(takes), manifest=(content.manifest or b"") + b"#\n")
    assert written_and_read(again, place).revision == 2
    with open_store(place, create=False) as store:
        first, second = (read_session(store, SESSION_ID, revision=n) for n in (1, 2))
    assert [one.order for one in first.inputs.takes[1].curve.harmonics] == [2, 3]
    assert second.inputs.takes[1].curve.harmonics == ()
    with duckdb.connect(str(place), read_only=True) as connection:
        rows = connection.execute("SELECT revision, ordinal, harmonic FROM harmonics ORDER BY ALL").fetchall()
    assert rows == [(1, 1, 2), (1, 1, 3)]
