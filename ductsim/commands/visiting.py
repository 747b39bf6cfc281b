"""A visit planned: `visit`."""

from __future__ import annotations

from argparse import Namespace

from ..terminal.command import Answer, Command, weakest
from ..terminal.inputs import READERS, Inputs
from ..terminal.parsing import USUAL, Parser, companion_options, machine_options, minutes
from ..visiting import visit
from ..writing import check


def _options(parser: Parser) -> None:
    machine_options(parser, of=f'what to ask (default "{USUAL}")')
    companion_options(parser, "fixes")
    parser.take("--readings", metavar="FILE", help="what was read so far in this visit")
    text = 'the time of the whole visit, like 60 or "1.5 h" (default 60)'
    parser.take("--minutes", default=60.0, metavar="TIME", read=_time, help=text)
    text = "the time that has gone (default: what the readings so far take)"
    parser.take("--spent", metavar="TIME", read=minutes, help=text)
    text = "also write the sheet: .csv to fill in, .html or .txt to print"
    parser.take("--sheet", metavar="FILE", help=text)
    parser.take("--after", metavar="FILE.csv", help="also write the readings that prove the fix, to fill in")


def _time(value: object) -> float:
    return value if isinstance(value, float) else minutes(str(value))


def _visit(args: Namespace) -> Answer:
    inputs = Inputs(args)
    for place in (args.sheet, args.after):
        if place:
            check(place, [name for name in (args.machine, args.readings) if name and not inputs.is_demo])
    fixes = inputs.companion("fixes", READERS["fixes"]) if inputs.find("fixes") else None
    taken = inputs.companion("readings", READERS["readings"]) if args.readings else None
    found = visit(inputs.machine, fixes, args.minutes, taken, answer=args.of or USUAL, spent=args.spent)
    closing = []
    if args.sheet:
        found.write_sheet(args.sheet, measures=args.measures)
        closing.append(f"The sheet is written to {args.sheet}.")
    if args.after:
        found.write_sheet(args.after, after=True)
        closing.append(f"What to read after the work is written to {args.after}.")
    if not found.enough:
        words = f"ductsim visit {args.machine} --minutes {found.minutes:g} --readings FILE"
        closing += ["When these readings are filled in, plan anew with all of them:", f"  {words}"]
    return Answer(found, inputs, ("plan", "sheet", "decisions"), weakest=weakest(inputs), closing=closing)


COMMANDS = {
    "visit": Command(
        "visit",
        "a whole visit planned: readings, fix, proof, within the time there is",
        "ductsim visit demo:picker --minutes 60 --sheet sheet.csv",
        _options,
        _visit,
        "Readings are planned only as long as they better the choice of the fix. Plan anew as they come:\n"
        "give all readings so far by --readings.",
        group="Use readings",
    )
}
