"""Write the made-up sessions and what is true of them: python sample_sessions/make.py [--into FOLDER].

Seven session folders and truth.json come out, the same bytes each time with the same numpy. Nothing here shares code
or a formula with fairhearing: the filter is solved node by node (electrical.py), the rooms are sums of damped
resonances (rooms.py), bands are summed by brute force from exact curves without noise (truth.py), listeners answer
with known probabilities (listeners.py). scenarios.py holds the figures, manifests.py the words, writing.py the files.
recordings.py makes the one session of sound files, gradings.py the one in which settings are rated, planned.py the one
in which a listening was planned, sealed, answered and opened.

truth.json: {"format": 1, "sessions": {session id: truth}, "recorded": {session id: truth},
"graded": {session id: truth}, "planned": {session id: truth}}, dB and Hz in the keys, changes always treatment minus
reference. For each of `sessions`:

folder, reference, treatment    where it lies; the ids of its two conditions
filter                          null where the chain names no filter, else
    corner_hz                   3.01 dB point of treatment over reference below its passband
    line_corner_hz              the same of the treatment's line alone, load and cable included (what the chain gives)
    expected_corner_hz          what is meant, by the manifest
    corner_ratio, error_octaves     corner_hz over expected_corner_hz, and its logarithm to base 2
    passband_gain_db            largest level of treatment over reference (trim not included)
    load_ohm, setting_ohm       what the amplifier presents; what the filter is set for
    verdict                     as-set or mis-set, by 0.4 octaves
level_difference_db             mid-band change (1000-4000 Hz), trim included
    amplifier-output            null where it was not measured there
    seats, over_seats           by seat (mean over channels); mean by the seats' weights
guard_band                      largest_change_db and nominal_hz: over seats, mid-band change taken out, 500-10000 Hz
band_level_change_db            playing -> seat -> nominal frequency -> change, mean over channels
bass                            null where what was measured can say nothing of it (bass given back, no subwoofer), else
    playing                     what was playing: both where that was measured, else main
    seats                       better, unchanged, worse: lists of seats by target deviation and 0.5 dB
    target_deviation_db         root mean square over 20-200 Hz against flat, the level fixed at 1000-4000 Hz
        seats -> seat           each condition's (mean over channels), change, verdict; by_channel: condition, channel
        over_seats_change       mean by the seats' weights
    shape_deviation_db          the same with the level fixed in the bass band itself
    seat_spread_db              each condition's and change: standard deviation over seats, root mean square over bands
listening                       null where nobody listened, else
    detection_probability       of a right answer, the same for every listener and trial
    drawn_right                 share of right answers in the sheet; n_identification_listeners, n_identification_trials
    preference_share            expected share for the treatment, none counted as half
    drawn_preference            share in the sheet; n_preference_listeners, n_preference_trials (for each listener)
balance                         the right answer: gain, no-gain, mixed or undecided

For the one of `recorded`, at the amplifier's terminals, without what noise, offset and rounding add:

corner_hz, expected_corner_hz, corner_ratio     as above
offset_v                        steady voltage in the recordings of each condition
second_harmonic_db              of the loudspeaker, re the fundamental, at the sweep's peak
programmes -> programme
    subsonic_level_change_db    energy from 0.5 to 20 Hz
    subsonic_share              of each condition: that energy over the energy from 0.5 Hz to 0.45 of the sample rate
    rms_v, peak_v               of each condition
    level_change_db, peak_change_db
    share_below_corner          of the reference's energy

For the one of `graded`: n_listeners, and for each of `conditions` against the reference

rating_difference               expected over listeners, programmes and both orders; rating_difference_by_programme
level_difference_db             mid-band change at the amplifier's output; bass_change_db over 20-200 Hz
target_deviation_change_db      by seat, as above
balance                         the right answer

For the one of `planned`, of whose listening order, plan, seal, sheets and opened files lie in the folder `listening`:

corner_hz, expected_corner_hz, level_difference_db, balance     as above
target_deviation_change_db      at its one seat
probability_right               of a right answer in a scored trial, the same for all; probability_right_in_control
commitment                      of the seal
n_right_at_first_look           among the scored trials that the first look counts
drawn                           of scored, control, sham: n_right; trials planned, played, answered, excluded, scored
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from gradings import FOLDER as GRADED_FOLDER
from gradings import ID as GRADED_ID
from gradings import graded_files, graded_truth
from listeners import Row, identification, preferences, share_preferred, share_right
from planned import FOLDER as PLANNED_FOLDER
from planned import ID as PLANNED_ID
from planned import planned_files, planned_truth
from recordings import FOLDER as RECORDED_FOLDER
from recordings import ID as RECORDED_ID
from recordings import recorded_files, recorded_truth
from rooms import generator
from scenarios import Scenario, scenarios
from truth import (
    NOMINAL_HZ,
    bass_truth,
    changes_by_seat,
    filter_truth,
    guard_truth,
    level_truth,
    levels_at_seats,
)
from writing import session_files, write_files

DECIMALS = 4
CORNER_TOLERANCE_OCTAVES = 0.4


def sheets_of(scenario: Scenario) -> dict[str, list[Row]]:
    """Score sheets of a session, by name."""
    sheets = {}
    if scenario.identification is not None:
        rng = generator(scenario.id, "identification")
        sheets["identification"] = identification(scenario.identification, scenario.conditions, rng)
    if scenario.preference is not None:
        rng = generator(scenario.id, "preference")
        sheets["preference"] = preferences(scenario.preference, scenario.reference, scenario.treatment, rng)
    return sheets


def listening_truth(scenario: Scenario, sheets: dict[str, list[Row]]) -> dict[str, Any] | None:
    """What the listeners are like, and what was drawn from them."""
    if scenario.identification is None or scenario.preference is None:
        return None
    return {
        "detection_probability": scenario.identification.detection,
        "drawn_right": share_right(sheets["identification"]),
        "n_identification_listeners": scenario.identification.n_listeners,
        "n_identification_trials": scenario.identification.n_trials,
        "preference_share": scenario.preference.preference,
        "drawn_preference": share_preferred(sheets["preference"], scenario.treatment),
        "n_preference_listeners": scenario.preference.n_listeners,
        "n_preference_trials": scenario.preference.n_trials,
    }


def truth_of(scenario: Scenario, sheets: dict[str, list[Row]]) -> dict[str, Any]:
    """All that is true of a session."""
    measured = ("main", "both") if scenario.subwoofer_measured else ("main",)
    levels = {playing: levels_at_seats(scenario, playing) for playing in measured}
    changes = {playing: changes_by_seat(scenario, levels[playing]) for playing in measured}
    of_filter = filter_truth(scenario)
    if of_filter is not None:
        within = abs(of_filter["error_octaves"]) <= CORNER_TOLERANCE_OCTAVES
        of_filter["verdict"] = "as-set" if within else "mis-set"
    return {
        "folder": scenario.folder,
        "reference": scenario.reference,
        "treatment": scenario.treatment,
        "filter": of_filter,
        "level_difference_db": level_truth(scenario, changes[scenario.heard]),
        "guard_band": guard_truth(scenario, changes[scenario.heard]),
        "band_level_change_db": {
            playing: {seat: dict(zip(NOMINAL_HZ, change, strict=True)) for seat, change in by_seat.items()}
            for playing, by_seat in changes.items()
        },
        "bass": bass_truth(scenario, levels[scenario.heard]) if scenario.claims_target else None,
        "listening": listening_truth(scenario, sheets),
        "balance": scenario.balance,
    }


def rounded(value: object) -> object:
    """The same with every real number rounded; no minus stands before a zero."""
    if isinstance(value, dict):
        return {key: rounded(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [rounded(inner) for inner in value]
    return round(float(value), DECIMALS) + 0.0 if isinstance(value, float) else value


def make(into: Path) -> None:
    """Write all sessions and truth.json below the folder."""
    truths = {}
    for scenario in scenarios():
        sheets = sheets_of(scenario)
        write_files(into / scenario.folder, session_files(scenario, sheets))
        truths[scenario.id] = truth_of(scenario, sheets)
    write_files(into / RECORDED_FOLDER, recorded_files())
    write_files(into / GRADED_FOLDER, graded_files())
    write_files(into / PLANNED_FOLDER, planned_files())
    whole = {
        "format": 1,
        "sessions": truths,
        "recorded": {RECORDED_ID: recorded_truth()},
        "graded": {GRADED_ID: graded_truth()},
        "planned": {PLANNED_ID: planned_truth()},
    }
    write_files(into, {"truth.json": json.dumps(rounded(whole), indent=1, sort_keys=True) + "\n"})


def main() -> None:
    """Read the command line and write."""
    parser = argparse.ArgumentParser(description="Write the made-up sessions and what is true of them.")
    parser.add_argument("--into", type=Path, default=Path(__file__).parent, metavar="FOLDER")
    make(parser.parse_args().into)


if __name__ == "__main__":
    main()
