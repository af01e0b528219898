"""A session of gradings: a bass contour control at two settings against straight, rated by a panel on BS.1284's scale.

What a listener would say without noise is known for each setting and programme; the expected rating after noise, limits
and rounding is summed exactly from the normal distribution, so that the truth is not what was drawn.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from listeners import Row, code
from rooms import Complex, Loudspeaker, Real, Room, Scatter, air_and_furniture, generator, ringing, take
from rooms import second_order_high_pass as roll_off
from scenarios import AMPLIFIER_GAIN_DB, MIDS_DB, Table
from truth import BASS_HZ, MIDBAND_HZ, band_levels_db, bands_of, deviation_db
from writing import AMPLIFIER_SCATTER, AMPLIFIER_TABLE, frequencies_hz, response_text, score_text

ID = "orchard-studio-2026-09-19"
FOLDER = "contour-graded"
REFERENCE = "straight"
SETTINGS = ("gentle", "full")
CONDITIONS = (REFERENCE, *SETTINGS)
LABELS = {"straight": "Contour at zero", "gentle": "Contour at three", "full": "Contour at ten"}
# A shelf: so many decibels more far below the frequency.
SHELF_HZ = 70.0
SHELF_DB = {"straight": 0.0, "gentle": 3.5, "full": 11.0}

ROOM = Room(id="orchard-studio", size_m=(5.6, 4.3, 2.5), temperature_c=20.0, strength=0.35, sharpness=5.0)
LOUDSPEAKER = Loudspeaker(position_m=(0.8, 1.4, 1.0), low_hz=36.0)
SEATS = {"desk": (2.9, 2.1, 1.2), "couch": (4.2, 2.6, 1.0)}
N_REPEATS, N_AMPLIFIER_REPEATS = 4, 3
SCATTER = Scatter(placement_db=0.15, take_db=0.05, ambient_db=MIDS_DB - 45.0)
TABLE = Table(suffix="csv", delimiter=",", decimal=".", columns=("Hz", "dB"))

N_LISTENERS = 12
PROGRAMMES = ("harmonium", "hand-drums", "reading")
# Better than straight, in grades, before noise and limits: a voice alone shows hardly anything of the bass.
LIKED = {
    "gentle": {"harmonium": 1.1, "hand-drums": 1.3, "reading": 0.3},
    "full": {"harmonium": -0.6, "hand-drums": -0.9, "reading": -1.2},
}
LISTENER_SD, TRIAL_SD = 0.35, 0.7
SECOND_SEEMS_BETTER = 0.1
LIMIT, STEPS = 3.0, 10  # the scale's end; steps in a grade


def contour(condition: str, frequency_hz: Real) -> Complex:
    """The shelf: first order, 1 far above its frequency."""
    gain = 10 ** (SHELF_DB[condition] / 20)
    return np.asarray((gain + 1j * frequency_hz / SHELF_HZ) / (1 + 1j * frequency_hz / SHELF_HZ))


def at_seat(condition: str, seat: str, frequency_hz: Real) -> Complex:
    """True complex sound pressure, 20 lg of its size being the level in dB."""
    sound = contour(condition, frequency_hz) * roll_off(frequency_hz, LOUDSPEAKER.low_hz, LOUDSPEAKER.low_sharpness)
    sound = sound * ringing(ROOM, LOUDSPEAKER.position_m, SEATS[seat], frequency_hz)
    own_db = MIDS_DB + air_and_furniture(frequency_hz, generator(ID, "air", seat))
    return np.asarray(sound * 10 ** (own_db / 20))


def measured_files() -> dict[str, str]:
    """Takes at the seats and at the amplifier's output."""
    files = {}
    frequency_hz = frequencies_hz()
    for condition in CONDITIONS:
        for seat in SEATS:
            for repeat in range(1, N_REPEATS + 1):
                name = f"responses/{seat}_{condition}_{repeat}.csv"
                measured = take(at_seat(condition, seat, frequency_hz), frequency_hz, SCATTER, generator(ID, name))
                files[name] = response_text(TABLE, frequency_hz, measured, 2)
        for repeat in range(1, N_AMPLIFIER_REPEATS + 1):
            name = f"amplifier/{condition}_{repeat}.csv"
            exact = contour(condition, frequency_hz) * 10 ** (AMPLIFIER_GAIN_DB / 20)
            measured = take(exact, frequency_hz, AMPLIFIER_SCATTER, generator(ID, name))
            files[name] = response_text(AMPLIFIER_TABLE, frequency_hz, measured, 3)
    return files


def ratings() -> list[Row]:
    """Each listener rates each setting against straight with each programme, once each way round."""
    rng = generator(ID, "ratings")
    rows: list[Row] = []
    for listener in range(1, N_LISTENERS + 1):
        own = {setting: rng.normal(0.0, LISTENER_SD) for setting in SETTINGS}
        trials = [(s, p, second) for s in SETTINGS for p in PROGRAMMES for second in (True, False)]
        for trial, index in enumerate(rng.permutation(len(trials)), 1):
            setting, programme, setting_is_second = trials[int(index)]
            liked = LIKED[setting][programme] + own[setting]
            mean = (liked if setting_is_second else -liked) + SECOND_SEEMS_BETTER
            grade = round(min(LIMIT, max(-LIMIT, rng.normal(mean, TRIAL_SD))) * STEPS) / STEPS
            pair = (REFERENCE, setting) if setting_is_second else (setting, REFERENCE)
            rows.append(
                {
                    "listener": code(listener),
                    "trial": str(trial),
                    "programme": programme,
                    "seat": "desk",
                    "first": pair[0],
                    "second": pair[1],
                    "rating": f"{grade + 0.0:.1f}",
                }
            )
    return rows


