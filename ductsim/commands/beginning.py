"""Begin with a machine of your own: `start` writes its file, `kinds` tells what may stand in it."""

from __future__ import annotations

import re
from argparse import Namespace
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from ..arguments import one_of
from ..files.start import KINDS as MACHINES
from ..files.start import start_files
from ..machine import demos
from ..machine.machine import Machine
from ..measures import find_measure, spellings
from ..parts import KINDS
from ..parts.declare import Fields, Nested, Number, Part, Word
from ..parts.measuring import way_of
from ..quantity import display_measure, from_si, suited
from ..terminal.command import Answer, Command
from ..terminal.parsing import Parser, count, shown_options
from ..writing import write_folder
from .demos import Listed

Row = dict[str, Any]

# ---- start


def _start_options(parser: Parser) -> None:
    parser.take("folder", metavar="FOLDER", help="a new folder for the machine and what goes with it")
    parser.take("--units", type=int, default=4, metavar="N", read=count(1, 40), help="picking units (4)")
    parser.take("--fans", type=int, default=1, metavar="N", read=count(1, 8), help="fans (1)")
    parser.take(
        "--kind",
        default="jets",
        metavar="WORD",
        read=_machine,
        help="; ".join(f"{word}: {what}" for word, what in MACHINES.items()),
    )
    shown_options(parser)


def _machine(word: str) -> str:
    return one_of(word, MACHINES, "", "kind of machine")


def _start(args: Namespace) -> Answer:
    folder = Path(args.folder)
    files = start_files(args.kind, args.units, args.fans, args.measures or "metric")
    write_folder(folder, {name: text.encode() for name, text in files.items()})
    place = str(folder / "machine.toml")
    place = f'"{place}"' if " " in place else place
    said = [
        f"Written to {folder}: {', '.join(files)}.",
        "It runs as it is, on typical values: none of them is yours. Measure in the order that check names.",
    ]
    closing = [f"  ductsim check {place}", f"  ductsim solve {place}", "  ductsim kinds hose"]
    return Answer(Listed(said, {}), None, closing=closing)


# ---- kinds


def _kinds_options(parser: Parser) -> None:
    parser.take("kind", metavar="KIND", nargs="?", help="a kind of part; none lists them")
    shown_options(parser)


def _kinds(args: Namespace) -> Answer:
    if args.kind is None:
        rows = [
            {"kind": name, "what": _first_line(kind), "ends": ", ".join(kind.ends)}
            for name, kind in KINDS.items()
        ]
        said = ["The kinds of parts that a machine may have.", "For one of them: ductsim kinds hose"]
        return Answer(Listed(said, {"kinds": rows}), None)
    kind = KINDS[one_of(args.kind, KINDS, "kinds", "kind")]
    said = [
        _first_line(kind),
        f"Its ends: {', '.join(kind.ends)}. What has a default need not be given.",
        "Typical values are those of invented machines.",
    ]
    rows = _keys(kind, _typical(kind), args.measures or "metric")
    return Answer(Listed(said, {"keys": rows}), None)


def _first_line(kind: type[Part]) -> str:
    return (kind.__doc__ or "").strip().split("\n")[0]


def _typical(kind: type[Part]) -> dict[str, float]:
    """Number -> its value in the first of the invented machines that has such a part."""
    out: dict[str, float] = {}
    begun = [Machine.of(start_files(word, 4, 1, "metric")["machine.toml"]) for word in MACHINES]
    for machine in [*begun, *map(demos.demo, demos.names())]:
        for part in machine.layout.parts:
            if part.kind is kind:
                for number_key in part.schema.number_keys:
                    value = machine.numbers.get(f"{part.name}.{number_key}")
                    if value is not None:
                        out.setdefault(re.sub(r"^\w+ \d+\.|\[\d+\]$", "", number_key), float(value))
    return out


def _keys(kind: type[Fields], typical: dict[str, float], measures: str, before: str = "") -> list[Row]:
    """A row for each key; those of what a part is made of follow under its name."""
    rows: list[Row] = []
    for one in fields(kind):  # type: ignore[arg-type]
        own = kind.declared[one.name]
        if isinstance(own, Nested):
            rows += _keys(own.kind, typical, measures, f"{one.name}: ")
            continue
        row: Row = {"key": before + one.name, "what": own.doc}
        if isinstance(own, Word):
            word = "" if one.default in (None, MISSING) else str(one.default)
            rows.append({**row, "range": " | ".join(own.choices), "default": word})
            continue
        assert isinstance(own, Number)
        if own.points:
            row["what"] += " (a list)"
        default: Any = None if one.default is MISSING else one.default
        shown: dict[str, Any] = {"typical": typical.get(one.name), "default": default}
        words = {
            name: "" if value is None else _said(value, own.measure, measures)
            for name, value in shown.items()
        }
        given = [word for word in spellings(own.measure) if word]
        rows.append(
            {
                **row,
                "measures": ", ".join(given) if own.measure else "plain number, %",
                "range": own.allowed.removeprefix("allowed: ") + _words_of(own),
                **words,
                "how_to_measure": way_of(one.name).how,
                "minutes": way_of(one.name).minutes,
            }
        )
    return rows


def _words_of(number: Number) -> str:
    """The words that may stand for a number."""
    return f"; or {' | '.join(choice.word for choice in number.words)}" if number.words else ""


def _said(value: float, measure: str, measures: str) -> str:
    """A value in the measure that suits it; a coefficient's own measure stays."""
    if find_measure(measure) is None:
        return f"{value:.3g} {measure}"
    label = display_measure(suited(measure, value), measures)
    return f"{from_si(value, label):.3g} {label}".rstrip()


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "start",
            "a short machine file of typical values, to put yours in",
            "ductsim start my-machine --units 4 --fans 1 --kind jets --measures inch",
            _start_options,
            _start,
            group="Get started",
        ),
        Command(
            "kinds",
            "the kinds of parts: keys, ranges, typical values, how to measure",
            "ductsim kinds hose",
            _kinds_options,
            _kinds,
            group="Get started",
        ),
    )
}
