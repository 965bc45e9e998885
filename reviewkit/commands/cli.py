"""The command line: the only module that prints or exits. Nothing heavy is imported before a command needs it."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from reviewkit.commands.argument_parser import make_parser
from reviewkit.commands.encodings import print_anywhere
from reviewkit.model.errors import CannotFinish, Fault, InputError, listed, printable

if TYPE_CHECKING:
    from pathlib import Path

    from reviewkit.build.cache import Cache
    from reviewkit.build.options import Options
    from reviewkit.commands.desk.live_session import Rebuilt
    from reviewkit.render.footage.ffmpeg import Encoder

DONE, UNFINISHED, WRONG_INPUT = 0, 1, 2


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status."""
    print_anywhere()
    try:
        options = make_parser().parse_args(arguments)
    except SystemExit as stop:  # argparse has printed the error, or the help
        return int(stop.code or 0)
    try:
        return _COMMANDS[options.command](options) or DONE
    except InputError as error:
        for line in listed(error.faults):
            print(line, file=sys.stderr)
        print("nothing was written", file=sys.stderr)
        return WRONG_INPUT
    except CannotFinish as error:
        print(f"reviewkit: could not finish: {error}", file=sys.stderr)
        return UNFINISHED
    except BrokenPipeError:
        # whoever read our output has enough; keep the interpreter from complaining at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        if options.command in ("desk", "watch"):  # the normal way to end it
            print()
            return DONE
        print("reviewkit: stopped; what was in out/ is still there", file=sys.stderr)
        return UNFINISHED


def _new(options: argparse.Namespace) -> None:
    from reviewkit.commands.new import make_session
    from reviewkit.ingest.session.studio import read_studio

    studio = read_studio(options.folder)
    if studio.note:
        print(printable(studio.note))
    unit = {key: getattr(options, key) for key in ("maker", "model", "year", "type")}
    if studio.document and sys.stdin.isatty() and sys.stdout.isatty():
        with contextlib.suppress(EOFError):
            for key in ("maker", "model", "year"):
                unit[key] = unit[key] or input(f"{key}: ").strip() or None
    if unit["year"] and unit["year"].isdecimal():
        unit["year"] = int(unit["year"])
    for name in make_session(options.folder, studio, unit, options.like):
        print(options.folder / name)
    print(f"next: fill in {options.folder / 'session.toml'}, then: reviewkit plan {options.folder}")


def _add(options: argparse.Namespace) -> None:
    from reviewkit.build.cache import open_cache
    from reviewkit.commands.add import add_files, show_added

    def ask(question: str) -> str:
        print("\n".join(map(printable, question.split("\n")[:-1])))
        try:
            return input(question.rpartition("\n")[2])
        except EOFError:
            return "-"

    asking = not options.yes and sys.stdin.isatty() and sys.stdout.isatty()
    added = add_files(
        options.session, options.file, open_cache(), ask if asking else None, in_studio=not options.no_studio
    )
    print("\n".join(map(printable, show_added(added))))
    print(f"next: reviewkit check {options.session}")


def _read(options: argparse.Namespace) -> None:
    from reviewkit.commands.read import read_files, show_read

    read = read_files(options.file)
    if options.json:
        in_full = (sys.stdout.encoding or "utf-8").lower().replace("-", "") == "utf8"
        print(json.dumps(read.as_json(), ensure_ascii=not in_full, allow_nan=False))
    else:
        print("\n".join(map(printable, show_read(read))))


def _plan(options: argparse.Namespace) -> None:
    from reviewkit.build.cache import open_cache
    from reviewkit.build.options import Options
    from reviewkit.build.pipeline import plan
    from reviewkit.build.write_outputs import write_outputs
    from reviewkit.commands.plan_table import format_table, format_text

    out = Options().out_of(options.session)
    words, files, inputs = plan(options.session, open_cache(), in_studio=not options.no_studio)
    write_outputs(out, files, partial=True, inputs=inputs, adopt=options.adopt)
    text = format_table(words, shutil.get_terminal_size().columns) if sys.stdout.isatty() else format_text(words)
    print(f"{text}\nall of it, with boxes to tick: {out / 'plan.md'}, {out / 'plan.html'}")


def _check(options: argparse.Namespace) -> None:
    if options.explain:
        from reviewkit.commands.explain import explain

        explained = explain(options.session, options.explain, in_studio=not options.no_studio)
        print("\n".join(map(printable, explained)))
        return
    from reviewkit.build.cache import open_cache
    from reviewkit.build.options import Options
    from reviewkit.build.pipeline import check
    from reviewkit.model.recognised import in_words, lines_to_paste
    from reviewkit.render.pages.text_outputs import left_out

    episode = check(options.session, open_cache(), Options(studio=not options.no_studio))
    figures, cards = _count(len(episode.findings), "figure"), _count(len(episode.cards), "card")
    print(f"{options.session}: nothing wrong; {figures}, {cards}")
    for each in episode.recognised:
        if not each.question:
            print(printable(f"  {each.file}: {in_words(each.table)} ({each.why})"))
    for line in left_out(episode):
        print(f"  {line}")
    for each in episode.recognised:
        if each.question and (lines := lines_to_paste(each.file, each.choices)):
            print("\n".join(map(printable, ("", *lines))))


