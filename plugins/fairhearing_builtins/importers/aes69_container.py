"""The container of AES69 files, HDF5: opened out of memory, its attributes as text and its variables as arrays."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from fairhearing.api import ImportProblem

if TYPE_CHECKING:
    import h5py

FloatArray = npt.NDArray[np.float64]

# HDF5 File Format Specification 3.0, II.A: the first eight bytes.
SIGNATURE = b"\x89HDF\r\n\x1a\n"
# A variable of a few bytes may claim any shape: beyond this it is refused before it is read.
_MOST_VALUES = 1 << 27
# What a damaged container makes the library raise.
_DAMAGE = (OSError, RuntimeError, KeyError, ValueError, TypeError, AttributeError, OverflowError, MemoryError)


class MissingLibraryError(Exception):
    """The library that reads HDF5 is not installed."""


class Container:
    """An open AES69 file: attributes as text, variables as arrays, each fault told with its name."""

    def __init__(self, file: h5py.File, path: str) -> None:
        self._file = file
        self.path = path

    def attribute(self, name: str, of: str | None = None) -> str:
        """The text of an attribute of the file, or of the variable `of`; "" if there is none."""
        holder = self._file if of is None else self._file[of]
        return _text(holder.attrs.get(name))

    def has(self, name: str) -> bool:
        """Whether there is a variable of this name."""
        return name in self._file

    def texts(self, name: str) -> tuple[str, ...]:
        """The texts of a variable, one each, or of an attribute of that name with commas between; () without it."""
        if name in self._file:
            values = self._variable(name)[()]
            return tuple(_text(value).strip("\0 ") for value in _rows(np.asarray(values)))
        listed = self.attribute(name)
        return tuple(part.strip() for part in listed.split(",")) if listed else ()

    def numbers(self, name: str) -> FloatArray:
        """A variable as an array of finite numbers.

        Raises
        ------
        ImportProblem
            There is no such variable, or it holds something else.
        """
        if name not in self._file:
            raise ImportProblem(
                f"the variable {name} is missing", where=self.path, try_="write the file again with all its variables"
            )
        variable = self._variable(name)
        if variable.dtype.kind not in "fiu":
            raise self.problem(f"the variable holds no numbers but {variable.dtype}", name)
        # Some numbers that are none warn when their precision is changed; they are told just below.
        with np.errstate(invalid="ignore"):
            values = np.asarray(variable[()], dtype=np.float64)
        unusable = np.argwhere(~np.isfinite(values))
        if len(unusable):
            place = ", ".join(str(int(index) + 1) for index in unusable[0])
            raise self.problem(
                f"{len(unusable)} of {values.size} values are no finite numbers", f"{name}, at ({place})"
            )
        return values

    def problem(self, what: str, where: str, try_: str = "write the file again from the measurement") -> ImportProblem:
        """A problem of this file; `where`: the variable or attribute."""
        return ImportProblem(what, where=f"{self.path}, {where}", try_=try_)

    def _variable(self, name: str) -> h5py.Dataset:
        import h5py

        variable = self._file[name] if isinstance(self._file.get(name, getlink=True), h5py.HardLink) else None
        if not isinstance(variable, h5py.Dataset) or variable.external or variable.is_virtual:
            raise self.problem(
                "it is no variable with its values in this file", name, "write all values into the file itself"
            )
        if variable.size is None or variable.size > _MOST_VALUES:
            raise self.problem(f"the variable has the shape {variable.shape}: too many values", name)
        return variable


def recognised_as(data: bytes) -> str | None:
    """What the attribute Conventions of an HDF5 file says, "" without it; None if it cannot be opened (cut, damaged).

    Raises
    ------
    MissingLibraryError
        The library that reads HDF5 is not installed.
    """
    h5py = _library()
    try:
        with h5py.File(BytesIO(data), "r") as file:
            return _text(file.attrs.get("Conventions"))
    except _DAMAGE:
        return None


@contextmanager
def opened(data: bytes, path: str) -> Iterator[Container]:
    """The container of a file's bytes; what is damaged in it is a problem.

    Raises
    ------
    ImportProblem
        The library is missing, the file is damaged, or the body finds fault.
    """
    try:
        h5py = _library()
        with h5py.File(BytesIO(data), "r") as file:
            yield Container(file, path)
    except MissingLibraryError:
        raise ImportProblem(
            "AES69 files are read with h5py, which is not installed",
            where=path,
            try_="install the extra: pip install 'fairhearing[containers]'",
        ) from None
    except _DAMAGE as error:
        raise ImportProblem(
            f"the HDF5 container is cut or damaged: {' '.join(str(error).split())[:120] or type(error).__name__}",
            where=path,
            try_="copy the file again from where it was written",
        ) from error


def _library() -> ModuleType:
    try:
        import h5py
    except ImportError as error:
        raise MissingLibraryError from error
    library: ModuleType = h5py
    return library


def _text(value: object) -> str:
    """An attribute or an entry as text, whatever HDF5 keeps it as."""
    if isinstance(value, np.ndarray):
        value = value.reshape(-1)[0] if value.size == 1 else b"".join(bytes(part) for part in value.reshape(-1))
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    return value if isinstance(value, str) else ""


def _rows(values: npt.NDArray[np.generic]) -> list[object]:
    """One entry per text: single characters along the last axis are put together."""
    if values.dtype.kind == "S" and values.dtype.itemsize == 1 and values.ndim > 1:
        return [row.tobytes() for row in values.reshape(-1, values.shape[-1])]
    return list(values.reshape(-1))
