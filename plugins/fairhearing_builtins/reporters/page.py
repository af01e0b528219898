"""The report as one page that works with no network, and its charts as SVG files."""

from __future__ import annotations

import base64
import functools
import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from fairhearing.api import OutputFile, Reporter, ReportInputs, hookimpl
from fairhearing_builtins.reporters import words
from fairhearing_builtins.reporters.answer import quoted, without_listening_words
from fairhearing_builtins.reporters.data_files import DataFiles, table_files
from fairhearing_builtins.reporters.identity import Stated, stated_findings
from fairhearing_builtins.reporters.names import UniqueNames
from fairhearing_builtins.reporters.numbers import MINUS, NARROW, rounded
from fairhearing_builtins.reporters.reasons import Doubts
from fairhearing_builtins.reporters.sections import Section, names_session, position_text, section

if TYPE_CHECKING:
    from jinja2 import Template


def _resource(name: str) -> str:
    return files(__package__ or "").joinpath(name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def content_policy(scripts: Sequence[str], style: str) -> str:
    """What the page may do: run these scripts, use this style, nothing else; no address may be asked for anything.

    Parameters
    ----------
    scripts : sequence of str
        The text of each script element.
    style : str
        The text of the style element.
    """
    allowed = " ".join(map(_digest, scripts)) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src {_digest(style)}; style-src-attr 'unsafe-inline'; "
        "base-uri 'none'; form-action 'none'"
    )


def embedded(value: object) -> Markup:
    """A value as JSON that can stand in a script element: no "<" is left in it."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def code(text: str) -> Markup:
    """Our own prose with what stands between backquotes set as code."""
    return Markup(re.sub(r"`([^`]*)`", r"<code>\1</code>", str(escape(text))))


@functools.lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True)
    environment.filters.update(embedded=embedded, code=code, plain=_plain)
    environment.globals.update(w=words, position=position_text, decibel=_decibel, note=_note, quoted=_quoted_as_allowed)
    return environment.from_string(_resource("page.html.j2"))


def _plain(value: float | None) -> str:
    return words.NOT_SAID if value is None else f"{value:g}".replace("-", MINUS)


def _decibel(value: float) -> str:
    return f"{rounded(value, 2, signed=True)}{NARROW}dB"


def _note(text: str, confidences: Markup) -> Markup:
    return Markup(text).format(confidences=confidences)


def _quoted_as_allowed(text: str, listening: bool) -> Markup:
    return quoted(without_listening_words(text, listening))


def _sections(inputs: ReportInputs, stated: Sequence[Stated]) -> tuple[Section, ...]:
    names = UniqueNames()
    known = {session.id for session in inputs.sessions}
    paths: dict[str, list[str]] = {}
    for path, owner in table_files(inputs).items():
        paths.setdefault(owner.session if owner.session in known else "", []).append(path)
    of_session = {name: tuple(found) for name, found in paths.items()}
    made = [section(inputs, session, stated, of_session, names) for session in inputs.sessions]
    if any(not result.session for result in inputs.results):
        made.append(section(inputs, None, stated, of_session, names))
    return tuple(made)


def _shared_doubts(inputs: ReportInputs) -> tuple[Doubts, ...]:
    """Lines that name no session of several (with one session they stand in its section)."""
    if len(inputs.sessions) == 1:
        return ()
    doubts = []
    for title, lines in ((words.UNREAD, inputs.unread), (words.PROBLEMS, inputs.problems)):
        left = [line for line in lines if not any(names_session(line, session.id) for session in inputs.sessions)]
        if left:
            doubts.append(Doubts(title=title, lines=tuple(map(quoted, dict.fromkeys(left)))))
    return tuple(doubts)


def render_page(inputs: ReportInputs, sections: Sequence[Section]) -> str:
    """report.html.

    Parameters
    ----------
    inputs : ReportInputs
    sections : sequence of Section
        One for each session, in the order of the page.
    """
    from fairhearing_builtins.reporters.svg import script_bundle

    style, script = _resource("style.css"), _resource("page.js")
    has_charts = any(part.figures for part in sections)
    bundle = script_bundle() if has_charts else ""
    return _template().render(
        sections=sections,
        policy=content_policy([bundle, script] if has_charts else [], style),
        style=style,
        has_charts=has_charts,
        bundle=bundle,
        script=script,
        shared_doubts=_shared_doubts(inputs),
        software=tuple(sorted(inputs.software.items())),
    )


class Page:
    """report.html and charts/*.svg."""

    name = "page"
    version = "1"

    def render(self, inputs: ReportInputs) -> Iterable[OutputFile]:
        """The files; same input, same bytes.

        Parameters
        ----------
        inputs : ReportInputs

        Returns
        -------
        iterable of OutputFile
        """
        sections = _sections(inputs, stated_findings(inputs))
        yield OutputFile(path="report.html", data=render_page(inputs, sections).encode(), main=True)
        for part in sections:
            for figure in part.figures:
                yield OutputFile(path=figure.path, data=figure.drawing)


@hookimpl
def fairhearing_reporters() -> Sequence[Reporter]:
    """The built-in reporters."""
    return [Page(), DataFiles()]
