"""The page to publish: the story for readers, the table, how it was measured. Nothing on it runs or is loaded."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urljoin

from reviewkit.episode.session_cards import find_hook
from reviewkit.episode.story import find_story
from reviewkit.model.card import Card, Chart, Fix, Hunt, Price
from reviewkit.model.card_files import file_stems, is_on_page, kind_of
from reviewkit.model.episode import Beat, Episode, Segment
from reviewkit.model.session import Session
from reviewkit.render.cards.shape import LEAD, NARROW_LEAD, SHAPES
from reviewkit.render.cards.thumbnail import PREVIEW
from reviewkit.render.cards.vector import as_address
from reviewkit.render.pages import description, page, page_policy, tables
from reviewkit.render.pages.embedded_type import WEIGHTS
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.text_outputs import script_facts, segment_facts, sound_facts, title_of
from reviewkit.verdict.spec_table import SpecTable, TableRow
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, NO_VERDICT, SHORT, UNMEASURED

_ORDER = (SHORT, CLOSE, INCOMPARABLE, UNMEASURED, MEETS, "")  # of the table: what matters first
_FEW = 3  # sentences that make a paragraph; more are a list


@dataclass(frozen=True, eq=False)
class PagePictures:
    """The pictures on the page.

    Attributes
    ----------
    cards
        SVG files by card id and shape: what the page shows; PNG files, under the shape "png", for templates that
        embed these.
    lead
        The card that leads the page, if one does.
    lead_drawn
        It in the shapes LEAD and NARROW_LEAD, if it has place for all of its words there.
    photo
        A JPEG, which leads the page in place of a card.
    """

    cards: Mapping[str, Mapping[str, bytes]]
    lead: Card | None = None
    lead_drawn: Sequence[bytes] = ()
    photo: bytes = b""


def render_episode_page(
    episode: Episode,
    pages: Pages,
    table: SpecTable,
    fragment: str,
    pictures: PagePictures,
    compressed: Mapping[str, bytes],
    type_files: Mapping[str, bytes],
) -> bytes:
    """Render the page to publish.

    Parameters
    ----------
    episode : Episode
        The episode.
    pages : Pages
        The templates.
    table : SpecTable
        Rated and measured.
    fragment : str
        The same as HTML.
    pictures : PagePictures
        The pictures.
    compressed : mapping of str to bytes
        The sounds as MP3, by stem.
    type_files : mapping of str to bytes
        The page's type as WOFF, by the names in WEIGHTS.

    Raises
    ------
    InputError
        If a template is at fault.
    """
    shown = _pictures(episode, pictures)
    lead = _lead(episode, pictures, shown)
    words = _lead_words(episode, pages)
    structured = format_review(episode, " ".join(words))
    facts = script_facts(episode) | {
        "segments": [segment_facts(s, episode, s.start_s) for s in episode.page_segments],
        "hook": find_hook(episode.session),
        "lead": lead,
        "lead_words": words,
        "story": _story(episode, lead["name"] if lead else ""),
        "few": _FEW,
        "tally": _tally(episode),
        "film": episode.session.episode.film,
        "film_s": description.end_of_chapters(episode) if episode.chapters_final and episode.chapters else None,
        "rating": episode.session.episode.rating,
        "link": _link(episode.session),
        "structured": structured,
        "policy": page_policy.page_policy(structured),
        "type": [(weight, _base64(type_files[name])) for weight, name in WEIGHTS.items() if name in type_files],
        "headline": description.render_headline(episode, pages),
        "price": episode.price.line if episode.price else "",
        "rows": table.rows,
        "ordered_rows": _ordered(table.rows),
        "copied": tables.format_spec_text(_ordered(table.rows)),
        "table": fragment,  # for templates that insert the whole table
        "foot": table.foot,
        "findings": page.finding_rows(episode.findings),
        "cards": list(shown.values()),
        "pictures": shown,
        "measured": _measured_cards(episode),
        "withheld": [why for run in episode.runs for why in run.withheld],
        "equipment": episode.session.bench.equipment,
        "cautions": description.all_cautions(episode, pages),
    }
    return pages.text("episode.html", **facts, **_sounds(episode, pages, compressed)).encode()


# ------------------------------------------------------------------ pictures


def _pictures(episode: Episode, given: PagePictures) -> dict[str, dict[str, Any]]:
    """Return each still for the template by the name of its files; without a picture if the page says the same."""
    shown = {}
    for name, still in zip(file_stems(episode.cards).values(), episode.stills, strict=True):
        drawn = given.cards[still.id]
        shapes = {shape: as_address(drawn[shape]) for shape in ("wide", "square") if shape in drawn}
        png = {"data": _base64(drawn["png"])} if "png" in drawn else {}
        dial = isinstance(still.body, Chart | Price)  # its line goes on to the window's edges
        shown[name] = {"name": name, "alt": still.alt, "dial": dial, "wide": "", "square": "", **shapes, **png}
    return shown


def _lead(episode: Episode, given: PagePictures, shown: Mapping[str, Mapping[str, Any]]) -> dict[str, Any] | None:
    """Return what leads the page, for the template: a photograph, a chart, or nothing."""
    if given.photo:
        price = episode.price
        return {"photo": f"data:image/jpeg;base64,{_base64(given.photo)}", "name": "", "what": "", "price": price}
    if given.lead is None:
        return None
    name = file_stems(episode.cards)[given.lead.id]
    own = shown[name]
    wide, narrow = own["wide"], own["square"] or own["wide"]
    sizes = (SHAPES["wide"], SHAPES["square" if own["square"] else "wide"])
    if given.lead_drawn:
        (wide, narrow), sizes = map(as_address, given.lead_drawn), (LEAD, NARROW_LEAD)
    return {
        "photo": "",
        "price": None,
        "name": name,
        "alt": own["alt"],
        "wide": wide,
        "narrow": narrow,
        "sizes": [(shape.width, shape.height) for shape in sizes],
        "what": " · ".join((given.lead.subject, *given.lead.conditions)) if given.lead_drawn else "",
    }


def _base64(content: bytes) -> str:
    return base64.b64encode(content).decode("ascii")


# ------------------------------------------------------------------ words


def _lead_words(episode: Episode, pages: Pages) -> list[str]:
    """Return the first paragraphs: the opening's notes for readers, else what the data tells, with the failed part."""
    own = [note.page for s in episode.page_segments if s.name == "opening" for note in s.notes if note.page]
    if own:
        return own
    words = [description.render_headline(episode, pages, with_ratings=False)]
    hunt = next((card.body for card in episode.cards if isinstance(card.body, Hunt)), None)
    fix = next((card.body for card in episode.cards if isinstance(card.body, Fix)), None)
    if hunt is not None and fix is not None:
        words.append(f"{hunt.part.point.split(',')[0]} was {hunt.part.word}: {fix.done}.")
    return [" ".join(words)]


