"""Look at a machine: `solve`, `check`, `sensitivity`."""

from __future__ import annotations

from argparse import Namespace
from dataclasses import dataclass
from typing import Any

from ..answers.plausible import plausibility
from ..answers.sensitivity import Sensitivity, sensitivity
from ..display.rows import Of, rows_of
from ..machine.machine import MachineState
from ..questions.vocabulary import Question, question
from ..result import Result
from ..terminal.command import Answer, Command
from ..terminal.inputs import Inputs
from ..terminal.parsing import USUAL, Parser, count, machine_options
from ..wording import said

# ---- solve


@dataclass(repr=False, eq=False)
class Solved(Result):
    """A solved machine, and the answers to what was asked of it besides.

    Attributes
    ----------
    state : MachineState
    of : list of str
        Questions of the `of` vocabulary.
    answers : list of float
        To these, in SI.
    """

    state: MachineState
    of: list[str]
    answers: list[float]

    @property
    def asked(self) -> list[tuple[Question, float]]:
        """Each question with its answer."""
        layout = self.state.machine.layout
        return [(question(layout, of), own) for of, own in zip(self.of, self.answers, strict=True)]


def _solved_tables(found: Solved) -> dict[str, list[dict[str, Any]]]:
    """The answers, then the tables of the state."""
    columns = (
        Of("asked", value=lambda own: own[0].of),
        Of("what", value=lambda own: own[0].label),
        Of("value", value=lambda own: own[1]),
        Of("measure", value=lambda own: own[0].measure),
    )
    asked = {"answers": rows_of(found.asked, *columns)} if found.of else {}
    return {**asked, **found.state.tables()}


def _solved_sentences(found: Solved, measures: str) -> list[str]:
    """The answers first, then what the state says."""
    asked = [
        f"{own.label[:1].upper()}{own.label[1:]}: {said(value, own.measure, measures)}."
        for own, value in found.asked
    ]
    return [*asked, *found.state.sentences(measures)]


Solved.show_by(
    tables=_solved_tables,
    sentences=_solved_sentences,
    notes=lambda found: [*found.state.notes, *plausibility(found.state).notes],
    about=lambda found: found.state.about(),
)


def _solve_options(parser: Parser) -> None:
    machine_options(
        parser, of='also ask for "duct air 4", "shaft power", "hose 3.flow" or the like', many=True
    )
    parser.take("--tappings", action="store_true", help="also show what a manometer reads at every tapping")


def _solve(args: Namespace) -> Answer:
    inputs = Inputs(args)
    state = inputs.machine.solve()
    shown = ["units", "fans", *(["tappings"] if args.tappings else [])]
    asked = [args.of] if isinstance(args.of, str) else args.of or []
    found = Solved(state, asked, [state.ask(of) for of in asked])
    return Answer(found, inputs, shown, str(state.weakest), drawn=state)


# ---- check


def _check_options(parser: Parser) -> None:
    machine_options(parser, plot=False)
    parser.take(
        "readings", metavar="READINGS", nargs="?", help="a file of readings to hold against the machine"
    )


def _check(args: Namespace) -> Answer:
    from .checking import checked
    from .question_tables import refuse_tables

    inputs = Inputs(args)
    if not inputs.is_demo:
        refuse_tables(inputs.machine, args.machine)
    state = inputs.machine.solve(raise_error=False)
    held = None
    if args.readings:
        from ..readings.checks import check_readings
        from ..readings.table import read_readings

        held = check_readings(inputs.machine, inputs.companion("readings", read_readings))
    tables = [*(["readings"] if held else ()), "measure_first"]
    every = f"  ductsim check {args.machine} --all    every number, given or default, with its spread"
    closing = [] if args.all else [every]
    status = 0 if state.solved else 1
    return Answer(checked(state, held), inputs, tables, str(state.weakest), closing, status=status)


# ---- sensitivity


@dataclass(repr=False, eq=False)
class Sensitivities(Result):
    """What the answers to several questions hang on.

    Attributes
    ----------
    each : list of Sensitivity
        In the order of the questions.
    """

    each: list[Sensitivity]


Sensitivities.show_by(
    tables=lambda found: {own.of: own.tables()["table"] for own in found.each},
    sentences=lambda found, measures: [words for own in found.each for words in own.sentences(measures)],
    about=lambda found: ", ".join(own.of for own in found.each),
)


def _sensitivity_options(parser: Parser) -> None:
    machine_options(parser, of=f'what to ask (default "{USUAL}")', many=True)
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
    asked = args.of or USUAL
    each = sensitivity(inputs.machine, [asked] if isinstance(asked, str) else asked, state)
    found = each[0] if len(each) == 1 else Sensitivities(each)
    return Answer(found, inputs, weakest=str(state.weakest), most=args.rows, drawn=each[0])


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
            "what is odd about a machine, what to measure first; readings held against it",
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
