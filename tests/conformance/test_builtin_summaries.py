"""The built-in summaries keep every rule of the kit, with the parameters in use and with odd ones."""

from __future__ import annotations

from fairhearing.acoustics.filtered_levels import FilteredLevels
from fairhearing.acoustics.loudness import KWeightedEnergy
from fairhearing.acoustics.low_spectrum import LowSpectrum
from fairhearing.acoustics.summaries import BlockLevels, PowerSpectrum
from fairhearing.acoustics.true_peak import TruePeak
from fairhearing.conformance import check_summary


@check_summary(BlockLevels())
def test_block_levels(rule) -> None:
    rule()


@check_summary(BlockLevels(block_s=0.0333))
def test_block_levels_of_a_length_that_is_no_whole_number(rule) -> None:
    rule()


@check_summary(PowerSpectrum())
def test_power_spectrum(rule) -> None:
    rule()


@check_summary(PowerSpectrum(window_s=0.11))
def test_power_spectrum_of_short_windows(rule) -> None:
    rule()


@check_summary(FilteredLevels((80.0, 16.0), gain=0.9, block_s=0.0333))
def test_levels_behind_high_passes(rule) -> None:
    rule()


@check_summary(KWeightedEnergy())
def test_k_weighted_energy(rule) -> None:
    rule()


@check_summary(TruePeak())
def test_true_peak(rule) -> None:
    rule()


@check_summary(LowSpectrum())
def test_low_spectrum(rule) -> None:
    rule()


@check_summary(LowSpectrum(window_s=2.3, lowest_hz=0.9, subsonic_hz=11.0))
def test_low_spectrum_of_short_windows_and_other_limits(rule) -> None:
    rule()
