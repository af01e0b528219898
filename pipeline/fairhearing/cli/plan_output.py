"""What `fairhearing plan` says, as plain text and as JSON."""

from __future__ import annotations

import textwrap
from dataclasses import asdict

from fairhearing.cli.plan import PlanAnswer
from fairhearing.protocol.design import Design
from fairhearing.protocol.methods import form_of
from fairhearing.protocol.planning import Plan
from fairhearing.protocol.schedule import Schedule
from fairhearing.protocol.sizes import OnePerson, Sizes
from fairhearing.session import PLAN_FOLDER, Listening

WIDTH = 100
_OVER_TRIALS = ("abx", "same-different", "triangle", "duo-trio", "tetrad")  # the rest is judged over listeners
_ASKED = (
    ("switching", "relay, cable or files, in quotes: what changes between the conditions"),
    ("gap_s", "seconds of silence at each switch"),
    ("gap_equal", "true or false: the same pause each time, also where nothing changes"),
    ("operator_blind", "true or false: whoever switches does not know what plays; with this sheet they do"),
    ("operator_screened", "true or false: nobody who listens can see whoever switches, nor the switch"),
    ("switch_check", "in quotes: what was done to see that the switch itself does not speak"),
    ("switch_check_passed", "true or false: it does not"),
)


def plan_json(answer: PlanAnswer) -> dict[str, object]:
    """All numbers of a plan as one JSON object."""
    plan, written = answer.plan, answer.written
    return {
        "format": 1,
        "design": asdict(plan.design),
        "sizes": {**asdict(plan.sizes), "can_reach_alpha": plan.sizes.can_reach_alpha},
        "schedule": asdict(plan.schedule),
        "can_show": can_show(plan),
        "cannot_show": cannot_show(plan),
        "ask": [key for key, _ in _asked(answer)],
        "written": None
        if written is None
        else {"folder": written.folder.name, "files": list(written.paths), "commitment": written.commitment},
    }


def plan_text(answer: PlanAnswer) -> str:
    """The plan in plain words: what no result can show first of all, what is needed, what it costs, what to do next."""
    plan = answer.plan
    blocks = [] if plan.sizes.can_reach_alpha else [_out_of_reach(plan)]
    blocks += [
        block("What is needed", _needed(plan)),
        block("What it costs", _costs(plan.design, plan.schedule)),
        block("What it can show", can_show(plan)),
        block("What it cannot show", cannot_show(plan)),
        block("What to do next", _next(answer)),
    ]
    asked = _asked(answer)
    if answer.session is not None and (asked or answer.session.listening.plan_folder is None):
        blocks.append(_to_write(asked, answer))
    return "\n\n".join(blocks)


def can_show(plan: Plan) -> list[str]:
    """What a result of this session could say."""
    sizes, design = plan.sizes, plan.design
    if not sizes.can_reach_alpha:
        return [_about_one(sizes.one_person, design.alpha)] if sizes.one_person else []
    if design.question in ("preferred", "better"):
        what = f"a share of {design.effect:g}" if design.question == "preferred" else f"{design.effect:g} steps"
        error = f", give or take {100 * 2 * sizes.power_error:.0f} %" if sizes.power_error else ""
        return [
            f"About people: {what} is found in {_percent(sizes.power)} of such sessions{error} ({sizes.power_method}), "
            f"if listeners differ with a standard deviation of {sizes.spread:g} {_spread_unit(design)}. Nobody knows "
            "that beforehand: try half and twice of it with --spread.",
            *([_about_one(sizes.one_person, design.alpha)] if sizes.one_person else []),
        ]
    if design.question == "equivalent" and design.method not in _OVER_TRIALS:
        return [
            f"{_within(design)}. If nothing is there, that happens in {_percent(sizes.power)} of such sessions "
            f"({sizes.power_method}), if listeners differ with a standard deviation of {sizes.spread:g} "
            f"{_spread_unit(design)}: try half and twice of it with --spread."
        ]
    if design.question == "equivalent":
        if sizes.n_needed is None:
            return []
        alike = f", and t over the {sizes.n_listeners} listeners says so too" if sizes.n_listeners > 1 else ""
        return [
            f"That no more than {_percent(design.margin or 0)} are right: if {sizes.n_needed} or fewer of "
            f"{sizes.n_total} are{alike}. If nothing is heard, that happens in {_percent(sizes.power)} of such "
            "sessions."
        ]
    return _heard_shows(sizes, design)


