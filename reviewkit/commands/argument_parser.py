"""The command line's arguments and help texts."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from reviewkit import __version__
from reviewkit.model.card_files import SHAPES
from reviewkit.model.gear import TYPES

_ABOUT = """From a folder of bench measurements to an episode kit: cards, a rated-and-measured table, an outline to
speak from, a description, chapters and a page. One folder in, one command, everything in its out/."""
_START = """first steps:
  reviewkit new my-session          a session folder, every file explained by comments
  reviewkit plan my-session         what to measure, from what the maker printed
  reviewkit add my-session FILE…    exports copied in, what isn't clear asked
  reviewkit read export.csv         how a measurement file is understood
  reviewkit check my-session        everything wrong or missing, nothing written
  reviewkit build my-session        everything into my-session/out/
  reviewkit desk my-session         the whole evening on a page: files, notes, cards, build
  reviewkit watch my-session        that page without editing, rebuilt on every save
  reviewkit help                    pages about every key, kind, rating and output

exit status: 0 done (a rating that is not met is news, not an error); 2 the input or the command line is wrong and
nothing was written; 1 it could not finish (disk full, folder not writable)."""

_ADOPT = "take over files in the way of {}: replace them, even if they are yours. Never a file that the session reads"


def make_parser() -> argparse.ArgumentParser:
    """Create the parser of the command line, which checks arguments as far as it can without reading a file."""
    raw = argparse.RawDescriptionHelpFormatter
    whole = argparse.ArgumentParser(prog="reviewkit", description=_ABOUT, epilog=_START, formatter_class=raw)
    whole.add_argument("--version", action="version", version=f"reviewkit {__version__}")
    commands = whole.add_subparsers(dest="command", required=True, metavar="command", title="commands")
    command = partial(commands.add_parser, formatter_class=raw)

    new = command(
        "new",
        help="a session folder with every file explained by comments",
        description="Make a session folder to fill in. It builds as it is; an existing folder is left alone. Below a\n"
        "studio.toml it asks for the unit, and repeats nothing that the studio says.",
    )
    new.add_argument("folder", metavar="FOLDER", type=_path, help="where; must not exist yet, or be empty")
    new.add_argument("--maker", metavar="NAME", help="the unit's maker; in a studio, asked for on a terminal")
    new.add_argument("--model", metavar="NAME", help="the unit's model; asked for in the same way")
    new.add_argument("--year", metavar="YEAR", help="the year it was made; asked for in the same way")
    new.add_argument(
        "--type",
        metavar="TYPE",
        choices=TYPES,
        help=f"what the unit is, with examples of that gear: {', '.join(TYPES)}",
    )
    new.add_argument(
        "--like", metavar="SESSION", type=_path, help="plan the same measurements again that this session lists"
    )

    add = command(
        "add",
        help="copy exports into a session, and ask what they don't show",
        description="Copy files into measurements/, say what each was recognised as, and why. On a terminal, ask\n"
        "about what isn't clear; the answers become [[measurement]] tables in session.toml. Nothing is replaced.",
    )
    add.add_argument("session", metavar="SESSION", type=_path, help="the session folder; it holds session.toml")
    add.add_argument(
        "file",
        metavar="FILE",
        type=_path,
        nargs="+",
        help="exports, or folders; before/, after/ and bench/ stay folders",
    )
    add.add_argument("--yes", action="store_true", help="ask nothing; what isn't clear is left out, with its question")

    read = command(
        "read",
        help="how a measurement file is understood",
        description="Say in plain words how a measurement file is understood: separator, decimal mark, columns,\n"
        "units, rows, and what was skipped. Try this first on an export that build does not accept.",
    )
    read.add_argument("file", metavar="FILE", type=_path, help="an export, or a folder: then every file in it")
    read.add_argument("--json", action="store_true", help="the columns with their values, as JSON")

    plan = command(
        "plan",
        help="what to measure for each rating, with the levels worked out; what is still missing",
        description="Work out from the ratings what to capture and under which conditions, in an order that wastes no\n"
        "set-up change, and tick what the session already holds. Prints a table; plan.md and plan.html in out/ have\n"
        "all of it with boxes to tick, what to record before anything is changed and the go/no-go readings first.",
    )
    plan.add_argument(
        "session", metavar="SESSION", type=_path, help="the session folder; it may hold no measurement yet"
    )
    plan.add_argument("--adopt", action="store_true", help=_ADOPT.format("plan.md and plan.html"))

    check = command(
        "check",
        help="everything wrong or missing, without building",
        description="Read and compute everything, write nothing. Lists every fault with file, line and remedy,\n"
        "then what is absent and which outputs that leaves out.",
    )
    check.add_argument("session", metavar="SESSION", type=_path, help="the session folder; it holds session.toml")
    check.add_argument(
        "--explain",
        metavar="KEY",
        type=_key,
        help="say instead where the value of a key came from, by file and line: load, bench.load, measurement.window",
    )

    build = command(
        "build",
        help="everything into out/",
        description="Build a session folder: cards, table, outline, description, chapters, page and findings.json.\n"
        "Nothing is moved into out/ before all of it is ready. A file there that reviewkit did not make is never\n"
        "replaced or removed; one that it made is written again, so change templates and not outputs.",
        epilog="examples:\n  reviewkit build my-session\n  reviewkit build my-session --size 2160 --jobs 2\n"
        "  reviewkit build my-session --only response\n  reviewkit build my-session --shape wide tall",
    )
    build.add_argument(
        "session", metavar="SESSION", type=_path, nargs="+", help="session folders, each with a session.toml"
    )
    build.add_argument(
        "--out", metavar="DIR", type=_path, help="instead of out/ in the session folder (one session only)"
    )
    build.add_argument(
        "--size", choices=("1080", "2160"), default="1080", help="lines of a wide card: 1920 × 1080 or 3840 × 2160"
    )
    build.add_argument(
        "--shape",
        choices=SHAPES,
        nargs="+",
        action="extend",
        default=[],
        help="shapes of the cards, any number: wide 1920 × 1080, tall 1080 × 1920 into tall/, square 1080 × 1080 into\n"
        "square/; default: shapes in [episode], else wide",
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
        "--jobs",
        metavar="N",
        type=_jobs,
        help="work in N processes; default: as many as pay off on this machine; the bytes are the same",
    )
    build.add_argument(
        "--published",
        action="store_true",
        help="this build is the one you publish: remember its figures in published.json next to session.toml, so that\n"
        "later builds say in comment.txt what has been corrected since",
    )
    build.add_argument("--no-cache", action="store_true", help="compute and draw everything, and store nothing")
    build.add_argument("--adopt", action="store_true", help=_ADOPT.format("outputs"))
    build.add_argument(
        "--progress", action="store_true", help="a line on standard error for each step, for another program to read"
    )
    build.add_argument("--quiet", action="store_true", help="say nothing unless something is wrong")

    desk = command(
        "desk",
        help="the whole evening on a page: files, notes, test points, cards, build",
        description="Open a session on a page of this machine, for an evening without an editor: drop exports and\n"
        "answer what is unclear, paste ratings, stamp notes while you film, go through the test points, choose and\n"
        "name cards, build. What you do there is written at once into session.toml, ratings.txt, notes.txt,\n"
        "repair.csv and measurements/, and can be undone. A change that another program makes there is shown and\n"
        "never overwritten. The page can be opened from this machine alone. Ctrl-C ends.",
        epilog="examples:\n  reviewkit desk my-session",
    )
    watch = command(
        "watch",
        help="the same page without editing: rebuild out/ on every save, and see it",
        description="Build a session, then again on every save of a file in it, and show it on the desk's page, where\n"
        "nothing can be changed: the card that changed, its verdicts, what cannot be read, what the plan still lacks.\n"
        "The page can be opened from this machine alone. Ctrl-C ends.",
        epilog="examples:\n  reviewkit watch my-session",
    )
    for page in (desk, watch):
        page.add_argument("session", metavar="SESSION", type=_path, help="the session folder; it holds session.toml")
        page.add_argument("--no-cache", action="store_true", help="compute and draw everything on every save")
        page.add_argument(
            "--port", metavar="N", type=_port, default=0, help="where the page is; default: any free port"
        )

    cache = command(
        "cache",
        help="where results are kept for the next build; --clear removes them",
        description="Measured files and drawn cards are kept in your cache folder, so that the next build is quick.\n"
        "Deleting them changes no output. The variable REVIEWKIT_CACHE names another folder.",
    )
    cache.add_argument("--clear", action="store_true", help="remove everything that reviewkit keeps there")

    pages = command(
        "help",
        help="the help pages: every key, kind, rating, output and caution",
        description="Print one help page, or list them all with what each is for. The pages are Markdown:\n"
        "formatted on a terminal, printed as they are otherwise.",
        epilog="examples:\n  reviewkit help\n  reviewkit help session",
    )
    pages.add_argument("topic", metavar="TOPIC", type=_topic, nargs="?", help="the page's name; default: list them")
    for each in (add, plan, check, build, desk, watch):
        each.add_argument("--no-studio", action="store_true", help="ignore the studio.toml above the session")
    return whole


def _path(text: str) -> Path:
    if not text:
        raise argparse.ArgumentTypeError('"" names nothing; write a path, or . for the current folder')
    return Path(text)


def _key(text: str) -> str:
    from reviewkit.commands.explain import check_key

    return check_key(text)


def _topic(text: str) -> str:
    from reviewkit.commands.help_pages import check_topic

    return check_topic(text)


def _whole_number(most: int, otherwise: str, text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= most:
        raise argparse.ArgumentTypeError(f'"{text}" {otherwise}')
    return int(text)


_jobs = partial(_whole_number, 64, "is not a number of processes; write 1 to 64")
_port = partial(_whole_number, 65535, "is not a port; write 1024 to 65535, or leave --port out")
