"""Entry points to plug-ins: what is installed, and a list of what is broken with its reason."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from importlib.util import find_spec

import pluggy

from fairhearing import hookspecs
from fairhearing.api_version import API_VERSION, STATED_AS, is_later, unmet_need
from fairhearing.audio import Summary, summary_key
from fairhearing.contracts import Analyser, Importer, Needs, Reporter
from fairhearing.errors import nearest
from fairhearing.result import Result
from fairhearing.rivals import Offer, distribution_of, stand_together
from fairhearing.units import known_units

KINDS = ("importer", "analyser", "reporter")


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginNote:
    """One plug-in that loaded: what it is, who ships it, what it offers."""

    name: str
    version: str
    kind: str
    distribution: str
    distribution_version: str
    offers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokenPlugin:
    """One entry point or plug-in that could not be used, and why."""

    entry_point: str
    distribution: str
    reason: str
    try_: str

    def line(self) -> str:
        """One line for standard error and the report."""
        return f"plug-in {self.entry_point} ({self.distribution}) is not used: {self.reason}; try: {self.try_}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PluginList:
    """All plug-ins by kind, and the broken ones."""

    importers: tuple[PluginNote, ...] = ()
    analysers: tuple[PluginNote, ...] = ()
    reporters: tuple[PluginNote, ...] = ()
    broken: tuple[BrokenPlugin, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugins:
    """The plug-ins themselves, in the order of their names, analysers in the order in which they run."""

    importers: tuple[Importer, ...]
    analysers: tuple[Analyser, ...]
    reporters: tuple[Reporter, ...]
    notes: PluginList


class _Unusable(Exception):
    """What a plug-in's module needs is not there: why, and what to try."""

    def __init__(self, reason: str, try_: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.try_ = try_


def load_plugins() -> Plugins:
    """Every plug-in that the installed entry points offer; nothing here raises for a broken one."""
    offers: list[Offer] = []
    broken: list[BrokenPlugin] = []
    found = sorted(entry_points(group=hookspecs.PROJECT), key=lambda e: (e.name, distribution_of(e)[0]))
    for entry_point in found:
        try:
            offers += _load_one(entry_point)
        except _Unusable as lacking:
            broken.append(_broken(entry_point, lacking.reason, lacking.try_))
        except (Exception, SystemExit) as error:  # a plug-in's module may fail in any way
            broken.append(_broken(entry_point, _told(error)))
    standing = stand_together(offers)
    broken += [_broken(one.offer.entry_point, one.reason, one.try_) for one in standing.refused]
    importers, analysers, reporters = (
        [offer for offer in standing.used if offer.kind == kind] for kind in ("importer", "analyser", "reporter")
    )
    notes = PluginList(
        importers=tuple(map(_note, importers)),
        analysers=tuple(map(_note, analysers)),
        reporters=tuple(map(_note, reporters)),
        broken=tuple(broken),
    )
    return Plugins(
        importers=tuple(o.plugin for o in importers if isinstance(o.plugin, Importer)),
        analysers=tuple(o.plugin for o in analysers if isinstance(o.plugin, Analyser)),
        reporters=tuple(o.plugin for o in reporters if isinstance(o.plugin, Reporter)),
        notes=notes,
    )


def check_quantities(result: Result, analyser: Analyser, notes: Iterable[PluginNote] = ()) -> None:
    """Raise for findings of quantities that the analyser does not declare; `notes`: the analysers that are installed.

    Raises
    ------
    ValueError
        With those quantities, and whose they are where another declares them.
    """
    unknown = sorted({finding.quantity for finding in result.findings} - analyser.quantities)
    if not unknown:
        return
    owners = {quantity: note for note in notes for quantity in note.offers if quantity in unknown}
    whose = [f"{q} is declared by {owners[q].name} ({owners[q].distribution})" for q in unknown if q in owners]
    raise ValueError("; ".join([f"it returned {', '.join(unknown)}, which it does not declare", *whose]))


def _load_one(entry_point: EntryPoint) -> list[Offer]:
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    manager.register(_loaded(entry_point), name=entry_point.name)
    try:
        manager.check_pending()
    except pluggy.PluginValidationError as error:
        raise _mistyped(error) from error
    kinds = (
        ("importer", manager.hook.fairhearing_importers, Importer),
        ("analyser", manager.hook.fairhearing_analysers, Analyser),
        ("reporter", manager.hook.fairhearing_reporters, Reporter),
    )
    offers = []
    for kind, hook, protocol in kinds:
        for plugin in [plugin for several in hook() for plugin in several]:
            _check(plugin, kind, protocol)
            offers.append(Offer(kind, plugin, entry_point))
    if not offers:
        raise ValueError("it offers nothing: no hook of it returned a plug-in")
    return offers


# --- what a module needs ----------------------------------------------------------------------------------------------


def _loaded(entry_point: EntryPoint) -> object:
    """The module, if the interface is offered that it states it needs."""
    try:
        loaded: object = entry_point.load()
    except ImportError as error:
        # What lacks the interface may fail at importing a name of it, before it states what it needs.
        _check_interface(entry_point, _stated_in_source(entry_point))
        raise _lacking(entry_point, error) from error
    module = sys.modules.get(entry_point.module)
    _check_interface(entry_point, getattr(module, STATED_AS, None))
    return loaded


def _check_interface(entry_point: EntryPoint, needed: object) -> None:
    if needed is None:
        return
    distribution = distribution_of(entry_point)[0]
    try:
        unmet = unmet_need(needed)
    except ValueError as error:
        raise _Unusable(
            f"{STATED_AS} of {entry_point.module}: {error}",
            f"update {distribution}, or write {STATED_AS} = {API_VERSION!r} in it",
        ) from error
    if unmet is not None:
        old, other = ("fairhearing", distribution) if is_later(str(needed)) else (distribution, "fairhearing")
        raise _Unusable(unmet, f"update {old}, or install a release of {other} that fits it")


def _stated_in_source(entry_point: EntryPoint) -> str | None:
    """What a module that cannot be imported says that it needs, as it is written there."""
    try:
        spec = find_spec(entry_point.module)
        source = spec.loader.get_source(spec.name) if spec is not None else ""  # type: ignore[union-attr]
    except (Exception, SystemExit):  # its package may fail in any way; then nothing is known
        return None
    stated = re.search(rf"^{STATED_AS}\b[^=\n]*= *[\"']([^\"'\n]*)[\"']", source or "", flags=re.MULTILINE)
    return stated[1] if stated else None


def _lacking(entry_point: EntryPoint, error: ImportError) -> _Unusable:
    """What to try where something cannot be imported."""
    distribution, where = distribution_of(entry_point)[0], _reinstall(entry_point)
    root = (error.name or "").partition(".")[0]
    if root == hookspecs.PROJECT:
        where = f"update fairhearing, or install a release of {distribution} that fits it"
    elif isinstance(error, ModuleNotFoundError) and root and root != entry_point.module.partition(".")[0]:
        where += f"; it lacks the module {error.name!r}: install what holds it (python -m pip install …)"
    return _Unusable(_told(error), where)


def _told(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


# --- what may be offered ----------------------------------------------------------------------------------------------


def _mistyped(error: pluggy.PluginValidationError) -> TypeError:
    word = re.search(r"unknown hook '(\w+)'", str(error))
    if word is None:
        return TypeError(str(error))
    known = [name for name in vars(hookspecs) if name.startswith(f"{hookspecs.PROJECT}_")]
    return TypeError(f"{word[1]!r} is no hook; {nearest(word[1], known)}")


def _check(plugin: object, kind: str, protocol: type) -> None:
    """Raise for what could not be called or put in order later."""
    if isinstance(plugin, type):
        raise TypeError(
            f"{plugin.__name__} is a class: the hook returns a list of {kind}s, so write {plugin.__name__}()"
        )
    if not isinstance(plugin, protocol):
        raise TypeError(f"{type(plugin).__name__} is no {kind}: it lacks {', '.join(_missing(plugin, protocol))}")
    wanted: dict[str, type] = {"name": str, "version": str, "kinds": frozenset, "quantities": frozenset, "needs": Needs}
    for name, form in wanted.items():
        if name in protocol.__annotations__ and not isinstance(getattr(plugin, name), form):
            value = getattr(plugin, name)
            raise TypeError(f"{name} of the {kind} {type(plugin).__name__} is {value!r}, not a {form.__name__}")
    for summary in plugin.needs.summaries if isinstance(plugin, Analyser) else ():
        if isinstance(summary, type) or not isinstance(summary, Summary):
            raise TypeError(f"needs.summaries of {type(plugin).__name__} holds {summary!r}, which is no Summary")
        summary_key(summary)
    if isinstance(plugin, Analyser):
        known_units(plugin)


def _missing(plugin: object, protocol: type) -> list[str]:
    wanted = [name for name in {**protocol.__annotations__, **vars(protocol)} if not name.startswith("_")]
    return [name for name in wanted if not hasattr(plugin, name)]


def _broken(entry_point: EntryPoint, reason: str, try_: str | None = None) -> BrokenPlugin:
    return BrokenPlugin(
        entry_point=entry_point.name,
        distribution=distribution_of(entry_point)[0],
        reason=reason.splitlines()[0],
        try_=try_ or _reinstall(entry_point),
    )


def _reinstall(entry_point: EntryPoint) -> str:
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return f"re-install or remove {distribution_of(entry_point)[0]}, for Python {version}"


def _note(offer: Offer) -> PluginNote:
    plugin = offer.plugin
    if isinstance(plugin, Importer):
        offers = tuple(sorted(plugin.kinds))
    elif isinstance(plugin, Analyser):
        offers = tuple(sorted(plugin.quantities))
    else:
        offers = ()
    name, version = distribution_of(offer.entry_point)
    return PluginNote(
        name=plugin.name,
        version=plugin.version,
        kind=offer.kind,
        distribution=name,
        distribution_version=version,
        offers=offers,
    )
