"""Every caution that is shown to a user, in one list.

Whatever advises a change, a measurement or a speed shows the cautions that belong to it, and always the
last one: the maker's limits and the local rules come before anything computed here.
"""

from __future__ import annotations

from collections.abc import Iterable

from .arguments import listed
from .errors import UnknownName

CAUTIONS: dict[str, str] = {
    "lock_out": "Stop the engine, take the key, lock it out and wait until everything stands still before "
    "you reach near a belt, a fan or a picking unit.",
    "guards": "Put every guard back before the engine runs again.",
    "highest_speed": "Never run a fan above the highest speed its maker allows: a wheel that bursts kills.",
    "power": "Do not ask more of a drive than its maker allows: belts and bearings overheat.",
    "speed": "Pressure grows with the square of the fan's speed and power with its cube: raise it in small "
    "steps and watch the drive.",
    "sealant": "Foam and sealant give off fumes and some burn: work in the open air, wear gloves and eye "
    "protection, keep flames away, let them cure.",
    "lint": "Lint burns: clear it from hot parts, belts and bearings, and keep a fire extinguisher at hand.",
    "hot": "Exhaust, hydraulics, bearings and fan housings stay hot after a run: let them cool.",
    "noise": "Fans at working speed damage hearing: wear protection.",
    "taping": "Count the tapes and plates you put on, and take every one off before the machine works again.",
    "tapping": "Drill and read only where hoses and hands stay clear of moving parts; run a hose to a safe "
    "place and read from there.",
    "drilling": "Look behind the sheet before you drill, and close every hole afterwards.",
    "blockage": "Clear a blocked duct or unit only with the machine stopped and locked out.",
    "edges": "Cut sheet metal and fan blades are sharp: wear gloves.",
    "lifting": "Fans and ducts are heavy: support them before the last bolt is out.",
    "climbing": "Readings at height need a safe platform, never a moving machine.",
    "driving": "A computed ground speed is no permission to drive it: terrain, crop and the machine's "
    "handling decide.",
}
"""Key -> text."""

ALWAYS = (
    "Follow the machine maker's limits and instructions and your local rules; leave work on drives and fans "
    "to qualified people."
)
"""The sentence that is always shown, and shown last."""

# What kind of work or advice needs which cautions; tags are the words that fixes and studies use.
TAGS: dict[str, tuple[str, ...]] = {
    "seal": ("lock_out", "sealant", "lint"),
    "hose": ("lock_out", "hot", "edges"),
    "part": ("lock_out", "guards", "lifting", "edges"),
    "pulley": ("lock_out", "guards", "highest_speed", "power", "speed"),
    "speed": ("highest_speed", "power", "speed", "noise"),
    "clean": ("lock_out", "lint", "hot", "edges", "guards"),
    "jet": ("lock_out", "edges", "guards"),
    "restrictor": ("lock_out", "edges"),
    "measure": ("tapping", "drilling", "noise", "climbing"),
    "blank": ("lock_out", "taping"),
    "crop": ("blockage", "driving", "lint"),
}
"""Kind of work -> the keys of its cautions."""


def cautions_for(tags: Iterable[str]) -> list[str]:
    """The texts for some kinds of work, each once, in the order of the list; the constant one last.

    Parameters
    ----------
    tags : iterable of str
        Kinds of work (keys of `TAGS`) or single cautions (keys of `CAUTIONS`). A text alone is one tag.

    Raises
    ------
    UnknownName
        For a tag that is neither.
    """
    wanted: set[str] = set()
    for tag in [tags] if isinstance(tags, str) else listed(tags, "cautions", "kinds of work or cautions"):
        if not isinstance(tag, str):
            raise UnknownName.of("caution", tag, [*TAGS, *CAUTIONS])
        if tag in TAGS:
            wanted.update(TAGS[tag])
        elif tag in CAUTIONS:
            wanted.add(tag)
        else:
            raise UnknownName.of("caution", tag, [*TAGS, *CAUTIONS])
    return [text for key, text in CAUTIONS.items() if key in wanted] + [ALWAYS]
