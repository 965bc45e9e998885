"""The commands `desk` and `watch`: a session is rebuilt on every save, and a page on this machine shows it."""

from __future__ import annotations

import gc
import json
import re
import unicodedata
from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.options import Options
from reviewkit.build.pipeline import Composed
from reviewkit.build.pool import Pool
from reviewkit.commands.desk import session_edits
from reviewkit.commands.desk.build_process import BuildProcess, open_folder
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession, Rebuilt, watch_saves
from reviewkit.commands.desk.page import TITLE_LENGTH, Evening, page_facts, same_question
from reviewkit.commands.desk.server import Conflict, LiveServer, Served
from reviewkit.episode.alt_text import heading_of
from reviewkit.ingest.session import notes_edit, ratings_edit, repair_edit
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.ingest.session.notes_edit import read_lines
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.session_paths import RATINGS, links_out
from reviewkit.model import places
from reviewkit.model.digests import digest_of, file_digest
from reviewkit.model.errors import CannotFinish, Fault, InputError
from reviewkit.model.recognised import Recognised
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.page_fonts import page_fonts

TEXTS = ("session.toml", RATINGS, "notes.txt", "repair.csv")  # what the desk writes, besides measurements/
_DROPPED_IN = "measurements"
_OUT, _PREVIEW = "out", "preview"  # in addresses
_LONGEST_TEXT = 2000  # characters of a field
_LONGEST_PASTE = 100_000
_LONGEST_NAME = 120
_FILES = ("desk.css", "desk.js")


def open_desk(
    folder: Path,
    pool: Pool,
    cache: Cache,
    port: int = 0,
    *,
    editing: bool,
    in_studio: bool = True,
    opened: Callable[[str], None],
    report: Callable[[Rebuilt], None],
    stop: Any = None,
) -> None:
    """Build a session, then again on every save, and serve its page, until Ctrl-C.

    A session with faults raises nothing: its page shows them. While it is edited, cards are drawn into a folder of the
    desk's own, and only the page's build writes out/; without editing, every save rebuilds out/.

    Parameters
    ----------
    folder : Path
        The session.
    pool : Pool
        Processes to build with.
    cache : Cache
        The cache.
    port : int
        Port of the page; 0 for any free port.
    editing : bool
        Whether the page can change the session's files.
    in_studio : bool
        Whether the studio.toml above the session counts.
    opened : callable
        Called with the page's address.
    report : callable
        Called with each `Rebuilt`.
    stop : Event, optional
        Ends it when set.

    Raises
    ------
    InputError
        If the folder isn't a session's.
    CannotFinish
        If the port or the system's file watching isn't available.
    """
    if not folder.is_dir():
        raise InputError(Fault(str(folder), 0, "there is no such folder; reviewkit new makes one"))
    if faults := links_out(folder):  # watching follows links too, however large their targets
        raise InputError(faults)
    saves = watch_saves(folder, stop)
    with ExitStack() as at_end:
        aside = Path(at_end.enter_context(TemporaryDirectory(prefix="reviewkit-desk-")))
        options = Options(out=aside / "out" if editing else None, studio=in_studio)
        session = LiveSession(folder, pool, cache, options)
        desk = Desk(session, aside, editing=editing)
        at_end.callback(desk.building.stop)
        server = at_end.enter_context(_serve(desk.served(), folder, cache, port))
        desk.changed = lambda: server.show({"build": session.number, "cards": session.latest})
        opened(server.url)
        for saved in saves:
            if saved or not session.number or session.is_studio_changed():
                desk.note_saves({Path(path) for _, path in saved})
                report(session.build({Path(path) for _, path in saved}))
                desk.changed()
            if not gc.isenabled():  # what exists by now stays, and needn't be scanned repeatedly
                gc.freeze()
                gc.enable()


def _serve(served: Served, folder: Path, cache: Cache, port: int) -> LiveServer:
    """Return a server at the session's last address, so that a page that is still open finds it again."""
    key = digest_of(f"the desk's address {folder.resolve()}".encode())
    last_port, _, token = (cache.read(key) or b"").decode().partition(" ")
    try:
        server = LiveServer(served, port or int(last_port or 0), token)
    except CannotFinish:
        if port:
            raise
        server = LiveServer(served)
    cache.write(key, f"{server.port} {server.token}".encode())
    return server


