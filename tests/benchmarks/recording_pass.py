"""Every summary that the installed analysers need of a long recording, in one pass, against a bare decode of it."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import numpy as np
import soundfile
from simulations.long_recording import peak_bytes

from benchmarks.ratio import Ratio, turn_about
from fairhearing.audio import AudioFormat, Summary, summary_key
from fairhearing.errors import FairHearingError
from fairhearing.recordings import blocks, read_once
from fairhearing.registry import load_plugins

RATE_HZ, N_CHANNELS = 96_000, 2
WAV_LIMIT, FLAC_LIMIT = 1.3, 1.25
MOST_BYTES = 200e6
POINTS = frozenset({"seat", "amplifier-input", "amplifier-output"})
EVERYTHING = frozenset({"low-spectrum", "k-weighted-energy", "true-peak", "block-levels"})
# Form, minutes, limit.
FILES = (("WAV", 4, WAV_LIMIT), ("WAV", 30, WAV_LIMIT), ("FLAC", 4, FLAC_LIMIT))


def format_of(minutes: int) -> AudioFormat:
    """24-bit stereo at 96 kHz."""
    return AudioFormat(rate_hz=RATE_HZ, n_channels=N_CHANNELS, n_frames=60 * minutes * RATE_HZ, subtype="PCM_24")


def write(path: Path, form: str, minutes: int) -> Path:
    """Noise that falls by 3 dB per octave, ten seconds over and over."""
    generator = np.random.default_rng(20261125)
    n = 10 * RATE_HZ
    frequency = np.fft.rfftfreq(n, 1 / RATE_HZ)
    frequency[0] = np.inf
    spectrum = np.fft.rfft(generator.normal(size=(N_CHANNELS, n))) / np.sqrt(frequency)
    samples = np.fft.irfft(spectrum, n).T
    samples *= 0.1 / samples.std()
    with soundfile.SoundFile(path, "w", RATE_HZ, N_CHANNELS, "PCM_24", format=form) as file:
        for _ in range(6 * minutes):
            file.write(np.clip(samples, -0.99, 0.99))
    return path


def decode(path: Path) -> None:
    """The peer: libsndfile's decode into one buffer, block by block."""
    buffer = np.empty((65_536, N_CHANNELS))
    with soundfile.SoundFile(path) as file:
        while len(file.read(out=buffer)):
            pass


def summaries() -> dict[str, Summary]:
    """All that any installed analyser asks of a recording at a seat, at an amplifier's input or at its output."""
    reading = [a for a in load_plugins().analysers if "recording" in a.needs.kinds and a.needs.points & POINTS]
    return {summary_key(s): s for analyser in reading for s in analyser.needs.summaries}


def check_everything(wanted: Mapping[str, Summary]) -> None:
    """Spectrum with subsonic bands, loudness, true peak and levels are all among what is made at once."""
    lacking = EVERYTHING - {summary.name for summary in wanted.values()}
    assert not lacking, lacking


def summarise(path: Path, minutes: int, wanted: Mapping[str, Summary]) -> None:
    """The one pass, as an analysis makes it."""
    made = read_once(path, path.name, format_of(minutes), wanted)
    failed = [problem for problem in made.values() if isinstance(problem, FairHearingError)]
    assert not failed, failed


def check_same(path: Path, minutes: int) -> None:
    """What the summaries are fed is what libsndfile gives, bit by bit."""
    with soundfile.SoundFile(path) as file:
        for block in blocks(path, path.name, format_of(minutes)):
            np.testing.assert_array_equal(block, file.read(len(block), always_2d=True))
        assert len(file.read(1)) == 0


def peak_of_a_process(path: Path, minutes: int) -> float:
    """Bytes that a process of its own has resident at most, everything that is loaded included."""
    command = [sys.executable, "-m", "benchmarks.recording_pass", str(path), str(minutes)]
    return float(json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout))


def run(repeats: int) -> dict[str, Ratio]:
    """The ratios, after both have read the same samples, with the peak of memory."""
    wanted = summaries()
    check_everything(wanted)
    ratios = {}
    for form, minutes, limit in FILES:
        with tempfile.TemporaryDirectory() as folder:
            path = write(Path(folder) / f"long.{form.lower()}", form, minutes)
            check_same(path, minutes)
            peak = peak_of_a_process(path, minutes)
            turns = repeats if minutes < 10 else max(1, repeats // 3)
            note = (
                f"{len(wanted)} summaries, {minutes} min of 96 kHz 24-bit stereo, {peak / 1e6:.0f} MB resident; "
                "peer: bare decode by libsndfile"
            )
            measured = turn_about(partial(decode, path), partial(summarise, path, minutes, wanted), turns, limit, note)
            # A limit of memory that is not kept is a benchmark that is not held.
            held = limit if peak < MOST_BYTES else 0.0
            ratios[f"recording pass, {form} {minutes} min"] = Ratio(
                peer_s=measured.peer_s, ours_s=measured.ours_s, limit=held, note=note
            )
    return ratios


if __name__ == "__main__":
    summarise(Path(sys.argv[1]), int(sys.argv[2]), summaries())
    print(json.dumps(peak_bytes()))
