"""The words of each session.toml: the story for a first-time reader; every figure comes from the scenario."""

from __future__ import annotations

from string import Template

from scenarios import Scenario

FILTER_AS_SET = """\
# A filter that sits where it should.
#
# In the alder loft two large loudspeakers and a subwoofer play together. Both reach down to 20 Hz, so below 70 Hz
# the bass comes twice and is too loud. The one change: a small box with a capacitor in series with each input of
# the power amplifier. With the amplifier's own input resistance it makes a first-order high-pass; the subwoofer,
# left exactly as it was, gives back what the box takes. Everything else stayed where it was.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: switch everything off and let the supplies discharge before a box or a cable is moved. Keep test signals
# moderate: low tones at high level harm loudspeakers and hearing. The inside of an amplifier is for licensed people.

format = 1

[session]
id = "$id"
date = 2026-03-14
question = "Does the high-pass bring the bass at our three places nearer to flat, and do we like it better?"

[room]
id = "$room"
size_m = $size              # length, width, height
temperature_c = $temperature

[chain]                                   # as it is with the filter in
design_corner_hz = $corner                   # the corner that is meant
setting_kohm = $setting                       # the load that the box is set for
capacitance_nf = $capacitance                     # the stock value nearest to what corner and setting ask for
amplifier_input_kohm = $input               # what the amplifier really presents: measured, not read off a data sheet
source_output_ohm = $source                 # the player with its protective resistor; in the line in both conditions
cable_capacitance_pf = $cable             # ten metres of cable between box and amplifier
loudspeaker_ohm = 6.0
bass_given_back = true                    # so the seats are judged with the subwoofer playing ("both" below)

[conditions.direct]
reference = true
label = "Capacitor bridged"

[conditions.highpass]
label = "High-pass in"
trim_db = $trim                            # what the cable behind the capacitor costs; given back for listening

$seats
# Both loudspeakers one after the other, subwoofer off: shows what the filter does.
# The microphone was taken away and put back before each take, so the takes say how well a seat can be found again.
[[measurements]]
files = "responses/main_{seat}_{channel}_{condition}_{repeat}.csv"
playing = "main"
repeats = "replaced"

# The same with the subwoofer on: what people hear.
[[measurements]]
files = "responses/both_{seat}_{channel}_{condition}_{repeat}.csv"
playing = "both"
repeats = "replaced"

# Voltage at the amplifier's output over the source's, in dB: no room in it, so corner and level are sharp.
# The trim was not yet set when this was measured.
[[measurements]]
files = "amplifier/{channel}_{condition}_{repeat}.csv"
point = "amplifier-output"

# Do people hear it? x was drawn afresh for every trial, so one answer tells nothing about the next.
[[scores]]
files = "scores/identification.csv"
method = "abx"
order = "independent"

# Which do they like better? Each condition came first in half of a listener's trials.
[[scores]]
files = "scores/preference.csv"
method = "paired-preference"

# No [criteria]: the defaults hold. They were fixed before anyone looked at a curve.
"""

SET_FOR_A_FIFTH = """\
# A filter set for a fifth of the load that it meets.
#
# In the quince cellar a box with a series capacitor was set for an amplifier of $setting kOhm. The amplifier presents
# $input kOhm, five times as much, so the corner lies at a fifth of what was meant: 2.32 octaves too low. The bass that
# was to be taken from the loudspeaker is nearly all still there.
#
# Nobody has listened yet, and that is right: a subwoofer that gives back the bass above the corner that was *meant*
# would give it twice. Do not play such a state loudly, and set the box right before anyone sits down.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: switch everything off and let the supplies discharge before a setting or a cable is changed.

format = 1

[session]
id = "$id"
date = 2026-02-03
question = "Does the box cut where we meant it to?"

[room]
id = "$room"
size_m = $size
temperature_c = $temperature

[chain]
design_corner_hz = $corner                  # meant for a small loudspeaker that should be spared
setting_kohm = $setting                       # where the box stands
amplifier_input_kohm = $input               # found with a resistor and a voltmeter only after the curves looked wrong
capacitance_nf = $capacitance
source_output_ohm = $source
cable_capacitance_pf = $cable
# A subwoofer stands in the cellar and is to give the bass back. It was off while these curves were taken, so they
# say where the corner is, and nothing about the bass that people will hear.
bass_given_back = true

[conditions.straight]
reference = true
label = "Without the box"

[conditions.boxed]
label = "Through the box"

$seats
# These files have semicolons and decimal commas. That is detected; it could also be said:
# delimiter = ";" and decimal = ","
[[measurements]]
files = "responses/{seat}_{condition}_{repeat}.txt"
playing = "main"
repeats = "replaced"

[criteria]
# What is asked here is where the corner lies. The values are the defaults, written out to show where they go.
corner_tolerance_octaves = 0.4            # a capacitor of +-5 % and an input resistance of +-20 %
min_snr_db = 15.0
"""

