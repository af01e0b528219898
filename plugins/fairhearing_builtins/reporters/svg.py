"""A Vega-Lite specification -> an SVG file: same specification, same bytes."""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Mapping

from markupsafe import escape

VEGA_LITE = "6.4"  # the version whose schema altair writes; the page's script bundle is of the same


def svg(specification: Mapping[str, object], *, title: str, alternative: str) -> bytes:
    """The chart as an SVG file with its title and its description inside.

    Parameters
    ----------
    specification : mapping
        Vega-Lite with its data inside; nothing is fetched.
    title, alternative : str
        For readers who can't see the chart.

    Returns
    -------
    bytes
        UTF-8.
    """
    return _svg(json.dumps(specification, allow_nan=False), title, alternative)


@functools.lru_cache(maxsize=256)
def _svg(specification: str, title: str, alternative: str) -> bytes:
    import vl_convert

    drawn: str = vl_convert.vegalite_to_svg(specification, vl_version=VEGA_LITE, allowed_base_urls=[])
    described = f'role="img"><title>{escape(title)}</title><desc>{escape(alternative)}</desc>'
    drawn = re.sub(r"^(<svg[^>]*)>", lambda start: f"{start[1]} {described}", drawn, count=1)
    return (_renumbered(drawn) + "\n").encode()


def _renumbered(drawn: str) -> str:
    """The ids of clips and gradients counted from 1 in this file; the renderer counts on from file to file."""
    numbers: dict[str, str] = {}

    def renumber(match: re.Match[str]) -> str:
        kind = match[2]
        n_of_kind = sum(name.startswith(kind) for name in numbers)
        return match[1] + numbers.setdefault(match[2] + match[3], f"{kind}-{n_of_kind + 1}")

    return re.sub(r'(id="|url\(#)(clip|gradient)[-_]?(\d+)', renumber, drawn)


@functools.lru_cache(maxsize=1)
def script_bundle() -> str:
    """The scripts that draw Vega-Lite in a page, as one text that needs no network; it sets window.vegaEmbed."""
    import vl_convert

    bundle: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;", VEGA_LITE)
    return bundle
