"""What every part must do, a user's own too: `check_part` tries all of it and tells what it found."""

from .check import CHECKS, PartCheck, check_part

__all__ = ["CHECKS", "PartCheck", "check_part"]
