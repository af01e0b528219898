"""The importer of AES69 files: impulse responses and transfer functions of several receivers in one HDF5 file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from fairhearing.api import (
    Importer,
    ImportProblem,
    MeasurementFile,
    Reading,
    Recognition,
    Session,
    SourceFile,
    hookimpl,
)
from fairhearing_builtins.importers.aes69_container import (
    SIGNATURE,
    MissingLibraryError,
    opened,
    recognised_as,
)
from fairhearing_builtins.importers.aes69_data import (
    Impulses,
    Transfers,
    check_kind,
    convention_of,
    kind_of,
    read_impulses,
    read_transfers,
)
from fairhearing_builtins.importers.aes69_receivers import Places, channels_of, places_of
from fairhearing_builtins.importers.impulse_windows import Impulse, with_responses
from fairhearing_builtins.importers.linear_values import curve_of

# AES69-2022, global attribute Conventions.
_CONVENTIONS_WORD = "SOFA"
_SAMPLES = Path(__file__).parent / "samples"


class Aes69File:
    """Reads the general FIR conventions under kind `impulse`, the general TF conventions under kind `response`.

    Receivers are seats, emitters are channels; the one measurement of a file is one repeat.
    """

    name = "aes69"
    version = "1"
    kinds = frozenset({"response", "impulse"})
    samples = (
        _SAMPLES / "high_pass_tf.sofa",
        (_SAMPLES / "high_pass_fir.sofa", MeasurementFile(path="", line=1, entry=0, kind="impulse", condition="in")),
    )

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to HDF5 that says it is of AES69, and to HDF5 that cannot be opened, so that the fault is told."""
        kind = getattr(file.item, "kind", "scores")
        if kind not in self.kinds:
            return Recognition(claims=False, why=f"reads response and impulse, not {kind}")
        if not file.data.startswith(SIGNATURE):
            return Recognition(claims=False, why="it does not begin as an HDF5 container")
        try:
            conventions = recognised_as(file.data)
        except MissingLibraryError:
            return Recognition(claims=True, why="an HDF5 container; what is in it shows with the extra 'containers'")
        if conventions is None:
            return Recognition(claims=True, why="an HDF5 container that is cut or damaged")
        if conventions != _CONVENTIONS_WORD:
            return Recognition(
                claims=False, why=f"HDF5, but its attribute Conventions is {conventions!r}, not {_CONVENTIONS_WORD!r}"
            )
        return Recognition(claims=True, why="HDF5 with the attribute Conventions of AES69")

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A reading for each receiver and emitter of each file, or the file's problem."""
        found: list[Reading | Impulse] = []
        for file in files:
            try:
                found += _read(file, session)
            except ImportProblem as problem:
                found.append(Reading(path=file.path, problem=problem))
        return with_responses(found, session)


def _read(file: SourceFile, session: Session) -> list[Reading | Impulse]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    with opened(file.data, file.path) as container:
        convention = convention_of(container)
        check_kind(convention, item.kind, item.line, file.path)
        data: Impulses | Transfers
        if kind_of(convention) == "impulse":
            data = read_impulses(container, convention)
            n_receivers, n_emitters = data.samples.shape[:2]
        else:
            data = read_transfers(container, convention)
            n_receivers, n_emitters = data.values.shape[:2]
        places = places_of(container, n_receivers, item, session)
        channels = channels_of(container, n_emitters, item)
    return [
        _reading(file, data, receiver, emitter, places, channel)
        for receiver in range(n_receivers)
        for emitter, channel in enumerate(channels)
    ]


def _reading(
    file: SourceFile, data: Impulses | Transfers, receiver: int, emitter: int, places: Places, channel: str | None
) -> Reading | Impulse:
    where = f"{file.path}, receiver {receiver + 1}, emitter {emitter + 1}"
    seat = places.seats[receiver]
    applied = () if seat is None else (f"seat {seat} is receiver {receiver + 1}, {places.told}",)
    reading = Reading(path=file.path, seat=seat, channel=channel, caveats=places.caveats, applied=applied)
    if isinstance(data, Impulses):
        assert isinstance(file.item, MeasurementFile)
        return Impulse(
            reading=replace(reading, caveats=(*reading.caveats, *data.caveats)),
            item=file.item,
            where=where,
            samples=data.samples[receiver, emitter],
            rate_hz=data.rate_hz,
            starts_s=float(data.delay_samples[receiver, emitter]) / data.rate_hz,
        )
    values = data.values[receiver, emitter]
    found = curve_of(data.frequency_hz, values, lambda place: f"{where}, value {place + 1} of dimension N")
    return replace(
        reading,
        content=found.curve,
        caveats=(*reading.caveats, *(("the value at 0 Hz was dropped",) if found.zero_dropped else ())),
        applied=(*applied, "level: 20 lg |H|, re 1 in the unit of the file"),
    )


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [Aes69File()]