def expected_grade(mean: float, sd: float) -> float:
    """Mean of a normal grade cut at the ends of the scale and rounded to its steps."""

    def below(grade: float) -> float:
        return 0.5 * (1 + math.erf((grade - mean) / (sd * math.sqrt(2))))

    steps = [step / STEPS for step in range(round(-LIMIT * STEPS), round(LIMIT * STEPS) + 1)]
    total = 0.0
    for grade in steps:
        low = 0.0 if grade == steps[0] else below(grade - 0.5 / STEPS)
        high = 1.0 if grade == steps[-1] else below(grade + 0.5 / STEPS)
        total += grade * (high - low)
    return total


def expected_difference(setting: str, programme: str) -> float:
    """Expected rating of the setting relative to straight, over listeners and both orders."""
    sd = math.hypot(LISTENER_SD, TRIAL_SD)
    liked = LIKED[setting][programme]
    return (expected_grade(liked + SECOND_SEEMS_BETTER, sd) - expected_grade(-liked + SECOND_SEEMS_BETTER, sd)) / 2


def graded_truth() -> dict[str, Any]:
    """All that is true of the session."""
    truth: dict[str, Any] = {"folder": FOLDER, "reference": REFERENCE, "n_listeners": N_LISTENERS, "conditions": {}}
    levels = {(c, s): band_levels_db(lambda f, c=c, s=s: at_seat(c, s, f)) for c in CONDITIONS for s in SEATS}
    electrical = {c: band_levels_db(lambda f, c=c: contour(c, f)) for c in CONDITIONS}
    for setting in SETTINGS:
        by_programme = {programme: expected_difference(setting, programme) for programme in PROGRAMMES}
        shelf = electrical[setting] - electrical[REFERENCE]
        truth["conditions"][setting] = {
            "rating_difference": sum(by_programme.values()) / len(by_programme),
            "rating_difference_by_programme": by_programme,
            "level_difference_db": float(np.mean(shelf[bands_of(MIDBAND_HZ)])),
            "bass_change_db": float(np.mean(shelf[bands_of(BASS_HZ)])),
            "target_deviation_change_db": {
                seat: deviation_db(levels[setting, seat], MIDBAND_HZ)
                - deviation_db(levels[REFERENCE, seat], MIDBAND_HZ)
                for seat in SEATS
            },
            "balance": {"gentle": "gain", "full": "no-gain"}[setting],
        }
    return truth


def graded_files() -> dict[str, str]:
    """Every file of the session: name relative to its folder, text."""
    return {"session.toml": MANIFEST, **measured_files(), "scores/ratings.csv": score_text(ratings(), ",")}


MANIFEST = f"""\
# How much better is it, and does more of it help more?
#
# In the orchard studio a small loudspeaker stands with a bass contour control beside its volume control. The one
# change: the control at three, and at ten, against zero. Twelve people rate each setting against zero with three
# programmes, once each way round, not knowing which is which: the second relative to the first, from -3 (much worse)
# to 3 (much better).
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: a bass control at its end asks for stroke and power. Keep the level moderate, and let people leave when they
# like.

format = 1

[session]
id = "{ID}"
date = 2026-09-19
question = "Does the bass contour help at the desk, and how much of it?"

[room]
id = "{ROOM.id}"
size_m = [{", ".join(str(side) for side in ROOM.size_m)}]
temperature_c = {ROOM.temperature_c}

[conditions.straight]
reference = true
label = "{LABELS["straight"]}"

[conditions.gentle]
label = "{LABELS["gentle"]}"

[conditions.full]
label = "{LABELS["full"]}"

[seats.desk]
position_m = [{", ".join(str(side) for side in SEATS["desk"])}]

[seats.couch]
position_m = [{", ".join(str(side) for side in SEATS["couch"])}]

# The microphone was taken away and put back before each take.
[[measurements]]
files = "responses/{{seat}}_{{condition}}_{{repeat}}.csv"
repeats = "replaced"

# Voltage at the amplifier's output over the source's: shows that the level in the mids was left alone.
[[measurements]]
files = "amplifier/{{condition}}_{{repeat}}.csv"
point = "amplifier-output"

# A scale that can say better: not the impairment scale, which can only say worse.
[[scores]]
files = "scores/ratings.csv"
method = "grading"
scale = "comparison"

[listening]
switching = "relay"                       # in a box behind a curtain, the same click at every trial
gap_s = 1.0
gap_equal = true
operator_blind = true                     # a computer drew the order and worked the relays
operator_screened = true
switch_check = "twelve trials of straight against straight: five of twelve named a difference"
switch_check_passed = true

[criteria]
# There is no filter here: nothing can be set as meant or otherwise.
require = ["untouched", "no-seat-worse"]
benefit = ["better"]
"""
