"""Two recordings of the public surface compared: what was added, and what would break a plug-in that is out there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import zip_longest

from fairhearing.api_version import version_parts

TITLE = "# The public surface of fairhearing, a line a member. Written by: python tests/record_public_api.py"
HEAD = re.compile(r"plug-in interface (\d+\.\d+), recorded (\d{4}-\d{2}-\d{2})")
NAME = re.compile(r"[\w.]+(?:\[('(?:[^'\\]|\\.)*'|\"[^\"]*\")\])?")
ENDING = re.compile(r"  \[until (\d{4}-\d{2}-\d{2}), then (.+)\]$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What was recorded: the lines, for which plug-in interface, on which day (ISO 8601)."""

    version: str
    on: str
    lines: tuple[str, ...]

    def text(self) -> str:
        """As it stands in the file."""
        head = f"plug-in interface {self.version}, recorded {self.on}"
        return "\n".join([TITLE, head, *sorted(self.lines, key=in_order)]) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A line that came, went or changed; `breaks`: why that breaks plug-ins, None where it does not."""

    name: str
    before: str | None
    after: str | None
    breaks: str | None = None

    def told(self) -> list[str]:
        """Lines for a reader."""
        lines = [f"- {self.before}"] if self.before is not None else []
        lines += [f"+ {self.after}"] if self.after is not None else []
        return lines + ([f"  breaks plug-ins: {self.breaks}"] if self.breaks else [])


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What became of a wish to record: the new text, or None where it is refused; and what to say."""

    text: str | None
    said: tuple[str, ...]


def recorded(text: str) -> Recording:
    """The recording that a file holds.

    Raises
    ------
    ValueError
        It does not begin as one.
    """
    title, head, *lines = text.splitlines()
    found = HEAD.fullmatch(head)
    if title != TITLE or found is None:
        raise ValueError(f"no recording begins with {title!r}, {head!r}")
    return Recording(version=found[1], on=found[2], lines=tuple(lines))


def name_of(line: str) -> str:
    """The name that a line is about."""
    found = NAME.match(line)
    if found is None:
        raise ValueError(f"a line without a name: {line!r}")
    return found[0]


def in_order(line: str) -> tuple[list[str], str]:
    """What lines are sorted by: a class comes before its members."""
    return re.split(r"[.\[]", name_of(line)), line


def record(before: Recording | None, lines: Iterable[str], version: str, on: str) -> Verdict:
    """What to write, and the difference; refused where it breaks plug-ins and the major version is the same."""
    now = Recording(version=version, on=on, lines=tuple(lines))
    late = [f"{name_of(line)} was to work until {day[1]}: take it out" for line, day in endings(now) if day[1] <= on]
    if before is None:
        return Verdict(text=None if late else now.text(), said=tuple(late or ["the first recording"]))
    found = changes(before, now)
    said = [line for change in found for line in change.told()]
    refused = list(late)
    if version_parts(version) < version_parts(before.version) or on < before.on:
        refused.append(f"a later one is recorded: {before.version} on {before.on}")
    if any(change.breaks for change in found) and not raised_major(before, now):
        refused.append(f"raise the major of API_VERSION ({version}), or keep what is there")
    if refused:
        return Verdict(text=None, said=(*said, *refused))
    if found and version == before.version:
        said.append(f"raise the minor of API_VERSION ({version}) if it was released since {before.on}")
    same = not found and version == before.version
    return Verdict(text=before.text() if same else now.text(), said=tuple(said or ["nothing changed"]))


def raised_major(before: Recording, now: Recording) -> bool:
    """Whether plug-ins written for the one are not used with the other anyway."""
    return version_parts(now.version)[0] > version_parts(before.version)[0]


def endings(recording: Recording) -> Iterator[tuple[str, re.Match[str]]]:
    """The lines whose names will go, each with day and replacement."""
    found = ((line, ENDING.search(line)) for line in recording.lines)
    return ((line, ending) for line, ending in found if ending is not None)


def changes(before: Recording, now: Recording) -> list[Change]:
    """Every line that differs, sorted by name."""
    old, new = ({name_of(line): line for line in one.lines} for one in (before, now))
    found = []
    for name in sorted({*old, *new}):
        was, is_ = old.get(name), new.get(name)
        if was == is_:
            continue
        if is_ is None:
            breaks = why_removal_breaks(was, now.on)
        elif was is None:
            breaks = why_addition_breaks(name, is_, old)
        else:
            breaks = why_change_breaks(was, is_)
        found.append(Change(name=name, before=was, after=is_, breaks=breaks))
    return found


# --- what breaks ------------------------------------------------------------------------------------------------------


def why_removal_breaks(was: str, on: str) -> str | None:
    """It does, unless its day has come."""
    ending = ENDING.search(was)
    if ending is None:
        return f"{name_of(was)} is gone"
    return None if ending[1] <= on else f"{name_of(was)} was to work until {ending[1]}"