CABLE_TURNED_ROUND = """\
# A change that changes nothing.
#
# In the office of the salt works somebody was sure that the line cable sounds better the other way round. So the
# cable was turned, at both channels, and everything was done as if it mattered: takes at two seats, takes at the
# amplifier's output, blind trials with a panel. A comparison that finds a difference here finds too much.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: switch everything off and let the supplies discharge before a cable is moved.

format = 1

[session]
id = "$id"
date = 2026-04-22
question = "Does it matter which way round the line cable lies?"

[room]
id = "$room"
size_m = $size
temperature_c = $temperature

[chain]                                   # no corner and no capacitance: nothing here filters
amplifier_input_kohm = $input
source_output_ohm = $source
cable_capacitance_pf = $cable

[conditions.as-found]
reference = true
label = "Cable as found"

[conditions.turned]
label = "Cable turned round"

$seats
# The frequencies of these files are in kilohertz; the header says so.
[[measurements]]
files = "responses/{seat}_{channel}_{condition}_{repeat}.csv"
repeats = "replaced"

# One channel is enough to see that the level is the same: both cables are of one length and make.
[[measurements]]
files = "amplifier/{channel}_{condition}_{repeat}.csv"
point = "amplifier-output"

[[scores]]
files = "scores/identification.tsv"
method = "abx"
order = "independent"

# "none" is a fair answer: it counts as half for each side.
[[scores]]
files = "scores/preference.tsv"
method = "paired-preference"

[criteria]
# Fixed beforehand. There is no filter that could be as set, so that is not asked for;
# and there is a gain only if the bass comes nearer to flat or the panel likes it better.
require = ["untouched", "no-seat-worse"]
benefit = ["improved", "preferred"]
"""

LOUDSPEAKER_MOVED = """\
# Five seats and one loudspeaker.
#
# The tithe room has a single loudspeaker for talks and music. It stood in the corner; it was moved 40 cm along the
# wall. Three places lose the boom that the corner gave them, at one nothing happens, and by the door the
# boom is now. Is that a gain? The mean over the seats says yes, the seat by the door says no: a change is only
# called an improvement if no seat that counts has become worse.
#
# Made up by sample_sessions/make.py; what is true of it stands in sample_sessions/truth.json.
#
# Care: a loudspeaker that stands high or is hung is moved by people who are licensed for it.

format = 1

[session]
id = "$id"
date = 2026-05-30
question = "Which seats gain and which lose when the loudspeaker leaves the corner?"

[room]
id = "$room"
size_m = $size
temperature_c = $temperature

[chain]                                   # no filter; the subject is a place, not a part
amplifier_input_kohm = $input
source_output_ohm = $source
cable_capacitance_pf = $cable

[conditions.before]
reference = true
label = "In the corner"

[conditions.moved]
label = "40 cm out of the corner"

# A weight says how much a seat counts in what is said "over seats": two people sit at the table,
# the chair by the door is seldom taken. Weight 0 would leave a seat out of the mean.
$seats
# Tabs between the columns, and a phase. The placeholders may stand in folders too.
[[measurements]]
files = "responses/{seat}/{condition}_{repeat}.txt"
repeats = "replaced"

[criteria]
# Fixed beforehand: mids and highs stay as they are, nobody loses, the bass comes nearer to flat.
target = "flat"
bass_band_hz = [20.0, 200.0]
smallest_change_db = 0.5
require = ["untouched", "no-seat-worse"]
benefit = ["improved"]
"""

TEMPLATES = {
    "filter-as-set": FILTER_AS_SET,
    "set-for-a-fifth": SET_FOR_A_FIFTH,
    "cable-turned-round": CABLE_TURNED_ROUND,
    "loudspeaker-moved": LOUDSPEAKER_MOVED,
}


def triple(values: tuple[float, float, float]) -> str:
    """Three numbers as a TOML array."""
    return "[" + ", ".join(f"{value:.1f}" for value in values) + "]"


def seats_text(scenario: Scenario) -> str:
    """The [seats.X] tables; a weight is written only where it is not 1."""
    lines = []
    for name, seat in scenario.seats.items():
        lines += [f"[seats.{name}]", f"position_m = {triple(seat.position_m)}"]
        if seat.weight != 1.0:
            lines.append(f"weight = {seat.weight:.1f}")
        lines.append("")
    return "\n".join(lines)


def manifest(scenario: Scenario) -> str:
    """Text of session.toml."""
    treatment = scenario.lines[scenario.treatment]
    return Template(TEMPLATES[scenario.folder]).substitute(
        id=scenario.id,
        room=scenario.room.id,
        size=triple(scenario.room.size_m),
        temperature=f"{scenario.room.temperature_c:.1f}",
        corner=f"{scenario.design_corner_hz or 0.0:.1f}",
        setting=f"{(scenario.setting_ohm or 0.0) / 1e3:.1f}",
        capacitance=f"{(treatment.capacitor_farad or 0.0) * 1e9:.1f}",
        input=f"{treatment.amplifier_input_ohm / 1e3:.1f}",
        source=f"{treatment.source_output_ohm:.1f}",
        cable=f"{treatment.cable_farad * 1e12:.1f}",
        trim=f"{scenario.trim_db:.2f}",
        seats=seats_text(scenario),
    )
