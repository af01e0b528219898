"""The options of `fairhearing plan`: their names and what the help says of them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PlannedSession = Annotated[
    Path | None, typer.Argument(metavar="SESSION", help="Session folder; with --dry-run it may be left out.")
]
Question = Annotated[
    str, typer.Option("--question", metavar="WORD", help="heard, preferred, better or equivalent (no difference).")
]
Method = Annotated[
    str | None,
    typer.Option(
        "--method", metavar="WORD", help="abx (default for heard), triangle, duo-trio, tetrad, same-different …"
    ),
]
Scale = Annotated[
    str | None, typer.Option("--scale", metavar="WORD", help="Of gradings: comparison (default) or quality.")
]
Effect = Annotated[
    str | None,
    typer.Option(
        "--effect", metavar="X", help="The smallest worth finding: share right, share of trials, steps of the scale."
    ),
]
Alpha = Annotated[str | None, typer.Option("--alpha", metavar="X", help="Else that of the criteria, or 0.05.")]
Power = Annotated[str | None, typer.Option("--power", metavar="X", help="How often it is to be found; else 0.8.")]
Margin = Annotated[
    str | None,
    typer.Option("--margin", metavar="X", help="For equivalent: the largest share, or step, that counts as none."),
]
Spread = Annotated[
    str | None,
    typer.Option("--spread", metavar="X", help="How much listeners differ: SD of log odds, or of mean ratings."),
]
Listeners = Annotated[str | None, typer.Option("--listeners", metavar="N", help="How many listen: L1, L2, …")]
Listener = Annotated[
    list[str] | None, typer.Option("--listener", metavar="ID", help="A listener's code, never a name; may be repeated.")
]
Trials = Annotated[
    str | None, typer.Option("--trials", metavar="N", help="Scored trials of each listener; else as many as it takes.")
]
Practice = Annotated[str | None, typer.Option("--practice", metavar="N", help="Practice trials; else 4. Never scored.")]
Shams = Annotated[str | None, typer.Option("--shams", metavar="N", help="Trials of the same against the same; else 4.")]
Control = Annotated[
    str | None,
    typer.Option("--control", metavar="TEXT", help="A difference that all should hear, such as 'bass 6 dB up'."),
]
Minutes = Annotated[str | None, typer.Option("--minutes", metavar="X", help="What each listener can give.")]
SwitchingS = Annotated[
    str | None, typer.Option("--switching-s", metavar="X", help="Of each change of what is played; else 2.")
]
TrialS = Annotated[
    str | None, typer.Option("--trial-s", metavar="X", help="To listen to one trial and answer, without switching.")
]
Programme = Annotated[
    list[str] | None, typer.Option("--programme", metavar="ID", help="What is played; may be repeated.")
]
Seat = Annotated[
    list[str] | None, typer.Option("--seat", metavar="ID", help="Where each listener sits; may be repeated.")
]
Condition = Annotated[
    str | None, typer.Option("--condition", metavar="ID", help="Set against the reference, where there are several.")
]
Looks = Annotated[str | None, typer.Option("--looks", metavar="N", help="Looks at the scores, the last one included.")]
Spending = Annotated[
    str | None,
    typer.Option("--spending", metavar="WORD", help="Of alpha over looks: obrien-fleming (default), pocock."),
]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Only say the numbers; write nothing.")]
