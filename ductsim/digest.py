"""The SHA-256 of a description: complete by construction, and the same in every process.

Things are taken apart as they are, never by a list of names kept here: a dataclass field by field, a mapping
key by key, any other object by what it would be pickled from. So nothing new can be forgotten.

Code counts too. What the package itself defines counts by its name (its version goes with it), and so does
the standard library. Code of an installed library counts by its name, the library's version and, unless the
package itself needs that library, the bytes of all its Python files. All other code, a user's own parts,
laws and words, counts by what runs: its byte code and constants, its defaults, what it closes over, and
every function, class and value of its modules that it names. Byte code and no source text, since a file may
have been edited after it was loaded; so it also depends on the version of Python.

Not covered: what code reaches by names worked out while it runs (`getattr`, `globals()[...]`, `eval`),
files and the environment, compiled extensions (they count by name and
version), values of an installed library's modules that were changed after it was loaded, and objects that
cannot be pickled, which count by their class alone.
"""

from __future__ import annotations

import dataclasses
import hashlib
import sys
import sysconfig
from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from contextlib import suppress
from functools import cache, cached_property
from importlib import import_module
from importlib.util import resolve_name
from pathlib import Path
from types import BuiltinFunctionType, CodeType, FunctionType, MethodType, ModuleType
from typing import Any

import numpy as np

PACKAGE = __name__.partition(".")[0]
MAIN = ("__main__", "__mp_main__")  # the name that a script's own module has in a worker process
NEEDED = ("numpy", "scipy", "fluids", "pandas", "matplotlib", "jinja2", "tomli_w")
NOT_OF_A_CLASS = frozenset(
    ("__dict__", "__weakref__", "__doc__", "__module__", "__qualname__", "__annotations__", "__annotate__")
    + ("__annotate_func__", "__annotations_cache__", "__dataclass_params__", "__dataclass_fields__")
    + ("__match_args__", "__firstlineno__", "__static_attributes__", "__abstractmethods__")
    + ("__parameters__", "__orig_bases__", "_abc_impl")
)
WRITTEN = frozenset(
    ("__init__", "__repr__", "__eq__", "__hash__", "__setattr__", "__delattr__", "__replace__")
    + ("__lt__", "__le__", "__gt__", "__ge__")
)


def digest(*objects: Any) -> str:
    """The SHA-256 of anything (see the module); equal things have equal ones, in any process.

    Lists and tuples count alike, and so do mappings of any order.
    """
    taker = _Taker()
    return _sha(b"digest", *(taker.piece(obj) for obj in objects)).hex()


def _sha(*pieces: bytes) -> bytes:
    """The hash of some pieces, each with its length, so that no two lists of pieces run together."""
    sha = hashlib.sha256()
    for piece in pieces:
        sha.update(len(piece).to_bytes(8, "little") + piece)
    return sha.digest()


