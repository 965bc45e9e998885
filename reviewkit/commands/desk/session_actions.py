"""The actions on the session: its beginning, its ratings, what its files are, and its cards."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from reviewkit.build.composing import Composed
from reviewkit.commands.desk import session_edits
from reviewkit.commands.desk.card_facts import THUMBNAILS, TITLE_LENGTH
from reviewkit.commands.desk.fields import LONGEST_PASTE, Action, text_of
from reviewkit.commands.desk.inputs import Conflict, Inputs
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.episode.alt_text import heading_of
from reviewkit.ingest.session import notes_edit, ratings_edit
from reviewkit.ingest.session.session_file import session_of
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.ingest.session.toml_lines import parse_toml
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import refusal
from reviewkit.model.recognised import toml_lines


class SessionActions:
    """The actions on a session as last built."""

    def __init__(self, session: LiveSession, inputs: Inputs) -> None:
        self.session, self.inputs = session, inputs

    def by_name(self) -> dict[str, Action]:
        """Return the actions by their names."""
        return {
            "start": self._start,
            "ratings": self._ratings,
            "rating": self._rating,
            "bench": self._bench,
            "hide-card": lambda words: self._hide(words, hide=True),
            "show-card": lambda words: self._hide(words, hide=False),
            "move-card": self._move,
            "title": self._title,
            "card-reading": self._card_reading,
            "thumbnail": self._thumbnail,
        }

    def _start(self, words: dict[str, Any]) -> None:
        """Begin a session: maker, model and year."""
        maker, model, year = text_of(words, "maker"), text_of(words, "model"), text_of(words, "year")
        if not maker or not model:
            raise refusal("session.toml", "a session needs a maker and a model; write both")
        if year and not re.fullmatch(r"\d{4}", year):
            raise refusal("session.toml", f'"{year}" is not a year; write four digits, or nothing')
        unit = {"maker": maker, "model": model} | ({"year": int(year)} if year else {})

        def begin(text: str) -> str:
            if text:
                raise refusal("session.toml", "is there already; look at it again")
            return "\n".join(["[unit]", *toml_lines(unit), ""])

        self.inputs.change("the unit", "session.toml written", {"session.toml": begin})

    def _bench(self, words: dict[str, Any]) -> None:
        """Write what holds for every measurement: input, load, channels driven, mains, uncertainty."""
        values = {key: text_of(words, key) for key in session_edits.BENCH_KEYS}

        def edit(text: str) -> str:
            changed = session_edits.describe_bench(text, values)
            document = parse_toml(changed, "session.toml")
            if not self.session.faults:  # then a fault is this edit's, and nothing is written
                own = {name: table for name, table in document.data.items() if name in ("unit", "bench")}
                session_of(replace(document, data=own), (), self.session.folder, kinds=KINDS)
            return changed

        self._change_session("the bench", "The bench is written down", edit)

    # -------------------------------------------------------------- ratings

    def _ratings(self, words: dict[str, Any]) -> None:
        pasted = text_of(words, "text", LONGEST_PASTE, strip=False)
        if not pasted.strip():
            raise refusal(RATINGS, "nothing was pasted; copy the brochure's lines first")
        if any(unicodedata.category(sign) == "Cc" for sign in "".join(pasted.split())):
            raise refusal(RATINGS, "there is a control character in these lines; copy them as plain text")
        news = "Ratings written to ratings.txt"
        self.inputs.change("ratings", news, {RATINGS: lambda text: ratings_edit.add_brochure_lines(text, pasted)})

    def _rating(self, words: dict[str, Any]) -> None:
        """Write a line of ratings.txt again, if it is still as the page showed it."""
        line, raw, new = words.get("line"), text_of(words, "raw", strip=False), text_of(words, "text")
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
        name = text_of(words, "name")
        stills = self.session.shown.episode.stills if self.session.shown else ()
        ids = [name, *(card.id for card in stills if session_edits.name_of(card) == name)]
        edits = {"session.toml": lambda text: session_edits.hide_card(text, name, hide=hide)}
        if hide:
            edits["notes.txt"] = lambda text: notes_edit.without_cards(text, ids)
        news = f"{name} hidden" if hide else f"{name} shown again"
        self.inputs.change("hiding" if hide else "showing", news, edits)

    def _move(self, words: dict[str, Any]) -> None:
        name, to = text_of(words, "name"), text_of(words, "to") or (-1 if words.get("by") == -1 else 1)
        shown = self._shown()
        self._change_session("order", "Order written", lambda text: session_edits.move_card(text, shown, name, to))

    def _thumbnail(self, words: dict[str, Any]) -> None:
        """Choose which of the thumbnails is thumbnail.png."""
        name = text_of(words, "name")
        if name not in THUMBNAILS:
            raise refusal("session.toml", "there is no such thumbnail; choose one of those shown")
        self._change_session("thumbnail", "Thumbnail chosen", lambda text: session_edits.choose_thumbnail(text, name))

    def _title(self, words: dict[str, Any]) -> None:
        card, title, was = text_of(words, "card"), text_of(words, "title"), words.get("was")
        if len(title) > TITLE_LENGTH:
            raise refusal("session.toml", f"the title has {len(title)} letters; {TITLE_LENGTH} are the most that fit")
        shown = self._shown()
        now = next((heading_of(each) for each in shown.episode.stills if each.id == card), "")
        if was is not None and was != now:
            raise Conflict({"now": now, "was": now})
        self._change_session("title", "Title written", lambda text: session_edits.title_card(text, shown, card, title))

    def _card_reading(self, words: dict[str, Any]) -> None:
        card, name, shown = text_of(words, "card"), text_of(words, "name"), self._shown()
        self._change_session(
            "reading", "Readings written", lambda text: session_edits.choose_reading(text, shown, card, name)
        )

    def _shown(self) -> Composed:
        if self.session.shown is None or self.session.faults:
            raise refusal("session.toml", "something has to be put right first; it is shown on the page")
        return self.session.shown

    def _change_session(self, what: str, news: str, edit: Callable[[str], str]) -> None:
        self.inputs.change(what, news, {"session.toml": edit})