def why_addition_breaks(name: str, line: str, old: dict[str, str]) -> str | None:
    """It does where what others have made already would lack it."""
    owner = old.get(name.rpartition(".")[0], "")
    kind = owner.removeprefix(name_of(owner)) if owner else ""
    if kind.startswith(": protocol"):
        return f"what others offer as {name_of(owner)} lacks it"
    if kind.startswith(": dataclass") and is_required_field(line):
        return f"what makes a {name_of(owner)} does not give it"
    if kind and name.endswith(".__init__"):
        return f"a {name_of(owner)} is made in another way"
    return None


def is_required_field(line: str) -> bool:
    """Whether a line is a field without a default."""
    said = ENDING.sub("", line).removeprefix(name_of(line))
    return said.startswith(": ") and not said.startswith((": property", ": ClassVar")) and " = " not in said


def why_change_breaks(was: str, is_: str) -> str | None:
    """Both lines are about the same name."""
    old_end, new_end = ENDING.search(was), ENDING.search(is_)
    if old_end and new_end and new_end[1] < old_end[1]:
        return f"it was to work until {old_end[1]}, not only until {new_end[1]}"
    name = name_of(was)
    old, new = (ENDING.sub("", line).removeprefix(name) for line in (was, is_))
    if old == new:
        return None
    if old.startswith("(") and new.startswith("("):
        return why_signature_breaks(old, new)
    fields = [parsed_field(text) for text in (old, new)]
    if None in fields:
        return "it is another kind of thing"
    (old_type, old_default), (new_type, new_default) = fields
    if old_type != new_type:
        return f"its type was {old_type}"
    return why_default_breaks("it", old_default, new_default)


def parsed_field(text: str) -> tuple[str, str | None] | None:
    """Type and default of `: type = default`; None for what is no field."""
    try:
        (node,) = ast.parse(f"x{text}").body
    except SyntaxError:
        return None
    if not isinstance(node, ast.AnnAssign):
        return None
    return ast.unparse(node.annotation), None if node.value is None else ast.unparse(node.value)


def why_default_breaks(what: str, old: str | None, new: str | None) -> str | None:
    """What was given by default has to be, and as it was."""
    if old is not None and new is None:
        return f"{what} became required"
    return f"{what} was {old} by default" if old is not None and old != new else None


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of a function: `place` is positional, keyword or rest."""

    name: str
    place: str
    types: frozenset[str]
    default: str | None


def why_signature_breaks(old: str, new: str) -> str | None:
    """The first way in which a call that worked does not work any more, or gives something else."""
    (was, returned), (is_, returns) = parsed_signature(old), parsed_signature(new)
    if returned != returns:
        return f"it returned {returned}"
    there = {parameter.name: parameter for parameter in is_}
    for parameter in was:
        now = there.get(parameter.name)
        if now is None:
            return f"the parameter {parameter.name} is gone"
        if not parameter.types <= now.types:
            return f"the parameter {parameter.name} took {' | '.join(sorted(parameter.types))}"
        breaks = why_default_breaks(f"the parameter {parameter.name}", parameter.default, now.default)
        if breaks or parameter.place != now.place:
            return breaks or f"the parameter {parameter.name} was {parameter.place}"
    for one, other in zip_longest(places(was), places(is_)):
        if one is not None and one != other:
            return f"the parameter {one} stood where {other} stands"
    known = {parameter.name for parameter in was}
    added = [p.name for p in is_ if p.name not in known and p.default is None and p.place != "rest"]
    return f"the parameter {added[0]} is required" if added else None


def places(parameters: Iterable[Parameter]) -> list[str]:
    """The names of those that may be given by their place, in order."""
    return [parameter.name for parameter in parameters if parameter.place.startswith("positional")]


def parsed_signature(text: str) -> tuple[list[Parameter], str]:
    """Parameters and the type that is returned."""
    (function,) = ast.parse(f"def f{text}: ...").body
    assert isinstance(function, ast.FunctionDef)
    arguments = function.args
    n_only = len(arguments.posonlyargs)
    by_place = [*arguments.posonlyargs, *arguments.args]
    defaults = [*[None] * (len(by_place) - len(arguments.defaults)), *arguments.defaults]
    places_of = ["positional only"] * n_only + ["positional"] * len(arguments.args)
    listed = [
        *zip(by_place, places_of, defaults, strict=True),
        *((one, "by keyword", value) for one, value in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True)),
        *((one, "rest", None) for one in (arguments.vararg, arguments.kwarg) if one is not None),
    ]
    parameters = [
        Parameter(one.arg, place, alternatives(one.annotation), None if default is None else ast.unparse(default))
        for one, place, default in listed
    ]
    assert function.returns is not None
    return parameters, ast.unparse(function.returns)


def alternatives(annotation: ast.expr | None) -> frozenset[str]:
    """The types that a parameter takes, apart; anything at all is `object`."""
    if isinstance(annotation, ast.BinOp):
        return alternatives(annotation.left) | alternatives(annotation.right)
    if isinstance(annotation, ast.Subscript) and ast.unparse(annotation.value) == "Sequence":
        return frozenset(f"Sequence[{of}]" for of in alternatives(annotation.slice))  # it is only read from
    return frozenset({"object" if annotation is None else ast.unparse(annotation)})
