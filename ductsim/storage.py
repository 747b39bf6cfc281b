"""Results on disk: plain data as JSON, arrays beside it, in one file that says its format and version.

Nothing in such a file is run when it is read: it names classes, and only dataclasses and the few classes that
say how they are kept (`keeps`) are made from it, of this package or of a module that is loaded already.
"""

from __future__ import annotations

import dataclasses
import enum
import io
import json
import math
import os
import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from .errors import InputError
from .version import VERSION
from .writing import write_whole

FORMAT = 1
MARK = "~"  # the key that tells a kept object from a plain mapping
OWN = __name__.partition(".")[0]

_KEPT: dict[type, tuple[Callable[[Any], Mapping[str, Any]], Callable[[type, dict[str, Any]], Any]]] = {}


def keeps(
    cls: type, fields: Callable[[Any], Mapping[str, Any]], make: Callable[[type, dict[str, Any]], Any]
) -> None:
    """Say how objects of a class that is no dataclass are kept.

    `fields(thing)` gives what is written; `make(cls, fields)` makes the thing again. Holds for subclasses.
    """
    _KEPT[cls] = fields, make


def save(obj: Any, path: str | os.PathLike[str]) -> None:
    """Write a result to a file, whole or not at all.

    Raises
    ------
    InputError
        For something that cannot be kept, saying what, and where nothing can be written.
    """
    from zipfile import ZIP_DEFLATED, ZipFile

    arrays: list[np.ndarray[Any, Any]] = []
    plain = _plain(obj, arrays)
    head = {"ductsim": VERSION, "format": FORMAT, "kind": type(obj).__name__, "result": plain}
    stream = io.BytesIO()
    with ZipFile(stream, "w", ZIP_DEFLATED) as archive:
        archive.writestr("result.json", json.dumps(head, allow_nan=False))
        for i, array in enumerate(arrays):
            held = io.BytesIO()
            np.save(held, array, allow_pickle=False)
            archive.writestr(f"{i}.npy", held.getvalue())
    write_whole(path, stream.getvalue())


def load(path: str | os.PathLike[str], kind: type) -> Any:
    """Read what `save` wrote.

    Raises
    ------
    InputError
        For another file, a newer format, another kind of result, and one that is not whole.
    """
    from zipfile import BadZipFile, ZipFile

    try:
        data = Path(path).read_bytes()
        with ZipFile(io.BytesIO(data)) as archive:
            head = json.loads(archive.read("result.json"))
            names = [name for name in archive.namelist() if name.endswith(".npy")]
            arrays = {n: np.load(io.BytesIO(archive.read(n)), allow_pickle=False) for n in names}
        found_format = head["format"]
        if found_format == FORMAT:
            obj = _restored(head["result"], arrays)
    except OSError as err:
        raise InputError(f"cannot be read: {err.strerror or err}", file=str(path)) from None
    except (BadZipFile, KeyError, ValueError, TypeError, EOFError, AttributeError, ImportError):
        raise InputError("is no saved result, or not whole", file=str(path)) from None
    if found_format != FORMAT:
        raise InputError(f"format {found_format!r} of a saved result", file=str(path), allowed=f"{FORMAT}")
    if not isinstance(obj, kind):
        raise InputError(f"holds a {type(obj).__name__}", file=str(path), allowed=f"a {kind.__name__}")
    return obj


# ---- things to plain data


def _plain(obj: Any, arrays: list[Any]) -> Any:
    if obj is None or isinstance(obj, (bool, int)) or type(obj) is str:
        return obj
    if isinstance(obj, np.generic):
        return _plain(obj.item(), arrays)
    if isinstance(obj, float):
        return obj if math.isfinite(obj) else {MARK: "float", "value": repr(obj)}
    if isinstance(obj, np.ndarray):
        return _plain_array(obj, arrays)
    if isinstance(obj, enum.Enum):
        return {MARK: "enum", "class": _name(type(obj)), "value": obj.name}
    if isinstance(obj, type):
        return {MARK: "class", "class": _name(obj)}
    if type(obj) is list:
        return [_plain(item, arrays) for item in obj]
    if type(obj) in (tuple, set, frozenset):
        return {MARK: type(obj).__name__, "items": [_plain(item, arrays) for item in obj]}
    own = next((known for cls, known in _KEPT.items() if isinstance(obj, cls)), None)
    if own is not None:
        return _plain_object(obj, own[0](obj), arrays)
    if dataclasses.is_dataclass(obj):
        fields = {f.name: getattr(obj, f.name) for f in dataclasses.fields(obj)}
        return _plain_object(obj, fields, arrays)
    if isinstance(obj, Mapping):
        pairs = [[_plain(k, arrays), _plain(v, arrays)] for k, v in obj.items()]
        return {MARK: "mapping", "items": pairs}
    raise InputError(f"a {type(obj).__name__} cannot be kept", place="save", allowed="plain data")


def _plain_array(obj: Any, arrays: list[Any]) -> Any:
    if obj.dtype == object:
        return {MARK: "objects", "shape": list(obj.shape), "items": [_plain(v, arrays) for v in obj.flat]}
    arrays.append(obj)
    return {MARK: "array", "number": len(arrays) - 1}


def _plain_object(obj: Any, fields: Mapping[str, Any], arrays: list[Any]) -> Any:
    kept = {name: _plain(value, arrays) for name, value in fields.items()}
    return {MARK: "object", "class": _name(type(obj)), "fields": kept}


def _name(cls: type) -> str:
    return f"{cls.__module__}:{cls.__qualname__}"


# ---- and back


def _restored(plain: Any, arrays: Mapping[str, Any]) -> Any:
    if isinstance(plain, list):
        return [_restored(item, arrays) for item in plain]
    if not isinstance(plain, dict):
        return plain
    mark = plain[MARK]
    if mark == "float":
        return float(plain["value"])
    if mark == "array":
        return arrays[f"{plain['number']}.npy"]
    if mark in ("tuple", "set", "frozenset"):
        made: Any = {"tuple": tuple, "set": set, "frozenset": frozenset}[mark]
        return made(_restored(item, arrays) for item in plain["items"])
    if mark == "mapping":
        return {_restored(k, arrays): _restored(v, arrays) for k, v in plain["items"]}
    if mark == "objects":
        out = np.empty(len(plain["items"]), dtype=object)
        out[:] = [_restored(item, arrays) for item in plain["items"]]
        return out.reshape(plain["shape"])
    cls = _class(plain["class"])
    if mark == "class":
        return cls
    if mark == "enum":
        return cls[plain["value"]]
    return _made(cls, {name: _restored(value, arrays) for name, value in plain["fields"].items()})


def _made(cls: type, fields: dict[str, Any]) -> Any:
    own = next((known for base, known in _KEPT.items() if issubclass(cls, base)), None)
    if own is not None:
        return own[1](cls, fields)
    if not dataclasses.is_dataclass(cls):
        raise TypeError(cls)
    obj = object.__new__(cls)
    for name, value in fields.items():
        object.__setattr__(obj, name, value)
    return obj


def _class(name: str) -> Any:
    """A class by its name, of this package or of a module that is loaded already."""
    module, _, path = name.partition(":")
    loaded = import_module(module) if module.partition(".")[0] == OWN else sys.modules[module]
    found: Any = loaded
    for step in path.split("."):
        found = getattr(found, step)
    if not isinstance(found, type):
        raise TypeError(name)
    return found