class Desk:
    """The page of a session and what can be done there.

    Attributes
    ----------
    changed
        Called whenever the page should be loaded again.
    """

    def __init__(self, session: LiveSession, aside: Path, *, editing: bool) -> None:
        self.session, self._aside, self._editing = session, aside, editing
        self.inputs = Inputs(session.folder, aside)
        self.evening = Evening()
        self.changed: Callable[[], None] = lambda: None
        self.building = BuildProcess(session.folder, lambda: self.changed(), in_studio=session.options.studio)
        self._dropped = 0

    def served(self) -> Served:
        """Return what the server answers with."""
        shipped = places.templates()
        sandboxed = f"{page_policy.static_policy(shipped)}; sandbox allow-scripts"
        folders = {_PREVIEW: (self.session.out, sandboxed), _OUT: (self.session.folder / "out", sandboxed)}
        files = {name: shipped / "desk" / name for name in _FILES} | page_fonts()
        if not self._editing:
            return Served(self.page, folders, files)
        actions = {
            "start": self._start,
            "undo": lambda words: self.inputs.undo(),
            "put-back": lambda words: self.inputs.put_back(),
            "start-clip": self._start_clip,
            "end-clip": self._end_clip,
            "stamp": self._stamp,
            "bad-take": self._bad_take,
            "note": self._note,
            "light": self._light,
            "step-done": self._step_done,
            "reading": self._reading,
            "ratings": self._ratings,
            "rating": self._rating,
            "answer": self._answer,
            "leave-out": self._leave_out,
            "hide-card": lambda words: self._hide(words, hide=True),
            "show-card": lambda words: self._hide(words, hide=False),
            "move-card": self._move,
            "title": self._title,
            "build": self._build,
            "stop-build": lambda words: self.building.stop(),
            "open-folder": lambda words: open_folder(self.session.folder / "out"),
        }
        return Served(
            self.page,
            folders,
            files,
            {name: self._answering(action) for name, action in actions.items()},
            lambda query, place: self._answering(lambda words: self._drop(words, place))(query),
            self._incoming,
        )

    def page(self, base: str) -> tuple[str, str]:
        """Return the page and its policy. It never comes from the session's own templates."""
        shipped = places.templates()
        facts = page_facts(self.session, self.inputs, self.evening, self.building, editing=self._editing)
        text = Pages(shipped, shipped, self.session.cache.template_folder()).text(
            "desk/desk.html", base=base, preview=f"{base}{_PREVIEW}/", out=f"{base}{_OUT}/", **facts
        )
        policy = (
            f"default-src 'none'; img-src {base}preview/ data:; style-src {base}desk.css; script-src {base}desk.js; "
            f"connect-src {base}; font-src {base}"
        )
        return text, policy

    def note_saves(self, saved: set[Path]) -> None:
        """Report what another program has saved."""
        root = self.session.folder.resolve()
        self.inputs.note_saves([name for name in TEXTS if root / name in saved])

    def _answering(self, action: Callable[[dict[str, Any]], Any]) -> Callable[[dict[str, Any]], dict[str, Any]]:
        def answer(words: dict[str, Any]) -> dict[str, Any]:
            with self.inputs.lock:
                result = action(words)
            self.changed()
            return result or {}

        return answer

    # -------------------------------------------------------------- the session

    def _start(self, words: dict[str, Any]) -> None:
        """Begin a session: maker, model and year."""
        maker, model, year = _text(words, "maker"), _text(words, "model"), _text(words, "year")
        if not maker or not model:
            raise InputError(Fault("session.toml", 0, "a session needs a maker and a model; write both"))
        if year and not re.fullmatch(r"\d{4}", year):
            raise InputError(Fault("session.toml", 0, f'"{year}" is not a year; write four digits, or nothing'))
        lines = [
            "[unit]",
            f"maker = {_toml_text(maker)}",
            f"model = {_toml_text(model)}",
            *([f"year = {year}"] if year else []),
        ]

        def begin(text: str) -> str:
            if text:
                raise InputError(Fault("session.toml", 0, "is there already; look at it again"))
            return "\n".join(lines) + "\n"

        self.inputs.change("the unit", "session.toml written", {"session.toml": begin})

    # -------------------------------------------------------------- notes

    def _start_clip(self, words: dict[str, Any]) -> None:
        name = _text(words, "name")
        self._change_notes("clip", f"{name} begun", lambda text: notes_edit.start_clip(text, name, self.inputs.now()))
        self.evening.light = False

    def _end_clip(self, words: dict[str, Any]) -> None:
        self._change_notes("end of clip", "Clip ended", lambda text: notes_edit.end_clip(text, self.inputs.now()))

    def _stamp(self, words: dict[str, Any]) -> dict[str, Any]:
        at, segment, said = self._moment(words), _text(words, "segment"), _text(words, "words")
        cut = words.get("cut") is True
        self._change_notes("note", "Note written", lambda text: notes_edit.add_note(text, at, segment, said, cut=cut))
        return {"heard": f"{at:%H:%M:%S}, {segment}"}

    def _bad_take(self, words: dict[str, Any]) -> None:
        """Mark the last note of the running clip as a bad take, or unmark it."""
        read = read_lines(self.inputs.text("notes.txt"))
        own = [note for note in read.notes if read.running and note.clip == read.running.name]
        if not own:
            raise InputError(Fault("notes.txt", 0, "there is no note in this clip yet; stamp one first"))
        note = own[-1]
        time = show_time(note.at_s)
        self._change_notes(
            "bad take",
            "Bad take unmarked" if note.cut else "Bad take marked",
            lambda text: notes_edit.change_note(text, note.line, time, note.segment, note.words, cut=not note.cut),
        )

    def _note(self, words: dict[str, Any]) -> None:
        """Write a note again, if it is still as the page showed it."""
        line, raw = words.get("line"), _text(words, "raw", _LONGEST_PASTE, strip=False)
        read = read_lines(self.inputs.text("notes.txt"))
        same = [note for note in read.notes if note.raw == raw]
        note = next((note for note in same if note.line == line), same[0] if len(same) == 1 else None)
        if note is None:
            now = next((note for note in read.notes if note.line == line), None)
            facts = {"line": now.line, "raw": now.raw, "now": now.words, "time": show_time(now.at_s)} if now else {}
            raise Conflict(facts | {"faults": ["notes.txt changed on disk while you wrote"]})
        cut = words.get("cut") is True
        time, segment, said = _text(words, "time"), _text(words, "segment"), _text(words, "words")
        self._change_notes(
            "note",
            "Note written",
            lambda text: notes_edit.change_note(text, note.line, time, segment, said, cut=cut),
        )

    def _change_notes(self, what: str, news: str, edit: Callable[[str], str]) -> None:
        self.inputs.change(what, news, {"notes.txt": edit})

    def _moment(self, words: dict[str, Any]) -> datetime:
        """Return when a note was begun, by the page's clock, which is this machine's."""
        at = words.get("at")
        if not isinstance(at, int | float) or not 0 < at < 1e14:
            raise InputError(Fault("notes.txt", 0, "this note has no time; stamp it again"))
        return min(datetime.fromtimestamp(at / 1000), self.inputs.now() + timedelta(seconds=1))

    def _light(self, words: dict[str, Any]) -> None:
        self.evening.light = not self.evening.light

    # -------------------------------------------------------------- test points

    def _step_done(self, words: dict[str, Any]) -> None:
        self.evening.done.add(_text(words, "key"))

    def _reading(self, words: dict[str, Any]) -> None:
        """Write what a meter read into repair.csv."""
        point, line = _text(words, "point"), words.get("line", 0)
        if not point or not isinstance(line, int):
            raise InputError(Fault("repair.csv", 0, "a reading needs a point; write its name"))
        column = "after" if words.get("column") == "after" else "found"
        found = _text(words, "found")
        if not found:
            raise InputError(Fault("repair.csv", line, f'{point[:40]}: no reading; write a number, "open" or "short"'))
        cells = {"point": point, column: found}
        cells |= {name: text for name in ("expected", "tolerance", "unit", "action") if (text := _text(words, name))}

        def write(text: str) -> str:
            row = next((row for row in parse_repair(text) if row.line == line), None) if line else None
            if line and (row is None or row.point != point):
                raise Conflict({"faults": ["repair.csv changed on disk; look at this point again"]})
            return repair_edit.write_row(text, cells, line)

        self.inputs.change("reading", "Reading written to repair.csv", {"repair.csv": write})

    # -------------------------------------------------------------- files

    def _incoming(self) -> Path:
        self._dropped += 1
        return self._aside / f"dropped-{self._dropped}"

    def _drop(self, words: dict[str, Any], place: Path) -> dict[str, Any]:
        """Take a dropped file in. Of one that is there already nothing is done, of another of its name it asks."""
        name = f"{_DROPPED_IN}/{clean_name(_text(words, 'name', _LONGEST_NAME * 10))}"
        target, how = self.session.folder / name, words.get("how")
        if not place.stat().st_size:
            raise InputError(Fault(name, 0, "is empty; export it again"))
        if target.exists() or target.is_symlink():
            if file_digest(target) == file_digest(place):
                return {"name": name, "same": True}
            if how not in ("both", "replace"):
                raise Conflict({"name": name, "faults": [f"{name} differs from the one here"]})
            name = _free_name(self.session.folder, name) if how == "both" else name
        self.inputs.take_in(name, place, "file", f"{name.rsplit('/', 1)[-1]} copied in")
        return {"name": name}

    def _answer(self, words: dict[str, Any]) -> None:
        """Write what a file is, and all others of which the same is asked."""
        same = self._asked(words)
        choice = words.get("choice")
        if not isinstance(choice, int) or not 0 <= choice < len(same[0].choices):
            raise InputError(Fault("session.toml", 0, "there is no such answer; choose one of those shown"))
        keys, files = same[0].choices[choice], [each.file for each in same]
        self._change_session("answer", "Answer written", lambda text: session_edits.answer(text, files, keys))

    def _leave_out(self, words: dict[str, Any]) -> None:
        file = self._asked(words)[0].file
        self._change_session("leaving out", f"{file} is left out", lambda text: session_edits.leave_out(text, [file]))

    def _asked(self, words: dict[str, Any]) -> list[Recognised]:
        """Return the file that is meant, then all others with the same question."""
        shown, file = self.session.shown, _text(words, "file")
        asked = [each for each in shown.episode.recognised if each.question] if shown else []
        one = next((each for each in asked if each.file == file), None)
        if one is None:
            raise InputError(Fault(file[:80], 0, "nothing is asked about this file any more"))
        return [one, *(each for each in asked if each is not one and same_question(each, one))]

    # -------------------------------------------------------------- ratings

    def _ratings(self, words: dict[str, Any]) -> None:
        pasted = _text(words, "text", _LONGEST_PASTE, strip=False)
        if not pasted.strip():
            raise InputError(Fault(RATINGS, 0, "nothing was pasted; copy the brochure's lines first"))
        if any(unicodedata.category(sign) == "Cc" for sign in "".join(pasted.split())):
            raise InputError(Fault(RATINGS, 0, "there is a control character in these lines; copy them as plain text"))
        news = "Ratings written to ratings.txt"
        self.inputs.change("ratings", news, {RATINGS: lambda text: ratings_edit.add_brochure_lines(text, pasted)})

    def _rating(self, words: dict[str, Any]) -> None:
        """Write a line of ratings.txt again, if it is still as the page showed it."""
        line, raw, new = words.get("line"), _text(words, "raw", strip=False), _text(words, "text")
        known = next((e for e in ratings_edit.read_brochure_lines(self.inputs.text(RATINGS)) if e.line == line), None)
        if known is None or known.raw != raw:
            now = {"now": known.text, "raw": known.raw, "line": known.line} if known else {}
            raise Conflict(now | {"faults": ["ratings.txt changed on disk while you wrote"]})
        if words.get("how") == "not measured":
            new = ratings_edit.not_measured(known.text)
        elif words.get("how") == "out":
            new = ""
        self.inputs.change(
            "rating",
            "Rating written",
            {RATINGS: lambda text: ratings_edit.change_brochure_line(text, known.line, new)},
        )

    # -------------------------------------------------------------- cards

    def _hide(self, words: dict[str, Any], *, hide: bool) -> None:
        """Hide a card, and take it out of the notes that call for it; or show it again."""
        name = _text(words, "name")
        stills = self.session.shown.episode.stills if self.session.shown else ()
        ids = [name, *(card.id for card in stills if session_edits.name_of(card) == name)]
        edits = {"session.toml": lambda text: session_edits.hide_card(text, name, hide=hide)}
        if hide:
            edits["notes.txt"] = lambda text: notes_edit.without_cards(text, ids)
        news = f"{name} hidden" if hide else f"{name} shown again"
        self.inputs.change("hiding" if hide else "showing", news, edits)

    def _move(self, words: dict[str, Any]) -> None:
        name, by = _text(words, "name"), -1 if words.get("by") == -1 else 1
        shown = self._shown()
        self._change_session("order", "Order written", lambda text: session_edits.move_card(text, shown, name, by))

    def _title(self, words: dict[str, Any]) -> None:
        card, title, was = _text(words, "card"), _text(words, "title"), words.get("was")
        if len(title) > TITLE_LENGTH:
            raise InputError(
                Fault("session.toml", 0, f"the title has {len(title)} letters; {TITLE_LENGTH} are the most that fit")
            )
        shown = self._shown()
        now = next((heading_of(each) for each in shown.episode.stills if each.id == card), "")
        if was is not None and was != now:
            raise Conflict({"now": now, "was": now})
        self._change_session("title", "Title written", lambda text: session_edits.title_card(text, shown, card, title))

    def _shown(self) -> Composed:
        if self.session.shown is None or self.session.faults:
            raise InputError(Fault("session.toml", 0, "something has to be put right first; it is shown on the page"))
        return self.session.shown

    def _change_session(self, what: str, news: str, edit: Callable[[str], str]) -> None:
        self.inputs.change(what, news, {"session.toml": edit})

    # -------------------------------------------------------------- build

    def _build(self, words: dict[str, Any]) -> None:
        wishes = words.get("wishes", [])
        if not isinstance(wishes, list) or not all(isinstance(wish, str) for wish in wishes):
            raise InputError(Fault("build", 0, "options are a list of words"))
        self.building.start(wishes)


