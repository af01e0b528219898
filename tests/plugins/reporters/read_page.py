"""A report read back with the standard library's parser: elements with what they are in, numbers, loose digits."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "link", "img", "br", "hr", "input", "source"})


@dataclass(slots=True)
class Element:
    """A tag with its attributes, the elements around it and the text in it (that of its children included)."""

    tag: str
    attributes: dict[str, str]
    around: tuple[Element, ...]
    text: str = ""
    own: list[str] = field(default_factory=list)

    @property
    def classes(self) -> frozenset[str]:
        return frozenset(self.attributes.get("class", "").split())


class Reader(HTMLParser):
    """Collects elements; an end tag that ends nothing is an error."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[Element] = []
        self.open: list[Element] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"<{tag}> says an attribute twice"
        element = Element(tag, {name: value or "" for name, value in attrs}, tuple(self.open))
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> ends nothing"
        assert self.open[-1].tag == tag, f"</{tag}> ends <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for element in self.open:
            element.text += data
        if self.open:
            self.open[-1].own.append(data)


def read(page: bytes) -> list[Element]:
    """All elements of a page, in order; the page is well-formed."""
    reader = Reader()
    reader.feed(page.decode())
    reader.close()
    assert not reader.open, f"<{reader.open[-1].tag}> is not closed"
    return reader.elements


def shown_numbers(elements: list[Element]) -> list[Element]:
    """The elements that show a field of a finding."""
    return [element for element in elements if "data-finding" in element.attributes]


def loose_digits(elements: list[Element]) -> list[str]:
    """Texts with a digit that are neither a finding's field, nor quoted, nor code, nor a table of the method part."""
    loose = []
    for element in elements:
        path = (*element.around, element)
        in_method = any("method" in one.classes or "software" in one.classes for one in path)
        allowed = (
            any("data-finding" in one.attributes or "quoted" in one.classes for one in path)
            or any(one.tag in ("code", "time", "script", "style", "title") for one in path)
            or (any(one.tag in ("td", "th") for one in path) and in_method)
            or any("sessions" in one.classes for one in path)
        )
        loose += [text for text in element.own if re.search(r"\d", text) and not allowed]
    return loose
