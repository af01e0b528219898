"""Which folders are session folders."""

from __future__ import annotations

from pathlib import Path

from fairhearing.errors import ManifestProblem

MANIFEST_NAME = "session.toml"
_SHOWN_FOLDERS = 5


def is_session_folder(path: Path) -> bool:
    """Whether `path` is a folder that holds a session.toml.

    Examples
    --------
    >>> is_session_folder(Path("no-such-folder"))
    False
    """
    return (path / MANIFEST_NAME).is_file()


def find_session_folders(path: Path) -> tuple[Path, ...]:
    """`path` itself if it is a session folder, or else its sub-folders that are, by name.

    Parameters
    ----------
    path : Path
        A session folder or a folder of them.

    Returns
    -------
    tuple of Path, at least one

    Raises
    ------
    ManifestProblem
        There is no such folder, or no session.toml in it and in its sub-folders.

    Examples
    --------
    >>> find_session_folders(Path("no-such-folder"))
    Traceback (most recent call last):
    ...
    fairhearing.errors.ManifestProblem: there is no folder 'no-such-folder'
      where: no-such-folder
      try:   check the spelling, and the folder that you start from
    """
    if is_session_folder(path):
        return (path,)
    if not path.exists():
        raise ManifestProblem(
            f"there is no folder {str(path)!r}",
            where=str(path),
            try_="check the spelling, and the folder that you start from",
        )
    if not path.is_dir():
        raise ManifestProblem(
            f"{str(path)!r} is a file, not a session folder",
            where=str(path),
            try_=f"name the folder that holds {MANIFEST_NAME}: {str(path.parent)!r}",
        )
    try:
        subfolders = sorted((child for child in path.iterdir() if child.is_dir()), key=lambda child: child.name)
    except OSError as error:
        raise ManifestProblem(
            f"the folder {str(path)!r} cannot be read: {error.strerror}",
            where=str(path),
            try_="check who may read it",
        ) from error
    found = tuple(child for child in subfolders if is_session_folder(child))
    if not found:
        raise ManifestProblem(
            f"there is no {MANIFEST_NAME} in {str(path)!r}, {_seen(subfolders)}",
            where=str(path),
            try_=f"name a folder that holds a {MANIFEST_NAME}, or a folder of such folders",
        )
    return found


def _seen(subfolders: list[Path]) -> str:
    if not subfolders:
        return "and it has no sub-folders"
    names = ", ".join(child.name for child in subfolders[:_SHOWN_FOLDERS])
    more = len(subfolders) - _SHOWN_FOLDERS
    return f"nor in its sub-folders ({names}{f' and {more} more' if more > 0 else ''})"
