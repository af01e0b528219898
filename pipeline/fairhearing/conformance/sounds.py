"""Made-up recordings and their summaries: short noise, always the same for the same words, as loud as one likes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from fairhearing.audio import AudioFormat, Recording, Summary, summary_key
from fairhearing.calling import call_plugin
from fairhearing.errors import PluginProblem
from fairhearing.session import Kind, Point, Session

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

Arrays = Mapping[str, "FloatArray"]
FORMAT = AudioFormat(rate_hz=8000, n_channels=2, n_frames=160_011, subtype="PCM_24")
BLOCK = 4096
FULL_SCALE_PA, FULL_SCALE_V = 20.0, 10.0


class Sound(Mapping[str, Arrays]):
    """The summaries of one made-up recording by key; it still has the samples, so that it can be made louder."""

    def __init__(self, words: str, summaries: Sequence[Summary], gain_db: float = 0.0) -> None:
        self.words, self.asked, self.gain_db = words, tuple(summaries), gain_db
        self._made: dict[str, Arrays] = {}
        samples = _samples(words, gain_db) if self.asked else None
        for summary in self.asked if samples is not None else ():
            arrays = None if samples is None else _summarised(summary, samples, words)
            if arrays is not None:
                self._made[summary_key(summary)] = arrays

    def __getitem__(self, key: str) -> Arrays:
        return self._made[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)

    def louder(self, gain_db: float) -> Sound:
        """The same with a gain."""
        return Sound(self.words, self.asked, self.gain_db + gain_db)


def recordings(
    session: Session,
    kind: Kind,
    point: Point,
    seats: Iterable[str | None],
    programmes: Iterable[str | None],
    *,
    n_repeats: int = 1,
) -> list[Recording]:
    """Recordings of every condition, without summaries yet."""
    made = []
    for condition in session.conditions:
        for seat, programme in [(s, p) for s in seats for p in programmes]:
            for repeat in range(1, n_repeats + 1):
                words = (kind, point, seat, programme, condition.id, repeat)
                path = "_".join(str(word) for word in words if word is not None)
                made.append(
                    Recording(
                        kind=kind,
                        point=point,
                        playing="main",
                        seat=seat,
                        condition=condition.id,
                        repeat=str(repeat),
                        channel=None,
                        programme=programme,
                        path=f"{path}.wav",
                        format=FORMAT,
                        full_scale_pa=FULL_SCALE_PA if point == "seat" else None,
                        full_scale_v=None if point == "seat" else FULL_SCALE_V,
                    )
                )
    return made


def programme_files(programmes: Iterable[str]) -> list[Recording]:
    """The source's own files of programmes: of no condition, at no seat; without summaries yet."""
    return [
        Recording(
            kind="recording",
            point="programme",
            playing="main",
            seat=None,
            condition=None,
            repeat="1",
            channel=None,
            programme=programme,
            path=f"{programme}.wav",
            format=FORMAT,
            full_scale_v=FULL_SCALE_V,
        )
        for programme in programmes
    ]


def with_summaries(made: Iterable[Recording], summaries: Sequence[Summary]) -> tuple[Recording, ...]:
    """The recordings with these summaries of them."""
    return tuple(replace(recording, summaries=Sound(recording.path, summaries)) for recording in made)


def _samples(words: str, gain_db: float) -> FloatArray:
    """Noise that falls towards high frequencies, on a steady offset; quiet enough to take 20 dB of gain."""
    import numpy as np

    generator = np.random.default_rng(list(words.encode()))
    white = generator.normal(0.0, 1.0, (FORMAT.n_frames + 16, FORMAT.n_channels))
    smooth = np.mean([white[k : k + FORMAT.n_frames] for k in range(1 + len(words) % 4)], axis=0)
    samples: FloatArray = (0.005 + 0.005 * generator.uniform()) * smooth + 0.001 * generator.uniform()
    return samples * 10 ** (gain_db / 20)


def _summarised(summary: Summary, samples: FloatArray, where: str) -> Arrays | None:
    """The arrays, read-only; None if the summary fails: its own rules tell that."""
    import numpy as np

    def made() -> dict[str, FloatArray]:
        accumulator = summary.start(FORMAT)
        for start in range(0, len(samples), BLOCK):
            accumulator.update(samples[start : start + BLOCK])
        return {name: np.array(values, dtype=np.float64) for name, values in accumulator.result().items()}

    try:
        return call_plugin(summary.name, summary.version, where, partial(made))
    except PluginProblem:
        return None
