"""The solved machine: its state, its notes and limits, what it rests on, and its derivatives."""

from . import describe, difference, sensitivity, summary
from .describe import Description, QuestionList, SourceList
from .difference import Difference
from .sensitivity import Sensitivity
from .state import MachineAnswer

MachineAnswer.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    about=summary.about,
    title="The solved machine",
)
Sensitivity.show_by(
    tables=sensitivity.tables,
    sentences=sensitivity.sentences,
    about=sensitivity.about,
    title="What the answer hangs on",
    plots="ductsim.answers.plots:PLOTS",
)
Description.show_by(
    tables=describe.number_tables,
    sentences=describe.about_machine,
    about=describe.about_numbers,
    title="Every number of the machine",
)
SourceList.show_by(
    tables=describe.source_tables,
    sentences=describe.source_sentences,
    about=describe.about_sources,
    title="Sources",
)
QuestionList.show_by(
    tables=describe.question_tables,
    sentences=describe.question_sentences,
    about=describe.about_questions,
    title="What the machine may be asked",
)
Difference.show_by(
    tables=difference.tables,
    sentences=difference.sentences,
    about=difference.about,
    title="What differs",
)
