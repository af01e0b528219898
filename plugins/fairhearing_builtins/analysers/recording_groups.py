"""What analysers of recordings share: repeats gathered, what a sample stands for, the finding and the chart of each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fairhearing.api import Axis, ChartRequest, Finding, Inputs, Recording

REFERENCE_PRESSURE_PA = 20e-6  # ISO 1683
FULL_SCALE_SINE = 0.5  # mean square of the sine that AES17 calls 0 dBFS
LARGEST_SAMPLE = 1 - 2.0**-15  # the largest positive one of 16 bits
NO_INTERVAL = "one pass, no interval"
SILENT = "every sample is zero: silence has no level"
LEVEL_NAMES = {"dB": "20 µPa", "dBV": "1 V", "dBFS": "a full-scale sine (AES17)"}
PEAK_NAMES = {"dB": "20 µPa", "dBV": "1 V", "dBFS": "full scale"}

Group = tuple[str, str, str | None, str | None, str | None, str | None]


def grouped(recordings: Iterable[Recording]) -> list[list[Recording]]:
    """The repeats of each place, condition, channel and programme, in the order of these names."""
    groups: dict[Group, list[Recording]] = {}
    for one in sorted(recordings, key=lambda r: (r.repeat, r.path)):
        group = (one.point, one.playing, one.seat, one.condition, one.channel, one.programme)
        groups.setdefault(group, []).append(one)
    return [groups[group] for group in sorted(groups, key=lambda group: [part or "" for part in group])]


def unit_of(recording: Recording) -> str:
    """The unit of levels: dB where the pressure of full scale is known, dBV the voltage, dBFS neither."""
    if recording.full_scale_pa is not None:
        return "dB"
    return "dBV" if recording.full_scale_v is not None else "dBFS"


def full_scale(recording: Recording) -> float:
    """What a sample of 1.0 is, in pascal or volt; 1 if that is not known."""
    return recording.full_scale_pa or recording.full_scale_v or 1.0


def scale_of(recording: Recording) -> float:
    """What a sample of 1.0 is, in what 0 dB of a peak is: 20 µPa, 1 V or full scale."""
    return full_scale(recording) / (REFERENCE_PRESSURE_PA if unit_of(recording) == "dB" else 1.0)


def zero_level_power(unit: str) -> float:
    """The mean square that is 0 dB, of samples that `scale_of` was applied to."""
    return FULL_SCALE_SINE if unit == "dBFS" else 1.0


def finding_of(
    recordings: Sequence[Recording], quantity: str, value: float | None, unit: str, method: str, caveats: Sequence[str]
) -> Finding:
    """A finding of one group, without an interval."""
    first = recordings[0]
    return Finding(
        quantity=quantity,
        value=value,
        unit=unit,
        method=method,
        n=len(recordings),
        condition=first.condition,
        point=first.point,
        playing=first.playing,
        seat=first.seat,
        channel=first.channel,
        programme=first.programme,
        caveats=(*caveats, NO_INTERVAL),
    )


def chart_of(
    inputs: Inputs, shown: Sequence[Finding], unit: str, *, name: str, title: str, column: str, label: str, said: str
) -> ChartRequest:
    """Values by place and programme, coloured by condition. `said`: what they are, for who cannot see the chart."""
    labels = {condition.id: condition.label for condition in inputs.session.conditions}
    # Conditions as session.toml has them: so each has one colour in all charts.
    rank = {name: index for index, name in enumerate(labels)}
    shown = sorted(shown, key=lambda finding: rank.get(finding.condition or "", len(rank)))
    conditions = [labels.get(finding.condition or "", "") for finding in shown]
    return ChartRequest(
        name=name,
        title=title,
        alternative=(
            f"{said} of {len(shown)} recordings in {unit}, by place and programme, for "
            f"{' and '.join(dict.fromkeys(conditions))}."
        ),
        form="interval",
        data={
            "place": [place_of(finding) for finding in shown],
            column: [finding.value for finding in shown],
            "condition": conditions,
        },
        x=Axis(column=column, label=label, unit=unit),
        y=Axis(column="place", label="", scale="category"),
        series="condition",
    )


def place_of(finding: Finding) -> str:
    """Where, through which channel and of what a finding is, in words."""
    parts = (
        finding.seat if finding.point == "seat" else str(finding.point).replace("-", " "),
        finding.channel,
        finding.programme,
        None if finding.playing == "main" else f"playing {finding.playing}",
    )
    return ", ".join(part for part in parts if part is not None)
