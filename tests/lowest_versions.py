"""The lowest versions that `pyproject.toml` declares, as constraints for pip (run: it prints them)."""

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent / "pyproject.toml"
REQUIREMENT = re.compile(r"(?P<name>[\w.-]+)(\[[\w,-]+\])?\s*(?P<bounds>[^;]*)")


def name_of(requirement):
    """The name of the package, in the form in which names are compared."""
    return re.sub(r"[-_.]+", "-", REQUIREMENT.match(requirement)["name"]).lower()


def constraint_of(requirement):
    """`name==lowest` of one requirement, or None if it has no lowest version."""
    lowest = [b.strip()[2:].strip() for b in REQUIREMENT.match(requirement)["bounds"].split(",") if ">=" in b]
    return f"{name_of(requirement)}=={lowest[0]}" if lowest else None


def declared(project=PROJECT):
    """Requirements by group: those of the package under "", the others under the name of their extra."""
    table = tomllib.loads(project.read_text(encoding="utf-8"))["project"]
    return {"": table["dependencies"], **table["optional-dependencies"]}


def constraints(groups):
    """One line for each package that has a lowest version, sorted; two for one package are an error."""
    lines = sorted({line for group in groups.values() for line in map(constraint_of, group) if line})
    names = [line.partition("==")[0] for line in lines]
    if len(set(names)) < len(names):
        raise ValueError(f"a package is declared with two lowest versions: {', '.join(lines)}")
    return lines


if __name__ == "__main__":
    print("\n".join(constraints(declared())))
