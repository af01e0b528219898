"""Every word of the report: headings, sentences, labels, cautions. What is not here is quoted from elsewhere.

A sentence is a tuple of clauses; a clause whose placeholders can't all be filled is left out. No digit stands in a
sentence: numbers come from findings. In CAUTIONS and NOTES, text between backquotes is set as code.
"""

from __future__ import annotations

Clauses = tuple[str, ...]

# What a section without findings of listeners must not say, in any case of its letters.
LISTENING_WORDS = ("audible", "better sound", "heard", "preferred")
LEFT_OUT = "[…]"
LEFT_OUT_WHOLE = "[about listeners, of whom there is nothing in this session]"

TITLE = "One change, measured: is it a gain?"
SESSIONS = "The sessions and their answers"
ANSWER = "The answer"
REASONS = "What speaks for it, what against"
FOR = "Speaks for it"
AGAINST = "Speaks against it"
NEITHER = "Decides nothing by itself"
DOUBTFUL = "Missing or doubtful"
CHARTS = "Charts"
NUMBERS = "The numbers"
HEADLINES = "Over all seats, channels, programmes and listeners"
PARTS = "By seat, channel, programme or listener, and variants"
BANDS = "By frequency band"
N_TABLES = "{n} tables"
METHODS = "How it was done"
HOW_MADE = "How each number was made"
RUN, FLOW, FLOW_OF_EACH = "How the listening was run", "What became of the trials", "The same of each listener"
ROLES = {"scored": "To be scored", "control": "Positive control", "sham": "Sham"}
FLOW_COLUMNS = {
    "role": "Trials", "listener": "Listener", "planned": "Planned", "played": "Played", "answered": "Answered",
    "excluded": "Excluded", "scored": "Counted", "reasons": "Why excluded",
}  # fmt: skip
CRITERIA = "What was fixed before the data was seen"
CHAIN = "The chain, condition by condition"
SEATS = "The seats"
SOFTWARE = "Software"
FILES = "The files that it rests on"
APPLIED = "Done to it"
BESIDE = "Files beside this page"
CAUTIONS_TITLE = "With care"
OVER_ROOMS = "Over many sessions"
SHARED = "Of the whole report"

NOTHING_FOR = "Nothing was shown."
NOTHING_AGAINST = "Nothing was shown."
NOTHING_DOUBTFUL = "Nothing was refused, and no headline number came with a reservation."
NO_FINDINGS = "No finding stands for this session: nothing was measured or tried that an analyser could read."
NO_SESSIONS = "There is no session to report on."
NO_CHARTS = "No analyser had anything to draw."
NO_QUESTION = "No question was written down"
NO_SCRIPT = "The charts need scripts to be switched on; the same charts lie beside this page in the folder charts."
NOT_DRAWN = "This chart could not be drawn here; it lies beside this page in the folder charts."
SVG_LINK = "the chart as a file"
DESCRIPTION = "What the chart shows, in words"
WHY_VERDICT = "How the verdict was reached"
NOT_SAID = "not said"
NULL = "–"
BULK_PRINT = "Folded in print; every row is in `tables/findings.csv`."

ROOM, DATE, SESSION, CONDITIONS = "Room", "Date", "Session", "Conditions"
IS_REFERENCE = "the reference"
QUESTION, VERDICT = "Question", "Verdict"
INTERVAL = "{low}\u00a0to\u00a0{high}"
CONFIDENCE_NOTE = "In brackets: intervals at {confidences} confidence. They hold for these seats and these listeners."
CONFIDENCE_NOTE_NOBODY = "In brackets: intervals at {confidences} confidence. They hold for these seats."
AND = " and "

