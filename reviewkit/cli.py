"""The command line: the only file that prints or exits. Nothing heavy is imported before a command needs it."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit import __version__
from reviewkit.errors import CannotFinish, InputError, listed

if TYPE_CHECKING:
    from reviewkit.model import Episode, Sheet
    from reviewkit.pipeline import Built

DONE, UNFINISHED, WRONG_INPUT = 0, 1, 2

_ABOUT = """From a folder of bench measurements to an episode kit: cards, a rated-and-measured table, an outline to
speak from, a description, chapters and a page. One folder in, one command, everything in its out/."""
_START = """first steps:
  reviewkit new my-session          a session folder, every file explained by comments
  reviewkit plan my-session         what to measure, from what the maker printed
  reviewkit read export.csv         how a measurement file is understood
  reviewkit check my-session        everything wrong or missing, nothing written
  reviewkit build my-session        everything into my-session/out/

exit status: 0 done (a rating that is not met is news, not an error); 2 the input or the command line is wrong and
nothing was written; 1 it could not finish (disk full, folder not writable)."""


def _parser() -> argparse.ArgumentParser:
    raw = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(prog="reviewkit", description=_ABOUT, epilog=_START, formatter_class=raw)
    parser.add_argument("--version", action="version", version=f"reviewkit {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="command", title="commands")

    new = commands.add_parser(
        "new",
        help="a session folder with every file explained by comments",
        formatter_class=raw,
        description="Make a session folder to fill in. It builds as it is; an existing folder is left alone.",
    )
    new.add_argument("folder", metavar="FOLDER", type=Path, help="where; must not exist yet, or be empty")

    read = commands.add_parser(
        "read",
        help="how a measurement file is understood",
        formatter_class=raw,
        description="Say in plain words how a measurement file is understood: separator, decimal mark, columns,\n"
        "units, rows, and what was skipped. Try this first on an export that build does not accept.",
    )
    read.add_argument("file", metavar="FILE", type=Path, help="an export: delimited text of any common layout")
    read.add_argument("--json", action="store_true", help="the columns with their values, as JSON")

    plan = commands.add_parser(
        "plan",
        help="what to measure for each rating, with the levels worked out; what is still missing",
        formatter_class=raw,
        description="Work out from [[rated]] what to capture and under which conditions, in an order that wastes no\n"
        "set-up change, and tick what the session already holds. Prints a table; plan.md and plan.html in out/ have\n"
        "all of it with boxes to tick, what to record before anything is changed and the go/no-go readings first.",
    )
    plan.add_argument(
        "session", metavar="SESSION", type=Path, help="the session folder; it may hold no measurement yet"
    )

    check = commands.add_parser(
        "check",
        help="everything wrong or missing, without building",
        formatter_class=raw,
        description="Read and compute everything, write nothing. Lists every fault with file, line and remedy,\n"
        "then what is absent and which outputs that leaves out.",
    )
    check.add_argument("session", metavar="SESSION", type=Path, help="the session folder; it holds session.toml")

    build = commands.add_parser(
        "build",
        help="everything into out/",
        formatter_class=raw,
        description="Build a session folder: cards, table, outline, description, chapters, page and findings.json.\n"
        "Nothing is moved into out/ before all of it is ready; files of yours in out/ are left alone.",
        epilog="examples:\n  reviewkit build my-session\n  reviewkit build my-session --size 2160 --jobs 2\n"
        "  reviewkit build my-session --only response",
    )
    build.add_argument(
        "session", metavar="SESSION", type=Path, nargs="+", help="session folders, each with a session.toml"
    )
    build.add_argument(
        "--out", metavar="DIR", type=Path, help="instead of out/ in the session folder (one session only)"
    )
    build.add_argument(
        "--size", choices=("1080", "2160"), default="1080", help="lines of a card: 1920 × 1080 or 3840 × 2160"
    )
    build.add_argument("--only", metavar="ID", default="", help="redraw this one card and nothing else")
    build.add_argument(
        "--overlay",
        action="store_true",
        help="each card once more for laying over footage: no ground, straight alpha, a soft plate",
    )
    build.add_argument(
        "--motion",
        action="store_true",
        help="a clip of each chart, its curves drawn from left to right (H.264); with --overlay one with alpha too",
    )
    build.add_argument(
        "--jobs", metavar="N", type=_jobs, default=1, help="draw cards in N processes; the bytes are the same"
    )
    build.add_argument(
        "--published",
        action="store_true",
        help="this build is the one you publish: remember its figures in published.json beside session.toml, so that\n"
        "later builds say in comment.txt what has been corrected since",
    )
    build.add_argument("--quiet", action="store_true", help="say nothing unless something is wrong")
    return parser


def _jobs(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 64:
        raise argparse.ArgumentTypeError(f'"{text}" is no number of processes; write 1 to 64')
    return int(text)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status."""
    try:
        options = _parser().parse_args(arguments)
    except SystemExit as stop:  # argparse has said what is wrong, or shown the help asked for
        return int(stop.code or 0)
    try:
        return int(
            {"new": _new, "read": _read, "plan": _plan, "check": _check, "build": _build}[options.command](options)
        )
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
        print("reviewkit: stopped; what was in out/ is still there", file=sys.stderr)
        return UNFINISHED


