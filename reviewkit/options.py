"""What a build is asked for."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reviewkit.errors import Fault, InputError
from reviewkit.inside import is_within
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
    adopt: bool = False  # replace files in the way that no build made

    def out_of(self, folder: Path) -> Path:
        """Where the outputs of a session go. Raises InputError where the session's own place for them is a link: who
        made the session would choose what is written over elsewhere; and where they would be read as its templates.
        """
        if self.out is None and (folder / "out").is_symlink():
            raise InputError(Fault("out", 0, "is a link; take it away, or name the folder that it leads to with --out"))
        if self.out is not None and is_within(self.out, folder / "templates"):
            remedy = "outputs there would be read as templates; choose another folder"
            raise InputError(Fault("--out", 0, f"{self.out} is in the session's templates/; {remedy}"))
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
