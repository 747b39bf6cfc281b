"""The user's machine: read, written, changed, solved and asked."""

from ..description.changing import grid
from ..description.layout import Layout
from ..questions.vocabulary import Question, add_word, question, vocabulary
from ..speed import questions
from .demos import demo
from .machine import Machine, MachineState
from .network import Network

Machine.show_by(plots="ductsim.machine.plots:MACHINE_PLOTS")
MachineState.show_by(plots="ductsim.machine.plots:STATE_PLOTS")

__all__ = [
    "Layout",
    "Machine",
    "MachineState",
    "Network",
    "Question",
    "add_word",
    "demo",
    "grid",
    "question",
    "questions",
    "vocabulary",
]