def _heard_shows(sizes: Sizes, design: Design) -> list[str]:
    effect = f"whoever is right in {_percent(design.effect)} of trials"
    if sizes.looks:
        looks = [
            f"at {one.n_trials} trials with {'no number' if one.n_right_needed is None else one.n_right_needed} right"
            for one in sizes.looks
        ]
        return [
            f"That it is heard, and end there: {'; '.join(looks)}. Guessing ends so in {_percent(sizes.size or 0)} of "
            f"sessions in all ({design.spending}).",
            f"It finds {effect} in {_percent(sizes.power)} of sessions, after {sizes.mean_n_trials:.0f} trials on "
            "average.",
        ]
    if design.method == "same-different":
        return [
            f"That it is heard, by Fisher's exact test of “different” to different against same pairs. It finds "
            f"{effect}, equally ready to say either, in {_percent(sizes.power)} of sessions."
        ]
    if sizes.n_needed is None:
        return []
    lines = [
        f"That it is heard: if {sizes.n_needed} or more of {sizes.n_total} are right. Guessing gets there in "
        f"{_percent(sizes.size or 0)} of sessions.",
        f"It finds {effect} in {_percent(sizes.power)} of such sessions.",
    ]
    if sizes.smallest_effect is not None:
        lines.append(
            f"The least that it finds in {_percent(design.power)} of sessions: {_percent(sizes.smallest_effect)} right."
        )
    return lines


def cannot_show(plan: Plan) -> list[str]:
    """What no result of this session says."""
    sizes, design = plan.sizes, plan.design
    lines = []
    if sizes.fewest is not None and not sizes.can_reach_alpha:
        mind = "" if design.question == "equivalent" else ", all of one mind"
        lines.append(f"Anything about people at large: that takes {sizes.fewest} listeners at least{mind}.")
    elif sizes.power < design.power:
        what = "That nothing is there" if design.question == "equivalent" else f"An effect of {design.effect:g}"
        lines.append(f"{what}, reliably: it would be missed in {_percent(1.0 - sizes.power)} of such sessions.")
    if design.question == "heard":
        lines.append("That nobody hears it: “not shown” is not “no difference”. For that ask --question equivalent.")
    if len(design.listeners) == 1 and design.method in _OVER_TRIALS:
        lines.append("Anything about others than the one who listens.")
    if design.question == "equivalent":
        lines.append("That there is no difference at all: only that it is within the margin.")
    if not design.n_control:
        lines.append("Whether the session could have shown anything: without --control, “not shown” is weak.")
    if not design.n_sham:
        lines.append("Whether the switch itself speaks: there are no shams, the same against the same.")
    return lines


def _out_of_reach(plan: Plan) -> str:
    """First of all: that no result of so few listeners or trials can reach alpha."""
    sizes, design = plan.sizes, plan.design
    who = "one listener" if sizes.n_listeners == 1 else f"{sizes.n_listeners} listeners"
    more = f"It takes {sizes.fewest} listeners at least."
    if sizes.fewest is None:
        rare = "refutes the margin" if design.question == "equivalent" else "is rare enough by guessing"
        why = f"no number right of {sizes.n_total} trials {rare} at alpha {design.alpha:g}"
        more = f"It takes {sizes.every} trials to rely on it." if sizes.every is not None else ""
    elif design.question == "equivalent":
        why = f"with {who} nothing tells how far people differ"
    else:
        why = (
            f"with {who} the smallest p over listeners is {2.0 ** (1 - sizes.n_listeners):.4g}, even if all are of one "
            f"mind, and alpha is {design.alpha:g}"
        )
    lines = [f"No result can show it: {why}. {more}".strip()]
    if sizes.one_person is not None:
        lines.append(_about_one(sizes.one_person, design.alpha))
    return "\n".join(textwrap.fill(line, WIDTH) for line in lines)


