"""Changes the code in small ways, one at a time, and sees whether the tests notice.

    python tests/mutate.py --rooms laws parts crop network --count 60 40 30 40
    python tests/mutate.py --rooms parts --list

Not part of the suite: a run takes a quarter of an hour. Each change is made in a copy of the package in a
temporary folder, never in the checkout; the test files that concern the file run there, the quickest first,
up to the first failure. What survives is printed with its place: either a test is missing, or the change is
harmless.
"""

from __future__ import annotations

import argparse
import ast
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from queue import Queue

HOME = Path(__file__).resolve().parent.parent
ROOMS = {
    "laws": ["laws/*.py"],
    "parts": ["parts/*.py"],
    "crop": ["conveying.py", "crop/*.py"],
    "network": ["network/*.py"],
}
TESTS = {
    "ductsim/laws/": "laws_worked laws_losses laws_friction laws_fan parts published laws_docs",
    "ductsim/laws/bends": "laws_worked parts",
    "ductsim/laws/card": "sources",
    "ductsim/laws/conveying": "laws_worked conveying published_crop",
    "ductsim/laws/fans": "laws_fan laws_worked",
    "ductsim/laws/friction": "laws_friction laws_worked",
    "ductsim/laws/jets": "laws_jet laws_worked network_jets conformance",
    "ductsim/laws/leaks": "laws_losses laws_worked conformance",
    "ductsim/laws/losses": "laws_losses laws_worked conformance",
    "ductsim/laws/tees": "laws_tees laws_worked conformance",
    "ductsim/parts/": "parts laws_worked declare laws_jet laws_fan published laws_docs conformance",
    "ductsim/parts/fan": "laws_fan",
    "ductsim/conveying": "laws_worked conveying published_crop crop",
    "ductsim/crop/": "crop_worked crop calibration",
    "ductsim/crop/box": "crop_worked filling",
    "ductsim/crop/calibration": "crop_worked calibration",
    "ductsim/crop/running": "crop conveying driving",
    "ductsim/crop/speed": "crop driving",
    "ductsim/network/": "network sensitivity kernels network_jets machine_state whole_networks",
    "ductsim/network/linear": "kernels",
    "ductsim/network/newton": "network_jets kernels",
    "ductsim/network/sensitivity": "sensitivity",
    "ductsim/network/solve": "network_starts",
    "ductsim/network/stability": "network_jets network_starts",
    "ductsim/network/transient": "network_jets",
}
"""How the path of a file begins -> the tests that concern it, those of the longest beginning first."""

PRELOADED = ["fluids", "hypothesis", "numpy", "pandas", "pytest", "scipy.optimize", "scipy.stats"]
"""What the tests import besides the package: read in once, each run is a fork of that process."""

HARMLESS = {
    "start": "a cold start's first guess: where the search begins, not where it ends",
    "_TYPICAL": "pressure of a leak's first guess",
    "_SLOWEST": "below this Reynolds number the drop is linear whatever the number",
}
"""Names of constants and arguments that no answer depends on -> why."""

SWAPS = {
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
    ast.BitAnd: "|",
    ast.BitOr: "&",
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.And: "or",
    ast.Or: "and",
}
CALLS = {
    "maximum": "minimum",
    "minimum": "maximum",
    "greater": "less",
    "less": "greater",
    "greater_equal": "less_equal",
    "less_equal": "greater_equal",
    "any": "all",
    "all": "any",
    "sin": "cos",
    "cos": "sin",
}
ORDERLESS = {
    "max",
    "min",
    "maximum",
    "minimum",
    "hypot",
    "equal",
    "isclose",
    "allclose",
    "multiply",
    "logical_or",
}


@dataclass(frozen=True)
class Mutant:
    """One change: what stands in the file from `start` to `stop` becomes `new`."""

    file: str
    line: int
    start: int
    stop: int
    old: str
    new: str

    def __str__(self) -> str:
        old, new = (" ".join(text.split()) for text in (self.old, self.new))
        return f"{self.file}:{self.line}  {old}  ->  {new}"


