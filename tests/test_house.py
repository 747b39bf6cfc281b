"""The house: its rooms stand in layers, no modules import each other in a circle, none is left over.

Every import counts: at the top of a module, inside a function, and for type checking alone.
"""

import ast
import re
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
from scipy.sparse.csgraph import connected_components

import ductsim as ds
from ductsim.commands.registry import places

HOUSE = Path(ds.__file__).parent


def name_of(path):
    words = path.relative_to(HOUSE.parent).with_suffix("").parts
    return ".".join(words[:-1] if words[-1] == "__init__" else words)


FILES = {name_of(path): path for path in sorted(HOUSE.rglob("*.py"))}


@cache
def tree(module):
    return ast.parse(FILES[module].read_text(encoding="utf-8"))


@cache
def imported(module):
    """The package's own modules that one imports, whether a name of theirs or the module itself."""
    out = set()
    package = module if FILES[module].name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            out |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) + 1 - node.level] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            names = {f"{base}.{alias.name}" for alias in node.names}
            out |= {name if name in FILES else base for name in names}
    return (out & FILES.keys()) - {module}


@cache
def named(module):
    """The modules that one names in a text, to load them when they are asked for: "ductsim.x.drawn:PLOTS"."""
    texts = [
        n.value for n in ast.walk(tree(module)) if isinstance(n, ast.Constant) and isinstance(n.value, str)
    ]
    return {text.partition(":")[0] for text in texts if re.fullmatch(r"ductsim(\.\w+)+(:\w+)?", text)}


def test_no_circle_of_modules():
    names = list(FILES)
    graph = np.array([[other in imported(name) for other in names] for name in names])
    _, group = connected_components(graph, connection="strong")
    circles = [[n for n, g in zip(names, group, strict=True) if g == which] for which in set(group)]
    assert [circle for circle in circles if len(circle) > 1] == []


def test_rooms_import_only_downwards():
    text = (HOUSE.parent / "pyproject.toml").read_text(encoding="utf-8")
    contracts = tomllib.loads(text)["tool"]["importlinter"]["contracts"]
    layers = next(c["layers"] for c in contracts if c["name"] == "rooms")
    level = {room.strip(" ()"): i for i, rooms in enumerate(layers) for room in rooms.split("|")}
    rooms = {name: name.split(".")[1] for name in FILES if "." in name}
    assert set(rooms.values()) == level.keys()
    upward = [
        (name, other)
        for name, room in rooms.items()
        for other in imported(name) & rooms.keys()
        if level[rooms[other]] <= level[room] and rooms[other] != room
    ]
    assert upward == []


def test_every_module_is_used():
    """Each is reached from the command line, a command or a public name."""
    public = {f"ductsim.{module or name}" for name, module in ds._public().items()}
    found, todo = set(), ["ductsim.__main__", *places().values(), *public]
    while todo:
        name = todo.pop()
        if name not in found:
            found.add(name)
            todo += imported(name) | named(name)
            todo += [name.rpartition(".")[0]] if "." in name else []
    assert found == FILES.keys()
