"""Session folders to what is in their out/: everything is made before the first file is moved in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from reviewkit.cache import Cache
from reviewkit.digests import digest_of, file_digest
from reviewkit.last_build import LastBuild, read_last_build, write_last_build
from reviewkit.options import Options
from reviewkit.pipeline import Composed, run
from reviewkit.pool import Pool
from reviewkit.published import FILE_NAME
from reviewkit.render.clip import Motion
from reviewkit.render.deliver import Incoming, alone, deliver
from reviewkit.render.ffmpeg import encoder_digest
from reviewkit.whole_files import write_whole

Progress = Callable[[str, int, int], None]  # is given what is counted, how many are done, of how many


@dataclass(frozen=True, eq=False)
class Made:
    """A build whose outputs are all made and not moved in yet. `files`: by their path in `out`; those that are paths
    are moved. `published`: the new content of published.json, if it is to be written.
    """

    folder: Path
    out: Path
    files: Mapping[str, bytes | Path]
    digests: Mapping[str, str]
    inputs: Mapping[str, str]
    summary: tuple[str, ...]
    published: bytes | None
    composed: Composed | None


@dataclass(frozen=True)
class Built:
    """What a build did. `files`: every output with its digest; `new`: how many of them are not as they were."""

    out: Path
    files: Mapping[str, str]
    new: int
    removed: tuple[str, ...]
    summary: tuple[str, ...]


def build(
    folders: Sequence[Path],
    options: Options,
    pool: Pool,
    cache: Cache,
    ffmpeg: str = "",
    progress: Progress = lambda what, done, of: None,
) -> list[Built]:
    """Build sessions: one that is wrong leaves all of them as they were. One session is shared among the processes
    card by card; several are built side by side. `ffmpeg`: the encoder, if clips are wanted.
    """
    encoder = encoder_digest(ffmpeg) if ffmpeg else ""
    with ExitStack() as cleared:
        waiting = [Incoming(options.out_of(folder), cleared.callback) for folder in folders if ffmpeg or folders[1:]]
        if len(folders) == 1:
            motion = Motion(Fraction(1), 1.0, ffmpeg, waiting[0].path, encoder) if ffmpeg else None
            made = [make(folders[0], options, pool, cache, motion, lambda done, of: progress("cards", done, of))]
        else:
            calls = [
                (folder, options, cache, ffmpeg, encoder, incoming)
                for folder, incoming in zip(folders, waiting, strict=True)
            ]
            made = pool.run(_make_apart, calls, lambda done: progress("sessions", done, len(calls)), least=2)
        built = [hand_over(each, options, encoder, cache) for each in made]
    cache.trim()
    return built


def make(
    folder: Path,
    options: Options,
    pool: Pool,
    cache: Cache,
    motion: Motion | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Made:
    """Return everything that a build writes, with nothing moved in yet."""
    out = options.out_of(folder)
    last = read_last_build(folder, options, motion.encoder, cache) if motion else None
    outputs = run(folder, options, pool, cache, motion, last.files(out) if last else {}, progress)
    digests = {
        name: digest_of(content) if isinstance(content, bytes) else file_digest(content)
        for name, content in outputs.files.items()
    }
    inputs = outputs.composed.files.digests
    return Made(folder, out, outputs.files, digests, inputs, outputs.summary, outputs.published, outputs.composed)


def _make_apart(
    folder: Path, options: Options, cache: Cache, ffmpeg: str, encoder: str, incoming: Incoming
) -> Made:
    """`make` for another process: the files are written there, and where they are is returned."""
    motion = Motion(Fraction(1), 1.0, ffmpeg, incoming.path, encoder) if ffmpeg else None
    with Pool(1) as pool:
        made = make(folder, options, pool, cache, motion)
    return replace(made, files=incoming.put(made.files), composed=None)


def hand_over(made: Made, options: Options, encoder: str, cache: Cache) -> Built:
    """Move what was made into its folder; a file that is there already stays as it is."""
    whole = not options.only
    with alone(made.out):
        there = {name for name, digest in made.digests.items() if _is_there(made.out / name, digest)}
        removed = deliver(made.out, made.files, partial=not whole, there=there)
    if made.published is not None:
        write_whole(made.folder / FILE_NAME, made.published)
    if whole:
        write_last_build(made.folder, options, encoder, LastBuild(made.inputs, made.digests, made.summary), cache)
    return Built(made.out, made.digests, len(made.digests) - len(there), tuple(removed), made.summary)


def _is_there(path: Path, digest: str) -> bool:
    return not path.is_symlink() and file_digest(path) == digest