def _about_one(one: OnePerson, alpha: float) -> str:
    return (
        f"About one person alone: {one.n_needed} or more of {one.n_trials} trials the same way "
        f"(p {one.p_one_sided:.3f} one-sided, {one.p_two_sided:.3f} two-sided, by the exact binomial)."
    )


def _needed(plan: Plan) -> list[str]:
    sizes, design = plan.sizes, plan.design
    aim = f"to find {_effect_words(design)} in {_percent(design.power)} of sessions at alpha {design.alpha:g}"
    if design.method not in _OVER_TRIALS:
        each = f"with {design.n_trials} trials each"
        enough = (
            "more listeners than anybody asks"
            if sizes.listeners_first is None
            else f"{sizes.listeners_first} listeners"
        )
        lines = [f"{enough} {each}, {aim}. More trials of the same people help little: people differ."]
    elif sizes.every is None:
        lines = [f"More trials than anybody listens to, {aim}."]
    else:
        first = (
            ""
            if sizes.first == sizes.every
            else f" ({sizes.first} is the first number that works; a few more can fail)"
        )
        lines = [f"{sizes.every} trials in all, {aim}: from there on every number works{first}."]
    total = design.n_trials * len(design.listeners)
    lines.append(f"This plan: {_who(design)}, {design.n_trials} scored trials each, {total} in all.")
    return lines


def _effect_words(design: Design) -> str:
    if design.question == "preferred":
        return f"that one is preferred in {_percent(design.effect)} of trials"
    if design.question == "better":
        return f"{design.effect:g} steps on the scale {design.scale}"
    chance = form_of(design.method, design.scale).chance
    guessed = "" if chance is None else f" in {design.method} (guessing: {_percent(float(chance))})"
    if design.question == "equivalent" and chance is None:
        return _within(design)[:1].lower() + _within(design)[1:]
    if design.question == "equivalent":
        return f"that no more than {_percent(design.margin or 0)} are right{guessed}"
    return f"{_percent(design.effect)} right{guessed}"


def _who(design: Design) -> str:
    n = len(design.listeners)
    if n > 8:
        return f"{n} listeners ({design.listeners[0]} to {design.listeners[-1]})"
    return f"{n} {'listener' if n == 1 else 'listeners'} ({', '.join(design.listeners)})"


def _costs(design: Design, schedule: Schedule) -> list[str]:
    checks = [f"{design.n_sham} shams"] if design.n_sham else []
    checks += [f"{design.n_control} of the control"] if design.n_control else []
    breaks = "a break" if schedule.n_breaks == 1 else f"{schedule.n_breaks} breaks"
    parts = [
        (schedule.welcome_minutes, "to begin"),
        (schedule.practice_minutes, f"for {design.n_practice} practice trials"),
        (schedule.trial_minutes, f"for {design.n_trials} scored ones"),
        (schedule.check_minutes, f"for {' and '.join(checks)}"),
        (schedule.break_minutes, f"for {breaks}"),
    ]
    spent = ", ".join(f"{minutes:.0f} {what}" for minutes, what in parts if minutes)
    lines = [f"{schedule.listener_minutes:.0f} minutes for each listener: {spent}."]
    if len(design.listeners) > 1:
        lines.append(f"{schedule.all_minutes:.0f} minutes for all, who listen one after the other.")
    if design.minutes is not None and not schedule.fits:
        lines.append(_what_fits(design, schedule))
    elif schedule.n_that_fit is not None and schedule.n_that_fit > design.n_trials:
        lines.append(f"It fits into {design.minutes:g} minutes; up to {schedule.n_that_fit} scored trials would.")
    return lines


