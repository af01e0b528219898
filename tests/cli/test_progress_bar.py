"""Checks of the bar: drawn where somebody watches standard error, silent elsewhere."""

from __future__ import annotations

import io
import sys

import pytest

from fairhearing.cli.progress_bar import Bar, progress_on_standard_error
from fairhearing.progress import Silent


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_without_a_terminal_nothing_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    progress = progress_on_standard_error()
    assert isinstance(progress, Silent)
    progress.step("reading", 1, 2)
    progress.close()
    printed = capsys.readouterr()
    assert (printed.out, printed.err) == ("", "")


def test_on_a_terminal_the_bar_names_the_work_and_how_far_it_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    terminal = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", terminal)
    progress = progress_on_standard_error()
    assert isinstance(progress, Bar)
    progress.step("reading [hall]", 1, 4)
    progress.step("analysing", 4, 4)
    progress.close()
    progress.close()
    drawn = terminal.getvalue()
    assert "analysing" in drawn
    assert "4/4" in drawn
    assert capsys.readouterr().out == ""


def test_brackets_in_a_label_are_drawn_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", terminal)
    progress = Bar()
    progress.step("reading [hall]", 1, 4)
    progress.close()
    assert "reading [hall]" in terminal.getvalue()


def test_a_bar_that_never_stepped_closes() -> None:
    Bar().close()