COLUMNS = {
    "quantity": "Quantity", "where": "Of", "value": "Value", "interval": "Interval", "confidence": "Confidence",
    "p_value": "p", "n": "n", "verdict": "Verdict", "band": "Band, Hz", "caveats": "Caveats", "file": "File",
    "digest": "SHA-256", "size": "Bytes", "importer": "Read by", "name": "Name", "version": "Version",
    "criterion": "Criterion", "chain": "Chain", "position": "Position", "weight": "Weight", "seat": "Seat",
    "trim": "Trim for listening",
}  # fmt: skip
UNITS = {
    "oct": "octaves", "1": "", "ohm": "Ω", "deg": "°", "m": "m",
    "comparison": "grades", "impairment": "grades", "quality": "points",
}  # fmt: skip
WHERE = {
    "variant": "variant", "of": "of", "point": "at", "playing": "playing", "seat": "seat", "condition": "condition",
    "reference": "against", "channel": "channel", "programme": "programme", "listener": "listener",
}  # fmt: skip
POINTS = {"amplifier-input": "amplifier input", "amplifier-output": "amplifier output"}
PLAYING = {"main": "main loudspeakers", "sub": "subwoofer alone", "both": "all that plays"}
OVER_SEATS = "over seats"
PANELS = {"seat": "Seat", "listener": "Listener", "programme": "Programme", "channel": "Channel"}

QUANTITIES = {
    "level_change": "Change of level", "corner_frequency": "Corner of the filter",
    "filter_order": "Order of the filter",
    "expected_corner_frequency": "Corner that is meant", "predicted_corner_frequency": "Corner that the chain gives",
    "corner_ratio": "Corner against what was meant", "implied_load": "Load that the corner implies",
    "passband_gain": "Gain in the passband", "guard_band_change": "Largest change in mids and highs",
    "level_difference": "Level difference", "bass_level_difference": "Level difference in the bass",
    "target_deviation": "Deviation of the bass from the target",
    "target_deviation_change": "Change of the bass deviation from the target",
    "seat_audit": "Change at a seat, all seats looked at together",
    "worst_seat_change": "Change at the seat that fares worst",
    "seat_bass_level_change": "Change of the bass level at a seat",
    "seat_position_spread": "Spread over the positions around a seat",
    "drift": "Drift by the end of the session",
    "channel_difference": "Left minus right", "channel_difference_change": "Change of left minus right",
    "seat_spread_change": "Change of the spread between seats",
    "smallest_detectable_change": "Smallest change that could be shown",
    "subsonic_level_change": "Change of subsonic energy", "subsonic_share": "Share of subsonic energy",
    "subsonic_level": "Subsonic energy", "subsonic_band_level": "Level of a band below hearing",
    "subsonic_band_level_change": "Change of a band below hearing",
    "subsonic_peak_level": "Peak of the subsonic wave", "subsonic_peak_level_change": "Change of the subsonic peak",
    "g_weighted_level": "G-weighted level", "g_weighted_level_change": "Change of the G-weighted level",
    "proportion_correct": "Right answers", "d_prime": "Sensitivity d′", "first_position_share": "First position chosen",
    "position_share": "Share of each position",
    "answer_share": "Share of answers", "none_share": "Answers without a choice", "preference_share": "Choices won",
    "worth": "Worth against the reference", "rating_difference": "Difference of ratings",
    "listener_agreement": "Agreement between listeners", "rating_repeatability": "Scatter of a listener's ratings",
    "control_correct": "Positive control told apart",
    "sham_difference_share": "Differences reported where there were none",
    "sham_correct_share": "Shams answered as their key has it",
    "answered_share": "Trials answered, of those planned",
    "second_half_change": "Change in the second half of the trials",
    "equivalence": "Within the margin that was fixed before",
    "detectable_share": "Smallest share right that could have been shown",
    "guess_share": "Guesses that name the condition",
    "recording_level": "Level of the recording", "recording_peak": "Peak of the recording",
    "integrated_loudness": "Loudness of the recording", "loudness_range": "Loudness range",
    "momentary_loudness_maximum": "Loudest moment", "short_term_loudness_maximum": "Loudest passage",
    "true_peak_level": "True peak", "a_weighted_level": "A-weighted level", "c_weighted_level": "C-weighted level",
    "matching_trim": "Trim that would match the levels",
    "level_left_after_trim": "Level difference left after the trim",
    "amplifier_voltage": "Voltage of the amplifier", "amplifier_peak_voltage": "Peak voltage of the amplifier",
    "crest_factor": "Crest factor", "amplifier_current": "Current into the loudspeaker",
    "amplifier_peak_current": "Peak current into the loudspeaker", "amplifier_power": "Power into the loudspeaker",
    "amplifier_voltage_change": "Change of the amplifier's voltage",
    "amplifier_peak_voltage_change": "Change of the amplifier's peak voltage",
    "crest_factor_change": "Change of the crest factor",
    "amplifier_current_change": "Change of the current into the loudspeaker",
    "amplifier_power_change": "Change of the power into the loudspeaker",
    "energy_share_below_corner": "Share of the energy below the corner", "headroom_won": "Headroom won",
    "headroom_against_doubling": "Headroom won over what doubling the power gives",
    "recording_dc_share": "Share of a steady offset", "delay_difference": "Difference of delay",
    "distortion_level": "Harmonics", "distortion_noise_level": "Noise beside the harmonics",
    "balance": "On balance", "pooled_effect": "Effect over rooms",
    "between_room_variance": "Variance between rooms", "i_squared": "Share of variance between rooms",
    "prediction_interval": "What the next room may give",
}  # fmt: skip
LISTENING_QUANTITIES = frozenset({
    "proportion_correct", "d_prime", "first_position_share", "position_share", "answer_share", "none_share",
    "preference_share", "worth",
    "rating_difference", "listener_agreement", "rating_repeatability", "control_correct", "sham_difference_share",
    "sham_correct_share", "answered_share", "second_half_change", "equivalence", "detectable_share", "guess_share",
})  # fmt: skip

