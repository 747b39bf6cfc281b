"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ..errors import InputError, nearest_name

PICTURES = ("png", "svg", "pdf")


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A temporary file beside `path` to write to; it takes the place of `path` once all went well.

    Raises
    ------
    InputError
        Where nothing can be written.
    """
    place = Path(path)
    if place.is_dir():
        raise InputError("is a folder", file=str(path), allowed="the name of a file in it")
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(dir=place.parent, prefix=f".{place.stem[:40]}.", suffix=place.suffix)
        os.close(handle)
        temporary = Path(name)
        yield temporary
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(place)
        temporary = None
    except OSError as err:
        raise InputError(f"cannot be written: {err.strerror or err}", file=str(path)) from None
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def check_picture(path: str) -> None:
    """Refuse the name of a picture that cannot be drawn, before any work is done for it."""
    ending = Path(path).suffix.lstrip(".").lower()
    if ending not in PICTURES:
        raise InputError(
            f"pictures of kind {ending!r} are not drawn" if ending else "has no ending",
            place="--plot",
            file=path,
            allowed=f"a name that ends in .{', .'.join(PICTURES)}",
            nearest=nearest_name(ending, PICTURES),
        )
    if not Path(path).parent.is_dir():
        raise InputError("no such folder", place="--plot", file=str(Path(path).parent))


def draw(result: Any, path: str) -> None:
    """Draw a result's plot to a file, without any window."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    axes = result.plot()
    figure = axes.figure if hasattr(axes, "figure") else axes.flat[0].figure
    with whole_file(path) as temporary:
        figure.savefig(temporary, dpi=150, bbox_inches="tight")
    plt.close(figure)
