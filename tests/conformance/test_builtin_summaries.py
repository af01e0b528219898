"""The built-in summaries keep every rule of the kit, with the parameters in use and with odd ones."""

from __future__ import annotations

from fairhearing.acoustics.summaries import BlockLevels, PowerSpectrum
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