class Finder(ast.NodeVisitor):
    """Collects the changes that a file offers."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text.encode()
        self.lines = [0]
        for line in self.text.splitlines(keepends=True):
            self.lines.append(self.lines[-1] + len(line))
        self.found: list[Mutant] = []
        self.visit(ast.parse(text))

    def span(self, node: ast.AST) -> tuple[int, int]:
        n: ast.expr = node  # type: ignore[assignment]
        assert n.end_lineno is not None and n.end_col_offset is not None
        return self.lines[n.lineno - 1] + n.col_offset, self.lines[n.end_lineno - 1] + n.end_col_offset

    def source(self, node: ast.AST) -> str:
        start, stop = self.span(node)
        return self.text[start:stop].decode()

    def put(self, node: ast.AST, new: str) -> None:
        start, stop = self.span(node)
        line: int = node.lineno  # type: ignore[attr-defined]
        self.found.append(Mutant(self.file, line, start, stop, self.source(node), new))

    # ---- what is left alone

    def visit_Raise(self, node: ast.Raise) -> None:
        """Messages."""

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Texts."""

    def visit_Import(self, node: ast.Import) -> None:
        """Nothing to change."""

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        """Nothing to change: the dots of a package."""

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None and not self.harmless(node.target):
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """All but annotations and how a thing is written out."""
        if node.name == "__repr__":
            return
        for part in (*node.decorator_list, *node.args.defaults, *node.args.kw_defaults, *node.body):
            if part is not None:
                self.visit(part)

    def visit_Assign(self, node: ast.Assign) -> None:
        if not any(self.harmless(target) for target in node.targets):
            self.visit(node.value)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in HARMLESS:
            self.visit(node.value)

    @staticmethod
    def harmless(target: ast.AST) -> bool:
        return isinstance(target, ast.Name) and target.id in HARMLESS

    # ---- what is changed

    def visit_If(self, node: ast.If) -> None:
        if self.source(node.test) != "TYPE_CHECKING":
            self.put(node.test, f"not ({self.source(node.test)})")
            self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self.put(node.test, f"(not ({self.source(node.test)}))")
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return
        if isinstance(value, int):
            self.put(node, str(value - 1 if value > 1 else value + 1))
        else:
            self.put(node, repr(1.04 * value) if value else "0.04")

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if not isinstance(node.op, ast.Invert):
            self.put(node, f"({self.source(node.operand)})")
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in SWAPS and not self.texts(node):
            left, right = self.source(node.left), self.source(node.right)
            # brackets of the source lie outside the operands' spans
            whole = [self.span(node), self.span(node.left), self.span(node.right)]
            between = self.text[whole[1][1] : whole[2][0]].decode()
            sign = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.BitAnd: "&", ast.BitOr: "|"}
            self.change(node, between.replace(sign[type(node.op)], SWAPS[type(node.op)], 1))
            self.put(node, f"({left})" if not isinstance(node.left, ast.BinOp) else f"(({left}))")
            if isinstance(node.op, (ast.Add, ast.Mult)):
                self.put(node, f"({right})")
        self.generic_visit(node)

    def change(self, node: ast.BinOp, between: str) -> None:
        (start, stop), (_, first), (last, _) = self.span(node), self.span(node.left), self.span(node.right)
        new = self.text[start:first].decode() + between + self.text[last:stop].decode()
        self.put(node, f"({new})")

    @staticmethod
    def texts(node: ast.BinOp) -> bool:
        sides = (node.left, node.right)
        return any(isinstance(s, (ast.JoinedStr, ast.List, ast.Tuple)) for s in sides) or any(
            isinstance(s, ast.Constant) and isinstance(s.value, str) for s in sides
        )

    def visit_Compare(self, node: ast.Compare) -> None:
        if len(node.ops) == 1 and type(node.ops[0]) in SWAPS:
            left, right = self.source(node.left), self.source(node.comparators[0])
            self.put(node, f"(({left}) {SWAPS[type(node.ops[0])]} ({right}))")
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        word = SWAPS[type(node.op)]
        self.put(node, "(" + f" {word} ".join(f"({self.source(v)})" for v in node.values) + ")")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in CALLS and isinstance(node.func, ast.Attribute):
            self.put(node.func, f"({self.source(node.func.value)}).{CALLS[name]}")
        args = node.args
        swap = (1, 2) if name == "where" else (0, 1)
        texts = any(isinstance(a, ast.Starred) or isinstance(getattr(a, "value", 0), str) for a in args)
        if len(args) > swap[1] and name not in ORDERLESS and not texts:
            words = [self.source(a) for a in args] + [
                f"{k.arg}={self.source(k.value)}" if k.arg else f"**{self.source(k.value)}"
                for k in node.keywords
            ]
            words[swap[0]], words[swap[1]] = words[swap[1]], words[swap[0]]
            if words[swap[0]] != words[swap[1]]:
                self.put(node, f"{self.source(node.func)}({', '.join(words)})")
        self.generic_visit(node)


def mutants(room: str) -> list[Mutant]:
    """Every change that the files of a room offer, in their order."""
    out: list[Mutant] = []
    for pattern in ROOMS[room]:
        for path in sorted((HOME / "ductsim").glob(pattern)):
            out += Finder(str(path.relative_to(HOME)), path.read_text(encoding="utf-8")).found
    return out


def real(mutant: Mutant) -> bool:
    """Whether a change makes another program of its file."""
    text = (HOME / mutant.file).read_text(encoding="utf-8")
    return ast.dump(ast.parse(changed(text, mutant))) != ast.dump(ast.parse(text))


def changed(text: str, mutant: Mutant) -> str:
    """The text of a file with one change."""
    raw = text.encode()
    return (raw[: mutant.start] + mutant.new.encode() + raw[mutant.stop :]).decode()


