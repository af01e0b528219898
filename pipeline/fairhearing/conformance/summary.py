"""The rules that every summary of recordings has to keep, and how its own tests run them."""

from __future__ import annotations

import dataclasses
import tracemalloc
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from fairhearing.audio import Accumulator, AudioFormat, Summary, summary_key
from fairhearing.calling import call_plugin
from fairhearing.conformance.kit import Case, Rule, RuleBroken, cases, parametrised
from fairhearing.errors import PluginProblem

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

Arrays = Mapping[str, "FloatArray"]
F = TypeVar("F", bound=Callable[..., object])

RATE_HZ = 8000
N_CHANNELS = 2
N_FRAMES = 26_411  # over three seconds, and no whole number of anything
RELATIVE = 1e-12
ONE_ROUNDING = 1e-15  # of the largest value of an array: what a sum may miss in the smallest
SHORT_S, LONG_S = 8, 80
MOST_GROWTH = 1.2


@dataclass(frozen=True, slots=True)
class SummarySubject:
    """A summary to be looked at."""

    summary: Summary


def check_summary(summary: Summary, *, waive: Mapping[str, str] | None = None) -> Callable[[F], F]:
    """A decorator that gives a test function with one argument `rule` one case for each rule of a summary.

    Parameters
    ----------
    summary : Summary
        With the parameters that are to be tested.
    waive : mapping, optional
        Name of a rule -> why it is not kept.

    Raises
    ------
    ValueError
        A waiver names no rule, or has no reason.
    """
    return parametrised(summary_cases(summary, waive=waive))


def summary_cases(summary: Summary, *, waive: Mapping[str, str] | None = None) -> list[Case[SummarySubject]]:
    """One case for each rule of a summary; the parameters are those of `check_summary`."""
    return cases(RULES, SummarySubject(summary), waive)


def noise(n_frames: int, seed: int = 20261125) -> FloatArray:
    """Noise on a steady offset, another in each channel."""
    import numpy as np

    values = np.random.default_rng(seed).normal(0.0, 0.1, (n_frames, N_CHANNELS))
    return values * [1.0, 0.3] + [0.02, -0.05]


def format_of(n_frames: int) -> AudioFormat:
    """The format of what the rules feed."""
    return AudioFormat(rate_hz=RATE_HZ, n_channels=N_CHANNELS, n_frames=n_frames, subtype="DOUBLE")


def summarised(summary: Summary, signal: FloatArray, sizes: Sequence[int]) -> dict[str, FloatArray]:
    """The arrays of a signal fed in blocks of `sizes` through one buffer, as the pass over a file does.

    Raises
    ------
    RuleBroken
        The summary fails or warns, or gives no arrays.
    """
    accumulator = _started(summary, len(signal))
    for block in _fed(signal, sizes):
        _called(summary, f"update with {len(block)} frames", partial(accumulator.update, block))
    return _arrays(summary, accumulator)


def _fed(signal: FloatArray, sizes: Sequence[int]) -> Iterator[FloatArray]:
    """Blocks in one buffer, which holds something else as soon as the next is asked for."""
    import numpy as np

    buffer = np.empty((max(sizes, default=1), signal.shape[1]))
    at = 0
    for number, size in enumerate(sizes):
        block = buffer[:size]
        block[:] = signal[at : at + size]
        block.setflags(write=False)
        yield block
        buffer[:] = 0.25 + number / len(sizes)
        at += size


def _started(summary: Summary, n_frames: int) -> Accumulator:
    return _called(summary, "start", lambda: summary.start(format_of(n_frames)))


def _arrays(summary: Summary, accumulator: Accumulator) -> dict[str, FloatArray]:
    import numpy as np

    found = _called(summary, "result", accumulator.result)
    if not isinstance(found, Mapping) or not found:
        raise RuleBroken(f"result returned {type(found).__name__} and no arrays by name")
    return {name: np.array(values, dtype=np.float64) for name, values in found.items()}


T = TypeVar("T")


