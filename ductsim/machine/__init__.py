"""The user's machine: read, written, changed, solved and asked."""

from ..questions.vocabulary import Question, add_word, question, vocabulary
from ..description.changing import grid
from ..crop import margins as carrying
from ..speed import limit as speed
from .demos import demo
from ..description.layout import Layout
from .machine import Machine
from ..answers.state import MachineState

__all__ = [
    "Layout",
    "Machine",
    "MachineState",
    "Question",
    "add_word",
    "carrying",
    "demo",
    "grid",
    "question",
    "speed",
    "vocabulary",
]
