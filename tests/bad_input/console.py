"""The console entry called in process, and what a store holds."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from pathlib import Path

import duckdb

from fairhearing.cli.entry import main


@dataclass(frozen=True, kw_only=True)
class Said:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str

    @property
    def faults(self) -> list[tuple[str, str, str]]:
        """What stands on standard error, which must be faults of three lines each: what, where, what to try."""
        lines = self.err.splitlines()
        assert len(lines) % 3 == 0, self.err
        faults = [(lines[n], lines[n + 1], lines[n + 2]) for n in range(0, len(lines), 3)]
        for what, where, try_ in faults:
            assert not what.startswith(" "), self.err
            assert where.startswith("  where: "), self.err
            assert try_.startswith("  try:   "), self.err
        return [(what, where.removeprefix("  where: "), try_.removeprefix("  try:   ")) for what, where, try_ in faults]


class Console:
    """Calls the console entry as a user types it."""

    def __call__(self, *arguments: str | Path) -> Said:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([str(argument) for argument in arguments])
        return Said(code=code, out=out.getvalue(), err=err.getvalue())


def contents_of(store: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table of a store."""
    with duckdb.connect(str(store), read_only=True) as connection:
        names = [row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in names}
