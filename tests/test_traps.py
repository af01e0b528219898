"""The traps that the trade knows, each with the tests that would notice if it were walked into."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
TRAPS: dict[str, tuple[str, ...]] = {
    "a filter set for a fifth of its load sits at a fifth of its corner: the ratio and the octaves": (
        "acoustics/test_chain.py::test_a_setting_for_a_fifth_of_the_load_moves_the_corner_to_a_fifth",
        "end_to_end/test_corner_found.py::test_a_setting_for_a_fifth_of_the_load_is_said_as_ratio_and_in_octaves",
    ),
    "a boost left on behind a filter that sits too low, or is out, is a hazard to the driver": (
        "acoustics/test_boost.py::test_a_boost_for_100_hz_behind_20_hz_leaves_what_the_trade_knows",
        "acoustics/test_chain.py::test_the_boost_for_the_meant_corner_leaves_too_much_behind_a_filter_that_sits_lower",
    ),
    "two things are called sums flat: the high-pass with its boost, and the pair side by side": (
        "acoustics/test_first_order.py::test_the_boost_meets_its_table_and_undoes_the_high_pass",
        "acoustics/test_first_order.py::test_the_pair_of_high_and_low_pass_sums_flat",
    ),
    "whatever hangs behind the capacitor moves the corner: taps, a second input, the cable": (
        "acoustics/test_network.py::test_a_tap_behind_the_capacitor_raises_the_corner",
        "acoustics/test_network.py::test_a_tap_ahead_of_the_capacitor_does_hardly_anything",
        "acoustics/test_network.py::test_a_second_input_like_the_first_doubles_the_corner",
        "acoustics/test_network.py::test_cable_and_source_are_in_the_corner_and_in_the_passband",
    ),
    "the measuring input itself moves the corner that is measured": (
        "acoustics/test_network.py::test_a_measuring_input_moves_the_corner_that_is_measured",
        "end_to_end/test_corner_from_chain.py::test_the_measuring_input_is_in_the_corner_as_measured_alone",
    ),
    "a balanced line has a capacitor in each leg": (
        "acoustics/test_wiring.py::test_a_balanced_line_has_a_capacitor_in_each_leg",
    ),
    "source resistance costs level: a fit that holds the gain reads the corner wrong": (
        "acoustics/test_high_pass_fit.py::test_source_resistance_does_not_move_the_corner",
        "end_to_end/test_corner_found.py::test_a_source_resistance_costs_level_and_does_not_move_the_fitted_corner",
    ),
    "a setting moved from 80 to 100 Hz is a quotient of two high-passes": (
        "acoustics/test_high_pass_fit.py::test_a_setting_moved_from_80_to_100_hz_is_two_corners",
        "end_to_end/test_corner_found.py::test_two_filters_are_a_quotient_and_give_a_corner_each",
    ),
    "a coupling capacitor in the reference departs from first order": (
        "acoustics/test_high_pass_fit.py::test_a_coupling_capacitor_in_the_reference_is_found_beside_the_filter",
        "acoustics/test_network.py::test_a_coupling_capacitor_by_itself_has_its_own_corner",
    ),
    "a fit to third octaves is biased by the room's own slope": (
        "acoustics/test_high_pass_fit.py::test_band_levels_of_a_room_bias_the_corner_and_points_do_not",
    ),
    "ambient noise pulls a careless fit": (
        "end_to_end/test_noise_known.py::test_the_scatter_of_the_repeats_tells_the_noise_below_200_hz_and_the_corner_holds",
        "simulations/test_corner_coverage.py::test_intervals_hold_the_truth_as_often_as_they_say",
    ),
    "a subwoofer that gives the bass back hides the filter": (
        "end_to_end/test_corner_found.py::test_a_subwoofer_that_plays_hides_the_filter",
        "end_to_end/test_levels_matched.py::test_bass_is_not_judged_while_the_subwoofer_that_gives_it_back_was_off",
    ),
    "left and right at different settings give a corner that neither has": (
        "end_to_end/test_corner_found.py::test_channels_at_different_corners_are_named",
        "acoustics/test_wiring.py::test_left_and_right_set_apart_have_corners_of_their_own",
    ),
    "parts have tolerances: a nominal 100 Hz is anywhere from 79 to 132 Hz": (
        "acoustics/test_tolerances.py::test_the_usual_tolerances_put_100_hz_between_79_and_132_hz",
    ),
    "level-matched depends on the weighting": (
        "acoustics/test_weighting.py::test_pink_noise_loses_through_a_high_pass_what_the_weighting_says",
        "acoustics/test_loudness.py::test_a_high_pass_takes_from_pink_noise_what_the_measure_says",
    ),
    "loudness: a full-scale tone reads -3.01, coefficients of 48 kHz err at other rates, copies hold typing errors": (
        "acoustics/test_loudness.py::test_997_hz_at_full_scale_in_one_front_channel_reads_minus_3_01",
        "acoustics/test_filtered_energy.py::test_at_other_rates_the_response_is_that_of_48_khz",
        "acoustics/test_filtered_energy.py::test_two_public_copies_with_typing_errors_are_told_apart",
    ),
    "weighting tables hold at exact frequencies, not at nominal ones": (
        "acoustics/test_weighting.py::test_the_tables_of_the_standards_are_met_within_their_rounding",
        "acoustics/test_weighting.py::test_at_nominal_frequencies_the_table_of_a_is_not_met",
    ),
    "the mean of the seats' changes is not the change of their mean energies": (
        "end_to_end/test_level_changes.py::test_mean_of_changes_and_change_of_energy_means_are_two_quantities",
    ),
    "without repeats there is no verdict": (
        "end_to_end/test_level_changes.py::test_fewer_than_three_degrees_of_freedom_give_no_interval_and_say_so",
    ),
    "repeats without touching the microphone say too little": (
        "end_to_end/test_level_changes.py::test_repeats_in_place_widen_the_interval_by_the_placement_spread_and_say_so",
        "simulations/test_corner_coverage.py::test_repeats_in_place_widen_the_interval",
    ),
    "bootstraps of few repeats or listeners cover too little": (
        "statistics/test_pooled.py::test_leave_one_out_intervals_of_a_non_linear_estimate_cover_as_often_as_they_say",
        "statistics/test_listeners.py::test_the_t_interval_covers_as_often_as_it_says",
    ),
    "the largest of many noisy bands exceeds any limit": (
        "end_to_end/test_levels_matched.py::test_the_guard_bands_interval_holds_for_all_its_bands_together",
        "statistics/test_pooled.py::test_bonferroni_widens_to_the_quantile_of_a_fourteenth",
    ),
    "one of five seats that did not change seems to lose": (
        "simulations/test_false_losers.py::test_each_seat_by_itself_gives_a_false_loser_in_12_percent_of_audits",
        "simulations/test_false_losers.py::test_a_false_loser_is_as_rare_as_one_side_of_that",
    ),
    "better bass hangs on how the level is fixed": (
        "end_to_end/test_bass_target.py::test_where_data_stop_below_4_khz_the_headline_is_the_shape_and_says_so",
        "end_to_end/test_bass_target.py::test_deviation_and_its_change_are_those_of_the_written_numbers",
    ),
    "forced choice is exact only where each right answer was drawn by itself": (
        "statistics/test_contingency.py::test_with_balanced_orders_the_conditional_test_holds_its_size_and_the_binomial_does_not",
    ),
    "preference is tested over listeners, and five of them cannot show it": (
        "statistics/test_resampling.py::test_under_no_preference_it_cries_wolf_no_more_often_than_alpha",
        "statistics/test_listeners.py::test_five_listeners_never_reach_one_in_twenty",
    ),
    "five percent with 16 trials is 3.8 percent": (
        "statistics/test_proportions.py::test_the_true_size_of_a_five_percent_rule_is_below_five_percent",
    ),
    "75 percent right is another sensitivity in another task": (
        "statistics/test_detection.py::test_d_prime_follows_the_published_tables",
    ),
    "the best of several guessing listeners passes": (
        "statistics/test_listeners.py::test_holm_agrees_with_published_values",
    ),
}


@pytest.mark.parametrize("trap", TRAPS)
def test_each_trap_has_its_tests(trap: str) -> None:
    for node in TRAPS[trap]:
        path, _, name = node.partition("::")
        tree = ast.parse((TESTS / path).read_text(encoding="utf-8"))
        assert name in {one.name for one in tree.body if isinstance(one, ast.FunctionDef)}, node
