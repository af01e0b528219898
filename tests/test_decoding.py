"""Our decoder of whole numbers gives libsndfile's bits; what it does not know goes to libsndfile."""

from __future__ import annotations

import struct
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fairhearing.audio import AudioFormat
from fairhearing.decoding import begins_anywhere, open_samples, whole_numbers_begin

RATE_HZ = 8000
BYTES = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}


def extremes(n_bytes: int, n_frames: int, n_channels: int) -> np.ndarray:
    """All sorts of whole numbers, the least and the largest among them, in the upper bytes of 32 bits."""
    drawn = np.random.default_rng(8).integers(-(2**31), 2**31, (n_frames, n_channels), dtype=np.int64)
    special = np.array([-(2**31), 2**31 - 1, 0, -1, 1, -(2**24), 2**24, 255 << 8, -256]).astype(np.int64)
    drawn.reshape(-1)[: len(special)] = special
    return (drawn >> (32 - 8 * n_bytes) << (32 - 8 * n_bytes)).astype(np.int32)


def written(path: Path, form: str, subtype: str, n_channels: int = 2, n_frames: int = 5001) -> AudioFormat:
    samples = extremes(BYTES.get(subtype, 4), n_frames, n_channels)
    soundfile.write(path, samples, RATE_HZ, subtype=subtype, format=form)
    return AudioFormat(rate_hz=RATE_HZ, n_channels=n_channels, n_frames=n_frames, subtype=subtype)


def decoded(path: Path, format: AudioFormat, n_block: int = 700, by_channel: bool = False) -> tuple[np.ndarray, bool]:
    shape = (n_block, format.n_channels)
    buffer, parts = np.empty(shape[::-1]).T if by_channel else np.empty(shape), []
    with open_samples(path, format) as samples:
        while n := samples.read_into(buffer):
            parts.append(buffer[:n].copy())
        return np.concatenate(parts), begins_anywhere(path, format)


@pytest.mark.parametrize("n_channels", [1, 2, 3])
@pytest.mark.parametrize("subtype", BYTES)
@pytest.mark.parametrize("form", ["WAV", "WAVEX", "RF64"])
def test_whole_numbers_are_decoded_to_the_same_bits(form: str, subtype: str, n_channels: int, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    format = written(path, form, subtype, n_channels)
    found, ours = decoded(path, format)
    assert ours
    expected, _ = soundfile.read(path, always_2d=True)
    assert found.tobytes() == expected.tobytes()
    assert found.min() == -1.0
    assert (found < 0).any()


@pytest.mark.parametrize(
    ("form", "subtype"), [("WAV", "FLOAT"), ("WAV", "DOUBLE"), ("WAV", "PCM_U8"), ("FLAC", "PCM_24"), ("W64", "PCM_24")]
)
def test_all_else_is_left_to_libsndfile(form: str, subtype: str, tmp_path: Path) -> None:
    path = tmp_path / "a.snd"
    format = written(path, form, subtype)
    found, ours = decoded(path, format)
    assert not ours
    expected, _ = soundfile.read(path, always_2d=True)
    assert found.tobytes() == expected.tobytes()


@pytest.mark.parametrize(
    ("form", "subtype", "n_channels"),
    [("WAV", "PCM_24", 1), ("WAV", "PCM_24", 2), ("WAV", "PCM_16", 3), ("FLAC", "PCM_24", 2), ("WAV", "FLOAT", 3)],
)
def test_a_buffer_that_lies_channel_by_channel_gets_the_same_samples(
    form: str, subtype: str, n_channels: int, tmp_path: Path
) -> None:
    path = tmp_path / "a.snd"
    format = written(path, form, subtype, n_channels)
    found, _ = decoded(path, format, by_channel=True)
    expected, _ = soundfile.read(path, always_2d=True)
    np.testing.assert_array_equal(found, expected)


@pytest.mark.parametrize("by_channel", [True, False])
@pytest.mark.parametrize("subtype", BYTES)
def test_whole_numbers_can_be_read_from_any_frame_on(subtype: str, by_channel: bool, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    format = written(path, "WAV", subtype)
    expected, _ = soundfile.read(path, always_2d=True)
    buffer = np.empty((2, 6000)).T if by_channel else np.empty((6000, 2))
    with open_samples(path, format, 1234) as samples:
        assert samples.read_into(buffer) == 5001 - 1234
        assert samples.read_into(buffer) == 0
    np.testing.assert_array_equal(buffer[: 5001 - 1234], expected[1234:])


@pytest.mark.parametrize(
    ("form", "subtype", "whole"), [("WAV", "PCM_24", True), ("FLAC", "PCM_16", True), ("WAV", "FLOAT", False)]
)
def test_what_can_be_no_number_is_told(form: str, subtype: str, whole: bool, tmp_path: Path) -> None:
    path = tmp_path / "a.snd"
    with open_samples(path, written(path, form, subtype)) as samples:
        assert samples.whole_numbers == whole


def test_what_is_decoded_ahead_ends_with_its_reader(tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    with open_samples(path, written(path, "FLAC", "PCM_24")) as samples:
        assert samples.read_into(np.empty((10, 2))) == 10
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("read-ahead")]


def test_other_chunks_before_the_samples_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    format = written(path, "WAV", "PCM_24")
    plain, _ = soundfile.read(path, always_2d=True)
    data = path.read_bytes()
    at = data.index(b"data")
    extra = b"note" + struct.pack("<I", 5) + b"hello\0"  # of odd length, so a byte is added
    path.write_bytes(data[:4] + struct.pack("<I", len(data) - 8 + len(extra)) + data[8:at] + extra + data[at:])
    found, ours = decoded(path, format)
    assert ours
    np.testing.assert_array_equal(found, plain)


@pytest.mark.parametrize(
    "said", [{"n_channels": 1}, {"subtype": "PCM_16"}, {"subtype": "PCM_U8"}, {"rate_hz": 44_100}, {"n_frames": 5002}]
)
def test_a_header_that_says_something_else_is_not_read_by_us(said: dict[str, object], tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    format = written(path, "WAV", "PCM_24")
    as_said = {name: getattr(format, name) for name in ("rate_hz", "n_channels", "n_frames", "subtype")} | said
    with path.open("rb") as stream:
        assert whole_numbers_begin(stream, format) == 44
        assert whole_numbers_begin(stream, AudioFormat(**as_said)) is None  # type: ignore[arg-type]


def test_a_file_that_shrinks_while_it_is_read_gives_what_is_there(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    format = written(path, "WAV", "PCM_24")
    buffer = np.empty((6000, 2))
    with open_samples(path, format) as samples:
        with path.open("r+b") as file:
            file.truncate(44 + 100 * 6 + 2)
        assert samples.read_into(buffer) == 100
        assert samples.read_into(buffer) == 0
