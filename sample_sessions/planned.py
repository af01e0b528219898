"""A planned listening that was sealed, answered and opened: does anybody hear a capacitor ahead of an amplifier?

Every listener has the same known chance of a right answer. The order comes from a seed (drawn_orders.py) and is sealed
with plan and criteria (sealed_plans.py); what the sheets say is joined with it (planned_sheets.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from drawn_orders import GENERATOR, order_of
from electrical import Line, corner_hz, line_transfer
from planned_sheets import Sheets, opened_files, returned_files
from rooms import Complex, Loudspeaker, Real, Room, Scatter, air_and_furniture, generator, ringing, take
from rooms import second_order_high_pass as roll_off
from scenarios import AMPLIFIER_GAIN_DB, MIDS_DB, Table
from sealed_plans import looks_at, packed_key, readable, seal, sha256
from truth import MIDBAND_HZ, band_levels_db, bands_of, deviation_db
from writing import AMPLIFIER_SCATTER, AMPLIFIER_TABLE, frequencies_hz, response_text

ID = "quarry-cottage-2026-10-17"
FOLDER = "filter-heard-planned"
PLAN_FOLDER = "listening"
REFERENCE, TREATMENT = CONDITIONS = ("wire", "capacitor")
DESIGN_CORNER_HZ = 27.0
CAPACITANCE_NF, AMPLIFIER_KOHM, SOURCE_OHM, CABLE_PF = 270.0, 21.6, 220.0, 600.0
WIRING = {
    "source_output_ohm": SOURCE_OHM,
    "amplifier_input_ohm": AMPLIFIER_KOHM * 1e3,
    "cable_farad": CABLE_PF * 1e-12,
}
LINES = {
    REFERENCE: Line(**WIRING),
    TREATMENT: Line(**WIRING, capacitor_farad=CAPACITANCE_NF * 1e-9),
}
ROOM = Room(id="quarry-cottage", size_m=(5.1, 4.0, 2.4), temperature_c=19.5, strength=0.3, sharpness=5.0)
LOUDSPEAKER = Loudspeaker(position_m=(0.7, 1.2, 0.9), low_hz=38.0)
SEAT, SEAT_M = "bench", (3.4, 2.2, 1.1)
N_REPEATS = 3
SCATTER = Scatter(placement_db=0.12, take_db=0.05, ambient_db=MIDS_DB - 45.0)
TABLE = Table(suffix="csv", delimiter=";", decimal=",", columns=("Hz", "dB"))

# A made-up seed and salt, so that the program writes the same files again: real ones come from the system's randomness.
SEED, SALT = sha256(f"{ID}, seed".encode()), sha256(f"{ID}, salt".encode())
HEARS = 0.24  # probability that a listener hears the change in a trial; who hears nothing guesses
RIGHT = HEARS + (1 - HEARS) / 2
RIGHT_IN_CONTROL = 0.97
N_LISTENERS, N_TRIALS = 8, 16
CRITERIA: dict[str, Any] = {
    "bass_band_hz": [20.0, 200.0],
    "target": "flat",
    "guard_band_hz": [500.0, 10000.0],
    "guard_db": 0.5,
    "level_tolerance_db": 0.1,
    "level_measure": "midband",
    "corner_tolerance_octaves": 0.4,
    "smallest_change_db": 0.5,
    "placement_sd_db": 0.3,
    "min_snr_db": 15.0,
    "alpha": 0.05,
    "confidence": 0.95,
    "require": ["as-set", "untouched"],
    "benefit": ["improved", "preferred", "better", "relief"],
    "relief_db": 1.0,
}
PLAN: dict[str, Any] = {
    "format": 1,
    "question": "heard",
    "method": "abx",
    "scale": None,
    "conditions": list(CONDITIONS),
    "condition": TREATMENT,
    "reference": REFERENCE,
    "alpha": CRITERIA["alpha"],
    "power": 0.8,
    "effect": 0.65,
    "margin": None,
    "listeners": [f"L{number}" for number in range(1, N_LISTENERS + 1)],
    "n_trials": N_TRIALS,
    "n_practice": 3,
    "n_sham": 4,
    "n_control": 5,  # all right by guessing in one of 32: fewer could not show that anybody hears the control
    "control": "bass 6 dB down",
    "looks": looks_at([N_LISTENERS * N_TRIALS // 2, N_LISTENERS * N_TRIALS], CRITERIA["alpha"]),
    "spending": "obrien-fleming",
    "programmes": ["double-bass", "footsteps"],
    "seats": [SEAT],
    "block_trials": 17,  # a quarter of an hour
    "trial_s": 46.0,
    "switching_s": 2.0,
    "break_s": 300.0,
    "minutes": None,
}
# What went otherwise than planned, by listener and the scored trial's place among that listener's own.
EXCLUDED = {("L5", 11): "a lorry drove past"}
NOT_PLAYED = {("L3", 13): "the amplifier had switched itself off"}
NOT_WRITTEN = "L8"  # whoever switched filled in nothing for this one


def at_seat(condition: str, frequency_hz: Real) -> Complex:
    """True complex sound pressure, 20 lg of its size being the level in dB."""
    sound = line_transfer(LINES[condition], frequency_hz)
    sound = sound * roll_off(frequency_hz, LOUDSPEAKER.low_hz, LOUDSPEAKER.low_sharpness)
    sound = sound * ringing(ROOM, LOUDSPEAKER.position_m, SEAT_M, frequency_hz)
    own_db = MIDS_DB + air_and_furniture(frequency_hz, generator(ID, "air", SEAT))
    return np.asarray(sound * 10 ** (own_db / 20))


def at_amplifier(condition: str, frequency_hz: Real) -> Complex:
    """True complex voltage at the amplifier's output over the source's."""
    return line_transfer(LINES[condition], frequency_hz) * 10 ** (AMPLIFIER_GAIN_DB / 20)


def measured_files() -> dict[str, str]:
    """Takes at the seat and at the amplifier's output."""
    files = {}
    frequency_hz = frequencies_hz()
    for condition in CONDITIONS:
        for repeat in range(1, N_REPEATS + 1):
            name = f"responses/{SEAT}_{condition}_{repeat}.csv"
            measured = take(at_seat(condition, frequency_hz), frequency_hz, SCATTER, generator(ID, name))
            files[name] = response_text(TABLE, frequency_hz, measured, 2)
            name = f"amplifier/{condition}_{repeat}.csv"
            exact = at_amplifier(condition, frequency_hz)
            measured = take(exact, frequency_hz, AMPLIFIER_SCATTER, generator(ID, name))
            files[name] = response_text(AMPLIFIER_TABLE, frequency_hz, measured, 3)
    return files


