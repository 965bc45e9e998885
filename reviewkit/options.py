"""What a build is asked for."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import Fault, InputError
from reviewkit.stamps import stamp


@dataclass(frozen=True)
class Options:
    """What the command line asks for."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920
    only: str = ""
    overlay: bool = False
    motion: bool = False
    published: bool = False  # remember the figures as those that viewers are told

    def out_of(self, folder: Path) -> Path:
        """Where the outputs of a session go. Raises InputError where the session's own place for them is a link: who
        made the session would choose what is written over elsewhere.
        """
        if self.out is None and (folder / "out").is_symlink():
            raise InputError(Fault("out", 0, "is a link; take it away, or name the folder that it leads to with --out"))
        return self.out or folder / "out"

    def for_record(self) -> dict[str, Any]:
        """All of it that outputs hang on."""
        encoder = shutil.which("ffmpeg") if self.motion else None  # the only program that is not of this installation
        return {
            "width": self.width,
            "only": self.only,
            "overlay": self.overlay,
            "motion": self.motion,
            "published": self.published,
            "encoder": [encoder, *stamp(Path(encoder))] if encoder else [],
        }
