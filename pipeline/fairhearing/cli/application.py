"""The commands and their options. Whatever a command needs is imported when it runs: `--help` stays instant."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fairhearing import __version__
from fairhearing.cli import corner_options as options
from fairhearing.cli.printing import say, say_json, warn
from fairhearing.cli.progress_bar import progress_on_standard_error

if TYPE_CHECKING:
    from fairhearing.run import RunOutcome

PROGRAM = "fairhearing"

# rich_markup_mode=None keeps rich, and with it a good part of a second, out of --help and of usage errors.
application = typer.Typer(
    name=PROGRAM,
    help="Compare measured listening sessions: is a change in a playback chain a gain on balance?",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)

Sessions = Annotated[
    list[Path], typer.Argument(metavar="SESSION...", help="Session folder, or folder of session folders.")
]
OneSession = Annotated[Path, typer.Argument(metavar="SESSION", help="Session folder, or folder of session folders.")]
Store = Annotated[Path, typer.Option("--store", metavar="FILE", help="The store.")]
Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder to write into; made if missing.")]
KeepGoing = Annotated[bool, typer.Option("--keep-going", help="Import the sound sessions if others are at fault.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]


def _show_version(wanted: bool) -> None:
    if wanted:
        say(f"{PROGRAM} {__version__}")
        raise typer.Exit()


@application.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Options that stand before the command."""


@application.command()
def run(
    sessions: Sessions,
    out: Out,
    store: Annotated[
        Path | None, typer.Option("--store", metavar="FILE", help="The store; else store.duckdb in DIR.")
    ] = None,
    keep_going: KeepGoing = False,
) -> int:
    """Import sessions, analyse them and write the report."""
    from fairhearing.run import run_sessions

    progress = progress_on_standard_error()
    try:
        outcome = run_sessions(sessions, out, store, keep_going, progress)
    finally:
        progress.close()
    return _show(outcome)


@application.command(name="import")
def import_(sessions: Sessions, store: Store, keep_going: KeepGoing = False) -> int:
    """Read sessions into a store."""
    from fairhearing.run import import_sessions

    progress = progress_on_standard_error()
    try:
        outcome = import_sessions(sessions, store, keep_going, progress)
    finally:
        progress.close()
    return _show(outcome)


@application.command()
def analyse(store: Store) -> int:
    """Run every analyser on what a store holds."""
    from fairhearing.run import analyse_store

    progress = progress_on_standard_error()
    try:
        outcome = analyse_store(store, progress)
    finally:
        progress.close()
    return _show(outcome)


@application.command()
def report(store: Store, out: Out) -> int:
    """Write the report of what a store holds."""
    from fairhearing.run import report_store

    progress = progress_on_standard_error()
    try:
        outcome = report_store(store, out, progress)
    finally:
        progress.close()
    return _show(outcome)


@application.command()
def check(session: OneSession, as_json: AsJson = False) -> int:
    """Show what a session holds and every fault in it; write nothing."""
    from fairhearing.cli.check_output import check_json, check_text, n_faults
    from fairhearing.errors import InputProblem
    from fairhearing.run import check_sessions

    contents = check_sessions(session)
    if as_json:
        say_json(check_json(contents))
    else:
        say(check_text(contents))
    return InputProblem.exit_code if n_faults(contents) else 0


@application.command(short_help="List the plug-ins, test one, or begin a new one.")
def plugins(
    as_json: AsJson = False,
    test: Annotated[
        str | None,
        typer.Option("--test", metavar="NAME", help="Put an installed plug-in through the rules of its kind."),
    ] = None,
    write_golden: Annotated[
        bool,
        typer.Option("--write-golden", help="With --test: write anew what must be read from an importer's samples."),
    ] = False,
    new: Annotated[
        str | None, typer.Option("--new", metavar="NAME", help="Write a new plug-in with its test, ready to install.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="With --new: importer, analyser (default) or reporter.")
    ] = None,
    into: Annotated[
        Path | None, typer.Option("--into", metavar="DIR", help="With --new: the folder to write into; else this one.")
    ] = None,
) -> int:
    """List the plug-ins, what each offers, and those that do not load; or test one, or begin a new one.

    --test ends with 3 if a rule is broken.
    """
    from fairhearing.cli.plugins_command import PluginsQuestion, answer_plugins

    question = PluginsQuestion(as_json=as_json, test=test, write_golden=write_golden, new=new, kind=kind, into=into)
    return answer_plugins(question)


@application.command(short_help="Show where a series capacitor puts the corner.")
def corner(
    load_kohm: options.LoadKohm,
    capacitance_nf: options.CapacitanceNf = None,
    design_corner_hz: options.DesignCornerHz = None,
    setting_kohm: options.SettingKohm = None,
    source_ohm: options.SourceOhm = "0",
    cable_pf: options.CablePf = "0",
    tap_kohm: options.TapKohm = None,
    tap_before_kohm: options.TapBeforeKohm = None,
    second_input_kohm: options.SecondInputKohm = None,
    measuring_input_kohm: options.MeasuringInputKohm = None,
    coupling_capacitor_uf: options.CouplingCapacitorUf = None,
    balanced: options.Balanced = False,
    capacitor_tolerance_percent: options.CapacitorTolerance = None,
    input_tolerance_percent: options.InputTolerance = None,
    as_json: AsJson = False,
) -> int:
    """Show where a series capacitor puts the corner, and what a boost then leaves.

    Give --capacitance-nf, or --design-corner-hz with --setting-kohm.
    """
    from fairhearing.cli.corner import answer_corner, read_question
    from fairhearing.cli.corner_output import corner_json, corner_text

    question = read_question(
        load_kohm=load_kohm,
        capacitance_nf=capacitance_nf,
        design_corner_hz=design_corner_hz,
        setting_kohm=setting_kohm,
        source_ohm=source_ohm,
        cable_pf=cable_pf,
        tap_kohm=tap_kohm or (),
        tap_before_kohm=tap_before_kohm or (),
        second_input_kohm=second_input_kohm,
        measuring_input_kohm=measuring_input_kohm,
        coupling_capacitor_uf=coupling_capacitor_uf,
        balanced=balanced,
        capacitor_tolerance_percent=capacitor_tolerance_percent,
        input_tolerance_percent=input_tolerance_percent,
    )
    answer = answer_corner(question)
    if as_json:
        say_json(corner_json(answer))
    else:
        say(corner_text(answer))
    return 0


def _show(outcome: RunOutcome) -> int:
    """Print an outcome's notes and lines; its exit code."""
    for note in outcome.notes:
        warn(note)
    for line in outcome.lines:
        say(line)
    return outcome.exit_code
