"""The analyser of the longest silence in each recording, from a summary of its own."""

from __future__ import annotations

from collections.abc import Sequence

from fairhearing.api import Analyser, Finding, Inputs, Needs, Recording, Result, Symmetry, hookimpl
from fairhearing_longest_silence.silence import LongestSilence

SILENCE = LongestSilence()
QUANTITIES = frozenset({"longest_silence"})
Place = tuple[str | None, ...]


class LongestSilenceAnalyser:
    """The longest silence over the repeats of each condition, programme, seat and channel."""

    name = "longest-silence"
    version = "1"
    quantities = QUANTITIES
    needs = Needs(kinds=frozenset({"recording"}), summaries=(SILENCE,), min_conditions=1)
    symmetries = (
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-seats-invariant", quantities=QUANTITIES),
        Symmetry(kind="relabel-programmes-invariant", quantities=QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """A finding for each of them."""
        repeats: dict[Place, list[Recording]] = {}
        for recording in inputs.recordings:
            repeats.setdefault(place(recording), []).append(recording)
        return Result(findings=tuple(finding(repeats[where]) for where in sorted(repeats, key=str)))


def place(recording: Recording) -> Place:
    """What a recording is of, its repeat apart."""
    return (
        recording.condition, recording.point, recording.playing, recording.seat, recording.channel,
        recording.programme,
    )  # fmt: skip


def finding(repeats: Sequence[Recording]) -> Finding:
    """The longest silence in any of the repeats."""
    condition, point, playing, seat, channel, programme = place(repeats[0])
    return Finding(
        quantity="longest_silence",
        value=max(float(one.summary(SILENCE)["longest_s"][0]) for one in repeats),
        unit="s",
        n=len(repeats),
        method=f"longest stretch with every channel below {SILENCE.below:g} of full scale, in any repeat",
        condition=condition,
        point=point,
        playing=playing,
        seat=seat,
        channel=channel,
        programme=programme,
        caveats=("no interval: the longest of the repeats",),
    )


@hookimpl
def fairhearing_analysers() -> list[Analyser]:
    """The analyser of this module."""
    return [LongestSilenceAnalyser()]
