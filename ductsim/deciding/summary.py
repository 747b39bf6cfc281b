"""What plans of readings and work say alike: work in words and rows, what times are assumed, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..cautions import ALWAYS, cautions_for
from ..quantity import measure_key
from ..result import Note
from ..wording import listed
from .candidates import NEW_SPEED, TAPING
from .weighing import Work


def words_of(fixes: Sequence[str]) -> str:
    """Fixes in the order of the work; "nothing" for none."""
    return ", then ".join(fixes) or "nothing"


def work_row(work: Work, measure: str) -> dict[str, Any]:
    """What can be done: minutes, gain with the 90 % of the possible machines, chance of being the best."""
    return {
        "fix": words_of(work.fixes),
        "minutes": work.minutes,
        measure_key("gain", measure): work.gain,
        measure_key("gain_low", measure): work.low,
        measure_key("gain_high", measure): work.high,
        "chance_best": work.chance,
    }


def machines_note(count: int) -> Note:
    """On how many possible machines something was weighed."""
    return Note(f"Weighed on {count:,} possible machines.", "possible machines", value=count)


def times_note() -> Note:
    """What taping and another engine speed are taken to take."""
    text = f"Taping counts {TAPING:g} min an opening, another engine speed {NEW_SPEED:g} min."
    return Note(text, "assumed")


def left_out_notes(left_out: Mapping[str, str]) -> list[Note]:
    """The fixes that were not weighed, and why the first was not; nothing where all were."""
    if not left_out:
        return []
    names, why = listed(list(left_out)), next(iter(left_out.values()))
    return [Note(f"Not weighed: {names} ({why}).", "left out", names)]


def cautions_of(tags: Sequence[str], work: Sequence[str]) -> list[str]:
    """The cautions of these tags, then those of the work, each once, the constant one last."""
    own = [*cautions_for(tags), *work]
    return [*dict.fromkeys(text for text in own if text != ALWAYS), ALWAYS]