def _story(episode: Episode, lead: str) -> list[dict[str, Any]]:
    """Return the story as sections: each with its title, its cautions, and its parts of words with their cards.

    A card comes once; the one that leads the page isn't shown again. `lead`: its name.
    """
    stems, left = file_stems(episode.cards), {still.id for still in episode.stills if is_on_page(still)}
    left -= {still for still, stem in stems.items() if stem == lead}
    story = []
    for s in episode.page_segments:
        parts: list[dict[str, Any]] = []
        for beat in s.beats:
            note, sentences = _words_of(s, beat), list(beat.sentences)
            cards = [stems[card] for card in beat.cards if card in left]
            left.difference_update(beat.cards)
            if not parts or parts[-1]["cards"]:  # what is said before a card goes with it
                parts.append({"paragraphs": [], "cards": []})
            parts[-1]["paragraphs"] += [(note, sentences)] if note or sentences else []
            parts[-1]["cards"] += cards
        parts = [part for part in parts if part["paragraphs"] or part["cards"]]
        if parts:
            title = s.title if s.name != "opening" else ""
            story.append({"title": title, "cautions": s.cautions, "parts": parts})
    return story


def _words_of(s: Segment, beat: Beat) -> str:
    """Return a note's words in the story; "" if they are the page's lead."""
    if beat.note is None or (s.name == "opening" and beat.note.page):
        return ""
    return beat.note.text


