"""Chart of the level that each chain as written gives over frequency, against its passband."""

from __future__ import annotations

import numpy as np

from fairhearing.acoustics.network import line_corner_hz, line_passband_db, line_response
from fairhearing.acoustics.wiring import channels_of, line_network
from fairhearing.api import Axis, ChartRequest, Rule, Session

_FREQUENCY_HZ = np.geomspace(5.0, 2_000.0, 121)


def chain_chart(session: Session) -> tuple[ChartRequest, ...]:
    """A line for each condition (and channel that is set apart) whose filter can be told; none without any."""
    frequencies: list[float] = []
    levels_db: list[float] = []
    lines: list[str] = []
    corners: list[str] = []
    for condition in session.conditions:
        for channel in channels_of(condition.chain):
            network = line_network(condition.chain, channel)
            if network is None or network.capacitance_f is None:
                continue
            name = condition.label if channel is None else f"{condition.label}, {channel}"
            level_db = 20.0 * np.log10(np.abs(line_response(_FREQUENCY_HZ, network))) - line_passband_db(network)
            frequencies += _FREQUENCY_HZ.tolist()
            levels_db += level_db.tolist()
            lines += [name] * len(level_db)
            corners.append(f"{name} {line_corner_hz(network):.1f} Hz")
    if not lines:
        return ()
    return (
        ChartRequest(
            name="chain",
            title="What the chain as written takes from the bass",
            alternative=f"Level over frequency against the passband; 3.01 dB down: {'; '.join(corners)}.",
            form="line",
            data={"frequency": frequencies, "level": levels_db, "condition": lines},
            x=Axis(column="frequency", label="Frequency", unit="Hz", scale="log"),
            y=Axis(column="level", label="Level", unit="dB"),
            series="condition",
            rules=(Rule(at=0.0),),
        ),
    )
