"""Tests of report.html in a browser without a network: charts are drawn, nothing is asked for, print shows all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, sync_playwright

from fairhearing_builtins.reporters import words

DRAWN = "html[data-drawn='true']"
MARKS = "g.mark-line path, g.mark-area path, g.mark-symbol path, g.mark-rect path, g.mark-rule line, g.mark-text text"


@pytest.fixture(scope="module")
def page_file(both_report: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_bytes(both_report["report.html"])
    return path


class Visit:
    """An open page with what it asked for and complained of."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda fault: self.complaints.append(str(fault)))
        page.on("dialog", lambda dialog: self.complaints.append(dialog.message))


@pytest.fixture(scope="module")
def visit(page_file: Path) -> Iterator[Visit]:
    chromium = shutil.which("chromium")
    assert chromium, "these tests need chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        context = browser.new_context(offline=True, viewport={"width": 1000, "height": 900})
        visit = Visit(context.new_page(), page_file.as_uri())
        visit.page.goto(visit.address)
        visit.page.wait_for_selector(DRAWN, timeout=60_000, state="attached")
        yield visit
        browser.close()


def test_the_page_asks_for_nothing_but_itself_and_complains_of_nothing(visit: Visit) -> None:
    assert visit.requests == [visit.address]
    assert visit.complaints == []


def test_every_figure_is_drawn_with_marks(visit: Visit) -> None:
    figures = visit.page.locator("figure")
    assert figures.count() == 13
    for index in range(figures.count()):
        figure = figures.nth(index)
        assert figure.locator(".chart svg").count() == 1
        assert figure.locator(f".chart :is({MARKS})").count() > 0
        box = figure.locator(".chart svg").bounding_box()
        assert box is not None
        assert box["height"] > 50


def test_a_gap_in_a_curve_is_a_gap_on_the_page(visit: Visit) -> None:
    figure = visit.page.locator("figure", has_text="Level at each seat").first
    paths = figure.locator("g.mark-line > path").evaluate_all("all => all.map(one => one.getAttribute('d'))")
    assert [path.count("M") for path in paths] == [
        1,
        1,
        1,
        1,
        2,
        2,
    ]  # two lines at each of three seats, the last broken


@pytest.mark.parametrize("width", [360, 1000, 1600])
def test_the_page_does_not_scroll_sideways(visit: Visit, width: int) -> None:
    visit.page.set_viewport_size({"width": width, "height": 900})
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width


def test_print_opens_what_is_folded_except_the_bulk_and_breaks_no_figure(visit: Visit) -> None:
    visit.page.set_viewport_size({"width": 700, "height": 900})
    visit.page.emulate_media(media="print")
    try:
        folded = visit.page.get_by_text("t interval from repeats pooled over seats").first
        assert folded.is_visible()
        assert not visit.page.locator("details.bulk table").first.is_visible()
        assert visit.page.get_by_text("Folded in print").first.is_visible()
        breaks = visit.page.locator("figure").evaluate_all("all => all.map(one => getComputedStyle(one).breakInside)")
        assert set(breaks) == {"avoid"}
    finally:
        visit.page.emulate_media(media="screen")


def test_printing_opens_the_folded_parts_and_closes_them_again(visit: Visit) -> None:
    still = "document.querySelectorAll('details[open]').length"
    assert visit.page.evaluate(still) == 0
    visit.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert visit.page.evaluate(still) == visit.page.locator("details:not(.bulk)").count()
    visit.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert visit.page.evaluate(still) == 0


def test_a_chart_that_the_browser_cannot_draw_says_where_it_lies(
    visit: Visit, page_file: Path, both_report: dict[str, bytes]
) -> None:
    page = both_report["report.html"].decode()
    start = page.index(">", page.index("data-chart=")) + 1
    spoilt = page_file.with_name("spoilt.html")
    rest = page[page.index("</script>", start) :]
    spoilt.write_text(page[:start] + '{"mark":"no such mark"}' + rest, encoding="utf-8")
    browser = visit.page.context.browser
    assert browser is not None
    tab = browser.new_context(offline=True).new_page()
    tab.goto(spoilt.as_uri())
    tab.wait_for_selector(DRAWN, timeout=60_000, state="attached")
    assert tab.locator(".chart").first.inner_text() == words.NOT_DRAWN
    assert tab.locator(".chart svg").count() == 12
