"""Writes a set of files whole or not at all, and takes away what an earlier run wrote and this one does not."""

from __future__ import annotations

import errno
import json
import os
import secrets
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fairhearing.errors import OutputProblem

RECORD_NAME = ".fairhearing-files.json"
_RECORD_FORMAT = 1
_TEMPORARY_PREFIX = ".fairhearing-"
_ADVICE = {
    errno.ENOSPC: "make room on the disk, or choose another folder",
    errno.EDQUOT: "make room on the disk, or choose another folder",
    errno.EACCES: "choose a folder that you may write to",
    errno.EPERM: "choose a folder that you may write to",
    errno.EROFS: "choose a folder on a disk that can be written",
    errno.ENOTDIR: "a file stands where a folder is wanted: choose another folder",
    errno.EEXIST: "a file stands where a folder is wanted: choose another folder",
    errno.EISDIR: "a folder stands where a file is wanted: choose another folder",
    errno.ENAMETOOLONG: "choose a shorter name",
}


def write_files(folder: Path, files: Mapping[str, bytes], *, record_name: str = RECORD_NAME) -> None:
    """Write all `files` into `folder`, or leave it as it was.

    Each file is written under another name beside its place and then put there in one step. A list of the files is
    kept in `record_name`; files that the list of an earlier call names and that are not among the new ones are taken
    away. No other file is touched.

    Parameters
    ----------
    folder : Path
        Made if it is missing.
    files : mapping of str to bytes
        Path relative to `folder`, with / -> content.
    record_name : str
        Name of the list, in `folder`.

    Raises
    ------
    OutputProblem
        A path leaves the folder, or something cannot be written; nothing has changed then.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_files(Path(place), {"a.txt": b"one", "b/c.txt": b"two"})
    ...     write_files(Path(place), {"a.txt": b"three"})
    ...     sorted(child.name for child in Path(place).iterdir())
    ['.fairhearing-files.json', 'a.txt']
    """
    for path in files:
        _check_path(folder, path, record_name)
    job = _Job(folder=folder)
    try:
        stale = sorted(_recorded(folder, record_name) - set(files))
        record = {"format": _RECORD_FORMAT, "files": sorted(files)}
        content = {**files, record_name: (json.dumps(record, indent=1, ensure_ascii=True) + "\n").encode()}
        job.make_folder(folder)
        written = {path: job.write_aside(path, data) for path, data in sorted(content.items())}
        for path in (*stale, *written):
            job.set_aside(path)
        for path, temporary in written.items():
            job.put(temporary, path)
    except BaseException as error:
        job.undo()
        if isinstance(error, OSError):
            raise _problem(folder, error) from error
        raise
    job.finish(stale)


def check_writable(folder: Path) -> None:
    """Make `folder` if it is missing, and prove by a file written and removed again that it can be written to.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    OutputProblem
        It cannot; folders that were made on the way are gone again.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     check_writable(Path(place) / "new" / "folder")
    ...     (Path(place) / "new" / "folder").is_dir()
    True
    """
    job = _Job(folder=folder)
    try:
        job.make_folder(folder)
        job.write_aside("trial", b"trial\n").unlink()
    except BaseException as error:
        job.undo()
        if isinstance(error, OSError):
            raise _problem(folder, error) from error
        raise