def _tally(episode: Episode) -> dict[str, Any]:
    """Return how many ratings there are of each verdict, and the verdicts in order."""
    story = find_story(episode)
    words = [*(v.verdict for v in episode.verdicts), *[UNMEASURED] * len(episode.session.printed)]
    return {
        "judged": story.judged,
        "met": story.met,
        "missed": story.missed,
        "undecided": story.undecided,
        "ratings": story.ratings,
        "verdicts": sorted(words, key=(SHORT, CLOSE, MEETS, INCOMPARABLE, UNMEASURED, NO_VERDICT).index),
    }


def _ordered(rows: Sequence[TableRow]) -> list[TableRow]:
    """Return the table's rows: what is missed, too close to call, not judged, met; then what has no rating."""
    return sorted(rows, key=lambda row: (not row.promised, _ORDER.index(row.verdict)))


def _measured_cards(episode: Episode) -> list[tuple[str, str, str]]:
    """Return what each measured card shows, its conditions and source files."""
    sources: dict[str, list[str]] = {}
    for run in episode.runs:
        m = run.conditions.measurement
        sources.setdefault(m.card, []).append(m.file or "readings in session.toml")
    return [
        (card.subject, " · ".join((*card.conditions, *card.asides)), ", ".join(dict.fromkeys(sources[card.id])))
        for card in episode.cards
        if card.id in sources
    ]


def _sounds(episode: Episode, pages: Pages, compressed: Mapping[str, bytes]) -> dict[str, Any]:
    """Return the sounds that a page can play, and what is to be said before they are."""
    shown = [
        {
            "title": each.title,
            "said": each.words.get("said", ""),
            "sides": [
                fact | {"data": _base64(compressed[fact["stem"]])}
                for fact in sound_facts(each)
                if fact["stem"] in compressed
            ],
        }
        for each in episode.sounds
    ]
    return {
        "sounds": [each for each in shown if each["sides"]],
        "sound_cautions": pages.cautions().get("sound", ()),
    }


# ------------------------------------------------------------------ for search engines, and for links


def format_review(episode: Episode, text: str) -> str:
    """Format the page's data for search engines: a schema.org Review of the unit, as JSON-LD.

    No text in it can end the <script> that it is in, since no `<` is left. It rates only if the user did.

    Parameters
    ----------
    episode : Episode
        The episode.
    text : str
        What the review says, in short.
    """
    session, unit, settings = episode.session, episode.session.unit, episode.session.episode
    product = {
        "@type": "Product",
        "name": unit.name,
        "brand": {"@type": "Brand", "name": unit.maker},
        "model": unit.model,
        "category": unit.what,
        "releaseDate": str(unit.year) if unit.year else "",
    }
    review: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Review",
        "name": title_of(episode),
        "url": settings.page,
        "inLanguage": "en",
        "author": {"@type": "Person", "name": _author(session)} if _author(session) else "",
        "itemReviewed": {name: value for name, value in product.items() if value},
        "reviewBody": text,
    }
    if settings.rating is not None:
        review["reviewRating"] = {
            "@type": "Rating",
            "ratingValue": settings.rating,
            "bestRating": 5,
            "worstRating": 1,
        }
    written = json.dumps({name: value for name, value in review.items() if value}, ensure_ascii=False)
    for sign in "<>&\u2028\u2029":
        written = written.replace(sign, f"\\u{ord(sign):04x}")
    return written


def _author(session: Session) -> str:
    return session.look.presenter or session.episode.presenter


def _link(session: Session) -> dict[str, str]:
    """Return what the preview of a link to the page needs; nothing without the page's address."""
    address = session.episode.page
    return {"page": address, "picture": urljoin(address, PREVIEW)} if address else {}


def pictures_of(drawn: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, bytes]]:
    """Return the page's pictures among a build's, by card id and shape. `drawn`: all of them, by card id and kind."""
    kinds = {"wide": kind_of("page", "wide"), "square": kind_of("page", "square"), "png": "page-png"}
    return {
        card: {shape: each[kind] for shape, kind in kinds.items() if isinstance(each.get(kind), bytes)}
        for card, each in drawn.items()
    }