class _Taker:
    """Takes things apart, each object once."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[Any, bytes]] = {}  # the object is kept, so that its id stays its own
        self._open: dict[int, int] = {}  # what is being taken apart, for what contains itself

    def piece(self, obj: Any) -> bytes:
        """A few bytes that stand for a thing: itself when it is plain, else a hash."""
        kind: Any = type(obj)
        if kind is str:
            return b"s" + str.encode(obj, "utf-8", "surrogatepass")
        if kind is float:
            return b"f" + np.float64(obj).tobytes()
        if obj is None or kind is bool or obj is Ellipsis:
            return str(obj).encode()
        if kind is int:
            return b"i%x" % obj
        if kind is bytes:
            return b"b" + bytes(obj)
        if isinstance(obj, (np.bool_, np.integer, np.float64, np.str_)):
            return self.piece(obj.tolist())
        return self._once(obj)

    def _once(self, obj: Any) -> bytes:
        own = id(obj)
        if own in self._known:
            return self._known[own][1]
        if own in self._open:
            return b"within %d" % self._open[own]
        self._open[own] = len(self._open)
        try:
            found = self._take(obj)
        finally:
            del self._open[own]
        self._known[own] = obj, found
        return found

    def _alone(self, obj: Any) -> bytes:
        """The same in whichever order things come: sets and keys have an order of chance."""
        if type(obj) is str:
            return self.piece(obj)
        other = _Taker()
        other._open = dict(self._open)
        return other.piece(obj)

    def _all(self, objects: Iterable[Any]) -> list[bytes]:
        return [self.piece(obj) for obj in objects]

    def _pairs(self, pairs: Iterable[tuple[Any, Any]]) -> list[bytes]:
        keyed = sorted(((self._alone(key), value) for key, value in pairs), key=lambda pair: pair[0])
        return [piece for key, value in keyed for piece in (key, self.piece(value))]

    def _take(self, obj: Any) -> bytes:
        if isinstance(obj, type):
            return self._class(obj)
        if isinstance(obj, (np.ndarray, np.generic)) and not np.asarray(obj).dtype.hasobject:
            array = np.asarray(obj)
            return _sha(b"array", array.dtype.str.encode(), repr(array.shape).encode(), array.tobytes())
        if isinstance(obj, Mapping):
            return _sha(b"mapping", *self._pairs(obj.items()))
        if isinstance(obj, (list, tuple)):
            return _sha(b"list", *self._all(obj))
        if isinstance(obj, AbstractSet):
            return _sha(b"set", *sorted(map(self._alone, obj)))
        if dataclasses.is_dataclass(obj):
            pairs = ((f.name, getattr(obj, f.name, None)) for f in dataclasses.fields(obj))
            return _sha(b"dataclass", self.piece(type(obj)), *self._pairs(pairs))
        return self._code_of(obj) or self._object(obj)

    def _object(self, obj: Any) -> bytes:
        """Any other object, by what it would be pickled from."""
        try:
            made = obj.__reduce_ex__(2)
        except Exception:  # its own code may raise anything: locks, open files, generators
            return _sha(b"opaque", self.piece(type(obj)))
        if isinstance(made, str):
            return _sha(b"global", self.piece(type(obj)), made.encode())
        call, given, state, items, pairs = (*made, None, None, None)[:5]
        rest = (state, list(items) if items is not None else None, list(pairs) if pairs is not None else None)
        return _sha(b"object", *self._all((call, given, *rest)))

    # ---- code

    def _code_of(self, obj: Any) -> bytes | None:
        """Functions, modules and what wraps functions; None for anything else."""
        if isinstance(obj, FunctionType):
            return self._function(obj)
        if isinstance(obj, CodeType):
            return self._code(obj)
        if isinstance(obj, BuiltinFunctionType) and isinstance(obj.__self__, (ModuleType, type(None))):
            return _sha(b"builtin", str(obj.__module__).encode(), obj.__qualname__.encode())
        if isinstance(obj, ModuleType):
            return _sha(b"module", _label(obj.__name__))
        if isinstance(obj, np.ufunc):
            return _sha(b"ufunc", obj.__name__.encode(), str(obj.signature).encode())
        for kind, names in _WRAPPED:
            if isinstance(obj, kind):
                return _sha(
                    b"wraps", kind.__name__.encode(), *self._all(getattr(obj, name) for name in names)
                )
        wrapped = None if isinstance(obj, type) else getattr(obj, "__wrapped__", None)
        return None if wrapped is None else _sha(b"wraps", self.piece(wrapped))

    def _function(self, function: FunctionType) -> bytes:
        pieces = [_label(function.__module__), function.__qualname__.encode()]
        cells = [_content(cell) for cell in function.__closure__ or ()]
        pieces += self._all((function.__defaults__, function.__kwdefaults__, cells))
        if _followed(function.__module__):
            pieces += [self._code(function.__code__), self.piece(function.__dict__)]
            pieces += self._named(function)
        return _sha(b"function", *pieces)

    def _code(self, code: CodeType) -> bytes:
        plain = (code.co_code, code.co_exceptiontable, code.co_flags, code.co_argcount)
        counts = (code.co_posonlyargcount, code.co_kwonlyargcount)
        names = (code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars)
        return _sha(b"code", *self._all((*plain, *counts, *names, code.co_consts)))

    def _named(self, function: FunctionType) -> list[bytes]:
        """The globals that a function names, and those of its own late imports."""
        used, names, imports = _names(function.__code__)
        space = function.__globals__
        found = {name: space[name] for name in used if name in space}
        for level, name in imports:
            full = resolve_name("." * level + name, str(space.get("__package__") or "")) if level else name
            if not _known_by_name(full) and full.partition(".")[0] not in NEEDED:
                with suppress(Exception):  # the code says the same when it runs
                    found[f"import {full}"] = import_module(full)
        return [
            piece
            for name in sorted(found)
            for piece in (name.encode(), self._global(found[name], names, frozenset()))
        ]

    def _global(self, value: Any, names: frozenset[str], within: frozenset[int]) -> bytes:
        """A value by its name; of a user's own module only what the code names."""
        if not (isinstance(value, ModuleType) and _followed(value.__name__)):
            return self.piece(value)
        if id(value) in within:
            return b""
        own = vars(value)
        inner = within | {id(value)}
        pieces = ((n.encode(), self._global(own[n], names, inner)) for n in sorted(names & own.keys()))
        return _sha(b"names of module", *(piece for pair in pieces for piece in pair))

    def _class(self, kind: type) -> bytes:
        pieces = [_label(kind.__module__), kind.__qualname__.encode(), *self._all(kind.__bases__)]
        if _followed(kind.__module__):
            own = {n: v for n, v in vars(kind).items() if not _follows(kind, n, v)}
            pieces += self._pairs(own.items())
        return _sha(b"class", *pieces)