# For, against, neither, open: what a verdict does in the balance.
FOR_VERDICTS = frozenset({"as-set", "first-order", "untouched", "matched", "improved", "preferred", "better", "relief"})
AGAINST_VERDICTS = frozenset({
    "mis-set", "other", "no-filter", "touched", "unmatched", "worse", "not-preferred", "no-gain", "shifted",
})  # fmt: skip
VERDICTS = {"mis-set": "mis-set"}  # others: the id with its hyphens opened
OPEN_VERDICTS = frozenset({"undecided", "not-shown", "not-attributable", "drifted", "not-passed"})
# Parts of the first are told by the second: they stand in the lists only where they speak against.
TOLD_BY = {"seat_audit": "worst_seat_change"}

BALANCE: dict[str, Clauses] = {
    "gain": ("{condition} is a gain over {reference}", ": every requirement was shown, a benefit was shown, and nothing"
             " that was measured or tried speaks against it."),
    "no-gain": ("{condition} is no gain over {reference}", ": none of the benefits looked for was shown."),
    "mixed": ("{condition} against {reference} is a mixed case", ": it brings a benefit, and it also breaks a"
              " requirement or does harm."),
    "undecided": ("It is undecided whether {condition} is a gain over {reference}", ": what was measured and tried does"
                  " not settle it."),
}  # fmt: skip
REFUTED: Clauses = ("{condition} is no gain over {reference}", ": a requirement is not met.")
# A requirement of the criteria -> the quantity and the verdict that refute it.
REQUIREMENTS = {
    "as-set": ("corner_ratio", "mis-set"), "untouched": ("guard_band_change", "touched"),
    "matched": ("level_difference", "unmatched"), "no-seat-worse": ("target_deviation_change", "worse"),
}  # fmt: skip
NO_BALANCE = "No verdict on balance was reached for this session."
BALANCE_SHORT = {"gain": "a gain", "no-gain": "no gain", "mixed": "mixed", "undecided": "undecided"}
BALANCE_SIGN = {"gain": "+", "no-gain": "−", "mixed": "±", "undecided": "?"}

