"""The loops over samples: machine code and numpy do what scipy or the definition does, wherever streams are cut."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from fairhearing.acoustics import _loops
from fairhearing.acoustics.k_filter import k_sections
from fairhearing.acoustics.true_peak import bounds_of_taps, interpolation_taps


@pytest.fixture(params=["machine code", "numpy"])
def kind(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "numpy":
        monkeypatch.setattr(_loops, "BUILT", None)
    return request.param


def noise(*shape: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, 0.2, shape)


def test_the_machine_code_was_built() -> None:
    assert _loops.BUILT is not None, f"{_loops.FILE.name} is not there: install the package where there is a C compiler"


def test_energies_are_those_of_the_filtered_channels_whatever_the_cuts(kind: str) -> None:
    """scipy.signal.sosfilt over the whole (computed)."""
    sections, samples, n_frames = k_sections(48_000), noise(2, 5000), 300
    output = signal.sosfilt(sections, samples)[:, : 16 * n_frames]
    expected = (output.reshape(2, 16, n_frames) ** 2).mean(axis=2).T
    made = []
    for cuts in ([5000], [1, 299, 300, 900, 0, 3500], [7] * 714 + [2]):
        state, sums, n_summed, at, found = np.zeros((2, 4)), np.zeros(2), 0, 0, []
        for n in cuts:
            pair = tuple(np.ascontiguousarray(one[at : at + n]) for one in samples)
            found.append(_loops.energies(pair, sections, state, sums, n_summed, n_frames))
            n_summed, at = (n_summed + n) % n_frames, at + n
        made.append(np.concatenate(found))
    np.testing.assert_allclose(made[0], expected, rtol=1e-11)
    for other in made[1:]:
        np.testing.assert_array_equal(other, made[0])


@pytest.mark.parametrize("n", [1, 3, 4, 5, 1003])
def test_levels_are_those_of_each_row(kind: str, n: int) -> None:
    blocks = noise(7, n)
    found = _loops.levels(blocks)
    np.testing.assert_allclose(found[0], blocks.sum(axis=1), atol=1e-12)
    np.testing.assert_allclose(found[1], (blocks**2).sum(axis=1), rtol=1e-13)
    np.testing.assert_array_equal(found[2:], [blocks.max(axis=1), blocks.min(axis=1)])


def test_levels_keep_what_is_no_number(kind: str) -> None:
    blocks = noise(3, 100)
    blocks[1, 50], blocks[2, 0], blocks[2, 1] = np.nan, np.inf, -np.inf
    with np.errstate(invalid="ignore"):
        found = _loops.levels(blocks)
    assert np.isfinite(found[:, 0]).all()
    assert np.isnan(found[:, 1]).all()
    assert found[2:, 2].tolist() == [np.inf, -np.inf]


@pytest.mark.parametrize("n", [24, 25, 511, 5000])
def test_peaks_are_those_of_every_sample_and_every_point(kind: str, n: int) -> None:
    taps = interpolation_taps(4)
    bounds = bounds_of_taps(taps)
    values, peaks = noise(n), np.zeros(2)
    _loops.raise_peaks(values, taps, float(bounds.chord.max()), float(bounds.bend.max()), peaks)
    waves = np.abs([np.correlate(values, one, "valid") for one in taps]).max()
    samples = np.abs(values[11 : n - 11]).max()
    np.testing.assert_allclose(peaks, [samples, max(samples, waves)], rtol=1e-13)


def test_peaks_are_only_raised_and_what_is_no_number_stays(kind: str) -> None:
    taps, peaks = interpolation_taps(2), np.array([3.0, 4.0])
    _loops.raise_peaks(noise(600), taps, 1.0, 1.0, peaks)
    assert peaks.tolist() == [3.0, 4.0]
    for strange in (np.nan, np.inf):
        values, peaks = noise(1500), np.zeros(2)
        values[300] = strange
        with np.errstate(invalid="ignore"):
            _loops.raise_peaks(values, taps, 1.0, 1.0, peaks)
        assert not np.isfinite(peaks).any()


@pytest.mark.parametrize(("n_taps", "factor"), [(1, 1), (3, 2), (117, 24), (64, 7)])
def test_every_so_many_values_are_those_of_the_filter(kind: str, n_taps: int, factor: int) -> None:
    """numpy.correlate (computed)."""
    values, taps = noise(2000), noise(n_taps, seed=2)
    expected = np.correlate(values, taps, "valid")[::factor]
    np.testing.assert_allclose(_loops.every(values, taps, factor, len(expected)), expected, atol=1e-13)
    assert _loops.every(values, taps, factor, 0).shape == (0,)
    with pytest.raises(ValueError, match="too few"):
        _loops.every(values, taps, factor, len(expected) + 1)


@pytest.mark.parametrize("n", [0, 1, 7, 10_001])
def test_a_total_is_the_sum(kind: str, n: int) -> None:
    values = noise(n)
    assert _loops.total(values) == pytest.approx(values.sum(), abs=1e-12)


def test_squares_are_added_to_what_is_there(kind: str) -> None:
    spectrum = (noise(3, 65) + 1j * noise(3, 65, seed=2)).astype(np.complex64)
    sums = np.ones(65)
    _loops.add_squares(spectrum.view(np.float32), sums)
    np.testing.assert_allclose(sums, 1.0 + (np.abs(spectrum.astype(np.complex128)) ** 2).sum(axis=0), rtol=1e-12)


@pytest.mark.parametrize("laid", ["rows", "a part of rows", "columns"])
@pytest.mark.parametrize("n_channels", [1, 2, 3])
def test_samples_of_24_bits_keep_sign_and_every_bit(kind: str, n_channels: int, laid: str) -> None:
    whole = np.random.default_rng(4).integers(-(2**23), 2**23, (500, n_channels))
    whole[0], whole[-1] = -(2**23), 2**23 - 1
    data = b"".join(int(value).to_bytes(3, "little", signed=True) for value in whole.ravel())
    found = {
        "rows": np.empty((n_channels, 500)),
        "a part of rows": np.empty((n_channels, 700))[:, :500],
        "columns": np.empty((500, n_channels)).T,
    }[laid]
    _loops.take_apart(bytearray(b"?" + data), found)
    np.testing.assert_array_equal(found, whole.T / 2**23)
    with pytest.raises(ValueError, match="too few"):
        _loops.take_apart(bytearray(data), found)


def test_arrays_that_the_loops_do_not_take_are_refused() -> None:
    for values in (noise(10)[::2], noise(10).astype(np.float32)):
        with pytest.raises(ValueError, match="no contiguous one"):
            _loops.total(values)
    with pytest.raises(ValueError, match="no contiguous windows"):
        _loops.add_squares(np.zeros((2, 9), np.float32), np.zeros(4))