def heard(order: Sequence[dict[str, Any]]) -> Sheets:
    """What everybody wrote down: all hear the change equally often, and guess where they do not; shams are guessed."""
    sheets = Sheets(order=order, n_at_look=N_TRIALS // 2)
    nth: dict[str, int] = {}
    for index, trial in enumerate(order):
        listener = trial["listener"]
        if trial["part"] == "scored":
            nth[listener] = nth.get(listener, 0) + 1
        place = (listener, nth.get(listener, 0)) if trial["part"] == "scored" else None
        rng = generator(ID, "choice", listener, trial["trial"])
        chance = {"sham": 0.5, "control": RIGHT_IN_CONTROL}.get(trial["part"], RIGHT)
        x_is_first = trial["cells"]["x"] == trial["cells"]["first"]
        sheets.answers[index] = "A" if x_is_first == bool(rng.random() < chance) else "B"
        if place in EXCLUDED:
            sheets.excluded[index] = EXCLUDED[place]
        if place in NOT_PLAYED:
            sheets.not_played[index] = NOT_PLAYED[place]
        if listener == NOT_WRITTEN:
            sheets.not_written.add(index)
    return sheets


KEY: dict[str, Any] = {"format": 1, "generator": GENERATOR, "seed": SEED, "trials": order_of(PLAN, SEED)}
SEAL = seal(KEY, CRITERIA, PLAN, SALT)


def plan_files() -> dict[str, str]:
    """The plan's folder as it lies there now: sealed, answered, looked at once, opened."""
    sheets = heard(KEY["trials"])
    returned = returned_files(sheets, SEAL["commitment"])
    at_look = {name: sha256(text.encode()) for name, text in sheets_at_look().items()}
    taken = {"look": 1, "n_trials": PLAN["looks"][0]["n_trials"], "ended": False, "sheets_sha256": at_look}
    files = {
        "plan.json": readable(PLAN),
        "seal.json": readable(SEAL),
        "key/sealed-key.json": packed_key(KEY, SALT),
        **returned,
        "looks.json": readable({"format": 1, "commitment": SEAL["commitment"], "looks": [taken]}),
        **opened_files(sheets, SEAL["commitment"], returned),
    }
    return {f"{PLAN_FOLDER}/{name}": text for name, text in files.items()}


def sheets_at_look() -> dict[str, str]:
    """The sheets as they were at the first look, when everybody had come once."""
    return returned_files(heard(KEY["trials"]), SEAL["commitment"], until_look=True)


def planned_truth() -> dict[str, Any]:
    """All that is true of the session."""
    levels = {condition: band_levels_db(lambda f, c=condition: at_seat(c, f)) for condition in CONDITIONS}
    electrical = {condition: band_levels_db(lambda f, c=condition: at_amplifier(c, f)) for condition in CONDITIONS}
    change = electrical[TREATMENT] - electrical[REFERENCE]
    deviation = {condition: deviation_db(levels[condition], MIDBAND_HZ) for condition in CONDITIONS}
    sheets = heard(KEY["trials"])
    return {
        "folder": FOLDER,
        "reference": REFERENCE,
        "treatment": TREATMENT,
        "corner_hz": corner_hz(LINES[TREATMENT], LINES[REFERENCE]),
        "expected_corner_hz": DESIGN_CORNER_HZ,
        "level_difference_db": float(np.mean(change[bands_of(MIDBAND_HZ)])),
        "target_deviation_change_db": deviation[TREATMENT] - deviation[REFERENCE],
        "probability_right": RIGHT,
        "probability_right_in_control": RIGHT_IN_CONTROL,
        "commitment": SEAL["commitment"],
        "n_right_at_first_look": sheets.n_right("scored", until_look=True),
        "drawn": {
            part: {"n_right": sheets.n_right(part), **sheets.flow(part)} for part in ("scored", "control", "sham")
        },
        "balance": "undecided",
    }


def planned_files() -> dict[str, str]:
    """Every file of the session: name relative to its folder, text."""
    return {"session.toml": MANIFEST, **measured_files(), **plan_files()}


MANIFEST = f"""\
# Does anybody hear it?
#
# In the quarry cottage a capacitor stands ahead of the amplifier and keeps the lowest bass from two small
# loudspeakers, which have none of it to give. The one change: the capacitor in, or a wire in its place. Before anybody
# listened it was planned how many trials it takes, when to look, and what decides; order, criteria and plan were
# sealed; the line that the seal gives was sent to somebody who took no part. Then eight people listened, X against A
# and B. One look was taken at half, as planned; it said to go on. One trial was not played, and one was left out
# because of a lorry.
#
# fairhearing verify computes the seal and all that was opened anew. Try to change one answer, and ask again.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: switch everything off and let the supplies discharge before a cable is moved. Keep the level moderate, and let
# people leave when they like.

format = 1

[session]
id = "{ID}"
date = {ID[-10:]}
question = "Does anybody hear the capacitor at the bench?"

[room]
id = "{ROOM.id}"
size_m = [{", ".join(str(side) for side in ROOM.size_m)}]
temperature_c = {ROOM.temperature_c}

[chain]                                   # as it is with the capacitor in
design_corner_hz = {DESIGN_CORNER_HZ}
setting_kohm = 22.0
capacitance_nf = {CAPACITANCE_NF}
amplifier_input_kohm = {AMPLIFIER_KOHM}
source_output_ohm = {SOURCE_OHM}
cable_capacitance_pf = {CABLE_PF}
bass_given_back = false                   # nothing else plays

[conditions.{REFERENCE}]
reference = true
label = "Wire in its place"

[conditions.{TREATMENT}]
label = "Capacitor in"

[seats.{SEAT}]
position_m = [{", ".join(str(side) for side in SEAT_M)}]

# The microphone was taken away and put back before each take.
[[measurements]]
files = "responses/{{seat}}_{{condition}}_{{repeat}}.csv"
repeats = "replaced"

# Voltage at the amplifier's output over the source's: where the corner is, and that the level was left alone.
[[measurements]]
files = "amplifier/{{condition}}_{{repeat}}.csv"
point = "amplifier-output"

# The folder that fairhearing plan wrote and fairhearing unseal opened. It brings its own sheets: no [[scores]] here.
[listening]
plan = "{PLAN_FOLDER}"
switching = "relay"
gap_s = 0.5
gap_equal = true
operator_blind = false                    # whoever switches reads from the sheet what to play
operator_screened = true                  # and sits behind a curtain
switch_check = "sixteen trials of wire against wire in an empty room: the relay was told apart in seven"
switch_check_passed = true

# Sealed with the plan: whoever changes a line here now breaks the seal.
[criteria]
alpha = {CRITERIA["alpha"]}
confidence = {CRITERIA["confidence"]}
require = ["as-set", "untouched"]
"""
