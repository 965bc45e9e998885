"""The real command `build` in a child process, with its progress, stopped as Ctrl-C stops it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Thread

from reviewkit.build.atomic_files import sweep
from reviewkit.model.errors import refusal

WISHES = {"motion": ("--motion",), "tall": ("--shape", "wide", "tall"), "overlay": ("--overlay",)}
_STEP = re.compile(r"(\w+) (\d+) of (\d+)\s*")
# only a group of its own can be interrupted on Windows
_NEW_GROUP = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
_INTERRUPT = getattr(signal, "CTRL_BREAK_EVENT", signal.SIGINT)
_PATIENCE_S = 10.0  # after it was asked to stop


class BuildProcess:
    """The build that was started last.

    Attributes
    ----------
    running
        Whether it is still going on.
    done, of
        How many cards are drawn, of how many.
    wishes
        The options it was started with, by their names in WISHES.
    outcome
        How it ended, in words; "" while it runs or before the first.
    """

    def __init__(self, folder: Path, changed: Callable[[], None], *, in_studio: bool) -> None:
        self._folder, self._changed, self._in_studio = folder, changed, in_studio
        self._process: subprocess.Popen[str] | None = None
        self._stopping = False
        self.running = False
        self.done = self.of = 0
        self.wishes: tuple[str, ...] = ()
        self.outcome = ""
        self.faults: tuple[str, ...] = ()

    def start(self, wishes: Sequence[str]) -> None:
        """Start a build.

        Raises
        ------
        InputError
            If one is running, or for a wish that isn't known.
        """
        if self.running:
            raise refusal("build", "one is already running; wait for it, or stop it")
        if unknown := set(wishes) - set(WISHES):
            raise refusal("build", f"there is no option {min(unknown)[:40]}")
        self.wishes = tuple(name for name in WISHES if name in wishes)
        options = ["--progress", *(word for name in self.wishes for word in WISHES[name])]
        options += [] if self._in_studio else ["--no-studio"]
        # -P: nothing in the current folder is imported
        command = [sys.executable, "-P", "-m", "reviewkit", "build", *options, "--", str(self._folder.resolve())]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            creationflags=_NEW_GROUP,
        )
        self.running, self._stopping = True, False
        self.done = self.of = 0
        self.outcome, self.faults = "", ()
        Thread(target=self._follow, args=(self._process,), daemon=True).start()

    def stop(self) -> None:
        """Stop the build, as Ctrl-C would, and wait until it has ended."""
        process = self._process
        if process is None or process.poll() is not None:
            return
        if not self._stopping:  # a second Ctrl-C would cut short what removes the build's traces
            self._stopping = True
            with suppress(OSError):
                process.send_signal(_INTERRUPT)
        try:
            process.wait(_PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            sweep(self._folder / "out")  # it had no time for that itself

    def _follow(self, process: subprocess.Popen[str]) -> None:
        """Take note of a build's progress, and of how it ends."""
        said: list[str] = []
        with process:
            for line in process.stderr or ():
                if step := _STEP.fullmatch(line):
                    self.done, self.of = int(step[2]), int(step[3])
                    self._changed()
                elif line.strip():
                    said = [*said, line.strip()][-20:]
        status = process.returncode
        if status == 0:
            self.outcome = "built"
        elif self._stopping:
            self.outcome = "stopped"
        else:
            self.outcome, self.faults = "not built", tuple(said) or (f"the build ended with status {status}",)
        self.running = False
        self._changed()


def open_folder(folder: Path) -> None:
    """Open a folder in this computer's file manager.

    Raises
    ------
    InputError
        If it isn't there yet, or if there is no file manager to open it.
    """
    if not folder.is_dir():
        raise refusal(folder.name, "there is no such folder yet; build first")
    if sys.platform == "win32":
        os.startfile(folder)
        return
    opener = "open" if sys.platform == "darwin" else "xdg-open"
    try:
        subprocess.Popen(
            [opener, str(folder)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
    except OSError:
        raise refusal(str(folder), f"there is no {opener} here to open it with; this is its path") from None
