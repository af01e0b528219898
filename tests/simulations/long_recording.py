"""How much memory one pass over a long recording takes: a made-up session, imported and summarised in a process.

    python tests/simulations/long_recording.py --hours 3 --folder long

writes three hours of 96 kHz stereo (a second of noise in every twenty, silence between, so that FLAC keeps it small)
and prints the peak of resident memory of import and pass, everything that is loaded for them included.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 96_000
NOISE_EVERY_S = 20
MANIFEST = """\
format = 1
[session]
id = "long"
[room]
id = "hall"
[conditions.out]
reference = true
[conditions.in]
[seats.a]
[[measurements]]
files = "evening.flac"
kind = "recording"
condition = "out"
"""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What one process needed: resident memory at its peak, and the time of its two parts."""

    peak_bytes: int
    import_s: float
    pass_s: float
    level_db: float


def write_session(folder: Path, n_seconds: int) -> Path:
    """A session with one long recording, written a second at a time."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "session.toml").write_text(MANIFEST)
    noise = np.random.default_rng(11).normal(0.0, 0.1, (RATE_HZ, 2)).clip(-0.9, 0.9)
    silence = np.zeros((RATE_HZ, 2))
    with soundfile.SoundFile(folder / "evening.flac", "w", RATE_HZ, 2, "PCM_24", format="FLAC") as file:
        for second in range(n_seconds):
            file.write(silence if second % NOISE_EVERY_S else noise)
    return folder


def measure(folder: Path, store: Path) -> Measured:
    """Import the session and make every summary of it, in this process."""
    from fairhearing.importing import read_session as read_folder
    from fairhearing.progress import Silent
    from fairhearing.recordings import summarise
    from fairhearing.store import open_store
    from fairhearing.store.read import read_session
    from fairhearing.store.write import write_session as write_content
    from fairhearing_builtins.analysers.recording_levels import LEVELS, RecordingLevels
    from fairhearing_builtins.importers.recording import SoundFiles

    began = time.perf_counter()
    content = read_folder(folder, [SoundFiles()])
    assert content.problems == (), content.problems
    imported = time.perf_counter()
    with open_store(store, create=True) as opened, opened.transaction():
        write_content(opened, content)
        summarised = summarise(opened, read_session(opened, "long"), [RecordingLevels()], Silent())
    assert summarised.problems == (), summarised.problems
    square = summarised.recordings[0].summary(LEVELS)["mean_square"]
    return Measured(
        peak_bytes=peak_bytes(),
        import_s=imported - began,
        pass_s=time.perf_counter() - imported,
        level_db=float(10 * np.log10(square.mean())),
    )


def peak_bytes() -> int:
    """The most memory that this process has had resident."""
    status = Path("/proc/self/status")
    if status.exists():  # getrusage would also count what the parent had before this process was its own
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) * 1024
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def measured_in_a_process(folder: Path, store: Path) -> Measured:
    """As `measure`, in a process of its own."""
    command = [sys.executable, __file__, "--measure", str(folder), str(store)]
    finished = subprocess.run(command, capture_output=True, text=True, check=True)
    return Measured(**json.loads(finished.stdout))


def main() -> None:
    """Write the recording, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--folder", type=Path, default=None, help="where the recording is written; kept")
    parser.add_argument("--measure", type=Path, nargs=2, metavar=("FOLDER", "STORE"), help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.measure:
        print(json.dumps(asdict(measure(*chosen.measure))))
        return
    with tempfile.TemporaryDirectory() as place:
        folder = write_session(chosen.folder or Path(place) / "long", round(chosen.hours * 3600))
        found = measured_in_a_process(folder, Path(place) / "store.duckdb")
        size = (folder / "evening.flac").stat().st_size
    print(f"{chosen.hours:g} h, {size / 1e6:.0f} MB of FLAC: peak {found.peak_bytes / 1e6:.0f} MB resident, ", end="")
    print(f"import {found.import_s:.1f} s, pass {found.pass_s:.1f} s")


if __name__ == "__main__":
    main()
