"""The user's machine: read, written, changed, solved and asked."""

from .asked import Question, add_word, question, vocabulary
from .changing import grid
from .crop import margins as carrying
from .crop import speed
from .demos import demo
from .layout import Layout
from .machine import Machine
from .state import MachineState

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
