"""Entry points to plug-ins: what is installed, and a list of what is broken with its reason."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points

import pluggy

from fairhearing import hookspecs
from fairhearing.audio import Summary, summary_key
from fairhearing.contracts import Analyser, Importer, Needs, Reporter
from fairhearing.errors import nearest

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


@dataclass(frozen=True, slots=True)
class _Offer:
    kind: str
    plugin: Importer | Analyser | Reporter
    entry_point: EntryPoint


def load_plugins() -> Plugins:
    """Every plug-in that the installed entry points offer; nothing here raises for a broken one."""
    offers: list[_Offer] = []
    broken: list[BrokenPlugin] = []
    found = sorted(entry_points(group=hookspecs.PROJECT), key=lambda e: (e.name, _distribution(e)[0]))
    for entry_point in found:
        try:
            offers += _load_one(entry_point)
        except (Exception, SystemExit) as error:  # a plug-in's module may fail in any way
            broken.append(
                _broken(entry_point, f"{type(error).__name__}: {error}" if str(error) else type(error).__name__)
            )
    offers, doubled = _without_doubles(offers)
    analysers, circular = _in_order([o for o in offers if o.kind == "analyser"])
    broken += doubled + circular
    importers = [o for o in offers if o.kind == "importer"]
    reporters = [o for o in offers if o.kind == "reporter"]
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


def _load_one(entry_point: EntryPoint) -> list[_Offer]:
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    manager.register(entry_point.load(), name=entry_point.name)
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
            offers.append(_Offer(kind, plugin, entry_point))
    if not offers:
        raise ValueError("it offers nothing: no hook of it returned a plug-in")
    return offers


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


def _missing(plugin: object, protocol: type) -> list[str]:
    wanted = [name for name in {**protocol.__annotations__, **vars(protocol)} if not name.startswith("_")]
    return [name for name in wanted if not hasattr(plugin, name)]


def _without_doubles(offers: Sequence[_Offer]) -> tuple[list[_Offer], list[BrokenPlugin]]:
    seen: dict[tuple[str, str], _Offer] = {}
    kept, broken = [], []
    names = [(o.kind, o.plugin.name) for o in offers]
    for offer in offers:
        key = (offer.kind, offer.plugin.name)
        if names.count(key) > 1:
            others = sorted({_distribution(o.entry_point)[0] for o in offers if (o.kind, o.plugin.name) == key})
            reason = f"two {offer.kind}s have the name {offer.plugin.name!r} (from {', '.join(others)})"
            broken.append(_broken(offer.entry_point, reason, "remove one of them, or rename it"))
            continue
        seen[key] = offer
        kept.append(offer)
    return kept, broken


def _in_order(offers: Sequence[_Offer]) -> tuple[list[_Offer], list[BrokenPlugin]]:
    """Analysers so that each runs after those whose findings it reads; a circle of needs is left out, named."""
    waiting = sorted(offers, key=lambda o: o.plugin.name)
    ordered: list[_Offer] = []
    while waiting:
        ready = [o for o in waiting if not _waits_for(o, waiting)]
        if not ready:
            names = ", ".join(o.plugin.name for o in waiting)
            reason = f"the needs of {names} form a circle"
            return ordered, [_broken(o.entry_point, reason, "let one of them need less") for o in waiting]
        ordered.append(ready[0])
        waiting.remove(ready[0])
    return ordered, []


def _waits_for(offer: _Offer, waiting: Sequence[_Offer]) -> bool:
    assert isinstance(offer.plugin, Analyser)
    needed = offer.plugin.needs.findings
    others = [o.plugin for o in waiting if o is not offer and isinstance(o.plugin, Analyser)]
    return any(needed & other.quantities for other in others)


def _distribution(entry_point: EntryPoint) -> tuple[str, str]:
    dist = entry_point.dist
    return (dist.name, dist.version) if dist is not None else ("unknown distribution", "")


def _broken(entry_point: EntryPoint, reason: str, try_: str | None = None) -> BrokenPlugin:
    distribution = _distribution(entry_point)[0]
    where = f"re-install or remove {distribution}, for Python {sys.version_info.major}.{sys.version_info.minor}"
    return BrokenPlugin(
        entry_point=entry_point.name, distribution=distribution, reason=reason.splitlines()[0], try_=try_ or where
    )


def _note(offer: _Offer) -> PluginNote:
    plugin = offer.plugin
    if isinstance(plugin, Importer):
        offers = tuple(sorted(plugin.kinds))
    elif isinstance(plugin, Analyser):
        offers = tuple(sorted(plugin.quantities))
    else:
        offers = ()
    name, version = _distribution(offer.entry_point)
    return PluginNote(
        name=plugin.name,
        version=plugin.version,
        kind=offer.kind,
        distribution=name,
        distribution_version=version,
        offers=offers,
    )
