"""What a reporter's files say: their text, the numbers in it, what a browser would load, what broke out."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import PurePosixPath

from fairhearing.conformance.report_world import ATTRIBUTE, CALL, TAG
from fairhearing.contracts import OutputFile

MARKUP = frozenset({".html", ".htm", ".xhtml", ".svg", ".md", ".markdown"})
PICTURES = frozenset({".svg", ".png", ".pdf", ".jpg", ".webp"})
SCALES = (1.0, 100.0, 0.001, 1000.0)  # as it is, in percent, in thousands or thousandths of the unit
SIGNIFICANT = 3
_NUMBER = re.compile(r"(?<![\w.])([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)")
_REMOTE = re.compile(r"\s*(?:https?:|ftp:|wss?:)?//", re.IGNORECASE)
_STYLE_REMOTE = re.compile(r"@import\b|url\(\s*['\"]?\s*(?:https?:)?//", re.IGNORECASE)
_SCRIPT_LOADS = re.compile(
    r"\bfetch\s*\(|\bXMLHttpRequest\b|\bsendBeacon\b|\bWebSocket\b|\bEventSource\b|\bimportScripts\b|\bimport\s*\("
)
_MARKDOWN_PICTURE = re.compile(r"!\[[^\]]*\]\(\s*<?(?:https?:)?//", re.IGNORECASE)
_LOADING = frozenset({"src", "srcset", "href", "xlink:href", "data", "poster", "background", "action", "formaction"})
_CODE_CALL = re.compile(rf'(?<!\\)"\s*;\s*{CALL}\(')


def ending(file: OutputFile) -> str:
    """The ending of a file's name, in lower case, with its point."""
    return PurePosixPath(file.path).suffix.lower()


