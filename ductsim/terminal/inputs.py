"""What a command reads: the machine, and the files that go with it."""

from __future__ import annotations

import os
from argparse import Namespace
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..documents.document import read_text
from ..errors import InputError
from ..machine.demos import demo, demo_file
from ..machine.machine import Machine
from ..writing import check

ENDINGS = {"fixes": "toml", "readings": "csv", "crop": "toml", "seen": "csv", "field": "csv"}
WORDS = {"crop": "the crop", "seen": "what was seen", "field": "yields along a row"}


def _fixes(place: Path) -> Any:
    from ..fixes.file import read_fixes

    return read_fixes(place)


def _readings(place: Path) -> Any:
    from ..readings.table import read_readings

    return read_readings(place)


def _crop(place: Path) -> Any:
    from ..crop.file import read_crop

    return read_crop(place)


READERS: dict[str, Callable[[Path], Any]] = {
    "fixes": _fixes,
    "readings": _readings,
    "crop": _crop,
    "seen": Path,
    "field": Path,
}
"""Role of a companion -> what reads its file; the module is loaded when there is one."""
DEMO = "demo:"


def nothing_in(place: Path) -> bool:
    """Whether a companion is still to be written: all remarks, or a sheet without a value.

    What cannot be read is something: its reader says what is wrong with it.
    """
    try:
        lines = read_text(place)[0].splitlines()
    except InputError:
        return False
    said = [line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#")]
    if place.suffix == ".toml":
        return said == ["format = 1"]
    header, *rows = said or [""]
    separator = max(";\t,", key=header.count)
    columns = [cell.strip() for cell in header.split(separator)]
    if "value" not in columns:
        return False
    at = columns.index("value")
    return not any(cell.strip() for row in rows for cell in row.split(separator)[at : at + 1])


class Inputs:
    """The machine of a command line, and where its companions are.

    Attributes
    ----------
    machine : Machine
        As changed by `--change`.
    read : list of dict
        What was read, for the envelope: the machine first, then its companions with their `role`.
    """

    def __init__(self, args: Namespace) -> None:
        self._args = args
        name: str = args.machine
        if name.startswith(DEMO):
            self.machine = demo(name.removeprefix(DEMO))
            self._place = demo_file(name.removeprefix(DEMO))
        else:
            self.machine = Machine.read(name)
            self._place = Path(name)
            self._keep(self._place)
        self.read: list[dict[str, str]] = [{"file": name, "sha256": self.machine.sha256}]
        if args.measures is None:
            args.measures = self.machine.measures
        else:
            self.machine = self.machine.rebuilt(measures=args.measures)
        change = getattr(args, "change", None)
        if change:
            try:
                self.machine = self.machine.change(change)
            except InputError as err:
                raise err.at(place="--change") from None

    def find(self, role: str) -> Path | None:
        """The file that plays a role: the one named by the option, else one beside the machine file."""
        named = getattr(self._args, role, None)
        if named:
            return Path(named)
        for name in self._beside(role):
            place = self._place.with_name(name)
            if os.path.lexists(place):
                return None if nothing_in(place) else place
        return None

    def _beside(self, role: str) -> list[str]:
        """The names that a file of a role may have beside the machine file; the first is looked for first."""
        ending = ENDINGS[role]
        return [f"{self._place.stem}_{role}.{ending}", *([] if self.is_demo else [f"{role}.{ending}"])]

    def _keep(self, place: Path) -> None:
        """Refuse to write over a file that is read."""
        for output in ("plot", "path"):
            name = getattr(self._args, output, None)
            if name:
                check(name, [place])

    @property
    def is_demo(self) -> bool:
        """Whether the machine is one of the package's own."""
        return str(self._args.machine).startswith(DEMO)

    def companion(self, role: str, reader: Callable[[Path], Any]) -> Any:
        """What `reader` makes of the file that plays a role.

        Raises
        ------
        InputError
            When there is no such file, saying where it was looked for.
        """
        place = self.find(role)
        if place is None:
            words, names = WORDS.get(role, role), self._beside(role)
            empty = next((name for name in names if nothing_in(self._place.with_name(name))), "")
            if empty:
                raise InputError(
                    f"{self._place.with_name(empty)} holds nothing yet",
                    place=f"--{role}",
                    allowed=f"write {words} into it, as its first lines show, or give --{role} FILE",
                )
            raise InputError(
                f"there is no file of {words} for {self._args.machine}",
                place=f"--{role}",
                allowed=f"name one with --{role} FILE, or put {names[0]!r} beside the machine file",
            )
        return self.take(role, place, reader)

    def fitted(self) -> Any:
        """What the readings of `--readings` make of the machine; the machine itself where none are named.

        A study then works on all that the readings hold possible.
        """
        if not getattr(self._args, "readings", None):
            return self.machine
        from .. import fit, read_readings

        return fit(self.machine, self.companion("readings", read_readings))

    def calibrated(self, crop: Any, machine_or_fit: Any = None) -> Any:
        """A crop calibrated by what was seen of the machine, as the readings tell it where a fit is given."""
        from ..machine.fitted import Fitted
        from ..speed import calibrate

        fitted = isinstance(machine_or_fit, Fitted)
        machine = machine_or_fit.machine if fitted else self.machine
        seen = self.companion("seen", READERS["seen"])
        return calibrate(machine, seen, crop=crop, fitted=fitted)

    def take(self, role: str, place: Path, reader: Callable[[Path], Any]) -> Any:
        """What `reader` makes of a file, which is noted among what was read."""
        from ..readings.table import LARGEST_FILE

        self._keep(place)
        found = reader(place)
        _, digest = read_text(place, LARGEST_FILE, f"file of {WORDS.get(role, role)}")
        shown = place.name if self.is_demo and place.parent == self._place.parent else str(place)
        self.read.append({"role": role, "file": shown, "sha256": digest})
        return found
