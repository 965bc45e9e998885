"""The options of a build."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.model.card_files import SHAPES
from reviewkit.model.errors import Fault, InputError
from reviewkit.model.path_checks import is_within

if TYPE_CHECKING:
    from reviewkit.model.session import EpisodeSettings


@dataclass(frozen=True)
class Options:
    """The options of the command line."""

    out: Path | None = None  # default: out/ in the session folder
    width: int = 1920  # of a wide card
    shapes: tuple[str, ...] = ()  # default: those of [episode] shapes
    only: str = ""
    overlay: bool = False
    motion: bool = False
    published: bool = False  # record the figures as those that viewers were given
    adopt: bool = False  # replace files that no build made
    studio: bool = True  # use the studio.toml above the session

    def shapes_of(self, settings: EpisodeSettings) -> tuple[str, ...]:
        """Return the shapes of a session's cards, the first of which the contact sheet and the timeline show."""
        wanted = self.shapes or settings.shapes
        return tuple(shape for shape in SHAPES if shape in wanted)

    def out_of(self, folder: Path) -> Path:
        """Return where the outputs of a session go.

        Raises
        ------
        InputError
            If the session's own out/ is a link, since whoever made the session would choose which other files are
            overwritten; and if outputs would be read as templates.
        """
        if self.out is None and (folder / "out").is_symlink():
            raise InputError(Fault("out", 0, "is a link; remove it, or name the folder that it leads to with --out"))
        if self.out is not None and is_within(self.out, folder / "templates"):
            remedy = "outputs there would be read as templates; choose another folder"
            raise InputError(Fault("--out", 0, f"{self.out} is in the session's templates/; {remedy}"))
        return self.out or folder / "out"
