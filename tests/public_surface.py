"""The public surface as lines of text, one a member: what plug-in authors may import, and what each name promises."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import pkgutil
import re
import typing
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from importlib import import_module
from types import MappingProxyType, ModuleType

from public_changes import in_order

from fairhearing.deprecation import Until, moved_names, until_of
from fairhearing.hookspecs import PROJECT

LISTED = ("fairhearing.api", "fairhearing.conformance")
HOOKS = "fairhearing.hookspecs"
PACKAGES = ("fairhearing.acoustics", "fairhearing.statistics")
MADE_FOR_EACH_CLASS = {"mro", "register"}


def surface() -> list[str]:
    """Every line, sorted, each once."""
    lines: set[str] = set()
    for name in LISTED:
        module = import_module(name)
        lines.update(lines_of_names(module, module.__all__))
    hooks = import_module(HOOKS)
    lines.update(lines_of_names(hooks, [name for name in vars(hooks) if name.startswith(f"{PROJECT}_")]))
    for package in PACKAGES:
        for module in modules_in(package):
            lines.update(lines_of_names(module, own_names(module)))
    return sorted(lines, key=in_order)


def modules_in(package: str) -> list[ModuleType]:
    """The public modules of a package, itself among them."""
    whole = import_module(package)
    found = pkgutil.walk_packages(whole.__path__, prefix=f"{package}.")
    return [whole, *(import_module(one.name) for one in found if "._" not in one.name)]


def own_names(module: ModuleType) -> list[str]:
    """The public functions and classes that a module makes itself, and those that it only still gives."""
    made = [name for name, thing in vars(module).items() if getattr(thing, "__module__", None) == module.__name__]
    public = [name for name in made if not name.startswith("_") and callable(vars(module)[name])]
    return [*public, *moved_names(vars(module).get("__getattr__"))]


def lines_of_names(module: ModuleType, names: list[str]) -> Iterator[str]:
    """The lines of these names of a module."""
    for name in names:
        where = f"{module.__name__}.{name}"
        moved = moved_names(vars(module).get("__getattr__")).get(name)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            thing = getattr(module, name)
        end = ending(moved or until_of(thing))
        yield from (line + end if line.startswith(where) else line for line in lines_of(where, thing))


def ending(until: Until | None) -> str:
    """What a line ends in whose name will go."""
    return f"  [until {until.date}, then {until.use}]" if until is not None else ""


def lines_of(where: str, thing: object) -> Iterator[str]:
    """The lines of one name."""
    if inspect.isclass(thing):
        yield from lines_of_class(where, thing)
    elif isinstance(thing, Mapping):
        yield f"{where}: {'read-only mapping' if isinstance(thing, MappingProxyType) else 'mapping'}"
        yield from (f"{where}[{key!r}]" for key in thing)
    elif callable(thing) and hasattr(thing, "__name__"):
        yield f"{where}{signature(thing)}"
        yield from words_of(thing.__module__, inspect.get_annotations(inspect.unwrap(thing)).values())
    else:  # a value: what it is, and not which, since that may change
        yield f"{where}: {type(thing).__name__}"


# --- classes ----------------------------------------------------------------------------------------------------------


def lines_of_class(where: str, kind: type) -> Iterator[str]:
    """What kind of class it is, its fields or attributes, its methods, and the words that those may hold."""
    fields = {field.name: field for field in dataclasses.fields(kind)} if dataclasses.is_dataclass(kind) else {}
    yield f"{where}: {', '.join(what_kind(kind))}"
    for name, field in fields.items():
        yield f"{where}.{name}: {annotation(field.type)}{default_of_field(field)}"
    by_keyword = bool(fields) and all(field.kw_only for field in fields.values())
    if not by_keyword and not is_protocol(kind) and "__init__" in vars(kind):
        yield f"{where}.__init__{signature(kind.__init__)}"
    annotations = {name: said for one in ours(kind) for name, said in inspect.get_annotations(one).items()}
    for name, said in annotations.items():
        if name not in fields and not name.startswith("_"):
            value = inspect.getattr_static(kind, name, inspect.Parameter.empty)
            whose = "" if annotation(said).startswith("ClassVar") else default(value)
            yield f"{where}.{name}: {annotation(said)}{whose}"
    yield from lines_of_members(where, kind, {*fields, *annotations})
    said_of = [text for one in ours(kind) for text in inspect.get_annotations(one).values()]
    yield from words_of(kind.__module__, said_of)


def what_kind(kind: type) -> list[str]:
    """Protocol, exception or class with what it derives from; frozen and keyword-only where it is."""
    bases = [base.__name__ for base in kind.__bases__ if base not in (object, typing.Protocol, typing.Generic)]
    word = "protocol" if is_protocol(kind) else "dataclass" if dataclasses.is_dataclass(kind) else "class"
    said = [f"{word}({', '.join(bases)})" if bases else word]
    if dataclasses.is_dataclass(kind):
        parameters = kind.__dataclass_params__
        said += ["frozen"] if parameters.frozen else []
        said += ["keyword-only"] if all(field.kw_only for field in dataclasses.fields(kind)) else []
    return said


def is_protocol(kind: type) -> bool:
    """Whether others make what it promises; a class that derives from a protocol is none."""
    return bool(vars(kind).get("_is_protocol"))


def ours(kind: type) -> list[type]:
    """The class and what it derives from, the root first, as far as the project makes it."""
    return [
        one for one in reversed(kind.__mro__) if one.__module__.partition(".")[0] == kind.__module__.partition(".")[0]
    ]


def lines_of_members(where: str, kind: type, told: set[str]) -> Iterator[str]:
    """Methods, properties and values, of its own and inherited from what is ours."""
    members = {name: thing for one in ours(kind) for name, thing in vars(one).items()}
    for name, thing in members.items():
        if name in told or (name.startswith("_") and name != "__call__") or name in MADE_FOR_EACH_CLASS:
            continue
        if isinstance(thing, property):
            returned = inspect.signature(thing.fget).return_annotation if thing.fget else inspect.Parameter.empty
            yield f"{where}.{name}: property of {annotation(returned)}"
        elif isinstance(thing, staticmethod | classmethod):
            yield f"{where}.{name}{signature(thing.__func__, bound=isinstance(thing, classmethod))}"
        elif inspect.isfunction(thing):
            yield f"{where}.{name}{signature(thing, bound=True)}"
        elif not inspect.isdatadescriptor(thing):
            yield f"{where}.{name}: {type(thing).__name__}{default(thing)}"


def words_of(module: str, annotations: Iterable[object]) -> Iterator[str]:
    """The words of every closed set that one of the annotations in a module names."""
    for name in sorted(set(re.findall(r"\w+", " ".join(map(str, annotations))))):
        alias = vars(import_module(module)).get(name)
        if typing.get_origin(alias) is typing.Literal:
            yield from (f"words.{name}[{word!r}]" for word in typing.get_args(alias))


# --- signatures -------------------------------------------------------------------------------------------------------


def signature(function: Callable[..., object], *, bound: bool = False) -> str:
    """Parameters and what is returned, as one would write them; of a method without what it is called on."""
    whole = inspect.signature(function)
    parameters = list(whole.parameters.values())
    if bound or function.__name__ == "__init__":
        parameters = parameters[1:]
    kinds = [one.kind for one in parameters]
    texts = [parameter_text(one) for one in parameters]
    if inspect.Parameter.KEYWORD_ONLY in kinds and inspect.Parameter.VAR_POSITIONAL not in kinds:
        texts.insert(kinds.index(inspect.Parameter.KEYWORD_ONLY), "*")
    if inspect.Parameter.POSITIONAL_ONLY in kinds:
        texts.insert(len(kinds) - kinds[::-1].index(inspect.Parameter.POSITIONAL_ONLY), "/")
    return f"({', '.join(texts)}) -> {annotation(whole.return_annotation)}"


def parameter_text(parameter: inspect.Parameter) -> str:
    """Name, type and default of a parameter."""
    stars = {inspect.Parameter.VAR_POSITIONAL: "*", inspect.Parameter.VAR_KEYWORD: "**"}.get(parameter.kind, "")
    said = "" if parameter.annotation is inspect.Parameter.empty else f": {annotation(parameter.annotation)}"
    return f"{stars}{parameter.name}{said}{default(parameter.default)}"


def annotation(said: object) -> str:
    """A type as it is written in the source, in one line."""
    if said is inspect.Parameter.empty:
        return "object"
    text = said if isinstance(said, str) else inspect.formatannotation(said)
    return " ".join(text.split())


def default_of_field(field: dataclasses.Field[object]) -> str:
    """The default of a field of a dataclass."""
    if field.default_factory is not dataclasses.MISSING:
        return f" = {getattr(field.default_factory, '__name__', '...')}()"
    return default(inspect.Parameter.empty if field.default is dataclasses.MISSING else field.default)


def default(value: object) -> str:
    """A default as one would write it; what cannot be written is `...`."""
    if value is inspect.Parameter.empty or inspect.isdatadescriptor(value):
        return ""
    written = f"frozenset({sorted(value)!r})" if isinstance(value, frozenset) else repr(value)
    try:
        ast.parse(written, mode="eval")
    except SyntaxError:
        written = "..."
    return f" = {written}"