def _what_fits(design: Design, schedule: Schedule) -> str:
    begin = f"That does not fit into the {design.minutes:g} minutes that each can give. "
    if not schedule.n_that_fit:
        return begin + "Not one scored trial fits beside the rest: give more minutes."
    n_fit = schedule.n_that_fit
    text = begin + f"What would: --trials {n_fit}"
    if design.question in ("heard", "equivalent"):
        more = -(-design.n_trials * len(design.listeners) // n_fit)
        text += f", or {more} listeners with as many each in place of {len(design.listeners)}"
    return text + f"; or {schedule.listener_minutes:.0f} minutes."


def _next(answer: PlanAnswer) -> list[str]:
    if answer.written is None:
        again = (
            "the same without --dry-run"
            if answer.session is not None
            else "the same with a session folder, without --dry-run"
        )
        return [f"{again[0].upper()}{again[1:]}: draws the order, seals it and writes the sheets."]
    from fairhearing.protocol.sealing import grouped

    folder = answer.written.folder.name
    return [
        f"Sealed as {grouped(answer.written.commitment)}. Send this line to somebody who does not take part, today: "
        "nobody can change order, criteria or plan afterwards without it showing.",
        f"Print {folder}/operator/switching.html for whoever switches, and a page of {folder}/listeners/ for each "
        f"listener. Nobody opens {folder}/key.",
        f"Type answers into {folder}/listeners/*.csv and what was played into {folder}/operator/switching.csv.",
        *_looks_next(answer.plan.design),
        "When all have answered: fairhearing unseal, then fairhearing run.",
        "Keep to 85 dB(A) for eight hours with a 3 dB exchange (NIOSH REL); switch off and let supplies discharge "
        "before moving a cable or a setting; mains and rigging are for licensed people. Listeners may leave when "
        "they like.",
    ]


def _looks_next(design: Design) -> list[str]:
    """How to look while it runs without opening anything."""
    n_looks = len(design.looks) - 1
    if n_looks < 1:
        return []
    which = "1" if n_looks == 1 else f"1 to {n_looks}"
    return [
        "When all have come to a look, which the page of whoever switches marks, and their answers are typed in: "
        f"fairhearing unseal --look {which}. It says whether to go on, and nothing else; nobody looks otherwise."
    ]


def _asked(answer: PlanAnswer) -> list[tuple[str, str]]:
    """The keys of [listening] that the session does not say."""
    if answer.session is None:
        return []
    return [one for one in _ASKED if getattr(answer.session.listening, one[0]) is None]


def _to_write(asked: list[tuple[str, str]], answer: PlanAnswer) -> str:
    """What to write into session.toml: a sceptic asks for it."""
    said = answer.session is not None and answer.session.listening != Listening()
    place = "below [listening] in session.toml" if said else "into session.toml"
    lines = [f"Write {place} what is true; a report without it says that nobody said:", ""]
    if not said:
        lines.append("  [listening]")
    if answer.session is not None and answer.session.listening.plan_folder is None:
        lines.append(f'  plan = "{PLAN_FOLDER}"')
    return "\n".join([*lines, *(f"  {key} = …".ljust(28) + f"# {what}" for key, what in asked)])


def _within(design: Design) -> str:
    """What equivalence over listeners says."""
    margin = design.margin or 0.0
    if design.method == "grading":
        return f"That ratings differ by no more than {margin:g} steps either way"
    return f"That neither is preferred in more than {_percent(margin)} of trials"


def _spread_unit(design: Design) -> str:
    return "steps" if design.method == "grading" else "in log odds"


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


def block(title: str, lines: list[str]) -> str:
    """A title and its lines, each with a dash and broken where it is long."""
    filled = [textwrap.fill(line, WIDTH, initial_indent="- ", subsequent_indent="  ") for line in lines]
    return "\n".join([title, *(filled or ["- nothing"])])
