"""`ductsim` and `python -m ductsim`: the command line, once its modules are loaded."""

import gc
import sys


def main() -> int:
    """Run the process's command line; Ctrl-C while modules are loaded, or once more, is one sentence too."""
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
