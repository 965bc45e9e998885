"""`python -m reviewkit`, and the `reviewkit` command."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and exit with its status."""
    from reviewkit.cli import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
