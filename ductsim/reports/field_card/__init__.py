"""One page for a phone in the field: fixes to tick, readings to type, no network and no Python."""

from . import summary
from .card import field_card
from .result import FieldCard

FieldCard.show_by(
    title="Field page",
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
)

__all__ = ["FieldCard", "field_card"]
