"""Writes the lists of DEVELOPERS.md from the code: what stands between `<!-- generated: NAME -->` and `<!-- end -->`.

python tests/generate_lists.py
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import get_args, get_type_hints

import duckdb

from fairhearing import contracts, hookspecs
from fairhearing.audio import Accumulator, Summary
from fairhearing.conformance import importer, reporter, summary
from fairhearing.conformance.analyser import UNITS, analyser_rules
from fairhearing.conformance.kit import Rule
from fairhearing.conformance.subject import subject_of
from fairhearing.conformance.symmetries import CHANGES
from fairhearing.conformance.worlds import OTHERS
from fairhearing.registry import load_plugins
from fairhearing.result import AxisScale, ChartForm
from fairhearing.session import Kind, Method, OrderRule, Playing, Point, RepeatMode
from fairhearing.store.schema import TABLES

DOCUMENT = Path(__file__).parent.parent / "DEVELOPERS.md"
SUMMARY = Path(__file__).parent / "examples/longest-silence/src/fairhearing_longest_silence/silence.py"
COMMAND = "python tests/generate_lists.py"
BLOCK = re.compile(r"(<!-- generated: ([a-z-]+) -->\n).*?(<!-- end -->)", flags=re.DOTALL)
BUILT_IN = "fairhearing"
WORDS = {
    "kinds of measurement": Kind,
    "points": Point,
    "playing": Playing,
    "repeats": RepeatMode,
    "methods of score sheets": Method,
    "orders of presentation": OrderRule,
    "forms of charts": ChartForm,
    "scales of axes": AxisScale,
}


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Rows as a table of Markdown."""
    lines = [" | ".join(cells) for cells in (head, *rows)]
    columns = lines[0].count(" | ") + 1
    return "\n".join([f"| {lines[0]} |", "|" + "---|" * columns, *(f"| {line} |" for line in lines[1:])])


def coded(words: Iterable[str]) -> str:
    """Words as code, with commas between."""
    return ", ".join(f"`{word}`" for word in words)


def hooks() -> str:
    """Each hook, what it returns, and what each of those has."""
    rows = []
    for name, hook in vars(hookspecs).items():
        if hasattr(hook, f"{hookspecs.PROJECT}_spec"):
            returns = hook.__annotations__["return"]
            protocol = re.search(r"\[(\w+)\]", returns)
            has = coded(members(getattr(contracts, protocol[1]))) if protocol else ""
            rows.append((f"`{name}()`", f"`{returns}`", has))
    return table(("hook", "returns", "each of which has"), rows)


def members(protocol: type) -> list[str]:
    """The attributes and methods that a protocol asks for."""
    own = [name for name in {**protocol.__annotations__, **vars(protocol)} if not name.startswith("_")]
    hints = get_type_hints(protocol)
    return [name if name in hints or isinstance(vars(protocol)[name], property) else f"{name}()" for name in own]


def words() -> str:
    """Each closed set of words, and the units that the kit knows."""
    rows = [(what, coded(get_args(of))) for what, of in WORDS.items()]
    rows.append(("units of findings", coded(sorted(UNITS, key=str.casefold))))
    rows += [("a summary has", coded(members(Summary))), ("its accumulator has", coded(members(Accumulator)))]
    return table(("what", "words"), rows)


def symmetries() -> str:
    """Each kind of symmetry, and what must happen."""
    return table(("`Symmetry.kind`", "what must happen"), ((f"`{kind}`", says) for kind, (_, says) in CHANGES.items()))


def rules() -> str:
    """Each rule of the kit; those of symmetries stand in a list of their own."""
    found: dict[str, Iterable[Rule]] = {
        "importer": importer.RULES,
        "analyser": [rule for rule in analyser_rules() if rule.name not in CHANGES],
        "reporter": reporter.RULES,
        "summary": summary.RULES,
    }
    rows = [(kind, f"`{rule.name}`", rule.level, rule.says) for kind, own in found.items() for rule in own]
    return table(("plug-in", "rule", "level", "says"), rows)


