"""Everything that is written to disk: whole or not at all, and never over what was not meant.

The rules for every output, whichever command or function writes it:

- A new file is made; a file that is there is replaced whole and keeps its permissions.
- Refused are a folder, a symbolic link (naming where it points), a write-protected file, and whatever is no
  plain file. Only the last name counts: the folder it stands in may be reached through links. Replacing a
  file asks the folder's permission alone, so a file's own protection is looked at here, for everybody alike.
- A file that the same piece of work reads is not written over.
- A folder is new or empty, and gets all of its files or none.
- The work goes to a hidden file beside, is forced to disk and then takes the name; whatever ends it earlier,
  Ctrl-C too, removes that file. Of two processes that write one file at once, the later one's stays, whole.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path

from .errors import InputError, shown

LONGEST_STEM = 40  # letters of a name that the hidden file beside it carries
_HALF = re.compile(r"\.(.+)\.[0-9a-f]{8}\.part")  # the name of such a file

Name = str | os.PathLike[str]


def check(path: Name, read: Iterable[Name] = ()) -> None:
    """Refuse a place where nothing may be written, before any work is done for it.

    Parameters
    ----------
    path : path
        The file that is to be written.
    read : iterable of paths
        The files that the same work reads.

    Raises
    ------
    InputError
        Saying which of the rules above stands against it.
    """
    _standing(path)
    if any(_same(path, other) for other in read):
        raise InputError(
            "is read here, so it is not written over",
            file=str(path),
            allowed="name another file to write",
        )


def check_page(path: Name, like: str) -> None:
    """Refuse a place for a page that `check` refuses, or whose name is none of a page.

    Parameters
    ----------
    path : path
        The file that is to be written.
    like : str
        A name that would do, for the message.

    Raises
    ------
    InputError
        For a name that does not end in .html or .htm, and what `check` refuses.
    """
    if not str(path).lower().endswith((".html", ".htm")):
        raise InputError("the name does not end in .html", file=str(path), allowed=f"a name like {like}")
    check(path)


def write_text(path: Name, text: str) -> None:
    """Write a UTF-8 text file whole or not at all; see `write_whole`."""
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError as err:
        raise InputError(
            f"cannot be written: {err.object[err.start]!r} is no letter", file=str(path)
        ) from None
    write_whole(path, data)


def write_whole(path: Name, data: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    InputError
        Where the rules above or the system forbid it.
    """
    from secrets import token_hex

    there = _standing(path)
    place = Path(path)
    part = place.with_name(f".{place.name[:LONGEST_STEM]}.{token_hex(4)}.part")
    try:
        _write(part, data)
        if there is not None:
            os.chmod(part, stat.S_IMODE(there.st_mode))
        os.replace(part, place)
    except (OSError, ValueError) as err:
        raise _refusal(path, err) from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            os.unlink(part)


def half_written(name: str) -> str:
    """Of which file a hidden file beside it is the beginning, by its name; empty for any other file."""
    found = _HALF.fullmatch(name)
    return found.group(1) if found else ""


def write_folder(path: Name, files: Mapping[str, bytes]) -> None:
    """Write files into a new or empty folder, all or none; missing folders above it are made.

    Parameters
    ----------
    path : path
        The folder.
    files : mapping
        Name in the folder -> what the file holds.

    Raises
    ------
    InputError
        If there is something already, or the folder cannot be written.
    """
    from shutil import rmtree
    from tempfile import mkdtemp

    try:
        there = _empty(path)
        folder = top = Path(os.path.realpath(path))
        while not there and not os.path.lexists(top.parent):
            top = top.parent
        beside = Path(mkdtemp(dir=folder if there else top.parent, prefix=".new.", suffix=".part"))
        try:
            inner = beside / "new" / folder.relative_to(top)
            inner.mkdir(parents=True)
            for name, data in files.items():
                _write(inner / name, data)
            if there:
                _move(inner, folder, files)
            else:
                os.rename(beside / "new", top)
        finally:
            rmtree(beside, ignore_errors=True)
    except (OSError, ValueError) as err:
        raise err if isinstance(err, InputError) else _refusal(path, err) from None


def _same(one: Name, other: Name) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):  # one of them is not there
        return False


def _write(place: Path, data: bytes) -> None:
    """Make a file that was not there, on the disk when this returns; with the permissions of any new file."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(place, flags, 0o666), "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _move(source: Path, folder: Path, names: Iterable[str]) -> None:
    """Move files into an empty folder, all or none."""
    moved: list[Path] = []
    try:
        for name in names:
            moved.append(folder / name)
            os.rename(source / name, folder / name)
    except BaseException:
        for place in moved:
            place.unlink(missing_ok=True)
        raise


def _standing(path: Name) -> os.stat_result | None:
    """What stands where a file is to be written: None for nothing; refused unless it may be replaced."""
    if not isinstance(path, (str, os.PathLike)) or not isinstance(os.fspath(path), str):
        raise InputError(f"{shown(path)} is no name of a file", allowed="a text or a path")
    try:
        there = os.lstat(path)
    except FileNotFoundError:
        folder = Path(path).parent
        if not os.path.isdir(folder):
            raise InputError("there is no such folder", file=str(folder)) from None
        return None
    except NotADirectoryError:
        raise InputError("there is no such folder", file=str(Path(path).parent)) from None
    except (OSError, ValueError) as err:
        raise _refusal(path, err) from None
    if stat.S_ISDIR(there.st_mode):
        raise InputError("is a folder", file=str(path), allowed="the name of a file in it")
    _may_be_replaced(path, there)
    if not stat.S_ISREG(there.st_mode):
        raise InputError(
            "is no plain file, so it is not replaced", file=str(path), allowed="name another file"
        )
    return there


def _empty(path: Name) -> bool:
    """Whether an empty folder is there already; refused if anything else is."""
    try:
        there = os.lstat(path)
    except FileNotFoundError:
        return False
    _may_be_replaced(path, there)
    if not stat.S_ISDIR(there.st_mode) or os.listdir(path):
        raise InputError(
            "is there already",
            file=str(path),
            allowed="a folder that is new or empty: nothing is overwritten",
        )
    return True


def _may_be_replaced(path: Name, there: os.stat_result) -> None:
    """Refuse a link and what is write-protected."""
    if stat.S_ISLNK(there.st_mode):
        raise InputError(
            f"is a link to {os.readlink(path)!r}, so it is not replaced",
            file=str(path),
            allowed="name what it points to, or another file",
        )
    # the bits too, not only what this user may do: they hold for whoever may write everything
    if not there.st_mode & 0o222 or not os.access(path, os.W_OK):
        raise InputError(
            "is write-protected, so it is not replaced", file=str(path), allowed="name another file"
        )


def _refusal(path: Name, err: Exception) -> InputError:
    return InputError(f"cannot be written: {getattr(err, 'strerror', None) or err}", file=str(path))