@dataclass(slots=True)
class _Page(HTMLParser):
    """The parts of a page: elements with their attributes, its words, its styles and scripts."""

    elements: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    styles: list[str] = field(default_factory=list)
    scripts: list[str] = field(default_factory=list)
    data_scripts: list[str] = field(default_factory=list)
    inside: list[str] | None = None

    def __post_init__(self) -> None:
        HTMLParser.__init__(self, convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.elements.append((tag, given))
        if tag == "style":
            self.inside = self.styles
        elif tag == "script":
            self.inside = self.data_scripts if "json" in given.get("type", "") else self.scripts

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if tag in ("style", "script"):
            self.inside = None

    def handle_data(self, data: str) -> None:
        (self.words if self.inside is None else self.inside).append(data)


def _page(file: OutputFile) -> _Page:
    page = _Page()
    page.feed(file.data.decode("utf-8", errors="replace"))
    page.close()
    return page


def words_of(file: OutputFile) -> str | None:
    """What a reader reads in a file, scripts and styles left out; None for what is no text."""
    try:
        text = file.data.decode("utf-8")
    except UnicodeDecodeError:
        return None
    kind = ending(file)
    if kind in MARKUP:
        words = " ".join(_page(file).words)
        return re.sub(r"\\([^\w\s])", r"\1", words) if kind in (".md", ".markdown") else words
    if kind == ".json":
        return "\n".join(_leaves(json.loads(text)))
    if kind in (".csv", ".tsv"):
        rows = csv.reader(io.StringIO(text), delimiter="\t" if kind == ".tsv" else ",")
        return "\n".join(cell for row in rows for cell in row)
    return html.unescape(text)


def _leaves(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield str(key)
            yield from _leaves(one)
    elif isinstance(value, list):
        for one in value:
            yield from _leaves(one)
    elif value is not None:
        yield str(value)


def plain(text: str) -> str:
    """Text for searching: one blank for any space, a hyphen for any minus sign, small letters."""
    return re.sub(r"\s+", " ", text.replace("\u2212", "-")).casefold()


def states(text: str, value: float) -> bool:
    """Whether a text gives a value, rightly rounded, to three significant digits or to all that it has.

    >>> states("88.5 Hz", 88.47), states("88 Hz", 88.47), states("65 %", 0.65), states("0.0 dB", 0.37)
    (True, False, True, False)
    """
    written = [text.replace(",", ""), re.sub(r"(?<=\d),(?=\d)", ".", text)]
    tokens = {token for one in written for token in _NUMBER.findall(one)}
    return any(_is_rounding(token, value * scale) for token in tokens for scale in SCALES)


def _is_rounding(token: str, value: float) -> bool:
    mantissa, _, exponent = token.lower().partition("e")
    decimals = len(mantissa.partition(".")[2]) - int(exponent or 0)
    error = abs(float(token) - value)
    digits = len(mantissa.lstrip("+-").replace(".", "").lstrip("0"))
    if error <= 1e-9 * max(1.0, abs(value)):
        return True
    return digits >= SIGNIFICANT and error <= 0.5000001 * 10.0**-decimals


def has_word(text: str, word: str) -> bool:
    """Whether a word stands in a text, not as part of a longer one."""
    return re.search(rf"(?<![^\W\d_]){re.escape(word)}(?![^\W\d_])", text) is not None


def draws_charts(file: OutputFile) -> bool:
    """Whether a file holds drawings: SVG, or a page or JSON with a drawing or the specification of one."""
    kind = ending(file)
    if kind == ".svg":
        return True
    if kind in (".html", ".htm", ".xhtml"):
        return re.search(rb"<svg\b|<canvas\b|\"encoding\"\s*:", file.data) is not None
    return kind == ".json" and re.search(rb"\"encoding\"\s*:", file.data) is not None


def chart_words(file: OutputFile) -> str:
    """What stands in the drawings of a file: the text of an SVG file, all of a page or a specification."""
    if ending(file) == ".svg":
        return words_of(file) or ""
    return html.unescape(file.data.decode("utf-8", errors="replace"))


def loads(file: OutputFile) -> Iterator[str]:
    """What a browser would load from an address when it opens the file."""
    kind = ending(file)
    text = file.data.decode("utf-8", errors="replace")
    if kind == ".css":
        yield from (f"the style {found.group()!r}" for found in _STYLE_REMOTE.finditer(text))
    if kind in (".md", ".markdown"):
        yield from (f"the picture {found.group()!r}" for found in _MARKDOWN_PICTURE.finditer(text))
    if kind not in MARKUP:
        return
    page = _page(file)
    for tag, attributes in page.elements:
        # A link is followed by a reader, not loaded by a browser.
        loading = sorted(() if tag == "a" else _LOADING & set(attributes))
        remote = [name for name in loading if _REMOTE.match(attributes[name])]
        yield from (f'<{tag} {name}="{attributes[name]}">' for name in remote)
        page.styles.append(attributes.get("style", ""))
        if tag == "meta" and attributes.get("http-equiv", "").lower() == "refresh":
            yield f"<meta refresh {attributes.get('content', '')!r}>"
    for style in page.styles:
        yield from (f"the style {found.group()!r}" for found in _STYLE_REMOTE.finditer(style))
    if not _forbids_connections(page):
        for script in page.scripts:
            yield from (f"the script {found.group()!r}" for found in _SCRIPT_LOADS.finditer(script))


def _forbids_connections(page: _Page) -> bool:
    """Whether the page's own policy lets no script ask for anything."""
    for tag, attributes in page.elements:
        if tag != "meta" or attributes.get("http-equiv", "").lower() != "content-security-policy":
            continue
        parts = (one.strip().partition(" ") for one in attributes.get("content", "").split(";"))
        directives = {name: rest.split() for name, _, rest in parts}
        if directives.get("connect-src", directives.get("default-src")) == ["'none'"]:
            return True
    return False


def broken_out(file: OutputFile) -> Iterator[str]:
    """The hostile texts that became elements, attributes or code of a file."""
    page = _page(file)
    for tag, attributes in page.elements:
        if tag == TAG:
            yield f"text became an element <{tag}>"
        if ATTRIBUTE in attributes:
            yield f"text became an attribute of <{tag}>"
    for script in (*page.scripts, *page.data_scripts):
        if _CODE_CALL.search(script):
            yield "text became code in a script"
