"""Get started: `demo` and `laws`."""

from __future__ import annotations

from argparse import Namespace
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..laws.card import LAWS, card_of
from ..machine import demos
from ..machine.machine import Machine
from ..result import Result
from ..sources import source
from ..terminal.command import Answer, Command
from ..terminal.inputs import ENDINGS
from ..terminal.parsing import Parser, shown_options
from ..writing import write_folder

# ---- demo


@dataclass(repr=False, eq=False)
class Listed(Result):
    """Rows and sentences that are there already.

    Attributes
    ----------
    said : list of str
    shown : dict
        Name of a table -> its rows.
    """

    said: list[str]
    shown: dict[str, list[dict[str, Any]]]


Listed.show_by(
    tables=lambda found: found.shown,
    sentences=lambda found, measures: found.said,
    about=lambda found: found.said[0],
)


def _demo_options(parser: Parser) -> None:
    parser.take("name", metavar="NAME", nargs="?", help=f"one of {', '.join(demos.names())}; none lists them")
    parser.take(
        "folder", metavar="FOLDER", nargs="?", help="a new folder for its files, to change them as you like"
    )
    shown_options(parser)


def _demo(args: Namespace) -> Answer:
    if args.name is None:
        rows = [_demo_row(name) for name in demos.names()]
        said = ["Every machine below is invented: no maker's, no owner's."]
        return Answer(Listed(said, {"machines": rows}), None)
    name = args.name.removeprefix("demo:")
    files = _files(name)
    if args.folder is None:
        rows = [{"file": source.name, "in_a_folder_of_its_own": target} for target, source in files.items()]
        said = [
            f"demo:{name} is an invented machine; commands take {f'demo:{name}'!r} in place of a file.",
            f"To change it, write its files to a folder: ductsim demo {name} my-machine",
        ]
        return Answer(Listed(said, {"files": rows}), None)
    folder = Path(args.folder)
    write_folder(folder, {target: packaged.read_bytes() for target, packaged in files.items()})
    machine = folder / "machine.toml"
    said = [
        f"Written to {folder}: {', '.join(files)}.",
        "Change the numbers to those of your machine, then try:",
    ]
    return Answer(Listed(said, {}), None, closing=_next_steps(machine, files))


def _demo_row(name: str) -> dict[str, Any]:
    machine = demos.demo(name)
    layout = machine.layout
    return {
        "machine": f"demo:{name}",
        "what": layout.title,
        "parts": len(layout.parts),
        "units": len(layout.units),
        "comes_with": ", ".join(role for role in ENDINGS if _companion(name, role)),
    }


def _companion(name: str, role: str) -> Path | None:
    place = demos.FOLDER / f"{name}_{role}.{ENDINGS[role]}"
    return place if place.is_file() else None


def _files(name: str) -> dict[str, Path]:
    """Name in a folder of its own -> the packaged file."""
    out = {"machine.toml": demos.demo_file(name)}
    for role, ending in ENDINGS.items():
        place = _companion(name, role)
        if place is not None:
            out[f"{role}.{ending}"] = place
    return out


def _next_steps(machine: Path, files: dict[str, Path]) -> list[str]:
    """Command lines that work on a new folder."""
    shown = f'"{machine}"' if " " in str(machine) else str(machine)
    has_crop = Machine.read(machine).crop is not None
    commands = ["solve", "check", *(["compare"] if "fixes.toml" in files else [])]
    commands += ["fit", "where-to-measure"] if "readings.csv" in files else []
    commands += ["ground-speed"] if has_crop else []
    commands += ["calibrate"] if "seen.csv" in files else []
    commands += ["field-pass"] if "field.csv" in files else []
    return [f"  ductsim {name} {shown}" for name in commands] + [f"  ductsim report {shown} report.html"]


# ---- laws


def _laws_options(parser: Parser) -> None:
    shown_options(parser)


def _laws(args: Namespace) -> Answer:
    from ..parts.published import check_rows

    checks = check_rows()  # loads every law
    cards = [card for card in map(card_of, LAWS.values()) if card is not None]
    laws = [
        {"law": card.name, "equation": card.equation, "valid": card.valid, "sources": list(card.sources)}
        for card in cards
    ]
    used = [key for card in cards for key in card.sources]
    keys = dict.fromkeys([*used, *(row["source"] for row in checks)])
    sources = [
        {"source": key, "standing": source(key).standing, "reference": str(source(key))} for key in keys
    ]
    good = sum(row["holds"] for row in checks)
    said = [
        f"{len(laws)} laws; {good} of {len(checks)} published values agree with ours within what is allowed.",
        "Where a value or a reference was not seen itself, its standing says so.",
    ]
    short = [
        {key: row[key] for key in row if key not in ("difference", "allowed", "holds")} for row in checks
    ]
    tables = {"laws": laws, "published_values": short, "sources": sources, "checks": checks}
    return Answer(Listed(said, tables), None, ("laws", "published_values", "sources"))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "demo",
            "the invented machines; write one to a folder of your own",
            "ductsim demo picker my-machine",
            _demo_options,
            _demo,
            group="Get started",
        ),
        Command(
            "laws",
            "every law, its equation and sources; published values beside ours",
            "ductsim laws",
            _laws_options,
            _laws,
            group="Get started",
        ),
    )
}
