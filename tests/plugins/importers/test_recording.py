"""The importer of recordings: formats, damaged headers, cut files; a large file by its head only."""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from recorded_session import RATE_HZ, plugins, sound, write_session

from fairhearing import importing
from fairhearing.api import AudioFormat, ImportProblem, MeasurementFile, Reading, RecordingFile, SourceFile
from fairhearing.contracts import SessionContent
from fairhearing.importing import read_session
from fairhearing_builtins.importers.audio_header import data_chunk, form_of
from fairhearing_builtins.importers.recording import SoundFiles

FORMATS = [
    ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "PCM_32"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"), ("RF64", "PCM_24"),
    ("W64", "PCM_24"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"),
]  # fmt: skip


def content_of(folder: Path) -> SessionContent:
    return read_session(folder, plugins().importers)


def in_session(tmp_path: Path, data: bytes) -> SessionContent:
    """A session whose only recordings are a good one and one of these bytes."""
    folder = write_session(tmp_path / "chapel")
    (folder / "takes" / "organ_in.wav").write_bytes(data)
    return content_of(folder)


def written(tmp_path: Path, format: str, subtype: str, n_frames: int = 3001) -> bytes:
    path = tmp_path / f"made.{format}"
    soundfile.write(path, sound(2, n_frames), RATE_HZ, format=format, subtype=subtype)
    return path.read_bytes()


def read(data: bytes) -> Reading:
    item = MeasurementFile(path="a.wav", line=1, entry=0, kind="recording", condition="in")
    file = SourceFile(item=item, path="a.wav", data=data, size=len(data), sha256="ab")
    assert SoundFiles().recognise(file).claims
    (reading,) = SoundFiles().read([file], None)  # type: ignore[arg-type]
    return reading


def problem(data: bytes) -> ImportProblem:
    found = read(data).problem
    assert isinstance(found, ImportProblem)
    assert found.where == "a.wav"
    assert found.try_
    return found


@pytest.mark.parametrize(("format", "subtype"), FORMATS)
def test_each_format_is_known_by_its_first_bytes_and_gives_its_layout(
    format: str, subtype: str, tmp_path: Path
) -> None:
    data = written(tmp_path, format, subtype)
    assert form_of(data) == format
    reading = read(data)
    assert reading.problem is None
    assert reading.caveats == ()
    assert reading.content == RecordingFile(
        format=AudioFormat(rate_hz=RATE_HZ, n_channels=2, n_frames=3001, subtype=subtype),
        sha256="ab",
        size=len(data),
        modified_ns=0,
    )


@pytest.mark.parametrize(("format", "subtype"), [pair for pair in FORMATS if pair[0] != "FLAC"])
def test_a_cut_file_is_told_with_what_is_there_and_what_is_not(format: str, subtype: str, tmp_path: Path) -> None:
    data = written(tmp_path, format, subtype)
    bytes_of_frame = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}[subtype] * 2
    promised, missing = 3001 * bytes_of_frame, 1000 * bytes_of_frame
    cut = data[: data.index(b"data") + (24 if format == "W64" else 8) + promised - missing]
    what = problem(cut).what
    assert f"its header says {promised} bytes of sound, {promised - missing} are there (66.7 %" in what
    assert "the last whole frame is 2000, 0.250 s after the beginning" in what


@pytest.mark.parametrize("format", ["WAV", "RF64", "W64"])
def test_a_header_that_says_zero_bytes_is_told_and_not_taken_for_silence(format: str, tmp_path: Path) -> None:
    data = bytearray(written(tmp_path, format, "PCM_16"))
    at = data.index(b"data")
    if format == "WAV":
        data[at + 4 : at + 8] = struct.pack("<I", 0)
    elif format == "RF64":
        ds64 = data.index(b"ds64")
        data[ds64 + 16 : ds64 + 24] = struct.pack("<Q", 0)
    else:
        data[at + 16 : at + 24] = struct.pack("<Q", 24)
    assert problem(bytes(data)).what == "the header says that there is no sound in it (0 bytes); 12004 bytes follow"


