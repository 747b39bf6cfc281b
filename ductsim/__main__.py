"""`ductsim` and `python -m ductsim`: the command line, once its modules are loaded."""

import gc
import sys

MANY_NEW = 20_000
"""So many new objects before they are looked through: with the usual 700 that takes 3 % of a command."""


def main() -> int:
    """Run the process's command line; Ctrl-C while modules are loaded, or once more, is one sentence too."""
    gc.set_threshold(MANY_NEW, 10, 10)
    try:
        from .cli import main as run

        return run()
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("ductsim: stopped by Ctrl-C.\n")
        return 130
    finally:
        gc.freeze()  # the process ends: nothing left needs to be looked through for what could be freed


if __name__ == "__main__":
    sys.exit(main())
