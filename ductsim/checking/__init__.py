"""What every part must do, a user's own too: `check_part` tries all of it and tells what it found."""

from . import told
from .check import CHECKS, PartCheck, check_part

PartCheck.show_by(
    tables=told.tables, sentences=told.sentences, about=told.about, title="What the checks of the part found"
)

__all__ = ["CHECKS", "PartCheck", "check_part"]