def test_a_recording_of_no_frames_is_told(tmp_path: Path) -> None:
    assert "no sound in it" in problem(written(tmp_path, "WAV", "PCM_16", 0)).what


def test_a_wav_from_a_pipe_is_read_to_its_end_with_a_caveat(tmp_path: Path) -> None:
    data = bytearray(written(tmp_path, "WAV", "PCM_16"))
    at = data.index(b"data")
    data[4:8] = data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    reading = read(bytes(data))
    assert isinstance(reading.content, RecordingFile)
    assert reading.content.format.n_frames == 3001
    assert reading.caveats == ("the header does not say how long the recording is: whether it is whole cannot be told",)


def test_a_flac_file_that_says_no_length_is_told(tmp_path: Path) -> None:
    """RFC 9639, 8.2: the 36 bits of the number of samples are 0 where it is not known (read)."""
    data = bytearray(written(tmp_path, "FLAC", "PCM_16"))
    data[21] &= 0xF0
    data[22:26] = bytes(4)
    assert "does not say how long the recording is" in problem(bytes(data)).what


def test_chunks_before_the_samples_are_stepped_over(tmp_path: Path) -> None:
    data = written(tmp_path, "WAV", "PCM_16")
    at = data.index(b"data")
    noted = data[:at] + b"note" + struct.pack("<I", 3) + b"abc\0" + data[at:]
    reading = read(noted)
    assert isinstance(reading.content, RecordingFile)
    assert reading.content.format.n_frames == 3001


@pytest.mark.parametrize("n_bytes", [12, 20, 30, 41])
def test_a_file_that_ends_in_its_header_is_a_problem_and_no_exception(n_bytes: int, tmp_path: Path) -> None:
    for format in ("WAV", "RF64", "FLAC"):
        assert problem(written(tmp_path, format, "PCM_16")[:n_bytes]).what


@pytest.mark.parametrize(
    ("data", "shown"),
    [
        (b"", "nothing (the file is empty)"),
        (b"Hz,dB\n20,1\n", "b'Hz,dB\\n20'"),
        (b"OggS\0\2\0\0\0\0", "b'OggS"),
        (b"RIFF\4\0\0\0AVI LIST", "b'RIFF"),
    ],
)
def test_what_is_no_recording_is_told_with_where_and_what_to_try(data: bytes, shown: str, tmp_path: Path) -> None:
    (told,) = in_session(tmp_path, data).problems
    assert told.what.startswith("no importer reads this file as 'recording' (recording: it begins as ")
    assert shown in told.what
    assert told.where == "takes/organ_in.wav (session.toml, line 11)"
    assert told.try_ == "save it as WAV, RF64, W64 or FLAC"


def test_it_leaves_other_kinds_alone(tmp_path: Path) -> None:
    item = MeasurementFile(path="a.wav", line=1, entry=0, kind="response", condition="in")
    answer = SoundFiles().recognise(SourceFile(item=item, path="a.wav", data=written(tmp_path, "WAV", "PCM_16")))
    assert (answer.claims, answer.why) == (False, "reads sound of kind calibration or noise or recording, not response")


def test_a_session_tells_each_fault_and_what_is_sound_is_of_what_the_name_says(tmp_path: Path) -> None:
    content = in_session(tmp_path, written(tmp_path, "WAV", "PCM_16")[:-1000])
    assert [p.where for p in content.problems] == ["takes/organ_in.wav"]
    (source,) = content.recordings
    recording = source.recording
    assert (recording.kind, recording.point, recording.seat) == ("recording", "seat", "pew")
    assert (recording.condition, recording.programme, recording.repeat) == ("out", "organ", "1")
    assert source.file.sha256 == hashlib.sha256((tmp_path / "chapel" / recording.path).read_bytes()).hexdigest()


