"""What a build is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from reviewkit.errors import Fault, InputError


@dataclass(frozen=True)
class Options:
    """What the command line asks for."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920
    only: str = ""
    overlay: bool = False
    motion: bool = False
    published: bool = False  # remember the figures as those that viewers are given

    def out_of(self, folder: Path) -> Path:
        """Return where the outputs of a session go. Raises InputError if the session's own out/ is a link: whoever made
        the session would choose what is overwritten elsewhere.
        """
        if self.out is None and (folder / "out").is_symlink():
            raise InputError(Fault("out", 0, "is a link; take it away, or name the folder that it leads to with --out"))
        return self.out or folder / "out"
