"""The line index against TOML that is written in awkward ways."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.manifest.lines import index_lines

AWKWARD = '''\
# a comment with [brackets] and key = "value"
top = 1 # [not.a.table]
"quoted key" = 2
'literal.key' = 3
"esc\\u0061ped" = 4
dotted . "inner key" . 'last' = 5
text = "a # no comment, ] no bracket \\" no end"
long = """
[not.a.table]
key = 1 \\""" still inside
ends with quotes"""""
raw = \'\'\'
[[not.a.table]]
C:\\\'\'\'
date = 2026-05-09 10:00:00
list = [ # comment ]
  1, # one
  [2,
   3],
  "]", { a = 1, b.c = [
    2 ] },
]
inline = { x = 1, "y z" = { deep = true }, w.v = "}" }
empty = {}
nothing = []

  [ table . "sub.table" ]   # indented, spaced
  key = 1
[table]
late = 1
[[many]]
[[many]]
name = "second"
  [many.child]
  key = 1
  [[many.grand]]
  key = 1
  [[many.grand]]
  key = 2
[[many]]
[[many.grand]]
key = 3
[3]
4 = 5
'''


def the_line_with(snippet: str) -> int:
    lines = [number for number, line in enumerate(AWKWARD.split("\n"), 1) if snippet in line]
    assert len(lines) == 1, snippet
    return lines[0]


@pytest.mark.parametrize(
    ("path", "snippet"),
    [
        (("top",), "top = 1"),
        (("quoted key",), '"quoted key" = 2'),
        (("literal.key",), "'literal.key'"),
        (("escaped",), "u0061"),
        (("dotted",), "dotted ."),
        (("dotted", "inner key", "last"), "dotted ."),
        (("text",), "text ="),
        (("long",), 'long = """'),
        (("raw",), "raw = '''"),
        (("date",), "date ="),
        (("list",), "list ="),
        (("list", 0), "1, # one"),
        (("list", 1), "[2,"),
        (("list", 1, 1), "   3],"),
        (("list", 2), '"]", {'),
        (("list", 3, "a"), '"]", {'),
        (("list", 3, "b", "c", 0), "    2 ] },"),
        (("inline", "y z", "deep"), "inline ="),
        (("inline", "w", "v"), "inline ="),
        (("empty",), "empty ="),
        (("nothing",), "nothing ="),
        (("table", "sub.table"), "[ table ."),
        (("table",), "[table]"),
        (("table", "late"), "late ="),
        (("many", 1, "name"), "second"),
        (("many", 1, "child"), "[many.child]"),
        (("many", 1, "grand", 1, "key"), "  key = 2"),
        (("many", 2, "grand", 0, "key"), "key = 3"),
        (("3", "4"), "4 = 5"),
    ],
)
def test_each_key_stands_on_its_line(path: tuple[str | int, ...], snippet: str) -> None:
    index = index_lines(AWKWARD)
    assert path in index.lines
    assert index.line_of(path) == the_line_with(snippet)


def test_a_key_without_a_line_falls_back_to_its_parent() -> None:
    index = index_lines(AWKWARD)
    assert index.line_of(("many", 1, "no such key")) == index.line_of(("many", 1))
    assert index.line_of(("no such table", "key")) == 1


def test_line_ends_of_either_kind_give_the_same_index() -> None:
    assert index_lines(AWKWARD.replace("\n", "\r\n")) == index_lines(AWKWARD)


def every_path(value: object, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = {path} if path else set()
    for key, child in children:
        found |= every_path(child, (*path, key))
    return found


def test_no_key_of_the_awkward_text_is_left_out_and_none_is_made_up() -> None:
    assert set(index_lines(AWKWARD).lines) == every_path(tomllib.loads(AWKWARD))


bare = st.text("abcXYZ019-_", min_size=1, max_size=4)
quoted = st.text(st.characters(exclude_characters="'\n\r", exclude_categories=("Cc", "Cs")), max_size=4).map(
    lambda text: f"'{text}'"
)
gap = st.sampled_from(["", " ", "\n", "\n# [x] = '\n", "  "])
scalar = st.sampled_from(['"#"', "'''\n]\n'''", '"""\n"\\""""', "1", "true", "2026-05-09 10:00:00", "'}'", "-inf"])
values = st.recursive(
    scalar,
    lambda inner: st.one_of(
        st.lists(st.tuples(gap, inner), max_size=3).map(
            lambda items: "[" + ", ".join(f"{before}{item}" for before, item in items) + "\n]"
        ),
        st.dictionaries(bare, inner, max_size=3).map(
            lambda pairs: "{ " + ", ".join(f"k{key} = {item}" for key, item in pairs.items()) + " }"
        ),
    ),
    max_leaves=6,
)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.lists(st.tuples(gap, st.one_of(bare, quoted), st.sampled_from(["k", "t", "a"]), values), max_size=6))
def test_whatever_is_written_each_key_is_found_once_on_the_line_where_it_was_written(
    statements: list[tuple[str, str, str, str]],
) -> None:
    text = ""
    written: dict[int, int] = {}
    for number, (before, key, form, value) in enumerate(statements):
        text += before + "\n"
        written[number] = text.count("\n") + 1
        head = {"k": "", "t": f"[t{number}]\n", "a": f"[[a.a{number}]]\n"}[form]
        text += f"{head}n{number}.{key} = {value}\n"
    parsed = tomllib.loads(text)
    index = index_lines(text)
    assert set(index.lines) == every_path(parsed)
    for path, line in index.lines.items():
        if path[-1] in (f"n{n}" for n in written):
            number = int(str(path[-1])[1:])
            assert line == written[number] + (statements[number][2] != "k")
