"""From session folders to their out/: everything is ready before the first file is moved in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.build.atomic_files import write_whole
from reviewkit.build.cache import NO_CACHE, Cache
from reviewkit.build.last_build import LastBuild, read_last_build, write_last_build
from reviewkit.build.options import Options
from reviewkit.build.own_files import refuse_to_replace
from reviewkit.build.pipeline import run
from reviewkit.build.pool import ALONE, Pool
from reviewkit.build.write_outputs import Incoming, alone, write_outputs
from reviewkit.model.digests import digest_of, file_digest
from reviewkit.model.published import FILE_NAME

if TYPE_CHECKING:
    from reviewkit.build.composing import Composed
    from reviewkit.render.footage.ffmpeg import Encoder

Progress = Callable[[str, int, int], None]  # called with what is counted, how many are done, of how many


@dataclass(frozen=True, eq=False)
class Pending:
    """A build whose outputs are ready but not moved in yet. `files`: by their path in `out`; those that are paths are
    moved. `published`: the new content of published.json, if it is to be written; `listed`: the files in measurements/.
    """

    folder: Path
    out: Path
    files: Mapping[str, bytes | Path]
    digests: Mapping[str, str]
    inputs: Mapping[str, str]
    summary: tuple[str, ...]
    published: bytes | None
    composed: Composed | None
    listed: tuple[str, ...] = ()

    @property
    def input_files(self) -> tuple[Path, ...]:
        """Return the files that the build read or looked for."""
        return tuple(self.folder / name for name in self.inputs)


@dataclass(frozen=True)
class Built:
    """The result of a build. `files`: every output with its digest; `new`: how many of them have changed."""

    out: Path
    files: Mapping[str, str]
    new: int
    removed: tuple[str, ...]
    summary: tuple[str, ...]


def build_all(
    folders: Sequence[Path],
    options: Options,
    pool: Pool,
    cache: Cache,
    encoder: Encoder | None,
    progress: Progress,
) -> list[Built]:
    """Build sessions: one that is wrong leaves all of them as they were. One session is shared among the processes
    card by card; several are built side by side. `encoder`: for the clips, if they are wanted.
    """
    if len(folders) == 1:
        return [build(folders[0], options, pool, cache, encoder, lambda done, of: progress("cards", done, of))]
    with ExitStack() as at_end:
        incoming = [Incoming(options.out_of(folder), at_end.callback) for folder in folders]
        calls = [(folder, options, cache, encoder, place) for folder, place in zip(folders, incoming, strict=True)]
        made = pool.begin(_make_apart, calls, least=2).results(lambda done: progress("sessions", done, len(calls)))
        for each in made:  # before the first of them is moved in
            refuse_to_replace(each.out, each.files, each.input_files, adopt=options.adopt)
        return [hand_over(each, options, cache, encoder) for each in made]


def build(
    folder: Path,
    options: Options,
    pool: Pool = ALONE,
    cache: Cache = NO_CACHE,
    encoder: Encoder | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Built:
    """Build a session folder: everything in its out/, or nothing."""
    with ExitStack() as at_end:
        incoming = Incoming(options.out_of(folder), at_end.callback) if encoder else None
        return hand_over(make(folder, options, pool, cache, encoder, incoming, progress), options, cache, encoder)


def make(
    folder: Path,
    options: Options,
    pool: Pool = ALONE,
    cache: Cache = NO_CACHE,
    encoder: Encoder | None = None,
    incoming: Incoming | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Pending:
    """Return everything that a build writes, with nothing moved in yet. Clips are put in `incoming`."""
    out, clips = options.out_of(folder), None
    if encoder and incoming:
        from reviewkit.build.outputs import Clips

        last = read_last_build(folder, options, encoder.digest, cache)
        clips = Clips(encoder, incoming.path, last.files(out) if last else {})
    outputs = run(folder, options, pool, cache, clips, progress)
    digests = {
        name: digest_of(content) if isinstance(content, bytes) else file_digest(content)
        for name, content in outputs.files.items()
    }
    inputs = outputs.composed.files.digests
    return Pending(
        folder,
        out,
        outputs.files,
        digests,
        inputs,
        outputs.summary,
        outputs.published,
        outputs.composed,
        outputs.composed.files.listed,
    )


def _make_apart(folder: Path, options: Options, cache: Cache, encoder: Encoder | None, incoming: Incoming) -> Pending:
    """Do the work of `make` in another process: write the files there, and return where they are."""
    made = make(folder, options, ALONE, cache, encoder, incoming)
    return replace(made, files=incoming.put(made.files), composed=None)


def hand_over(made: Pending, options: Options, cache: Cache = NO_CACHE, encoder: Encoder | None = None) -> Built:
    """Move the outputs of a build into its folder; a file that is there already stays as it is."""
    whole = not options.only
    with alone(made.out):
        there = {name for name, digest in made.digests.items() if _is_there(made.out / name, digest)}
        removed = write_outputs(
            made.out, made.files, partial=not whole, there=there, inputs=made.input_files, adopt=options.adopt
        )
    if made.published is not None:
        write_whole(made.folder / FILE_NAME, made.published)
    if whole:
        last = LastBuild(made.inputs, made.digests, made.summary, made.listed)
        write_last_build(made.folder, options, encoder.digest if encoder else "", last, cache)
    cache.trim()
    return Built(made.out, made.digests, len(made.digests) - len(there), tuple(removed), made.summary)


def _is_there(path: Path, digest: str) -> bool:
    return not path.is_symlink() and file_digest(path) == digest