@cache
def quantities() -> str:
    """Each quantity of the built-in analysers, with the units and verdicts that the kit's own sessions show."""
    plugins = load_plugins()
    built_in = {note.name for note in plugins.notes.analysers if note.distribution == BUILT_IN}
    rows = []
    for analyser in (one for one in plugins.analysers if one.name in built_in):
        subject = subject_of(analyser, None)
        findings = [finding for sample in subject for finding in subject.result(sample).findings]
        for quantity in analyser.quantities:
            own = [finding for finding in findings if finding.quantity == quantity]
            declared = OTHERS[quantity][3] if quantity in OTHERS else ()
            verdicts = {*(finding.verdict for finding in own), *declared} - {None}
            units = {finding.unit or "none" for finding in own}
            rows.append((quantity, ", ".join(sorted(units)), analyser.name, ", ".join(sorted(verdicts))))
    named = ((f"`{quantity}`", *cells) for quantity, *cells in sorted(rows))
    return table(("quantity", "unit", "analyser", "verdicts"), named)


def tables() -> str:
    """Each table of the store with its columns and their types; those of its key are bold."""
    with duckdb.connect() as connection:
        connection.execute(TABLES)
        keys = dict(
            connection.execute(
                "SELECT table_name, constraint_column_names FROM duckdb_constraints() "
                "WHERE constraint_type = 'PRIMARY KEY'"
            ).fetchall()
        )
        columns = connection.execute(
            "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal "
            "ORDER BY table_name, column_index"
        ).fetchall()
    of: dict[str, list[str]] = {}
    for name, column, kind in columns:
        shown = f"**{column}**" if column in keys[name] else column
        of.setdefault(name, []).append(f"{shown} {kind.lower()}")
    return table(("table", "columns"), ((f"`{name}`", ", ".join(cells)) for name, cells in of.items()))


def golden() -> str:
    """The beginning of the sample of a new importer, and of the golden file beside it."""
    samples = files("fairhearing.conformance") / "templates" / "importer" / "src" / "@MODULE@" / "samples"
    shown = []
    for name, n_lines in (("high_pass.log", 3), ("high_pass.log.golden.json", 7)):
        text = (samples / f"{name}.template").read_text(encoding="utf-8").replace("@NAME@", "lamp-log")
        shown.append("\n".join([f"# samples/{name}", *text.splitlines()[:n_lines], "…"]))
    return fenced("text", "\n".join(shown))


def summary_code() -> str:
    """The summary of the example distribution, as it is."""
    return fenced("python", SUMMARY.read_text(encoding="utf-8").rstrip())


def fenced(language: str, text: str) -> str:
    """A block of code."""
    return f"```{language}\n{text}\n```"


LISTS: Mapping[str, Callable[[], str]] = {
    "golden": golden,
    "hooks": hooks,
    "quantities": quantities,
    "rules": rules,
    "summary": summary_code,
    "symmetries": symmetries,
    "tables": tables,
    "words": words,
}


def rewritten(text: str) -> str:
    """The document with every list as the code has it now.

    Raises
    ------
    ValueError
        A list is missing from the document, stands there twice, or is none that is known.
    """
    there = sorted(match[2] for match in BLOCK.finditer(text))
    if there != sorted(LISTS):
        raise ValueError(f"the document has the lists {there}, not each of {sorted(LISTS)} once")
    return BLOCK.sub(lambda match: f"{match[1]}{LISTS[match[2]]()}\n{match[3]}", text)


def main() -> int:
    """Rewrite DEVELOPERS.md and say whether that changed anything."""
    before = DOCUMENT.read_text(encoding="utf-8")
    after = rewritten(before)
    if after != before:
        DOCUMENT.write_text(after, encoding="utf-8", newline="\n")
    print(f"{DOCUMENT.name}: {'rewritten' if after != before else 'up to date'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
