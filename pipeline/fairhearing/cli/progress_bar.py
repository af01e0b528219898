"""A progress bar on standard error, where that is a terminal."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from fairhearing.progress import Progress, Silent

if TYPE_CHECKING:
    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID


def progress_on_standard_error() -> Progress:
    """A bar if somebody watches standard error, else a Progress that prints nothing."""
    return Bar() if sys.stderr.isatty() else Silent()


class Bar:
    """A Progress drawn as one bar; it is gone from the screen when closed."""

    def __init__(self) -> None:
        self._bar: RichProgress | None = None
        self._task: TaskID | None = None

    def step(self, label: str, done: int, total: int) -> None:
        """Draw how far the work called `label` is."""
        bar = self._bar or self._start()
        if self._task is None:
            self._task = bar.add_task(label, total=total)
        bar.update(self._task, description=label, completed=done, total=total)

    def close(self) -> None:
        """Take the bar off the screen."""
        if self._bar is not None:
            self._bar.stop()
            self._bar = None
            self._task = None

    def _start(self) -> RichProgress:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
        from rich.progress import Progress as RichProgress

        # Labels hold file names and ids: brackets in them are no markup.
        columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
        self._bar = RichProgress(*columns, console=Console(stderr=True), transient=True)
        self._bar.start()
        return self._bar