def _text(words: dict[str, Any], name: str, longest: int = _LONGEST_TEXT, *, strip: bool = True) -> str:
    """Return a field of an action."""
    value = words.get(name, "")
    if not isinstance(value, str) or len(value) > longest:
        raise InputError(Fault(name, 0, f"must be a text of at most {longest} characters"))
    if not strip:
        return value
    if any(unicodedata.category(sign) == "Cc" for sign in " ".join(value.split())):
        raise InputError(Fault(name, 0, "has a control character; type it again"))
    return " ".join(value.split())


def _toml_text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def clean_name(name: str) -> str:
    """Return the name of a dropped file as it is kept: no folders, nothing hidden, only signs that any system has."""
    name = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    name = "".join(sign if sign.isalnum() or sign in " ._-+()" else "_" for sign in name).strip(" .")
    stem, dot, ending = name.rpartition(".")
    name = f"{(stem or ending)[:_LONGEST_NAME]}{dot if stem else ''}{ending[:12] if stem else ''}"
    if not name or not re.search(r"\w", name):
        raise InputError(Fault("a dropped file", 0, "has no name that can be kept; rename it and drop it again"))
    if re.fullmatch(r"(?:con|prn|aux|nul|com\d|lpt\d)", name.split(".")[0].casefold()):
        name = f"_{name}"  # names that Windows reserves
    return name


def _free_name(folder: Path, name: str) -> str:
    stem, dot, ending = name.rpartition(".")
    stem, ending = (stem, dot + ending) if dot and "/" not in ending else (name, "")
    number = 2
    while (folder / f"{stem}-{number}{ending}").exists():
        number += 1
    return f"{stem}-{number}{ending}"
