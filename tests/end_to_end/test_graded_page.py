"""The page says what listeners rated, and gradings and worths are drawn beside it."""

from __future__ import annotations

import re
from pathlib import Path

from fairhearing import run
from fairhearing.progress import Silent

from .test_graded_and_compared import chosen, compared, folder


def test_the_page_draws_ratings_and_worths(tmp_path: Path) -> None:
    for made in (folder("better", "comparison", compared()), folder("pairs", "pairs", chosen())):
        made.write(tmp_path / "sessions")
    outcome = run.run_sessions([tmp_path / "sessions"], tmp_path / "report", None, False, Silent())
    assert (outcome.exit_code, outcome.notes) == (0, ())
    drawn = {path.name for path in (tmp_path / "report" / "charts").glob("*.svg")}
    for chart in ("ratings-comparison-by-listener-in", "ratings-comparison-by-programme-in", "worth"):
        assert any(name.endswith(f"{chart}.svg") for name in drawn), (chart, drawn)
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "Listeners rated in better than out, by" in re.sub("<[^>]*>", "", page)
    assert "Worth against the reference" in page