@dataclass(slots=True, kw_only=True)
class _Job:
    """What has been done so far, so that it can be taken back."""

    folder: Path
    made_folders: list[Path] = field(default_factory=list)
    temporaries: list[Path] = field(default_factory=list)
    kept: dict[Path, Path] = field(default_factory=dict)  # place -> what stood there before, under another name
    new: list[Path] = field(default_factory=list)  # places where nothing stood before

    def make_folder(self, folder: Path) -> None:
        missing = []
        while not folder.exists():
            missing.append(folder)
            folder = folder.parent
        for one in reversed(missing):
            one.mkdir()
            self.made_folders.append(one)
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))

    def write_aside(self, path: str, data: bytes) -> Path:
        place = self.folder / path
        self.make_folder(place.parent)
        if not place.parent.resolve().is_relative_to(self.folder.resolve()):
            raise OutputProblem(
                f"{path!r} would be written outside of the folder, through a link",
                where=str(place.parent),
                try_="take the link away, or choose another folder",
            )
        temporary = self._another_name(place)
        with temporary.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        return temporary

    def set_aside(self, path: str) -> None:
        """Keep what stands at `path` under a second name; it stays in its place until it is replaced."""
        place = self.folder / path
        if place.is_dir() and not place.is_symlink():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(place))
        if not os.path.lexists(place):
            self.new.append(place)
            return
        second = self._another_name(place)
        try:
            os.link(place, second, follow_symlinks=False)
        except OSError:  # not every file system has links
            shutil.copy2(place, second, follow_symlinks=False)
        self.kept[place] = second

    def put(self, temporary: Path, path: str) -> None:
        os.replace(temporary, self.folder / path)

    def finish(self, stale: Iterable[str]) -> None:
        """All is written: take away the stale files, and what was kept for undoing. What resists stays."""
        for place in (*(self.folder / path for path in stale), *self.temporaries):
            _remove(place)
        for path in stale:
            for parent in list((self.folder / path).parents)[: path.count("/")]:
                _remove_empty_folder(parent)

    def undo(self) -> None:
        for place in self.new:
            _remove(place)
        for place, second in self.kept.items():
            try:
                os.replace(second, place)
            except OSError:  # better a file under a strange name than none
                self.temporaries.remove(second)
        for temporary in self.temporaries:
            _remove(temporary)
        for folder in reversed(self.made_folders):
            _remove_empty_folder(folder)

    def _another_name(self, place: Path) -> Path:
        temporary = place.parent / f"{_TEMPORARY_PREFIX}{secrets.token_hex(8)}.part"
        self.temporaries.append(temporary)
        return temporary


def _remove(place: Path) -> None:
    try:
        place.unlink(missing_ok=True)
    except OSError:
        return


def _remove_empty_folder(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return


def _check_path(folder: Path, path: str, record_name: str) -> None:
    if is_inside(path) and path != record_name:
        return
    raise OutputProblem(
        f"{path!r} is no path inside of the folder to write into",
        where=str(folder),
        try_="name the file relative to the folder, with / and without ..",
    )


def is_inside(path: str) -> bool:
    """Whether `path` is a plain relative path, with / and without `.` and `..`.

    Examples
    --------
    >>> is_inside("charts/a.svg"), is_inside("../a.svg")
    (True, False)
    """
    parts = path.split("/")
    return not ("" in parts or "." in parts or ".." in parts or "\\" in path or ":" in parts[0] or "\0" in path)


def _recorded(folder: Path, record_name: str) -> set[str]:
    """The files of an earlier call. A record that somebody has changed names nothing outside of the folder."""
    try:
        record = json.loads((folder / record_name).read_bytes())
    except (OSError, ValueError, RecursionError):
        return set()
    named = record.get("files") if isinstance(record, dict) else None
    if not isinstance(named, list):
        return set()
    root = folder.resolve()
    safe = {path for path in named if isinstance(path, str) and is_inside(path) and path != record_name}
    return {
        path for path in safe if (folder / path).parent.resolve().is_relative_to(root) and not (folder / path).is_dir()
    }


def _problem(folder: Path, error: OSError) -> OutputProblem:
    place = error.filename if isinstance(error.filename, str) else str(folder)
    if _TEMPORARY_PREFIX in Path(place).name:
        place = str(Path(place).parent)
    reason = error.strerror or str(error)
    advice = _ADVICE.get(error.errno or 0, "choose another folder")
    return OutputProblem(f"the folder {str(folder)!r} cannot be written: {reason}", where=place, try_=advice)
