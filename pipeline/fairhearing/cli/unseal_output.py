"""What `fairhearing unseal` says, as plain text and as JSON."""

from __future__ import annotations

from dataclasses import asdict

from fairhearing.cli.plan_output import block
from fairhearing.protocol.looking import Looked
from fairhearing.protocol.opening import Opened
from fairhearing.protocol.sealing import grouped


def unseal_json(opened: Opened) -> dict[str, object]:
    """What was opened as one JSON object."""
    return {
        "format": 1,
        "commitment": opened.commitment,
        "reason": opened.reason,
        "remarks": list(opened.remarks),
        "counts": [asdict(count) for count in opened.counts],
        "files": list(opened.paths),
    }


def unseal_text(opened: Opened) -> str:
    """Counts for each listener, what is not as planned, and what to do next."""
    head = f"  {'listener':<14}{'part':<10}{'planned':>8}{'played':>8}{'answered':>10}{'excluded':>10}"
    rows = [
        f"  {one.listener:<14}{one.part:<10}{one.n_planned:>8}{one.n_played:>8}{one.n_answered:>10}{one.n_excluded:>10}"
        for one in opened.counts
    ]
    by_default = sum(one.n_played_by_default for one in opened.counts)
    blocks = [
        f"The seal holds: key, criteria and plan are those of\n  {grouped(opened.commitment)}\n"
        "Compare it with the printed pages.",
        "\n".join([head, *rows]),
    ]
    if by_default:
        trials = "trial" if by_default == 1 else "trials"
        blocks.append(
            f"{by_default} {trials} count as played as planned because the switching sheet says nothing of them."
        )
    if opened.reason is not None:
        blocks.append(f"Opened for the reason: {opened.reason}")
    if opened.remarks:
        blocks.append(block("Not as planned", list(opened.remarks)))
    blocks.append(f"Written into {opened.folder.name}: {', '.join(opened.paths)}\nNext: fairhearing run")
    return "\n\n".join(blocks)


def look_json(looked: Looked) -> dict[str, object]:
    """What a look told as one JSON object."""
    return {"format": 1, "look": looked.number, "n_trials": looked.look.n_trials, "ended": looked.ended}


def look_text(looked: Looked) -> str:
    """That a look ended the listening, or that it goes on; never how many were right."""
    n_trials = looked.look.n_trials
    head = f"Look {looked.number} of {looked.n_looks}, after {n_trials} scored trials of all listeners together:"
    if looked.ended:
        return f"{head}\nthe boundary is reached. The listening ends here, as planned.\nNext: fairhearing unseal"
    return (
        f"{head}\nthe boundary is not reached. Go on; tell the listeners nothing.\nNext: the trials up to the next look"
    )