FILTER: dict[str | None, Clauses] = {
    "as-set": ("The filter sits where it was meant to", ": its corner was measured at {corner}",
               ", meant was {expected}", "; it is {ratio} times the corner that was meant", ", or {octaves}"),
    "mis-set": ("The filter does not sit where it was meant to", ": its corner was measured at {corner}",
                ", meant was {expected}", "; it is {ratio} times the corner that was meant", ", or {octaves}",
                ", as if it worked into {load}"),
    "undecided": ("Whether the filter sits where it was meant to is undecided", ": its corner was measured at {corner}",
                  ", meant was {expected}", "; it is {ratio} times the corner that was meant", ", or {octaves}"),
    None: ("The corner of the filter was measured at {corner}", ", meant was {expected}"),
}  # fmt: skip
TOO_LOW: Clauses = (
    "; with a boost made for the corner that was meant the bass is now too strong, a danger to the driver: "
    "turn the boost down before this state is played",
)
NO_FILTER: Clauses = ("No filter was found", ", where a corner of {expected} was meant")
ORDER: dict[str, Clauses] = {
    "first-order": ("; it falls off as a first-order filter does", ", order {order}"),
    "other": ("; it does not fall off as a first-order filter does", ", order {order}"),
    "undecided": ("; whether it is of first order is undecided", ", order {order}"),
}
BASS: dict[str, Clauses] = {
    "improved": ("Over the seats the bass comes closer to the target", ": its deviation changes by {value}"),
    "worse": ("Over the seats the bass moves away from the target", ": its deviation changes by {value}"),
    "unchanged": ("Over the seats the bass stays as close to the target as it was",
                  ": its deviation changes by {value}", ", less than the smallest change that counts"),
    "undecided": ("Over the seats it is undecided whether the bass comes closer to the target",
                  ": its deviation changes by {value}",
                  "; the smallest change that could have been shown is {smallest}"),
}  # fmt: skip
UNEVEN: Clauses = (
    "On the mean over the seats the bass comes closer to the target", ": its deviation changes by {value}",
    ", but not at every seat",
)  # fmt: skip
# Whoever loses is named first; what holds over the seats follows.
LOSERS: Clauses = ("The bass moves away from the target at {seats}",)
AFTER_LOSERS: dict[str, Clauses] = {
    "uneven": ("; on the mean over the seats it comes closer", ": its deviation changes by {value}"),
    "worse": ("; over the seats it moves away as well", ": its deviation changes by {value}"),
    "unchanged": ("; over the seats it stays as close as it was", ": its deviation changes by {value}"),
    "undecided": ("; over the seats it is undecided whether it comes closer", ": its deviation changes by {value}",
                  "; the smallest change that could have been shown is {smallest}"),
}  # fmt: skip
CHANCE_SEATS: Clauses = ("; that it moves away at {chance} may be chance, as several seats were looked at",)
SEAT_NAME = "{seat}"
OTHER_SEATS: Clauses = ("", "; it comes closer at {better}", "; it stays as it was at {same}")
SEAT = "seat {seat}, by {value}"
GUARD: dict[str, Clauses] = {
    "untouched": ("Mids and highs are left alone", ": the band that changes most changes by {value}"),
    "touched": ("Mids and highs are not left alone", ": the band that changes most changes by {value}"),
    "undecided": ("Whether mids and highs are left alone is undecided",
                  ": the band that changes most changes by {value}"),
}  # fmt: skip
LEVEL: dict[str, Clauses] = {
    "matched": ("The levels are matched", ": they differ by {value}"),
    "unmatched": ("The levels are not matched", ": they differ by {value}"),
    "undecided": ("Whether the levels are matched is undecided", ": they differ by {value}"),
}
TOLD_APART: dict[str, Clauses] = {
    "heard": ("Listeners heard a difference", ": {value} of {n} answers were right", ", p\u00a0=\u00a0{p}"),
    "not-shown": ("That listeners heard a difference was not shown", ": {value} of {n} answers were right",
                  ", p\u00a0=\u00a0{p}",
                  "; that is not the same as no difference", "{control}",
                  "; so many trials would most likely have shown {smallest} right, and less they may have missed",
                  "{margin}"),
    "not-attributable": ("Listeners told the conditions apart", ": {value} of {n} answers were right",
                         ", p\u00a0=\u00a0{p}",
                         "; it cannot be put down to the change, because the levels were not shown to be matched"),
}  # fmt: skip
# The same with looks at the scores while it ran: value, p and verdict allow for them.
BY_LOOKS: dict[str, Clauses] = {
    "heard": ("Listeners heard a difference", ": the boundary of a planned look was crossed after {n} trials",
              ", {value} right allowing for the looks", ", p\u00a0=\u00a0{p}"),
    "not-shown": ("That listeners heard a difference was not shown", ": no boundary of a planned look was crossed in"
                  " {n} trials", ", {value} right allowing for the looks", ", p\u00a0=\u00a0{p}",
                  "; that is not the same as no difference", "{control}", "{margin}"),
    "not-attributable": ("Listeners told the conditions apart", ": the boundary of a planned look was crossed after {n}"
                         " trials", ", {value} right allowing for the looks", ", p\u00a0=\u00a0{p}",
                         "; it cannot be put down to the change, because the levels were not shown to be matched"),
}  # fmt: skip
BY_LOOKS_VARIANT = "sequential"
# Said where a caveat of the finding holds the text: of one person, and what no result could have shown.
ALONE_TEXT, FEW_TEXT = "that person only", "no result could have shown it"
OVER_LISTENERS = ", mean over {n} listeners"
ALONE: Clauses = ("; there was one listener, and it is about that person alone",)
FEW: Clauses = ("; with so few listeners no result could have shown it",)
FEW_TRIALS: Clauses = ("; so few trials could not have shown it even if every answer had been right",)
OF_LISTENERS = frozenset({"proportion_correct", "preference_share", "rating_difference"})
# What is added where nothing was shown: what a positive control said, and whether it lies within a margin.
CONTROL: dict[str, Clauses] = {
    "passed": ("; these listeners did tell the positive control apart", ", {value} of the time"),
    "not-passed": ("; the positive control was not told apart either, so this says little",),
    "": ("; there was no positive control, so it is not known whether these listeners could have heard a difference",),
}
MARGIN: dict[str, Clauses] = {
    "equivalent": ("; it was shown to lie within the margin that was fixed before",),
    "not-shown": ("; nor was it shown to lie within the margin that was fixed before",),
}
PREFERENCE: dict[str, Clauses] = {
    "preferred": ("Listeners preferred {condition}", ": it won {value} of the choices", ", mean over {n} listeners",
                  ", p\u00a0=\u00a0{p}"),
    "not-preferred": ("Listeners preferred {reference} to {condition}", ", which won {value} of the choices",
                      ", mean over {n} listeners", ", p\u00a0=\u00a0{p}"),
    "not-shown": ("That listeners preferred either was not shown", ": {condition} won {value} of the choices",
                  ", mean over {n} listeners", ", p\u00a0=\u00a0{p}", "; that is not the same as no preference",
                  "{control}", "{margin}"),
    "not-attributable": ("Listeners chose one more often than the other", ": {condition} won {value} of the choices",
                         ", mean over {n} listeners", ", p\u00a0=\u00a0{p}",
                         "; it cannot be put down to the change, because the levels were not shown to be matched"),
}  # fmt: skip
RATING: dict[str, Clauses] = {
    "better": ("Listeners rated {condition} better than {reference}", ", by {value}", ", mean over {n} listeners",
               ", p\u00a0=\u00a0{p}"),
    "worse": ("Listeners rated {condition} worse than {reference}", ", by {value}", ", mean over {n} listeners",
              ", p\u00a0=\u00a0{p}"),
    "not-shown": ("That listeners rate either better was not shown", ": the ratings differ by {value}",
                  ", mean over {n} listeners", ", p\u00a0=\u00a0{p}", "; that is not the same as no difference",
                  "{control}", "{margin}"),
    "not-attributable": ("The ratings differ", ", by {value}", ", mean over {n} listeners", ", p\u00a0=\u00a0{p}",
                         "; it cannot be put down to the change, because the levels were not shown to be matched"),
}  # fmt: skip
RELIEF: dict[str, Clauses] = {
    "relief": ("The amplifier is spared subsonic energy", ": it changes by {value}"),
    "no-relief": ("The amplifier is not spared subsonic energy", ": it changes by {value}"),
    "undecided": ("Whether the amplifier is spared subsonic energy is undecided", ": it changes by {value}"),
}
LIST_ITEM: Clauses = ("{quantity}", "{where}", ": {verdict}", ", {value}")
NO_FINDINGS = "no findings of "  # as an analyser that lacks what it needs is refused
DOUBT_REFUSED: Clauses = ("{what}: {why}", "; to try: {try_}")
DOUBT_CAVEAT: Clauses = ("{caveat}", " ({quantities})")
DOUBT_OPEN: Clauses = ("{quantity}", "{where}", ": {verdict}", ", {value}")
DOUBT_FAILED = "The analyser {analyser} failed: {problem}"
OPEN = "Left open"
REFUSED = "Not done"
CAVEATS = "Reservations"
UNREAD = "Not read"
PROBLEMS = "Plug-ins that failed"
WARNINGS = "Warnings on the session's description"

