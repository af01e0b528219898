"""A new plug-in as a distribution of its own: written from templates, with a sample and a test that passes at once."""

from __future__ import annotations

import re
import shutil
import tempfile
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Literal, get_args

from fairhearing.api_version import API_VERSION
from fairhearing.errors import InputProblem, OutputProblem

PluginKind = Literal["importer", "analyser", "reporter"]
PLUGIN_KINDS: tuple[PluginKind, ...] = get_args(PluginKind)
_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
_TEMPLATE = ".template"
_LONGEST = 40


def write_plugin(name: str, kind: str, into: Path) -> Path:
    """The folder of a new distribution `into`/`name`, which is written whole or not at all.

    Parameters
    ----------
    name : str
        Words of small letters and digits with hyphens between, as `lamp-log`.
    kind : {"importer", "analyser", "reporter"}
    into : Path
        Made if it is missing.

    Raises
    ------
    InputProblem
        The name or the kind is none, or a plug-in of that name is installed.
    OutputProblem
        The folder is there already, or cannot be written.
    """
    _check(name, kind)
    folder = into / name
    if folder.exists() or folder.is_symlink():
        raise OutputProblem(
            f"{name!r} is there already", where=str(folder), try_="choose another name, or another folder with --into"
        )
    words = {
        "@NAME@": name,
        "@MODULE@": f"fairhearing_{name.replace('-', '_')}",
        "@CLASS@": _class_name(name, kind),
        "@API@": API_VERSION,
        "@QUANTITY@": f"{name.replace('-', '_')}_change",
    }
    try:
        into.mkdir(parents=True, exist_ok=True)
        making = Path(tempfile.mkdtemp(prefix=".fairhearing-", dir=into))
    except OSError as error:
        raise _not_written(folder, error) from error
    try:
        templates = files("fairhearing.conformance").joinpath("templates")
        for source in (templates.joinpath("any"), templates.joinpath(kind)):
            _copy(source, making / "new", words)
        (making / "new").rename(folder)
    except OSError as error:
        raise _not_written(folder, error) from error
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return folder


def _class_name(name: str, kind: str) -> str:
    """lamp-log and lamp-importer as LampLogImporter and LampImporter: never a word that a template imports."""
    words = name.split("-")
    words += [] if words[-1] == kind and len(words) > 1 else [kind]
    return "".join(word.capitalize() for word in words)


def _check(name: str, kind: str) -> None:
    if kind not in PLUGIN_KINDS:
        raise InputProblem(f"{kind!r} is no kind of plug-in", where="--kind", try_=f"one of {', '.join(PLUGIN_KINDS)}")
    if not _NAME.fullmatch(name) or len(name) > _LONGEST:
        raise InputProblem(
            f"{name!r} is no name for a plug-in",
            where="--new",
            try_=f"words of small letters and digits with hyphens between, up to {_LONGEST} in all, such as lamp-log",
        )
    from fairhearing.registry import load_plugins

    notes = load_plugins().notes
    taken = {note.name for note in (*notes.importers, *notes.analysers, *notes.reporters)}
    if name in taken or name == "builtins":
        raise InputProblem(
            f"a plug-in {name!r} is installed: of two with one name at most one is used",
            where="--new",
            try_="choose another name; 'fairhearing plugins' shows those that are taken",
        )


def _copy(source: Traversable, target: Path, words: dict[str, str]) -> None:
    """All files below `source`, names and text with their placeholders filled in."""
    target.mkdir(parents=True, exist_ok=True)
    for entry in source.iterdir():
        name = _filled(entry.name, words)
        if entry.is_dir():
            _copy(entry, target / name, words)
        elif entry.name.endswith(_TEMPLATE):
            text = _filled(entry.read_text(encoding="utf-8"), words)
            (target / name.removesuffix(_TEMPLATE)).write_text(text, encoding="utf-8", newline="\n")


def _filled(text: str, words: dict[str, str]) -> str:
    for placeholder, word in words.items():
        text = text.replace(placeholder, word)
    return text


def _not_written(folder: Path, error: OSError) -> OutputProblem:
    return OutputProblem(
        f"the plug-in cannot be written: {error.strerror or error}",
        where=str(folder),
        try_="choose another folder with --into",
    )
