"""What is declared is imported, what is imported is declared, and lowest versions are read from there."""

import ast
import importlib
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import lowest_versions as lowest
import pytest

import ductsim

PACKAGE = Path(__file__).resolve().parent.parent / "ductsim"
MODULES = {"dask": {"dask", "distributed"}, "tomli-w": {"tomli_w"}}  # where the name is not the module's


def modules_of(requirements):
    """The modules that the packages of these requirements bring."""
    return {m for r in requirements for m in MODULES.get(lowest.name_of(r), {lowest.name_of(r)})}


def imported(source):
    """Third-party modules that a source imports anywhere in it, inside functions too."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            found.add(node.module.partition(".")[0])
    return found - sys.stdlib_module_names - {"ductsim"}


@cache
def imported_by_the_package():
    files = sorted(PACKAGE.rglob("*.py"))
    assert len(files) > 100
    return set().union(*(imported(file.read_text(encoding="utf-8")) for file in files))


def test_imports_are_found_wherever_they_stand():
    source = "import os, a.b\nfrom . import c\nfrom ductsim.air import Air\ndef f():\n    from d.e import g\n"
    assert imported(source) == {"a", "d"}


def test_what_is_declared_for_running_is_imported():
    assert modules_of(lowest.declared()[""]) - imported_by_the_package() == set()


def test_what_the_package_imports_is_declared():
    groups = lowest.declared()
    assert imported_by_the_package() - modules_of(groups[""]) <= modules_of(groups["jupyter"])


def test_the_tests_bring_what_is_optional():
    groups = lowest.declared()
    assert set(groups["dask"]) | set(groups["jupyter"]) <= set(groups["test"])


@pytest.mark.parametrize(
    ("requirement", "expected"),
    [
        ("numpy>=1.26", "numpy==1.26"),
        ("fluids>=1.3,<1.4", "fluids==1.3"),
        ("fluids <2, >= 1.3.1", "fluids==1.3.1"),
        ("Tomli_W[all]>=1.0; python_version < '4'", "tomli-w==1.0"),
        ("pandas-stubs", None),
        ("colours<3", None),
    ],
)
def test_the_lowest_version_of_a_requirement(requirement, expected):
    assert lowest.constraint_of(requirement) == expected


def test_two_lowest_versions_of_one_package():
    with pytest.raises(ValueError, match="two lowest versions: dask==1, dask==2"):
        lowest.constraints({"": ["dask>=1"], "more": ["dask>=2"]})


def test_every_package_that_runs_has_a_lowest_version():
    groups = lowest.declared()
    printed = subprocess.run(
        [sys.executable, lowest.__file__], capture_output=True, text=True, check=True
    ).stdout.split()
    needed = {lowest.name_of(r) for group in groups.values() for r in group if not r.endswith("-stubs")}
    assert {line.partition("==")[0] for line in printed} == needed


def test_one_version_everywhere_and_a_licence_with_the_package():
    """`pyproject.toml` takes the version from the module; the citation names the same one."""
    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    assert "version" in project["project"]["dynamic"]
    module, _, name = project["tool"]["setuptools"]["dynamic"]["version"]["attr"].rpartition(".")
    assert getattr(importlib.import_module(module), name) == ductsim.__version__
    packaged = project["tool"]["setuptools"]["package-data"]["ductsim"]
    citation = (PACKAGE / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {ductsim.__version__}\n" in citation
    assert f"\nlicense: {project['project']['license']}\n" in citation
    licence = (PACKAGE / "LICENSE").read_text(encoding="utf-8")
    assert licence.startswith("MIT License\n")
    assert "the ductsim developers" in licence
    assert {"LICENSE", "CITATION.cff", "reference/templates/*"} <= set(packaged)
    assert f"**{ductsim.__version__}**" in (PACKAGE.parent / "README.md").read_text(encoding="utf-8")