def _new(options: argparse.Namespace) -> int:
    from reviewkit.scaffold import new_session

    for name in new_session(options.folder):
        print(options.folder / name)
    print(f"next: fill in {options.folder / 'session.toml'}, then: reviewkit check {options.folder}")
    return DONE


def _read(options: argparse.Namespace) -> int:
    from reviewkit.ingest.any_file import read_any
    from reviewkit.ingest.sheet_file import as_json

    sheet = read_any(options.file, options.file.name)
    if options.json:
        print(json.dumps(as_json(sheet), ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(_in_words(sheet)))
    return DONE


def _in_words(sheet: Sheet) -> list[str]:
    separators = {",": "comma", ";": "semicolon", "\t": "tab", " ": "spaces"}
    marks = {".": "point", ",": "comma"}
    separator = separators.get(sheet.separator, sheet.separator)
    text = f", separated by {separator}, decimal {marks.get(sheet.decimal, sheet.decimal)}" if separator else ""
    lines = [f"{sheet.source}: {_counted(sheet.rows, 'row')}, {sheet.encoding}{text}"]
    lines += [f"  {sentence}" for sentence in sheet.laid_out]
    for column in sheet.columns:
        low, high = float(column.values.min()), float(column.values.max())
        channel = f" {column.channel}" if column.channel else ""
        lines.append(f'  {column.role}{channel} in {column.unit}, from "{column.header}": {low:.6g} to {high:.6g}')
    for reading in sheet.readings:
        at = ", ".join(
            f"{key} {entry:g}" if isinstance(entry, float) else f"{key} {entry}" for key, entry in reading.at.items()
        )
        channel = f" {reading.channel}" if reading.channel else ""
        name = reading.name.replace("_", " ")
        lines.append(f"  {name}{channel}: {reading.value:.6g} {reading.unit}".rstrip() + (f" ({at})" if at else ""))
    lines += [f"  line {skipped.line} skipped: {skipped.why}" for skipped in sheet.skipped]
    lines += [f"  {warning}" for warning in sheet.warnings]
    return lines


def _plan(options: argparse.Namespace) -> int:
    from reviewkit.pipeline import plan
    from reviewkit.plan_table import as_table, as_text

    words, out = plan(options.session)
    text = as_table(words, shutil.get_terminal_size().columns) if sys.stdout.isatty() else as_text(words)
    print(f"{text}\nall of it, with boxes to tick: {out / 'plan.md'}, {out / 'plan.html'}")
    return DONE


def _check(options: argparse.Namespace) -> int:
    from reviewkit.pipeline import check

    episode = check(options.session)
    figures, cards = _counted(len(episode.findings), "figure"), _counted(len(episode.cards), "card")
    print(f"{options.session}: nothing wrong; {figures}, {cards}")
    for line in _left_out(episode):
        print(f"  {line}")
    return DONE


def _build(options: argparse.Namespace) -> int:
    from reviewkit.render.workers import Workers

    if options.out is not None and len(options.session) > 1:
        print("reviewkit: --out takes one session; leave it out to fill each session's own out/", file=sys.stderr)
        return WRONG_INPUT
    if options.published and options.only:
        print("reviewkit: --published remembers a whole build; leave out --only", file=sys.stderr)
        return WRONG_INPUT
    ready = []
    # begun first: they import what drawing needs while this process imports what reading and measuring need; one card
    # is sooner drawn than another process is begun
    with Workers(0 if options.only else options.jobs - 1) as workers:
        from reviewkit.pipeline import Options, hand_over, make

        width = 3840 if options.size == "2160" else 1920
        wanted = Options(options.out, width, options.only, options.overlay, options.motion, options.published)
        for folder in options.session:
            with _Bar(quiet=options.quiet) as bar:
                ready.append(make(folder, wanted, bar.show, workers))
    # only now: one session that is wrong leaves all of them as they were
    for made in ready:
        built = hand_over(made)
        if not options.quiet and sys.stdout.isatty():
            print("\n".join(_summary(built)))
    return DONE


class _Bar:
    """A progress bar on a terminal, nothing elsewhere."""

    def __init__(self, *, quiet: bool) -> None:
        self._progress = None
        if not quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress

            self._progress = Progress(console=Console(stderr=True), transient=True)

    def __enter__(self) -> _Bar:
        if self._progress:
            self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._progress:
            self._progress.stop()

    def show(self, what: str, done: int, of: int) -> None:
        """One step further."""
        if self._progress:
            if not self._progress.tasks:
                self._progress.add_task(what, total=of)
            self._progress.update(self._progress.tasks[0].id, completed=done)


def _summary(built: Built) -> list[str]:
    episode = built.episode
    lines = [
        f"{built.out}: {_counted(len(built.files), 'file')} written"
        + (f", {len(built.removed)} removed" if built.removed else "")
    ]
    if episode.verdicts:
        for word in dict.fromkeys(v.verdict for v in episode.verdicts):
            labels = [v.label for v in episode.verdicts if v.verdict == word]
            lines.append(f"  {word}: {'; '.join(labels)}")
    return lines + [f"  {line}" for line in _left_out(episode)]


def _left_out(episode: Episode) -> list[str]:
    from reviewkit.render.outputs import chapters_left_out

    return [line for line in (*episode.left_out, chapters_left_out(episode)) if line]


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
