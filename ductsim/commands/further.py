"""Take it further: `ensemble`, `report`."""

from __future__ import annotations

import signal
import sys
import threading
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..writing import check
from .carrying import crop_of
from .command import Answer, Command
from .deciding import budget_option, weakest
from .inputs import Inputs
from .parsing import Parser, companion_options, count, machine_options
from .starting import Listed

if TYPE_CHECKING:
    from ..studies.sampling import Ensemble

TERMINATED = 143  # what a shell reports of a program that SIGTERM ended

# ---- ensemble


def _ensemble_options(parser: Parser) -> None:
    machine_options(parser)
    parser.take(
        "--of",
        action="append",
        metavar="WORDS",
        help='what to ask (default "weakest vacuum"); may be repeated',
    )
    parser.take(
        "--samples",
        type=int,
        default=10_000,
        metavar="N",
        read=count(2, 100_000_000),
        help="how many machines to draw (default 10,000)",
    )
    parser.take(
        "--seed", type=int, default=0, metavar="N", read=count(0, 2**32 - 1), help="of the draw (default 0)"
    )
    parser.take(
        "--method", default="latin hypercube", metavar="WORD", help="latin hypercube, sobol or random"
    )
    parser.take(
        "--shares", action="store_true", help="also which numbers the scatter comes from; takes longer"
    )
    parser.take("--folder", metavar="FOLDER", help="keep what is done there, to go on where it was stopped")
    parser.take(
        "--processes",
        type=int,
        default=1,
        metavar="N",
        read=count(1, 256),
        help="how many share the work (default 1)",
    )


class _Terminated(BaseException):
    """SIGTERM has come: no `Exception`, so that nobody takes it for a fault and tries again."""


@contextmanager
def _ending_in_order() -> Iterator[None]:
    """SIGTERM unwinds the body like Ctrl-C does, so that workers end and no half file stays."""

    def stop(number: int, frame: Any) -> None:
        raise _Terminated

    if threading.current_thread() is not threading.main_thread():  # only that one may handle signals
        yield
        return
    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _ensemble(args: Namespace) -> Answer:
    inputs = Inputs(args)
    try:
        with _ending_in_order():
            found = _drawn(args, inputs)
    except _Terminated:
        kept = f"; what is done is kept in {args.folder}" if args.folder else ""
        sys.stderr.write(f"ductsim: stopped by SIGTERM{kept}.\n")
        raise SystemExit(TERMINATED) from None
    for note in found.folder_notes:  # also where the answer goes to a file or another program
        sys.stderr.write(f"ductsim: {note}\n")
    return Answer(found, inputs, weakest=weakest(inputs), most=20)


def _drawn(args: Namespace, inputs: Inputs) -> Ensemble:
    """The ensemble that the words ask for."""
    from .. import ensemble
    from ..chunks import processes

    given: dict[str, Any] = {
        "of": args.of or ["weakest vacuum"],
        "samples": args.samples,
        "seed": args.seed,
        "method": args.method,
        "shares": args.shares,
        "folder": args.folder,
        "progress": args.sign.progress,
    }
    if args.processes == 1:
        return ensemble(inputs.machine, **given)
    with processes(args.processes) as pool:
        return ensemble(inputs.machine, executor=pool, **given)


# ---- report


def _report_options(parser: Parser) -> None:
    machine_options(parser, of="weakest vacuum", plot=False)
    parser.take("path", metavar="FILE.html", help="the page to write")
    companion_options(parser, "fixes", "readings", "crop")
    budget_option(parser)


def _report(args: Namespace) -> Answer:
    from .. import read_fixes, read_readings, report

    place = Path(args.path)
    if place.suffix.lower() not in (".html", ".htm"):
        raise InputError("the name does not end in .html", file=str(place), allowed="a name like report.html")
    check(place)
    inputs = Inputs(args)
    fixes = inputs.companion("fixes", read_fixes) if inputs.find("fixes") else None
    readings = inputs.companion("readings", read_readings) if inputs.find("readings") else None
    report(
        inputs.machine,
        place,
        fixes=fixes,
        readings=readings,
        crop=crop_of(inputs) or inputs.machine.crop,
        of=args.of,
        budget=args.budget,
        measures=args.measures,
    )
    return Answer(Listed([f"The report is written to {place}."], {}), inputs, weakest=weakest(inputs))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "ensemble",
            "how sure the answer is: thousands of machines within the spreads",
            "ductsim ensemble demo:picker --samples 2000",
            _ensemble_options,
            _ensemble,
        ),
        Command(
            "report",
            "everything on one page to print or hand on",
            "ductsim report demo:picker report.html",
            _report_options,
            _report,
        ),
    )
}
