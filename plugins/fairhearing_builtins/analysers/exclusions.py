"""Trials that were struck out while the session ran: their reasons, and findings once more with them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace

from fairhearing.api import Finding, Inputs, Result

COLUMN = "excluded"  # a cell with a text in it strikes the trial out; the text is the reason
WITH_EXCLUDED = "with-excluded"
_SAID = re.compile(r"left out: \d+ trials? excluded \(")
Row = Mapping[str, str | None]


def reason_of(row: Row) -> str | None:
    """Why a trial was excluded; None if it was not."""
    return " ".join((row.get(COLUMN) or "").split()) or None


def reasons_in_words(reasons: Counter[str]) -> str:
    """Each reason with its count, the most frequent first.

    >>> reasons_in_words(Counter({"phone": 1, "door slammed": 2}))
    '2 door slammed, 1 phone'
    """
    return ", ".join(f"{count} {why}" for why, count in sorted(reasons.items(), key=lambda one: (-one[1], one[0])))


def exclusion_caveats(reasons: Counter[str]) -> tuple[str, ...]:
    """What is to be said of a finding that leaves trials out.

    >>> exclusion_caveats(Counter({"door slammed": 1}))
    ('left out: 1 trial excluded (1 door slammed)',)
    """
    n_trials = reasons.total()
    word = "trial" if n_trials == 1 else "trials"
    return (f"left out: {n_trials} {word} excluded ({reasons_in_words(reasons)})",) if n_trials else ()


def left_out_caveats(reasons: Counter[str], n_invalid: int) -> tuple[str, ...]:
    """What is to be said of trials that were excluded, and of those without a valid answer.

    >>> left_out_caveats(Counter(), 2)
    ('left out: 2 trials without a valid answer',)
    """
    told, word = exclusion_caveats(reasons), "trial" if n_invalid == 1 else "trials"
    return (*told, f"left out: {n_invalid} {word} without a valid answer") if n_invalid else told


def with_and_without(inputs: Inputs, analyse: Callable[[Inputs], Result], quantities: frozenset[str]) -> Result:
    """What `analyse` finds; then, of what is over all and leaves trials out, the same over all trials as a variant.

    Parameters
    ----------
    inputs : Inputs
    analyse : callable
        Leaves out what is excluded, and says so by `exclusion_caveats`.
    quantities : frozenset of str
        Those that are given both ways.
    """
    result = analyse(inputs)
    without = {_identity(f) for f in result.findings if any(_SAID.match(caveat) for caveat in f.caveats)}
    if not without:
        return result
    again = [
        replace(finding, variant="-".join(part for part in (finding.variant, WITH_EXCLUDED) if part))
        for finding in analyse(_with_every_row(inputs)).findings
        if finding.quantity in quantities and _is_over_all(finding) and _identity(finding) in without
    ]
    return replace(result, findings=(*result.findings, *again))


def _with_every_row(inputs: Inputs) -> Inputs:
    """The same sheets without the column that strikes trials out."""
    sheets = [
        replace(sheet, trials=sheet.trials.drop(columns=[name for name in sheet.trials.columns if name == COLUMN]))
        for sheet in inputs.sheets
    ]
    return replace(inputs, sheets=tuple(sheets))


def _is_over_all(finding: Finding) -> bool:
    return (finding.listener, finding.programme, finding.seat) == (None, None, None)


def _identity(finding: Finding) -> tuple[str | None, ...]:
    return (finding.quantity, finding.variant, finding.of, finding.condition, finding.reference)
