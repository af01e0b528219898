"""The commands and their options. Whatever a command needs is imported when it runs: `--help` stays instant."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fairhearing import __version__
from fairhearing.cli import corner_options as options
from fairhearing.cli import plan_options as planning
from fairhearing.cli.printing import say, say_answer, warn
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

    with closing(progress_on_standard_error()) as progress:
        outcome = run_sessions(sessions, out, store, keep_going, progress)
    return _show(outcome)


@application.command(name="import")
def import_(sessions: Sessions, store: Store, keep_going: KeepGoing = False) -> int:
    """Read sessions into a store."""
    from fairhearing.run import import_sessions

    with closing(progress_on_standard_error()) as progress:
        outcome = import_sessions(sessions, store, keep_going, progress)
    return _show(outcome)


@application.command()
def analyse(store: Store) -> int:
    """Run every analyser on what a store holds."""
    from fairhearing.run import analyse_store

    with closing(progress_on_standard_error()) as progress:
        outcome = analyse_store(store, progress)
    return _show(outcome)


@application.command()
def report(store: Store, out: Out) -> int:
    """Write the report of what a store holds."""
    from fairhearing.run import report_store

    with closing(progress_on_standard_error()) as progress:
        outcome = report_store(store, out, progress)
    return _show(outcome)


@application.command(short_help="Show whether a report still says what its sessions give.")
def verify(
    sessions: Sessions,
    report: Annotated[
        Path | None, typer.Option("--report", metavar="DIR", help="Folder of the report; else only seals are verified.")
    ] = None,
    store: Annotated[
        Path | None, typer.Option("--store", metavar="FILE", help="The store of that run; else store.duckdb in DIR.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Compute every hash, the seal and every finding of a report anew, and say what differs.

    Ends with 3 if anything does. Writes nothing.
    """
    from fairhearing.cli.verify_output import verify_json, verify_text
    from fairhearing.verify import verify_sessions

    with closing(progress_on_standard_error()) as progress:
        verification = verify_sessions(sessions, report, store, progress)
    say_answer(verification, verify_json, verify_text, as_json=as_json)
    return verification.exit_code


@application.command()
def check(session: OneSession, as_json: AsJson = False) -> int:
    """Show what a session holds and every fault in it; write nothing."""
    from fairhearing.cli.check_output import check_json, check_text, n_faults
    from fairhearing.errors import InputProblem
    from fairhearing.run import check_sessions

    contents = check_sessions(session)
    say_answer(contents, check_json, check_text, as_json=as_json)
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


@application.command(short_help="Say how many trials a blind listening takes; draw, seal and write its sheets.")
def plan(
    question: planning.Question,
    session: planning.PlannedSession = None,
    method: planning.Method = None,
    scale: planning.Scale = None,
    effect: planning.Effect = None,
    alpha: planning.Alpha = None,
    power: planning.Power = None,
    margin: planning.Margin = None,
    spread: planning.Spread = None,
    listeners: planning.Listeners = None,
    listener: planning.Listener = None,
    trials: planning.Trials = None,
    practice: planning.Practice = None,
    shams: planning.Shams = None,
    control: planning.Control = None,
    minutes: planning.Minutes = None,
    switching_s: planning.SwitchingS = None,
    trial_s: planning.TrialS = None,
    programme: planning.Programme = None,
    seat: planning.Seat = None,
    condition: planning.Condition = None,
    looks: planning.Looks = None,
    spending: planning.Spending = None,
    dry_run: planning.DryRun = False,
    as_json: AsJson = False,
) -> int:
    """Say what a blind listening takes, costs and can show; draw its order, seal it and write its sheets.

    Writes the folder listening in the session folder, once: a plan is never written over.
    """
    from fairhearing.cli.plan import answer_plan, read_order
    from fairhearing.cli.plan_output import plan_json, plan_text

    order = read_order(
        question=question, method=method, scale=scale, effect=effect, alpha=alpha, power=power, margin=margin,
        spread=spread, listeners=listeners, listener=listener or (), trials=trials, practice=practice, shams=shams,
        control=control, minutes=minutes, switching_s=switching_s, trial_s=trial_s, programme=programme or (),
        seat=seat or (), condition=condition, looks=looks, spending=spending,
    )  # fmt: skip
    answer = answer_plan(order, session, dry_run=dry_run)
    say_answer(answer, plan_json, plan_text, as_json=as_json)
    return 0


@application.command(short_help="Open a sealed listening: join the answers with what was played.")
def unseal(
    session: Annotated[Path, typer.Argument(metavar="SESSION", help="Session folder.")],
    reason: Annotated[
        str | None,
        typer.Option("--reason", metavar="TEXT", help="Why it is opened although answers are missing; recorded."),
    ] = None,
    look: Annotated[
        str | None,
        typer.Option("--look", metavar="N", help="Take planned look N: say only whether it ends the listening."),
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Check the seal, join all answers with what was played, and write the folder opened beside the sealed plan.

    Once, and only if all have answered, unless a reason is given. --look opens nothing, and ends with 3 if the
    listening goes on.
    """
    from fairhearing.cli.unseal import answer_look, answer_unseal
    from fairhearing.cli.unseal_output import look_json, look_text, unseal_json, unseal_text

    if look is not None:
        looked = answer_look(session, look, reason)
        say_answer(looked, look_json, look_text, as_json=as_json)
        return 0 if looked.ended else 3
    opened = answer_unseal(session, reason)
    say_answer(opened, unseal_json, unseal_text, as_json=as_json)
    return 0


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
    say_answer(answer, corner_json, corner_text, as_json=as_json)
    return 0


def _show(outcome: RunOutcome) -> int:
    """Print an outcome's notes and lines; its exit code."""
    for note in outcome.notes:
        warn(note)
    for line in outcome.lines:
        say(line)
    return outcome.exit_code