OVERVIEW_TITLE = "{analyser}: what was found"
OVERVIEW_TEXT = "The values that the analyser {analyser} found, each with its interval; the numbers are in the tables."
BALANCE_TITLE = "What speaks for it and what against"
BALANCE_TEXT = "Every part of the verdict in one of four columns: speaks for it, decides nothing by itself, left open, speaks against it. For: {for}. Against: {against}."  # noqa: E501
NONE_OF_THEM = "nothing"
STANDINGS = {"for": "For", "neither": "Neither", "open": "Open", "against": "Against"}
SUBJECT = "Part"
AXIS = "{label} in {unit}"
DIFFERENCE = "Difference"

CRITERIA_NAMES = {
    "bass_band_hz": "Bass, Hz", "target": "Target",
    "target_slope_db_per_octave": "Slope of the target, dB per octave",
    "guard_band_hz": "Mids and highs to be left alone, Hz",
    "guard_db": "Change that they may show, dB", "level_tolerance_db": "Level tolerance, dB",
    "level_measure": "Measure of level", "corner_tolerance_octaves": "Tolerance of the corner, octaves",
    "smallest_change_db": "Smallest change that counts, dB", "placement_sd_db": "Placement of the microphone, dB",
    "min_snr_db": "Least distance from the noise, dB", "alpha": "Level of significance", "confidence": "Confidence",
    "require": "Requirements", "benefit": "Benefits looked for", "relief_db": "Relief that counts, dB",
}  # fmt: skip
LISTENING_BENEFITS = frozenset({"preferred", "better"})
NOBODY_LISTENED = "those that need listeners (nobody took part)"
CHAIN_NAMES = {
    "design_corner_hz": "Corner that is meant, Hz", "setting_kohm": "Set for a load of, kΩ",
    "capacitance_nf": "Series capacitor, nF", "amplifier_input_kohm": "Input of the amplifier, kΩ",
    "source_output_ohm": "Output of the source, Ω", "cable_capacitance_pf": "Cable behind the capacitor, pF",
    "loudspeaker_ohm": "Loudspeaker, Ω", "bass_given_back": "Bass given back",
    "setting_left_kohm": "Left set for a load of, kΩ", "setting_right_kohm": "Right set for a load of, kΩ",
    "balanced": "Balanced, a capacitor in each leg", "tap_kohm": "Taps behind the capacitor, kΩ",
    "tap_before_kohm": "Taps ahead of the capacitor, kΩ", "second_input_kohm": "Second amplifier's input, kΩ",
    "loudspeaker_impedance": "Impedance of the loudspeaker, table",
    "measuring_input_kohm": "Measuring input, kΩ", "coupling_capacitor_uf": "Coupling capacitor of the amplifier, µF",
    "capacitor_tolerance_percent": "Tolerance of the capacitors, ± %",
    "input_tolerance_percent": "Tolerance of the inputs, ± %",
    "filter": "Filter", "boost": "Boost", "boost_corner_hz": "Boost made for, Hz", "boost_db": "Boost at the most, dB",
    "subwoofer_level_db": "Level of the subwoofer, dB", "subwoofer_polarity": "Polarity of the subwoofer",
}  # fmt: skip
CHANGES = "Changed against {reference}"
YES_NO = {True: "yes", False: "no"}
ROOM_SIZE = "length, width, height in metre"
TEMPERATURE = "temperature in °C"
COORDINATES = "x, y, z in metre"

CAUTIONS = (
    "Level and hearing: the usual limit is `85 dB(A)` for `8 h` a day, halved in time for every `3 dB` more (NIOSH"
    " recommended exposure limit). Sweeps and low tones at high level damage loudspeakers as well. Whoever wants to"
    " leave a session leaves.",
    "Switch off and let the supplies discharge before a cable or a setting is moved.",
    "Inside a power amplifier is mains voltage and stored charge. Opening it, mains wiring and rigging overhead belong"
    " to licensed people; local codes come before anything said here.",
    "Recording at loudspeaker terminals needs a divider made for that voltage. The outputs of a bridged amplifier must"
    " not be joined to ground, nor to each other through a recorder: the amplifier's manual and licensed practice come"
    " first.",
    "Listeners stand here by code, not by name. Their consent is theirs to take back: the answers of one listener can"
    " be taken out of the store, and the report made anew.",
)
NOTES = (
    "Every difference is the condition minus the reference.",
    "A value that could not be had is left open and says why; it is never set to zero.",
    "A verdict says what was shown by the criteria below, not more: what was not shown may still be there.",
)
NOT_DRAWN_TITLE = "Charts that could not be drawn"
UNDRAWN = "{name} of {analyser}: {why}"
ANALYSERS = "Analysers"
