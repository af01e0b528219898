"""The page of a session with every forced-choice method: nothing is left unread, each method has its chart."""

from __future__ import annotations

from pathlib import Path

from fairhearing.progress import Silent
from fairhearing.run import run_sessions

from .test_forced_choices_heard import ROUNDS, folder


def test_the_page_names_the_methods_and_no_sheet_is_left_unread(tmp_path: Path) -> None:
    folder("page", *ROUNDS).write(tmp_path / "sessions")
    outcome = run_sessions([tmp_path / "sessions"], tmp_path / "report", None, False, Silent())
    assert (outcome.exit_code, outcome.notes) == (0, ())
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "no installed analyser reads" not in page
    assert all(f"({method})" in page for method in ROUNDS)
    names = {path.name for path in (tmp_path / "report" / "charts").iterdir()}
    assert {f"trials-in{ending}" in " ".join(names) for ending in ("", "-tetrad", "-duo-trio", "-same-different")} == {
        True
    }
