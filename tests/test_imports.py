"""What is loaded when: the first answer needs no tables, no plots, no optimiser."""

import importlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import ductsim as ds

HEAVY = ("matplotlib", "pandas", "pint", "scipy", "jinja2", "fluids", "tomli_w")
UNUSED = (*HEAVY, "numpy.ma", "ductsim.readings", "ductsim.fixes.file", "zipfile", "tempfile", "difflib")
"""What a first answer at the command line has no use for, beyond that."""
PROGRAM = "import sys, ductsim as ds\n{}\nprint([name for name in {!r} if name in sys.modules])"


@pytest.mark.parametrize(
    "lines",
    [
        "",
        "ds.Machine, ds.Fan, ds.Network",
        "print(*ds.demo('picker').solve().sentences()[:1], file=sys.stderr)",
        "ds.demo('picker').change({'hose 3.length': [1.0, 2.0]}).solve().rows()",
        "ds.demo('suction').solve().fan_rows()",
        "ds.ground_speed(ds.demo('picker'), fixes={'faster': {'belt.engine_speed': 'x1.02'}}).sentences()",
        "ds.fit(ds.demo('picker'), ds.__path__[0] + '/examples/picker_readings.csv').sentences()",
    ],
)
def test_heavy_libraries_stay_out(lines):
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(lines, HEAVY)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


def test_first_answer_at_the_command_line_loads_what_it_uses():
    lines = "from ductsim.cli import main; assert main(['solve', 'demo:picker']) == 0"
    loads_itself = f"import sys, numpy; print([name for name in {UNUSED!r} if name in sys.modules])"
    found = subprocess.run([sys.executable, "-c", loads_itself], capture_output=True, text=True, check=True)
    program = PROGRAM.format(lines, [name for name in UNUSED if repr(name) not in found.stdout])
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "[]"


def test_every_public_name_comes_from_the_module_that_lists_it():
    """No name of the package's own workings stands in the way of a public one (`ds.Path`)."""
    for name, module in ds._public().items():
        own = importlib.import_module(f"ductsim.{module or name}")
        assert getattr(ds, name) is (getattr(own, name) if module else own), name
    assert dir(ds) == sorted(ds.__all__)


def test_names_for_extending_are_those_that_the_top_has_too():
    for name in set(ds.extend.__all__) & set(ds.__all__):
        assert getattr(ds.extend, name) is getattr(ds, name), name
    assert {"Part", "part", "number"} <= set(ds.extend.__all__) & set(ds.__all__)
    assert {"KINDS", "LAWS", "Value", "study_command"} <= set(ds.extend.__all__)


GRATE = '''"""A grate."""

from ..laws.losses import quadratic
from .declare import Part, Path, Value, number, part


@part("grate")
class Grate(Part):
    """Bars across the air path."""

    area: Value = number("m2", above=0, doc="section")

    def paths(self) -> tuple[Path, ...]:
        """One path."""
        return (Path(quadratic, {"area": self.area, "loss": 0.6}, self.area),)
'''


def test_a_part_takes_its_file_alone(tmp_path):
    """In a copy of the package: a public name, and a kind in the order of the files' names."""
    package = Path(ds.__file__).parent
    shutil.copytree(package, tmp_path / "ductsim", ignore=shutil.ignore_patterns("examples"))
    (tmp_path / "ductsim" / "parts" / "grate.py").write_text(GRATE, encoding="utf-8")
    program = (
        "import ductsim as ds; from ductsim.parts import KINDS; print(*KINDS, ds.Grate.kind, *ds.__all__)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = done.stdout.split()
    kinds = [kind for kind, cls in ds.extend.KINDS.items() if cls.__module__.startswith("ductsim.parts.")]
    kinds.insert(kinds.index("hose"), "grate")
    assert told[: len(kinds)] == kinds and told[len(kinds)] == "grate"
    assert set(told[len(kinds) + 1 :]) == {*ds.__all__, "Grate"}


def test_every_part_is_a_public_name():
    for cls in ds.extend.KINDS.values():
        if cls.__module__.startswith("ductsim.parts."):
            assert getattr(ds, cls.__name__) is cls and cls.__name__ in ds.__all__
