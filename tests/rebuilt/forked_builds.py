"""Builds that need not import anything: a process that has imported all of it is forked for each of them.

So each begins as `reviewkit build` does before it reads its first file: nothing of any other build is in its memory.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

# what builds import late
_MODULES = (
    *("opentimelineio", "reviewkit.build.build", "reviewkit.build.outputs", "reviewkit.ingest.session.session_schema"),
    *(f"reviewkit.render.cards.{name}" for name in ("photo", "title_page", "score_card", "hunt_card", "ending_card")),
    "reviewkit.render.pages.template_environment",
)
LONGEST_S = 300


class Forks:
    """The process that is forked, for use in a `with`. It ends with this one, for then it has nothing more to read."""

    def __init__(self, folder: Path, environment: Mapping[str, str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__], cwd=folder, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def __enter__(self) -> Forks:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate()

    def run(self, arguments: Sequence[str], settings: Mapping[str, str], stderr: Path) -> int:
        """Run one command line; its exit status, below zero if a signal ended it. `stderr`: where its messages go."""
        assert self._process.stdin
        assert self._process.stdout
        asked = {"arguments": list(arguments), "settings": dict(settings), "stderr": str(stderr)}
        self._process.stdin.write(json.dumps(asked).encode() + b"\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


def serve() -> None:
    """Fork for every line of the input, and say how it ended."""
    sys.path.insert(0, str(Path.cwd()))  # as `python -m` has it
    from reviewkit.__main__ import main
    from reviewkit.build.pool import FOR_ONE_SESSION
    from reviewkit.build.program_digest import program_digest

    for module in (*_MODULES, *FOR_ONE_SESSION):
        import_module(module)
    program_digest()  # its files stay as they are
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if not child:
            begin(asked)
            main()  # ends the process
        sys.stdout.write(f"{os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}\n")
        sys.stdout.flush()


def begin(asked: Mapping[str, Any]) -> None:
    """Give a new process its command line, its environment and its messages' file, and an end if it has none itself."""
    signal.alarm(LONGEST_S)
    sys.argv = ["reviewkit", *asked["arguments"]]
    os.environ.update(asked["settings"])
    nowhere, messages = os.open(os.devnull, os.O_RDWR), os.open(asked["stderr"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for stream, file in enumerate((nowhere, nowhere, messages)):
        os.dup2(file, stream)


if __name__ == "__main__":
    serve()
