"""What `fairhearing plugins` does: lists the plug-ins, tests one by name, or writes a new one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fairhearing.cli.printing import say, say_answer
from fairhearing.errors import InputProblem

A_RULE_IS_BROKEN = 3
DEFAULT_KIND = "analyser"


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginsQuestion:
    """The options of the command."""

    as_json: bool = False
    test: str | None = None
    write_golden: bool = False
    new: str | None = None
    kind: str | None = None
    into: Path | None = None


def answer_plugins(question: PluginsQuestion) -> int:
    """Exit code after all is printed.

    Raises
    ------
    InputProblem
        Options stand together that do not fit, the plug-in to test is unknown, or the new one cannot be written.
    """
    _check(question)
    if question.test is not None:
        return _test(question.test, question.write_golden)
    if question.new is not None:
        return _new(question.new, question.kind or DEFAULT_KIND, question.into or Path())
    return _list(question.as_json)


def _check(question: PluginsQuestion) -> None:
    given = {
        "--json": question.as_json,
        "--test": question.test is not None,
        "--write-golden": question.write_golden,
        "--new": question.new is not None,
        "--kind": question.kind is not None,
        "--into": question.into is not None,
    }
    several = [option for option in ("--json", "--test", "--new") if given[option]]
    if len(several) > 1:
        raise _misfit(f"{' and '.join(several)} do not go together", "one of them at a time")
    for option, with_ in (("--write-golden", "--test"), ("--kind", "--new"), ("--into", "--new")):
        if given[option] and not given[with_]:
            raise _misfit(f"{option} without {with_} says nothing", f"add {with_} NAME, or leave out {option}")


def _misfit(what: str, try_: str) -> InputProblem:
    return InputProblem(what, where="the command line of 'fairhearing plugins'", try_=try_)


def _list(as_json: bool) -> int:
    from fairhearing.cli.plugins_output import plugins_json, plugins_text
    from fairhearing.run import list_plugins

    say_answer(list_plugins(), plugins_json, plugins_text, as_json=as_json)
    return 0


def _test(name: str, write_golden: bool) -> int:
    from fairhearing.conformance.by_name import check_by_name, write_golden_by_name

    if write_golden:
        for diff in write_golden_by_name(name):
            say(diff.rstrip("\n"))
    reports = check_by_name(name)
    for report in reports:
        say("\n".join(report.lines()))
    return 0 if all(report.passed for report in reports) else A_RULE_IS_BROKEN


def _new(name: str, kind: str, into: Path) -> int:
    from fairhearing.conformance.new_plugin import write_plugin

    say(str(write_plugin(name, kind, into)))
    return 0
