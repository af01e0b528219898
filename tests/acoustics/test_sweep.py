"""What an exponential sweep is, is found from its samples alone; what is none is refused in words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_sweeps import late, linear_sweep, sweep

from fairhearing.acoustics.sweep import Sweep, find_sweep


@pytest.mark.parametrize(
    ("rate_hz", "first_hz", "last_hz", "duration_s"),
    [
        (48_000, 20.0, 20_000.0, 4.0),
        (44_100, 10.0, 22_000.0, 2.0),
        (96_000, 50.0, 40_000.0, 1.0),
        (8000, 30.0, 300.0, 3.0),
    ],
)
def test_a_sweep_is_found_with_silence_around_it(
    rate_hz: int, first_hz: float, last_hz: float, duration_s: float
) -> None:
    made = sweep(rate_hz, first_hz, last_hz, duration_s)
    found = find_sweep(late(made, 1000, len(made) + 5000), rate_hz)
    assert found.begins_s == pytest.approx(1000 / rate_hz, abs=2e-3)
    assert found.duration_s == pytest.approx(duration_s, rel=2e-3)
    assert found.first_hz == pytest.approx(first_hz, rel=5e-3)
    assert found.last_hz == pytest.approx(last_hz, rel=5e-3)
    assert found.rate_s == pytest.approx(duration_s / math.log(last_hz / first_hz), rel=5e-4)


def test_fades_do_not_shift_the_rate() -> None:
    made = sweep(48_000, 20.0, 20_000.0, 3.0)
    made[:2400] *= np.linspace(0, 1, 2400)
    made[-480:] *= np.linspace(1, 0, 480)
    assert find_sweep(made, 48_000).rate_s == pytest.approx(3 / math.log(1000), rel=5e-4)


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (linear_sweep(48_000, 20.0, 20_000.0, 2.0), "does not rise exponentially"),
        (sweep(48_000, 20.0, 20_000.0, 2.0)[::-1], "does not rise|does not rise steadily|less than two octaves"),
        (sweep(48_000, 900.0, 1100.0, 2.0), "less than two octaves"),
        (np.random.default_rng(1).normal(size=96_000), "does not rise"),
        (np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000), "less than two octaves"),
        (np.tile(sweep(48_000, 20.0, 20_000.0, 1.0), 2), "does not rise"),
        (np.zeros(5000), "all of its samples are the same"),
        (np.ones(50), "50 samples only"),
    ],
)
def test_what_is_no_exponential_sweep_is_refused_in_words(samples: np.ndarray, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        find_sweep(samples, 48_000)


def test_orders_come_as_early_as_farina_has_it() -> None:
    """dt_n = T ln n / ln(f2/f1), A. Farina, AES 108, 2000, eq. 13 (read); 10 s over three decades, worked by hand."""
    made = Sweep(first_hz=20.0, last_hz=20_000.0, begins_s=0.0, duration_s=10.0)
    by_hand_s = {2: 1.003433, 3: 1.590404, 4: 2.006867, 5: 2.329900}
    for order, lead_s in by_hand_s.items():
        assert made.lead_s(order) == pytest.approx(lead_s, abs=1e-6)
