"""Look at a machine: `solve`, `check`, `sensitivity`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ..questions.vocabulary import question
from ..result import Result
from ..terminal.command import Answer, Command
from ..terminal.inputs import Inputs
from ..terminal.parsing import Parser, count, machine_options
from ..wording import said

# ---- solve


class Solved(Result):
    """A solved machine, and the answers to what was asked of it besides.

    Parameters
    ----------
    state : MachineState
    of : sequence of str
        Questions of the `of` vocabulary.
    """

    def __init__(self, state: Any, of: Any) -> None:
        self.state = state
        self.questions = [question(state.machine.layout, words) for words in of]
        self.notes = state.notes

    def rows(self) -> list[dict[str, Any]]:
        """A row for each question, or the rows of the units where none was asked."""
        if not self.questions:
            return list(self.state.rows())
        return [
            {"asked": q.of, "what": q.label, "value": self.state.ask(q.of), "measure": q.measure}
            for q in self.questions
        ]

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """The answers, then the tables of the state."""
        asked = {"answers": self.rows()} if self.questions else {}
        return {**asked, **self.state.tables()}

    def sentences(self, measures: str = "metric") -> list[str]:
        """The answers first, then what the state says."""
        asked = []
        for row in self.rows() if self.questions else ():
            value = said(row["value"], row["measure"], measures)
            asked.append(f"{row['what'][:1].upper()}{row['what'][1:]}: {value}.")
        return [*asked, *self.state.sentences(measures)]


def _solve_options(parser: Parser) -> None:
    machine_options(parser)
    parser.take(
        "--of",
        action="append",
        default=[],
        metavar="WORDS",
        help='also ask for "duct air 4", "shaft power", "hose 3.flow" or the like; may be repeated',
    )
    parser.take("--tappings", action="store_true", help="also show what a manometer reads at every tapping")


def _solve(args: Namespace) -> Answer:
    inputs = Inputs(args)
    state = inputs.machine.solve()
    shown = ["units", "fans", *(["tappings"] if args.tappings else [])]
    return Answer(Solved(state, args.of), inputs, shown, str(state.weakest), drawn=state)


# ---- check


def _check_options(parser: Parser) -> None:
    machine_options(parser, plot=False)
    parser.take(
        "readings", metavar="READINGS", nargs="?", help="a file of readings to hold against the machine"
    )


def _check(args: Namespace) -> Answer:
    from .checking import Checked

    inputs = Inputs(args)
    state = inputs.machine.solve(raise_error=False)
    held = None
    if args.readings:
        from ..readings.checks import check_readings
        from ..readings.table import read_readings

        held = check_readings(inputs.machine, inputs.companion("readings", read_readings))
    tables = [*(["readings"] if held else ()), "defaults", "given"]
    status = 0 if state.solved else 1
    return Answer(Checked(state, held), inputs, tables, str(state.weakest), status=status)


# ---- sensitivity


def _sensitivity_options(parser: Parser) -> None:
    machine_options(parser, of="weakest vacuum")
    parser.take(
        "--rows",
        type=int,
        default=15,
        metavar="N",
        read=count(1, 100_000),
        help="how many numbers to show (15)",
    )


def _sensitivity(args: Namespace) -> Answer:
    inputs = Inputs(args)
    state = inputs.machine.solve()
    found = inputs.machine.sensitivity(of=args.of)
    return Answer(found, inputs, weakest=str(state.weakest), most=args.rows)


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "solve",
            "vacuum and air at every unit, the weakest named",
            "ductsim solve demo:picker",
            _solve_options,
            _solve,
            group="Look at a machine",
        ),
        Command(
            "check",
            "every number of the machine, given or default; readings held against it",
            "ductsim check demo:picker",
            _check_options,
            _check,
            group="Look at a machine",
        ),
        Command(
            "sensitivity",
            "which numbers the answer hangs on",
            'ductsim sensitivity demo:picker --of "vacuum 4"',
            _sensitivity_options,
            _sensitivity,
            group="Look at a machine",
        ),
    )
}
