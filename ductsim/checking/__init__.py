"""What every part must do, a user's own too: `check_part` tries all of it and tells what it found."""

from . import summary
from .check import CHECKS, PartCheck, check_part

PartCheck.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    about=summary.about,
    title="What the checks of the part found",
)

__all__ = ["CHECKS", "PartCheck", "check_part"]