def test_a_recording_without_a_condition_is_a_fault(tmp_path: Path) -> None:
    folder = write_session(tmp_path / "chapel", ("choir", "organ"))
    manifest = (folder / "session.toml").read_text().replace("{programme}_{condition}", "{programme}")
    (folder / "session.toml").write_text(manifest)
    (told,) = content_of(folder).problems
    assert "says no condition" in told.what
    (folder / "session.toml").write_text(manifest + 'condition = "in"\nfull_scale_pa = 20.0\n')
    recordings = [source.recording for source in content_of(folder).recordings]
    assert [(r.programme, r.condition, r.full_scale_pa) for r in recordings] == [
        ("choir", "in", 20.0),
        ("organ", "in", 20.0),
    ]


def test_of_a_large_file_only_the_head_is_loaded_and_its_hash_is_taken_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_session(tmp_path / "chapel", n_frames=400_000)
    soundfile.write(folder / "takes" / "organ_in.wav", sound(9, 300_000), RATE_HZ, subtype="PCM_24")
    given: list[SourceFile] = []
    hashed: list[str] = []

    class Noting(SoundFiles):
        def read(self, files, session):  # type: ignore[no-untyped-def]
            given.extend(files)
            return super().read(files, session)

    take = importing.sha256_of
    monkeypatch.setattr(importing, "sha256_of", lambda place: hashed.append(place.name) or take(place))
    content = read_session(folder, [Noting()])
    assert content.problems == ()
    assert {len(file.data) for file in given} == {1 << 16}
    assert sorted(hashed) == ["organ_in.wav", "organ_out.wav"]
    sizes = {file.path: file.size for file in given}
    assert sizes == {path: (folder / path).stat().st_size for path in sizes}
    assert {note.path: (note.sha256, note.size) for note in content.sources} == {
        path: (hashlib.sha256((folder / path).read_bytes()).hexdigest(), size) for path, size in sizes.items()
    }


def test_repeats_of_one_length_are_hashed_by_the_search_for_copies_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_session(tmp_path / "chapel", ("organ_1", "organ_2"), n_frames=400_000)
    manifest = (folder / "session.toml").read_text().replace("{condition}", "{repeat}") + 'condition = "in"\n'
    (folder / "session.toml").write_text(manifest)

    def refuse(place: Path) -> str:
        raise AssertionError(f"{place.name} is hashed twice")

    monkeypatch.setattr(importing, "sha256_of", refuse)
    content = content_of(folder)
    assert content.problems == ()
    assert [source.file.sha256 for source in content.recordings] == [
        hashlib.sha256((folder / f"takes/organ_{n}.wav").read_bytes()).hexdigest() for n in (1, 2)
    ]


def test_an_importer_that_gives_the_hash_of_another_file_is_at_fault(tmp_path: Path) -> None:
    class Wrong(SoundFiles):
        def read(self, files, session):  # type: ignore[no-untyped-def]
            for reading in super().read(files, session):
                object.__setattr__(reading.content, "sha256", "0" * 64)
                yield reading

    problems = read_session(write_session(tmp_path / "chapel"), [Wrong()]).problems
    assert len(problems) == 2
    assert "returned the size, time or hash of another file" in problems[0].what


@pytest.mark.parametrize("format", ["RF64", "W64"])
def test_sizes_beyond_four_gigabytes_are_read_from_the_header(format: str, tmp_path: Path) -> None:
    data = bytearray(written(tmp_path, format, "PCM_24", 100))
    large = 9 * 2**30
    if format == "RF64":
        at = data.index(b"ds64")
        data[at + 16 : at + 24] = struct.pack("<Q", large)
    else:
        at = data.index(b"data")
        data[at + 16 : at + 24] = struct.pack("<Q", large + 24)
    path = tmp_path / "large"
    path.write_bytes(data)
    with path.open("rb") as stream:
        chunk = data_chunk(stream, format, len(data))  # type: ignore[arg-type]
    assert chunk is not None
    assert chunk.promised == large
    assert np.isclose(chunk.there, 600)
