"""`python -m reviewkit`, and the `reviewkit` command."""

from __future__ import annotations

import atexit
import gc
import os
import sys


def main() -> None:
    """Run the command line and exit with its status."""
    # a build leaves no cycles behind, and to look for some again and again in all that is imported and read takes a
    # fifth of the time that importing does
    gc.disable()
    from reviewkit.commands.cli import run

    status = run(sys.argv[1:])
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except BrokenPipeError:  # whoever read our output has enough
        pass
    except OSError:
        status = status or 1
    atexit._run_exitfuncs()  # the system's semaphores are given back
    # all is written: to take the interpreter apart, piece by piece, would take as long as drawing several cards
    os._exit(status)


if __name__ == "__main__":
    main()
