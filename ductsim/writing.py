"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from .errors import InputError


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write a UTF-8 text file whole or not at all; an InputError where it cannot be written."""
    write_whole(path, text.encode("utf-8"))


def write_whole(path: str | os.PathLike[str], data: bytes) -> None:
    """Write a file whole or not at all; an InputError where it cannot be written."""
    place = Path(path)
    if place.is_dir():
        raise InputError("is a folder", file=str(path), allowed="the name of a file in it")
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:40]}.", suffix=".part")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, place)
    except OSError as err:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        raise InputError(f"cannot be written: {err.strerror or err}", file=str(path)) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