def _build(options: argparse.Namespace) -> int:
    if options.out is not None and len(options.session) > 1:
        print("reviewkit: --out takes one session; leave it out to fill each session's own out/", file=sys.stderr)
        return WRONG_INPUT
    if options.published and options.only:
        print("reviewkit: --published remembers a whole build; leave out --only", file=sys.stderr)
        return WRONG_INPUT
    from reviewkit.build.cache import Cache, open_cache
    from reviewkit.build.last_build import read_last_build
    from reviewkit.build.options import Options
    from reviewkit.render.footage.ffmpeg import find_encoder

    width = 3840 if options.size == "2160" else 1920
    wanted = Options(
        out=options.out,
        width=width,
        shapes=tuple(sorted(set(options.shape))),
        only=options.only,
        overlay=options.overlay,
        motion=options.motion,
        published=options.published,
        adopt=options.adopt,
        studio=not options.no_studio,
    )
    cache = Cache() if options.no_cache else open_cache()
    encoder = find_encoder() if options.motion else None
    changed, known = [], True
    for folder in dict.fromkeys(options.session):
        out = wanted.out_of(folder)
        last = read_last_build(folder, wanted, encoder.digest if encoder else "", cache) if out.is_dir() else None
        if last is None or not last.is_current(folder, out):
            changed.append(folder)
            known = last is not None
        elif not options.quiet and sys.stdout.isatty():
            lines = [f"{out}: nothing has changed since the last build", *(f"  {line}" for line in last.summary)]
            print("\n".join(lines))
    if changed:
        _build_sessions(changed, wanted, cache, encoder, options, known=known)
    return DONE


def _build_sessions(
    folders: Sequence[Path],
    wanted: Options,
    cache: Cache,
    encoder: Encoder | None,
    options: argparse.Namespace,
    *,
    known: bool,
) -> None:
    """Build sessions; `known`: the last build is known, so little is left to do."""
    from reviewkit.build.pool import FOR_ONE_SESSION, FOR_SESSIONS, Pool, paying

    with (
        Pool(options.jobs or paying(len(folders))) as pool,
        _progress(quiet=options.quiet, lines=options.progress) as show,
    ):
        if not known and not wanted.only:
            # the others import while this process does, so they are started first
            pool.load(FOR_SESSIONS if len(folders) > 1 else FOR_ONE_SESSION)
        from reviewkit.build.build import build_all

        built = build_all(folders, wanted, pool, cache, encoder, show)
    if not options.quiet and sys.stdout.isatty():
        for each in built:
            some = f"{each.new} of " if each.new < len(each.files) else ""
            removed = f", {len(each.removed)} removed" if each.removed else ""
            print(f"{each.out}: {some}{_count(len(each.files), 'file')} written{removed}")
            print("\n".join(f"  {line}" for line in each.summary))


def _desk(options: argparse.Namespace) -> None:
    from reviewkit.build.cache import Cache, open_cache
    from reviewkit.build.pool import Pool, paying

    try:
        from reviewkit.commands.desk.desk import open_desk
    except ImportError as error:
        library = (error.name or "").partition(".")[0]
        if library not in ("starlette", "uvicorn", "watchfiles"):
            raise
        missing = Fault(f"{options.command} needs the library {library}", 0, "pip install 'bench-reviewkit[desk]'")
        raise InputError(missing) from None

    def opened(url: str) -> None:
        print(f"{options.session}: the page is {url} (Ctrl-C ends)", flush=True)

    def report(rebuilt: Rebuilt) -> None:
        what = f"{_count(rebuilt.files, 'file')} new, cards: {', '.join(rebuilt.cards) or 'none'}"
        if rebuilt.faults:
            more = f" (and {len(rebuilt.faults) - 1} more, on the page)" if len(rebuilt.faults) > 1 else ""
            what = f"{rebuilt.faults[0]}{more}"
        print(f"{rebuilt.seconds:.2f} s {what}", flush=True)

    cache = Cache() if options.no_cache else open_cache()
    with Pool(paying()) as pool:
        how = {"editing": options.command == "desk", "in_studio": not options.no_studio}
        open_desk(options.session, pool, cache, options.port, **how, opened=opened, report=report)


def _cache(options: argparse.Namespace) -> None:
    from reviewkit.build.cache import cache_folder, clear_cache

    print(f"{clear_cache()}: cleared" if options.clear else cache_folder())


def _help(options: argparse.Namespace) -> None:
    from reviewkit.commands.help_pages import format_index, read_page, render_page

    text = read_page(options.topic) if options.topic else format_index()
    if options.topic and sys.stdout.isatty():
        text = render_page(text, shutil.get_terminal_size().columns)
    print(text.rstrip())


_COMMANDS: dict[str, Callable[[argparse.Namespace], int | None]] = {
    "new": _new,
    "add": _add,
    "read": _read,
    "plan": _plan,
    "check": _check,
    "build": _build,
    "desk": _desk,
    "watch": _desk,
    "cache": _cache,
    "help": _help,
}


@contextlib.contextmanager
def _progress(*, quiet: bool, lines: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Yield what shows that so many steps of so many are done: a progress bar on a terminal; in a pipe or file nothing,
    or a line for each step.
    """
    if lines:
        import signal

        # who reads them stops the build as Ctrl-C does, which a program started in the background would ignore
        signal.signal(signal.SIGINT, signal.default_int_handler)
        yield lambda what, done, of: print(f"{what} {done} of {of}", file=sys.stderr, flush=True)
    elif quiet or not sys.stderr.isatty():
        yield lambda what, done, of: None
    else:
        from rich.console import Console
        from rich.progress import Progress

        with Progress(console=Console(stderr=True), transient=True) as progress:

            def show(what: str, done: int, of: int) -> None:
                task = progress.tasks[0].id if progress.tasks else progress.add_task(what, total=of)
                progress.update(task, completed=done)

            yield show


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