_WRAPPED: tuple[tuple[Any, tuple[str, ...]], ...] = (
    (staticmethod, ("__func__",)),
    (classmethod, ("__func__",)),
    (MethodType, ("__func__", "__self__")),
    (property, ("fget", "fset", "fdel")),
    (cached_property, ("func",)),
)


def _follows(kind: type, name: str, value: Any) -> bool:
    """Whether an attribute follows from the rest: Python's own, or written by the dataclass decorator."""
    return name in NOT_OF_A_CLASS or (
        name in WRITTEN
        and dataclasses.is_dataclass(kind)
        and isinstance(value, FunctionType)
        and value.__code__.co_filename == "<string>"
    )


def _content(cell: Any) -> Any:
    try:
        return cell.cell_contents
    except ValueError:  # not filled yet
        return None


def _names(code: CodeType) -> tuple[frozenset[str], frozenset[str], frozenset[tuple[int, str]]]:
    """The globals that code and the functions within it use, all names in it, the modules that it imports."""
    import dis

    used: set[str] = set()
    names: set[str] = set(code.co_names)
    imports: set[tuple[int, str]] = set()
    steps = list(dis.get_instructions(code))
    for place, step in enumerate(steps):
        if step.opname == "IMPORT_NAME":
            level = steps[place - 2].argval if place >= 2 else 0
            imports.add((level if isinstance(level, int) else 0, str(step.argval)))
        elif step.opname.startswith("LOAD") and ("GLOBAL" in step.opname or step.opname.endswith("NAME")):
            used.add(str(step.argval))
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            within = _names(inner)
            used, names, imports = used | within[0], names | within[1], imports | within[2]
    return frozenset(used), frozenset(names), frozenset(imports)


@cache
def _libraries() -> frozenset[Path]:
    """The folders that installed libraries stand in."""
    return frozenset(Path(sysconfig.get_path(name)).resolve() for name in ("purelib", "platlib"))


def _file(module: str) -> Path | None:
    file = getattr(sys.modules.get(module), "__file__", None)
    return Path(file).resolve() if file else None


def _installed(module: str) -> bool:
    file = _file(module)
    if file is None or module.partition(".")[0] in NEEDED:
        return file is not None
    return not {"site-packages", "dist-packages"}.isdisjoint(file.parts) or not _libraries().isdisjoint(
        file.parents
    )


def _known_by_name(module: str) -> bool:
    root = module.partition(".")[0]
    return root in (PACKAGE, "builtins") or root in sys.stdlib_module_names


def _followed(module: str | None) -> bool:
    """Whether code of a module counts by what runs, not by its name."""
    name = str(module)
    return not (_known_by_name(name) or _installed(name))


def _label(module: str | None) -> bytes:
    """What stands for a module beside the names in it."""
    name = str(module)
    if name in MAIN:
        return b"main"
    if _known_by_name(name) or not _installed(name):
        return name.encode()
    return _library(name)


@cache
def _library(module: str) -> bytes:
    """An installed library: its version and, unless it is one that the package itself needs, its code."""
    root = module.partition(".")[0]
    version = str(getattr(sys.modules.get(root), "__version__", ""))
    pieces = [module.encode(), version.encode()]
    if root not in NEEDED:
        file = _file(root) or _file(module)
        folder = file.parent if file is not None and file.name == "__init__.py" else None
        files = sorted(folder.rglob("*.py")) if folder is not None else [file] if file is not None else []
        pieces += [_sha(f.name.encode(), f.read_bytes()) for f in files if f.is_file()]
    return _sha(*pieces)


__all__ = ["digest"]
