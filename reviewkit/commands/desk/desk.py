"""The commands `desk` and `watch`: a session is rebuilt on every save, and a page on this machine shows it."""

from __future__ import annotations

import gc
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from reviewkit.build.cache import Cache
from reviewkit.build.options import Options
from reviewkit.build.pool import Pool
from reviewkit.commands.desk.bench_actions import BenchActions
from reviewkit.commands.desk.build_process import BuildProcess, open_folder
from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.dropped_files import take_in
from reviewkit.commands.desk.file_actions import FileActions
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession, Rebuilt, watch_saves
from reviewkit.commands.desk.page import page_facts
from reviewkit.commands.desk.points import BOX
from reviewkit.commands.desk.server import LiveServer, Served
from reviewkit.commands.desk.session_actions import SessionActions
from reviewkit.ingest.session.session_paths import RATINGS, links_out
from reviewkit.model import places
from reviewkit.model.digests import digest_of
from reviewkit.model.errors import CannotFinish, InputError, refusal
from reviewkit.render.pages import page_policy
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.page_fonts import page_fonts

TEXTS = ("session.toml", RATINGS, "notes.txt", "repair.csv")  # what the desk writes, besides measurements/
_OUT, _PREVIEW = "out", "preview"  # in addresses


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
        raise refusal(str(folder), "there is no such folder; reviewkit new makes one")
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
        self._ticks = digest_of(f"ticked boxes of {session.folder.resolve()}".encode())
        self.state = DeskState(set(filter(None, (session.cache.read(self._ticks) or b"").decode().split("\n"))))
        self.state.keep = self._keep_ticks
        self.changed: Callable[[], None] = lambda: None
        self.building = BuildProcess(session.folder, lambda: self.changed(), in_studio=session.options.studio)

    def served(self) -> Served:
        """Return what the server answers with."""
        shipped = places.templates()
        sandboxed = f"{page_policy.static_policy(shipped)}; sandbox allow-scripts"
        folders = {_PREVIEW: (self.session.out, sandboxed), _OUT: (self.session.folder / "out", sandboxed)}
        files = {name: shipped / "desk" / name for name in ("desk.css", "desk.js")} | page_fonts()
        if not self._editing:
            return Served(self.page, folders, files)
        actions = {
            **BenchActions(self.inputs, self.state).by_name(),
            **FileActions(self.session, self.inputs, self.state).by_name(),
            **SessionActions(self.session, self.inputs).by_name(),
            "undo": lambda words: self.inputs.undo(),
            "put-back": lambda words: self.inputs.put_back(),
            "build": self._build,
            "stop-build": lambda words: self.building.stop(),
            "open-folder": lambda words: open_folder(self.session.folder / "out"),
        }
        return Served(
            self.page,
            folders,
            files,
            {name: self._answering(action) for name, action in actions.items()},
            lambda query, place: self._answering(lambda words: take_in(self.inputs, words, place))(query),
            self._aside,
        )

    def page(self, base: str) -> tuple[str, str]:
        """Return the page and its policy. It never comes from the session's own templates."""
        shipped = places.templates()
        facts = page_facts(self.session, self.inputs, self.state, self.building, editing=self._editing)
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
        for file in [file for file in self.state.further if root / file in saved]:
            self.state.forget(file)

    def _answering(self, action: Callable[[dict[str, Any]], Any]) -> Callable[[dict[str, Any]], dict[str, Any]]:
        def answer(words: dict[str, Any]) -> dict[str, Any]:
            with self.inputs.lock:
                result = action(words)
            self.changed()
            return result or {}

        return answer

    def _keep_ticks(self) -> None:
        """Keep the ticks of the plan's boxes. What was read or checked to be safe ends with the evening."""
        boxes = sorted(key for key in self.state.done if key.startswith(BOX))
        self.session.cache.write(self._ticks, "\n".join(boxes).encode())

    def _build(self, words: dict[str, Any]) -> None:
        wishes = words.get("wishes", [])
        if not isinstance(wishes, list) or not all(isinstance(wish, str) for wish in wishes):
            raise refusal("build", "options are a list of words")
        self.building.start(wishes)
