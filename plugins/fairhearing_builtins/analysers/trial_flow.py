"""What became of every trial, and how the listening was run: answered_share and two tables."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Listening, Needs, Result, Symmetry, Table, hookimpl
from fairhearing_builtins.analysers.choice_rows import METHODS as CHOICES
from fairhearing_builtins.analysers.exclusions import reasons_in_words
from fairhearing_builtins.analysers.listening import ALL_LISTENERS, counted, in_words, labels_are_labels
from fairhearing_builtins.analysers.trial_counts import ROLES, Flow, flows, planned_sheets, together

ANSWERED = frozenset({"answered_share"})
NOT_SAID, NO_TRIALS = "not said", "none"
SWITCHINGS = {"relay": "by a relay", "cable": "by moving a cable", "files": "as files made beforehand"}
GAP_UNEQUAL = "the pause at a change was not the same at every trial: it can give away what is played"
NOT_BLIND = "whoever switched knew what was played: it can be given away without a word"
NO_CHECK = "it was not checked whether the switch gives itself away"
CHECK_FAILED = "the check of the switch was not passed: the switch may give itself away"
UNSAID = "not said in [listening]: {}"


class TrialFlow:
    """Trials planned, played, answered, excluded and scored, of each listener; how the listening was run."""

    name = "trial-flow"
    version = "2"
    quantities = ANSWERED
    needs = Needs(methods=frozenset({*CHOICES, "paired-preference", "grading"}), roles=frozenset(ROLES))
    symmetries = (
        Symmetry(kind="first-second-invariant", quantities=ANSWERED),
        Symmetry(kind="row-order-invariant", quantities=ANSWERED),
        *labels_are_labels(ANSWERED),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """A share for each role, over all listeners and of each; trials to be scored are the headline."""
        found = flows(inputs)
        findings: list[Finding] = []
        rows: list[Flow] = []
        for role in ROLES:
            own = [flow for flow in found if flow.role == role]
            if own:
                whole = together(own)
                findings += [_finding(inputs, whole), *(_finding(inputs, flow) for flow in own)]
                rows += [*own, whole]
        charts = tuple(_charts([flow for flow in rows if flow.role == rows[0].role]))
        return Result(findings=tuple(findings), tables=(_flow_table(rows), _run_table(inputs, rows)), charts=charts)


def _finding(inputs: Inputs, flow: Flow) -> Finding:
    said = "as the plan has it" if planned_sheets(inputs) else "nobody said how many, so every row of the sheets"
    excluded = f" ({reasons_in_words(flow.excluded)})" if flow.excluded else ""
    caveats = _caveats(inputs.session.listening) if (flow.role, flow.listener) == ("scored", None) else ()
    return Finding(
        quantity="answered_share",
        value=flow.answered / flow.expected if flow.expected else None,
        unit="1",
        variant=None if flow.role == "scored" else flow.role,
        n=flow.expected or None,
        method=f"answered of planned: {flow.answered} of {flow.planned}; played {flow.played}, excluded "
        f"{flow.excluded.total()}{excluded}, scored {flow.scored}; planned: {said}",
        listener=flow.listener,
        caveats=(*caveats, *(() if flow.expected else ("no trial",))),
    )


def _caveats(listening: Listening) -> tuple[str, ...]:
    """What can give away what is played, as far as it is said; then what is not said."""
    told = []
    if listening.plan is not None and listening.plan.opened_early is not None:
        told.append(f"opened before all planned trials were answered: {listening.plan.opened_early}")
    if listening.gap_equal is False:
        told.append(GAP_UNEQUAL)
    if listening.operator_blind is False:
        told.append(NOT_BLIND)
    if listening.switch_check_passed is False:
        told.append(CHECK_FAILED if listening.switch_check else NO_CHECK)
    unsaid = [
        words
        for words, said in (
            ("whether the pause was the same at every trial", listening.gap_equal),
            ("whether the operator knew what was played", listening.operator_blind),
            ("whether the switch was checked", listening.switch_check_passed),
        )
        if said is None
    ]
    return (*told, UNSAID.format("; ".join(unsaid))) if unsaid else tuple(told)


# --- tables and chart -------------------------------------------------------------------------------------------------


def _flow_table(rows: Sequence[Flow]) -> Table:
    columns: dict[str, list[str | int | None]] = {
        "role": [flow.role for flow in rows],
        "listener": [flow.listener or ALL_LISTENERS for flow in rows],
        "planned": [flow.planned for flow in rows],
        "played": [flow.played for flow in rows],
        "answered": [flow.answered for flow in rows],
        "excluded": [flow.excluded.total() for flow in rows],
        "scored": [flow.scored for flow in rows],
        "reasons": [reasons_in_words(flow.excluded) or None for flow in rows],
    }
    return Table(name="trial-flow", columns=columns, units=dict.fromkeys(columns, ""))


def _run_table(inputs: Inputs, flow: Sequence[Flow]) -> Table:
    """What [listening] says of the switching, what controls there were, and the plan that was sealed."""
    listening = inputs.session.listening
    plan = listening.plan
    rows: dict[str, str | None] = {
        "switched": None if listening.switching is None else SWITCHINGS[listening.switching],
        "pause at a change": None if listening.gap_s is None else f"{listening.gap_s:g} s",
        "the same pause at every trial": _yes_no(listening.gap_equal),
        "operator blind": _yes_no(listening.operator_blind),
        "operator screened off": _yes_no(listening.operator_screened),
        "check of the switch": listening.switch_check,
        "check of the switch passed": _yes_no(listening.switch_check_passed),
        "positive control": _control(flow, None if plan is None else plan.control),
        "shams": _of_role(flow, "sham"),
        "plan": "none" if plan is None else "sealed, not opened yet" if plan.sealed else "sealed before, then opened",
    }
    if plan is not None:
        rows["commitment"] = grouped(plan.commitment)
        rows["opened early"] = "not opened yet" if plan.sealed else plan.opened_early or "no"
    columns: dict[str, list[str]] = {"what": list(rows), "said": [said or NOT_SAID for said in rows.values()]}
    return Table(name="how-it-was-run", columns=columns, units=dict.fromkeys(columns, ""))


def _control(flow: Sequence[Flow], said: str | None) -> str:
    """What was done to the sound in the positive control, and in how many trials."""
    told = _of_role(flow, "control")
    return f"{said}: {told}" if said and told != NO_TRIALS else told


def _of_role(flow: Sequence[Flow], role: str) -> str:
    """How many trials there were in one role, over all listeners."""
    n_trials = sum(one.expected for one in flow if one.role == role and one.listener is None)
    return counted(n_trials, "trial", "trials") if n_trials else NO_TRIALS


def grouped(commitment: str) -> str:
    """The digits of a commitment in groups of eight, to be compared by eye.

    >>> grouped("0123456789abcdef")
    '01234567 89abcdef'
    """
    return " ".join(commitment[place : place + 8] for place in range(0, len(commitment), 8))


def _yes_no(said: bool | None) -> str | None:
    return None if said is None else "yes" if said else "no"


def _charts(rows: Sequence[Flow]) -> list[ChartRequest]:
    shown = [flow for flow in rows if flow.expected]
    if not shown:
        return []
    shares = [flow.answered / flow.expected for flow in shown]
    names = [flow.listener or ALL_LISTENERS for flow in shown]
    stated = "; ".join(
        f"{name} {in_words(share)} of {counted(flow.expected, 'trial', 'trials')}, {flow.excluded.total()} excluded"
        for name, share, flow in zip(names, shares, shown, strict=True)
    )
    chart = ChartRequest(
        name="answered",
        title="Trials answered, of those planned",
        alternative=f"Share of the planned trials that each listener answered, and all of them together. {stated}.",
        form="bar",
        data={"listener": names, "share": shares},
        x=Axis(column="listener", label="Listener", scale="category"),
        y=Axis(column="share", label="Share of the planned trials", unit="1"),
    )
    return [chart]


@hookimpl
def fairhearing_analysers() -> list[TrialFlow]:
    """The analyser of what became of the trials."""
    return [TrialFlow()]