def _called(summary: Summary, what: str, function: Callable[[], T]) -> T:
    """What a call returns; a warning counts as a failure, since nobody would see it in a long pass."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return call_plugin(summary.name, summary.version, what, function)
    except PluginProblem as problem:
        raise RuleBroken(f"{problem.where}: {problem.what}") from problem.__cause__


def _even(n_frames: int, size: int) -> list[int]:
    whole, rest = divmod(n_frames, size)
    return [size] * whole + ([rest] if rest else [])


def _difference(one: Arrays, other: Arrays, relative: float) -> str | None:
    import numpy as np

    if list(one) != list(other):
        return f"arrays {', '.join(one)} against {', '.join(other)}"
    for name in one:
        if one[name].shape != other[name].shape:
            return f"{name} has shape {one[name].shape} against {other[name].shape}"
        finite = np.abs(one[name][np.isfinite(one[name])])
        floor = ONE_ROUNDING * finite.max(initial=0.0) if relative else 0.0
        far = ~np.isclose(other[name], one[name], rtol=relative, atol=floor, equal_nan=True)
        if far.any():
            at = tuple(int(index) for index in np.argwhere(far)[0])
            return f"{name}{list(at)} is {float(one[name][at])!r} against {float(other[name][at])!r}"
    return None


def _block_size_invariant(subject: SummarySubject) -> None:
    import numpy as np

    signal = noise(N_FRAMES)
    whole = summarised(subject.summary, signal, [N_FRAMES])
    drawn = np.random.default_rng(7)
    n_single = RATE_HZ + 1  # a second of single frames; all of them would take most of the time of the kit
    splits = {
        "single frames": [1] * n_single + [N_FRAMES - n_single],
        "blocks of 7 frames": _even(N_FRAMES, 7),
        "blocks of 4096 frames": _even(N_FRAMES, 4096),
    }
    for number in (1, 2, 3):
        edges = np.sort(drawn.integers(0, N_FRAMES + 1, 40))  # two edges may fall together: a block of no frames
        splits[f"random split {number}"] = np.diff([0, *edges, N_FRAMES]).tolist()
    for how, sizes in splits.items():
        told = _difference(whole, summarised(subject.summary, signal, sizes), RELATIVE)
        if told is not None:
            raise RuleBroken(f"all at once against {how}: {told}")


def _empty_recording(subject: SummarySubject) -> None:
    names = list(summarised(subject.summary, noise(N_FRAMES), [N_FRAMES]))
    _same_names(names, summarised(subject.summary, noise(0), []), "without a block")
    _same_names(names, summarised(subject.summary, noise(0), [0]), "with a block of no frames")


def _one_sample(subject: SummarySubject) -> None:
    names = list(summarised(subject.summary, noise(N_FRAMES), [N_FRAMES]))
    _same_names(names, summarised(subject.summary, noise(1), [1]), "of one frame")


def _same_names(names: list[str], arrays: Arrays, how: str) -> None:
    import numpy as np

    if list(arrays) != names:
        raise RuleBroken(f"{how} it gives the arrays {', '.join(arrays)}, else {', '.join(names)}")
    infinite = [name for name, values in arrays.items() if np.isinf(values).any()]
    if infinite:
        raise RuleBroken(f"{how} {', '.join(infinite)} holds an infinite value")


def _nan_bearing(subject: SummarySubject) -> None:
    import numpy as np

    summary, sizes = subject.summary, _even(N_FRAMES, 1000)
    found = {}
    for value in (0.0, 7.0):
        signal = noise(N_FRAMES)
        signal[12_345, 0] = value
        found[value] = summarised(summary, signal, sizes)
    hanging = [name for name in found[0.0] if not np.array_equal(found[0.0][name], found[7.0][name], equal_nan=True)]
    signal[12_345, 0] = np.nan
    try:
        arrays = summarised(summary, signal, sizes)
    except RuleBroken as broken:
        if isinstance(broken.__cause__, (ValueError, RuntimeWarning)):
            return
        raise
    silent = [name for name in hanging if not np.isnan(arrays[name]).any()]
    if silent:
        raise RuleBroken(f"one sample is NaN, and {', '.join(silent)}, which hang on that sample, hold no NaN")


def _repeatable(subject: SummarySubject) -> None:
    summary = subject.summary
    signals = [noise(N_FRAMES, seed) for seed in (1, 2)]
    sizes = _even(N_FRAMES, 1000)
    alone = [summarised(summary, signal, sizes) for signal in signals]
    told = _difference(alone[0], summarised(summary, signals[0], sizes), 0.0)
    if told is not None:
        raise RuleBroken(f"the same recording twice: {told}")
    accumulators = [_started(summary, N_FRAMES) for _ in signals]
    for pair in zip(*(_fed(signal, sizes) for signal in signals), strict=True):
        for accumulator, block in zip(accumulators, pair, strict=True):
            _called(summary, "update", partial(accumulator.update, block))
    for accumulator, expected in zip(accumulators, alone, strict=True):
        told = _difference(expected, _arrays(summary, accumulator), 0.0)
        if told is not None:
            raise RuleBroken(f"a recording alone against two at a time: {told}")
        told = _difference(expected, _arrays(summary, accumulator), 0.0)
        if told is not None:
            raise RuleBroken(f"result called once against twice: {told}")


def _memory_flat(subject: SummarySubject) -> None:
    _needed_bytes(subject.summary, 1)  # what is made once in a process is made now
    short, long = (_needed_bytes(subject.summary, seconds) for seconds in (SHORT_S, LONG_S))
    if long > MOST_GROWTH * short:
        raise RuleBroken(
            f"besides its result it needs {short} bytes for {SHORT_S} s and {long} bytes for {LONG_S} s of a recording"
        )


def _needed_bytes(summary: Summary, n_seconds: int) -> int:
    """The most that was held at a time while a recording went by in blocks of a second, less the size of the result."""
    was_tracing = tracemalloc.is_tracing()
    if not was_tracing:
        tracemalloc.start()
    try:
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        block = noise(RATE_HZ)
        block.setflags(write=False)
        accumulator = _started(summary, n_seconds * RATE_HZ)
        for _ in range(n_seconds):
            _called(summary, "update", lambda: accumulator.update(block))
        result = _called(summary, "result", accumulator.result)
        peak = tracemalloc.get_traced_memory()[1] - before
        return peak - sum(int(values.nbytes) for values in result.values())
    finally:
        if not was_tracing:
            tracemalloc.stop()


def _frozen_parameters(subject: SummarySubject) -> None:
    summary = subject.summary
    parameters = getattr(type(summary), "__dataclass_params__", None)
    if parameters is None or not parameters.frozen:
        raise RuleBroken(f"{type(summary).__name__} is no frozen dataclass: write @dataclass(frozen=True)")
    try:
        key = summary_key(summary)
        hash(summary)
    except (TypeError, ValueError) as error:
        raise RuleBroken(f"its results cannot be kept: {error}") from error
    assert dataclasses.is_dataclass(summary)
    again = dataclasses.replace(summary)
    if again != summary or summary_key(again) != key:
        raise RuleBroken(f"made anew with the same parameters it is another: {key} and {summary_key(again)}")
    summarised(summary, noise(N_FRAMES), [N_FRAMES])
    if summary_key(summary) != key:
        raise RuleBroken(f"a recording changed it: {key} became {summary_key(summary)}")


RULES: tuple[Rule[SummarySubject], ...] = (
    Rule(
        name="block-size-invariant", level="must", check=_block_size_invariant,
        says="where blocks begin and end changes nothing, and nothing is kept of a block's buffer",
    ),
    Rule(
        name="empty-recording", level="must", check=_empty_recording,
        says="a recording of no frames gives the same arrays by name, without an infinite value",
    ),
    Rule(
        name="one-sample", level="must", check=_one_sample,
        says="a recording of one frame gives the same arrays by name, without an infinite value",
    ),
    Rule(
        name="nan-bearing", level="must", check=_nan_bearing,
        says="a sample that is NaN is a ValueError or a NaN in all that hangs on it",
    ),
    Rule(
        name="repeatable", level="must", check=_repeatable,
        says="the same recording gives the same bits: again, beside another recording, and if asked twice",
    ),
    Rule(
        name="memory-flat", level="must", check=_memory_flat,
        says="ten times the recording needs less than a fifth more memory besides the result",
    ),
    Rule(
        name="frozen-parameters", level="must", check=_frozen_parameters,
        says="it is a frozen dataclass whose parameters make a key",
    ),
)  # fmt: skip
