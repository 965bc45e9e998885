"""The whole run: read and measure here, then compose, draw and write. Start reading here.

What composes and draws is imported while other processes measure, for importing it takes as long as measuring.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.build.cache import NO_CACHE, Cache
from reviewkit.build.measuring import measure
from reviewkit.build.options import Options
from reviewkit.build.pool import ALONE, Pool
from reviewkit.build.session_files import read
from reviewkit.model import places
from reviewkit.model.episode import Episode

if TYPE_CHECKING:
    from reviewkit.build.composing import Composed
    from reviewkit.build.outputs import Clips, Outputs, Progress
    from reviewkit.render.pages.page import Pages
    from reviewkit.render.pages.plan_words import PlanWords


def run(
    folder: Path,
    options: Options,
    pool: Pool = ALONE,
    cache: Cache = NO_CACHE,
    clips: Clips | None = None,
    progress: Progress = lambda done, of: None,
) -> Outputs:
    """Return everything that a build of a session makes. `clips`: how these are made, if they are wanted.

    Raises
    ------
    InputError
        With everything that is wrong in the session.
    CannotFinish
        If the run can't be completed.
    """
    files = read(folder, pool, cache, in_studio=options.studio)
    pages = _pages(folder, cache)

    def get_ready() -> None:
        import_module("reviewkit.build.outputs")
        pages.compile_titles(m.kind for m in files.session.measurements)

    files, measured = measure(files, pool, cache, get_ready)
    from reviewkit.build.outputs import make_outputs

    return make_outputs(files, measured, options, pages, pool, cache, clips, progress)


def prepare(folder: Path, cache: Cache = NO_CACHE, options: Options | None = None) -> Composed:
    """Return everything up to the drawing.

    Raises
    ------
    InputError
        With all that is wrong in the session.
    """
    from reviewkit.build.composing import compose

    options = options or Options()
    files, measured = measure(read(folder, ALONE, cache, in_studio=options.studio), ALONE, cache)
    return compose(files, measured, options, _pages(folder, cache))


def check(folder: Path, cache: Cache = NO_CACHE, options: Options | None = None) -> Episode:
    """Return the episode as far as the drawing; what is missing is in `left_out`.

    Raises
    ------
    InputError
        As `prepare` does.
    """
    return prepare(folder, cache, options).episode


def plan(
    folder: Path, cache: Cache = NO_CACHE, *, in_studio: bool = True
) -> tuple[PlanWords, dict[str, bytes], tuple[Path, ...]]:
    """Return what to measure, in words and as files; and which files were read for it.

    Raises
    ------
    InputError
        With all that is wrong in the files it reads.
    """
    from reviewkit.build.composing import judge_results, word_plan
    from reviewkit.render.pages.plan_page import render_plan

    files, measured = measure(read(folder, ALONE, cache, for_plan=True, in_studio=in_studio), ALONE, cache)
    pages = _pages(folder, cache)
    words = word_plan(judge_results(files, measured), pages)
    return words, render_plan(words, pages), tuple(folder / name for name in files.digests)


def _pages(folder: Path, cache: Cache) -> Pages:
    """Return the templates of a session: its own, and those that come with the program."""
    from reviewkit.render.pages.page import Pages

    return Pages(folder / "templates", places.templates(), cache.template_folder())
