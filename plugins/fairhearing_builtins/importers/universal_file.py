"""The importer of universal files: dataset 58 (function at nodal DOF) in ASCII, frequency response functions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
from fairhearing_builtins.importers.impulse_windows import Impulse, with_responses
from fairhearing_builtins.importers.linear_values import curve_of
from fairhearing_builtins.importers.text_decoding import NotTextError, decode_text
from fairhearing_builtins.importers.universal_file_function import (
    FREQUENCY,
    FREQUENCY_RESPONSE,
    GENERAL,
    TIME,
    TIME_FUNCTIONS,
    UNKNOWN,
    Axis,
    Head,
    Values,
    read_head,
    read_values,
)
from fairhearing_builtins.importers.universal_file_sets import (
    Dataset,
    begins_like_universal_file,
    binary_dataset_line,
    datasets,
)

_FUNCTION_DATASET = 58
_HERTZ = frozenset({"hz", "hertz", "1/s"})
_SECOND = frozenset({"s", "sec", "second", "seconds"})
_SAMPLES = Path(__file__).parent / "samples"


class UniversalFile:
    """Reads a frequency response function; under kind `impulse` a function of time that is an impulse response."""

    name = "universal-file"
    version = "1"
    kinds = frozenset({"response", "impulse"})
    samples = tuple(_SAMPLES / f"high_pass_{name}.uff" for name in ("even", "uneven", "two_points"))

    def recognise(self, file: SourceFile) -> Recognition:
        """Yes to what begins with a delimiter and the number of a dataset; what is wrong with it is told by `read`."""
        kind = getattr(file.item, "kind", "scores")
        if kind not in self.kinds:
            return Recognition(claims=False, why=f"reads response and impulse, not {kind}")
        if begins_like_universal_file(file.data):
            return Recognition(claims=True, why="it begins with a line -1 and the number of a dataset")
        return Recognition(claims=False, why="it does not begin with a line -1 and the number of a dataset")

    def read(self, files: Sequence[SourceFile], session: Session) -> Iterable[Reading]:
        """A reading for each function of each file, or the file's problem."""
        found: list[Reading | Impulse] = []
        for file in files:
            try:
                found += _read(file)
            except ImportProblem as problem:
                found.append(Reading(path=file.path, problem=problem))
        return with_responses(found, session)


def _read(file: SourceFile) -> list[Reading | Impulse]:
    item = file.item
    assert isinstance(item, MeasurementFile)
    found = list(datasets(_text(file), file.path))
    heads = [(each, read_head(each, file.path)) for each in found if each.number == _FUNCTION_DATASET]
    wanted = TIME_FUNCTIONS if item.kind == "impulse" else frozenset({FREQUENCY_RESPONSE})
    chosen = [(each, head) for each, head in heads if head.function in wanted]
    if not chosen:
        raise _nothing_to_read(found, [head for _, head in heads], item, file.path)
    caveats = _left_out(found, [head for _, head in heads if head.function not in wanted])
    channels = _channels([head for _, head in chosen], item, file.path)
    return [_reading(file, *pair, channel, caveats) for pair, channel in zip(chosen, channels, strict=True)]


def _text(file: SourceFile) -> str:
    binary = binary_dataset_line(file.data)
    if binary is not None:
        raise ImportProblem(
            "the values of a dataset 58b are binary numbers, which are not read",
            where=f"{file.path}, line {binary}",
            try_="export the universal file as ASCII",
        )
    try:
        return decode_text(file.data)
    except NotTextError as error:
        raise ImportProblem(
            f"the universal file is no plain text: {error}",
            where=f"{file.path}, line 1",
            try_="export the universal file as ASCII, or copy it again",
        ) from error


def _nothing_to_read(
    found: Sequence[Dataset], heads: Sequence[Head], item: MeasurementFile, path: str
) -> ImportProblem:
    """Why no dataset is read, and which kind to write where another would read one."""
    if not heads:
        numbers = ", ".join(str(number) for number in sorted({each.number for each in found}))
        return ImportProblem(
            f"there is no dataset 58 (function at nodal DOF) in the file, only {numbers}",
            where=f"{path}, line {found[0].line}",
            try_="export the frequency response functions too",
        )
    head = heads[0]
    names = ", ".join(sorted({f"{head.function_name} (type {head.function})" for head in heads}))
    other = None
    if item.kind == "response" and any(head.function in TIME_FUNCTIONS for head in heads):
        other = "impulse"
    elif item.kind == "impulse" and any(head.function == FREQUENCY_RESPONSE for head in heads):
        other = "response"
    return ImportProblem(
        f"the file has no function that is read as kind {item.kind!r}: {names}",
        where=f"{path}, line {head.line + 6}",
        try_="export the frequency response functions (type 4)"
        if other is None
        else f'write kind = "{other}" for it in session.toml (line {item.line})',
    )


