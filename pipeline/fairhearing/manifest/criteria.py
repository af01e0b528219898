"""Reads [criteria]: what was fixed before the data was seen."""

from __future__ import annotations

from typing import Literal

from fairhearing.manifest.faults import shown
from fairhearing.manifest.reader import NOT_NEGATIVE, POSITIVE, Limits, TableReader
from fairhearing.session import Criteria

REQUIREMENT_WORDS = frozenset(
    {"as-set", "untouched", "no-seat-worse", "matched", "heard", "improved", "preferred", "better", "relief"}
)
CRITERIA_KEYS = frozenset(Criteria.__slots__)

_LEVEL_MEASURES: tuple[Literal["midband", "loudness"], ...] = ("midband", "loudness")
_PROPORTION = Limits(above=0.0, below=1.0)
# Beyond it a number in dB per decade, or a level, was meant. Our own limits.
_SLOPE = Limits(at_least=-12.0, at_most=12.0)


def read_criteria(reader: TableReader) -> Criteria:
    """The criteria as written; what is not written has its default. Whether the target is a file is not looked at."""
    reader.known_keys(CRITERIA_KEYS)
    default = Criteria()
    slope = "target_slope_db_per_octave"
    if slope in reader.table and reader.table.get("target", "flat") != "flat":
        reader.fault(slope, f"stands beside target = {shown(reader.table['target'])}", "leave one of the two out")
    return Criteria(
        bass_band_hz=reader.band("bass_band_hz", default.bass_band_hz),
        target=reader.text("target") or default.target,
        target_slope_db_per_octave=reader.optional_number(slope, _SLOPE),
        guard_band_hz=reader.band("guard_band_hz", default.guard_band_hz),
        guard_db=reader.number("guard_db", default.guard_db, POSITIVE),
        level_tolerance_db=reader.number("level_tolerance_db", default.level_tolerance_db, POSITIVE),
        level_measure=reader.choice("level_measure", _LEVEL_MEASURES, default.level_measure),
        corner_tolerance_octaves=reader.number("corner_tolerance_octaves", default.corner_tolerance_octaves, POSITIVE),
        smallest_change_db=reader.number("smallest_change_db", default.smallest_change_db, POSITIVE),
        placement_sd_db=reader.number("placement_sd_db", default.placement_sd_db, NOT_NEGATIVE),
        min_snr_db=reader.number("min_snr_db", default.min_snr_db, NOT_NEGATIVE),
        alpha=reader.number("alpha", default.alpha, _PROPORTION),
        confidence=reader.number("confidence", default.confidence, _PROPORTION),
        require=reader.words("require", REQUIREMENT_WORDS, default.require),
        benefit=reader.words("benefit", REQUIREMENT_WORDS, default.benefit),
        relief_db=reader.number("relief_db", default.relief_db, NOT_NEGATIVE),
    )