CONTEXT = multiprocessing.get_context("forkserver")


def run_tests(folder: str, tests: list[str]) -> None:
    """In a process of its own: the tests of a folder against the package in it; ends with pytest's code."""
    import pytest

    silent = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(silent, stream)
    os.chdir(folder)
    sys.path[:0] = [folder]
    sys.dont_write_bytecode = False  # what one run compiles the next one need not
    # hypothesis is there already, so its own assertions cannot be rewritten: no matter
    options = "-x -n 0 -q -p no:cacheprovider -W ignore::pytest.PytestAssertRewriteWarning"
    sys.exit(int(pytest.main([*options.split(), *tests])))


class Copy:
    """The package and its tests in a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("ductsim", "tests", "pyproject.toml", "README.md", "notebooks", "benchmarks"):
            source = HOME / name
            if source.is_dir():
                shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, folder / name)

    def passes(self, tests: list[str], seconds: float) -> bool | None:
        """Whether the tests pass here; None when they take too long."""
        process = CONTEXT.Process(target=run_tests, args=(str(self.folder), tests))
        process.start()
        process.join(seconds)
        if process.is_alive():
            process.kill()
            process.join()
            return None
        return process.exitcode == 0

    def survives(self, mutant: Mutant, tests: list[str], seconds: float) -> bool:
        """Whether a change is not noticed; a run that never ends is noticed."""
        path = self.folder / mutant.file
        whole = path.read_text(encoding="utf-8")
        self.write(path, changed(whole, mutant))
        try:
            return self.passes(tests, seconds) is True
        finally:
            self.write(path, whole)

    @staticmethod
    def write(path: Path, text: str) -> None:
        """A file anew, without what was compiled from it (known by its second and size only)."""
        for old in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            old.unlink()
        path.write_text(text, encoding="utf-8")


def chosen(room: str, count: int, seed: int, places: list[str]) -> list[Mutant]:
    """Some of a room's changes, the same ones for the same seed, in the order of the files."""
    found = [m for m in mutants(room) if not places or f"{m.file}:{m.line}" in places]
    random.Random(f"{seed} {room}").shuffle(found)
    picked = list(islice(filter(real, found), count))
    return sorted(picked, key=lambda m: (m.file, m.line, m.start, m.new))


def tests_of(file: str) -> list[str]:
    """The test files that concern a file."""
    found = sorted((start for start in TESTS if file.startswith(start)), key=len, reverse=True)
    words = dict.fromkeys(word for start in found for word in TESTS[start].split())
    return [str(next((HOME / "tests").rglob(f"test_{word}.py")).relative_to(HOME)) for word in words]


def run(picked: list[Mutant], jobs: int, seconds: float) -> Iterator[tuple[Mutant, bool]]:
    """Each change and whether it survived."""
    with tempfile.TemporaryDirectory(prefix="ductsim-mutate-") as folder:
        copies: Queue[Copy] = Queue()
        for i in range(jobs):
            copies.put(Copy(Path(folder) / str(i)))
        first = copies.get()
        needed = sorted({name for mutant in picked for name in tests_of(mutant.file)})
        if first.passes(needed, 10.0 * seconds) is not True:
            raise SystemExit("the tests fail without any change")
        copies.put(first)

        def one(mutant: Mutant) -> tuple[Mutant, bool]:
            copy = copies.get()
            try:
                return mutant, copy.survives(mutant, tests_of(mutant.file), seconds)
            finally:
                copies.put(copy)

        with ThreadPoolExecutor(jobs) as pool:
            yield from pool.map(one, picked)


def main() -> None:
    """Run what is asked for and print it."""
    parser = argparse.ArgumentParser(description="Which small changes of the code do the tests notice?")
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=list(ROOMS))
    parser.add_argument("--count", nargs="+", type=int, default=[40], help="for each room, or one for all")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=120.0, help="the longest that tests may take")
    parser.add_argument(
        "--at", nargs="+", default=[], metavar="FILE:LINE", help="only changes of these lines"
    )
    parser.add_argument("--list", action="store_true", help="print the changes, run nothing")
    asked = parser.parse_args()
    CONTEXT.set_forkserver_preload(PRELOADED)
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MPLBACKEND": "Agg"}
    counts = asked.count * len(asked.rooms) if len(asked.count) == 1 else asked.count
    if len(counts) != len(asked.rooms):
        parser.error("one --count, or one for each room")
    for room, count in zip(asked.rooms, counts, strict=True):
        picked = chosen(room, count, asked.seed, asked.at)
        if asked.list:
            print(*picked, sep="\n")
            continue
        left = []
        for mutant, survived in run(picked, asked.jobs, asked.seconds):
            print("SURVIVED" if survived else "killed  ", mutant, flush=True)
            left += [mutant] * survived
        print(f"# {room}: {len(picked) - len(left)} of {len(picked)} killed", flush=True)


if __name__ == "__main__":
    main()