def _left_out(found: Sequence[Dataset], heads: Sequence[Head]) -> tuple[str, ...]:
    numbers = sorted({each.number for each in found if each.number != _FUNCTION_DATASET})
    caveats = []
    if numbers:
        caveats.append(f"datasets {', '.join(map(str, numbers))} of the universal file were skipped: only 58 is read")
    if heads:
        names = ", ".join(sorted({head.function_name for head in heads}))
        caveats.append(f"{len(heads)} functions of another type were skipped: {names}")
    return tuple(caveats)


def _channels(heads: Sequence[Head], item: MeasurementFile, path: str) -> list[str | None]:
    """The channel of each function: as session.toml says of the only one, else its node and direction."""
    if len(heads) == 1:
        return [item.channel]
    if item.channel is not None:
        raise ImportProblem(
            f"the file has {len(heads)} functions, and session.toml says that it is channel {item.channel!r}",
            where=f"{path}, line {heads[1].line}",
            try_=f"export one function per file, or leave the channel out (session.toml, line {item.line}): "
            f"each is then named by its node and direction, such as {heads[0].response!r}",
        )
    names = [head.response for head in heads]
    if len({head.reference for head in heads}) > 1:
        names = [f"{head.response}-by-{head.reference}" for head in heads]
    for place, name in enumerate(names):
        if name in names[:place]:
            raise ImportProblem(
                f"two functions are of node and direction {name!r}: nothing tells them apart",
                where=f"{path}, line {heads[place].line}",
                try_="export one function per file, each repeat with its own name",
            )
    return list(names)


def _reading(
    file: SourceFile, dataset: Dataset, head: Head, channel: str | None, caveats: tuple[str, ...]
) -> Reading | Impulse:
    values = read_values(dataset, head, file.path)
    unit = _unit(head, file.path)
    if head.is_even and not head.increment > 0:
        raise ImportProblem(
            f"the abscissa increment is {head.increment:g}: the values do not lie apart",
            where=f"{file.path}, line {head.line + 7}, columns 44 to 56",
            try_="export the file again",
        )
    if head.function in TIME_FUNCTIONS:
        return _of_time(file, head, values, Reading(path=file.path, channel=channel, caveats=caveats))
    _check_abscissa(head.abscissa, FREQUENCY, _HERTZ, "a frequency in hertz", file.path)
    found = curve_of(values.abscissa, values.ordinate, lambda place: f"{file.path}, line {values.lines[place]}")
    if head.abscissa.quantity != FREQUENCY and not head.abscissa.unit:
        caveats += ("the universal file does not say what its abscissa is: taken as frequency in hertz",)
    if found.zero_dropped:
        caveats += ("the value at 0 Hz was dropped",)
    return Reading(
        path=file.path,
        content=found.curve,
        channel=channel,
        caveats=caveats,
        applied=(f"level: 20 lg |H|, re 1 {unit or 'in the unit of the file'}",),
    )


def _of_time(file: SourceFile, head: Head, values: Values, reading: Reading) -> Impulse:
    """A function of time as an impulse response: real, and evenly spaced."""
    assert isinstance(file.item, MeasurementFile)
    _check_abscissa(head.abscissa, TIME, _SECOND, "a time in seconds", file.path)
    if head.is_complex or not head.is_even:
        raise ImportProblem(
            f"the {head.function_name} is {'complex' if head.is_complex else 'unevenly spaced'}; an impulse response "
            "is real and evenly spaced",
            where=f"{file.path}, line {head.line + 7}",
            try_="export it real, with an even spacing of its samples",
        )
    return Impulse(
        reading=reading,
        item=file.item,
        where=f"{file.path}, line {head.line}",
        samples=values.ordinate.real,
        rate_hz=1.0 / head.increment,
        starts_s=head.minimum,
    )


def _unit(head: Head, path: str) -> str:
    """The unit of the ordinate over that of its denominator, "" where none is said."""
    for axis in (head.ordinate, head.denominator):
        if "db" in axis.unit.lower():
            raise ImportProblem(
                f"the unit of the values is {axis.unit!r}; a dataset 58 holds linear values",
                where=f"{path}, line {axis.line}, columns 48 to 67",
                try_="export linear values (real and imaginary part), or a table of frequency and level in dB as text",
            )
    return "/".join(axis.unit for axis in (head.ordinate, head.denominator) if axis.unit)


def _check_abscissa(axis: Axis, quantity: int, units: frozenset[str], words: str, path: str) -> None:
    if axis.quantity not in (quantity, UNKNOWN, GENERAL) or (axis.unit and axis.unit.lower() not in units):
        unit = f", unit {axis.unit!r}" if axis.unit else ""
        raise ImportProblem(
            f"the abscissa is of the specific data type {axis.quantity}{unit}, not {words}",
            where=f"{path}, line {axis.line}",
            try_=f"export the function over {words}",
        )


@hookimpl
def fairhearing_importers() -> list[Importer]:
    """The importer of this module."""
    return [UniversalFile()]
