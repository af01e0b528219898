"""Importing 2,000 response exports against one read of the same list of files by DuckDB."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path

import duckdb
import numpy as np

from benchmarks.ratio import Ratio, turn_about
from fairhearing.progress import Silent
from fairhearing.run import import_sessions

N_SEATS, N_REPEATS, N_POINTS = 20, 50, 2_000
GRID_HZ = np.geomspace(10.0, 20_000.0, N_POINTS)
MANIFEST = """format = 1
[session]
id = "many-exports"
date = 2026-01-01
question = "How long does it take?"
[room]
id = "made-up"
[conditions.out]
reference = true
[conditions.in]
{seats}
[[measurements]]
files = "responses/{{seat}}_{{condition}}_{{repeat}}.csv"
kind = "response"
"""


def make(folder: Path) -> list[Path]:
    """A session of 2,000 exports, each of 2,000 rows of frequency, level and phase."""
    generator = np.random.default_rng(20261125)
    (folder / "responses").mkdir(parents=True)
    seats = "\n".join(f"[seats.s{n}]" for n in range(N_SEATS))
    (folder / "session.toml").write_text(MANIFEST.format(seats=seats), encoding="utf-8")
    files = []
    for seat in range(N_SEATS):
        for condition in ("in", "out"):
            for repeat in range(N_REPEATS):
                level = 80.0 + generator.normal(size=N_POINTS)
                phase = generator.uniform(-180.0, 180.0, N_POINTS)
                rows = zip(GRID_HZ.tolist(), level.tolist(), phase.tolist(), strict=True)
                text = "".join(f"{f:.6f},{a:.4f},{p:.3f}\n" for f, a, p in rows)
                files.append(folder / "responses" / f"s{seat}_{condition}_{repeat}.csv")
                files[-1].write_text("Frequency (Hz),Level (dB),Phase (deg)\n" + text, encoding="ascii")
    return files


def read_with_duckdb(files: list[Path], store: Path) -> None:
    """One `read_csv` of the list with an explicit schema, into a table of a database file."""
    store.unlink(missing_ok=True)
    with duckdb.connect(str(store)) as connection:
        connection.execute(
            "CREATE TABLE points AS SELECT * FROM read_csv(?, header = true, delim = ',', filename = true, "
            "columns = {'frequency_hz': 'DOUBLE', 'level_db': 'DOUBLE', 'phase_deg': 'DOUBLE'})",
            [[str(file) for file in files]],
        )


def import_whole(folder: Path, store: Path) -> None:
    """What `fairhearing import` does: hashes, checks and provenance included."""
    store.unlink(missing_ok=True)
    import_sessions([folder], store, False, Silent())


def check_same(points: Path, store: Path) -> None:
    """Both hold the same numbers."""
    with duckdb.connect(str(points), read_only=True) as connection:
        flat = connection.execute(
            "SELECT level_db, phase_deg FROM points ORDER BY parse_filename(filename), frequency_hz"
        ).fetchnumpy()
    with duckdb.connect(str(store), read_only=True) as connection:
        rows = connection.execute(
            "SELECT level_db, phase_deg FROM measurements ORDER BY parse_filename(path)"
        ).fetchall()
    for column, name in enumerate(("level_db", "phase_deg")):
        ours = np.concatenate([np.asarray(row[column]) for row in rows])
        np.testing.assert_array_equal(ours, np.asarray(flat[name]))


def run(repeats: int) -> dict[str, Ratio]:
    """The ratio, after both ways have stored the same numbers."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        files = make(root / "session")
        peer = partial(read_with_duckdb, files, root / "points.duckdb")
        ours = partial(import_whole, root / "session", root / "store.duckdb")
        peer()
        ours()
        check_same(root / "points.duckdb", root / "store.duckdb")
        size_mb = sum(file.stat().st_size for file in files) / 1e6
        note = f"{len(files)} exports of {N_POINTS} rows, {size_mb:.0f} MB; peer: one read_csv of all into a table"
        return {"response import": turn_about(peer, ours, repeats, 1.5, note)}
