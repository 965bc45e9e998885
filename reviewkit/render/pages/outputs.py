"""The text outputs of a build, each from the one Episode."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.episode.episode import OPEN_CHASSIS, chapters_fault, clock
from reviewkit.episode.published import Correction, for_viewers
from reviewkit.model.card_files import file_stems
from reviewkit.model.episode import Episode, Said, Segment
from reviewkit.model.notes import Note
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages import page, tables
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.changes import is_mended
from reviewkit.verdict.repair_points import is_as_found, point_verdict, was_worked_on
from reviewkit.verdict.spec_table import SpecTable
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, JUDGED, MEETS, SHORT, UNMEASURED

_COUNTED = {
    MEETS: ("holds", "hold"),
    SHORT: ("falls short", "fall short"),
    CLOSE: ("is too close to call", "are too close to call"),
    INCOMPARABLE: ("does not compare", "do not compare"),
    UNMEASURED: ("was not measured", "were not measured"),
}


@dataclass(frozen=True)
class Texts:
    """Text outputs by their file names. `table`: the spec table as HTML; `shortened`: what had to be cut to keep to a
    length, ready to print.
    """

    files: Mapping[str, bytes]
    table: str
    shortened: tuple[str, ...]


def texts(episode: Episode, pages: Pages, table: SpecTable, corrections: Sequence[Correction] = ()) -> Texts:
    """Return every text output but the page, which shows pictures. `corrections`: what viewers were told otherwise."""
    files = {
        "outline.md": outline(episode, pages),
        "prompter.html": prompter(episode, pages),
        "findings.json": tables.findings_json(episode),
    }
    shortened = []
    files["description.txt"], cut = page.description(pages, description_facts(episode, table, pages))
    if cut:
        shortened.append(f"description.txt: too long, so without {cut}")
    if episode.chapters:
        note = "" if episode.chapters_final else "planned: put the final cut's times into final.txt"
        files["chapters.vtt"] = page.web_vtt(episode.chapters, _end_s(episode), note)
    fragment = ""
    if table.rows:
        name = episode.session.unit.name
        markdown = pages.text("spec-table.md.j2", name=name, rows=table.rows, foot=table.foot)
        fragment = pages.html("spec-table.md.j2", markdown)
        files["spec-table.md"] = markdown
        files["spec-table.html"] = pages.text("spec-table.html", name=name, table=fragment)
        files["spec-table.csv"] = tables.spec_csv(table)
        corrected = for_viewers(corrections, _on_cards(episode))
        facts = {"name": name, "rows": table.rows, "foot": _as_sentences(table.foot), "corrections": corrected}
        files["comment.txt"], cut = page.comment(pages, facts)
        if cut:
            shortened.append(f"comment.txt: too long, so without {cut}")
    return Texts({name: text.encode() for name, text in files.items()}, fragment, tuple(shortened))


def episode_page(
    episode: Episode, pages: Pages, table: SpecTable, fragment: str, brochure: Mapping[str, bytes]
) -> bytes:
    """Return the page to publish. `fragment`: the table as HTML; `brochure`: the cards' pictures as PNG, by id."""
    return pages.text("episode.html", **_page_facts(episode, pages, table, fragment, brochure)).encode()


def _page_facts(
    episode: Episode, pages: Pages, table: SpecTable, fragment: str, brochure: Mapping[str, bytes]
) -> dict[str, Any]:
    """What the page's template is given."""
    pictures = {
        name: {"name": name, "alt": card.alt, "data": base64.b64encode(brochure[card.id]).decode()}
        for name, card in zip(file_stems(episode.cards).values(), episode.cards, strict=True)
    }
    return _to_say(episode) | {
        "headline": headline(episode),
        "price": episode.price.line if episode.price else "",
        "rows": table.rows,
        "table": fragment,  # the same as HTML, for templates that place it whole
        "foot": table.foot,
        "findings": page.finding_rows(episode.findings),
        "cards": list(pictures.values()),
        "pictures": pictures,
        "measured": _how(episode),
        "withheld": [why for run in episode.runs for why in run.withheld],
        "equipment": episode.session.bench.equipment,
        "cautions": all_cautions(episode, pages),
    }


def _on_cards(episode: Episode) -> dict[str, tuple[str, str]]:
    """Each measurement's card: its title, and what all cards of it say."""
    measurements = [run.conditions.measurement for run in episode.runs]
    shown: dict[str, tuple[str, str]] = {}
    for m in measurements:
        cards = [card for card in episode.cards if m.card in (card.id, card.first)]
        shown[m.id] = (cards[0].title if cards else m.id, " ".join(card.alt for card in cards))
    return shown


def _how(episode: Episode) -> list[tuple[str, str, str]]:
    """Each measured card: what it shows, under which conditions, from which files."""
    sources: dict[str, list[str]] = {}
    for run in episode.runs:
        m = run.conditions.measurement
        sources.setdefault(m.card, []).append(m.file or "readings in session.toml")
    return [
        (card.title, card.conditions, ", ".join(dict.fromkeys(sources[card.id])))
        for card in episode.cards
        if card.id in sources
    ]


def headline(episode: Episode) -> str:
    """One line that stands alone in a search result: what the unit is, and what was done with it."""
    unit = episode.session.unit
    what = " ".join(part for part in (str(unit.year) if unit.year else "", unit.what) if part)
    deeds = []
    if is_mended(episode.repair, episode.runs):
        deeds.append("repaired")
    if episode.findings:
        deeds.append("measured")
    if any(v.verdict != UNMEASURED for v in episode.verdicts):
        deeds.append("held against its maker's ratings")
    done = ", ".join(deeds[:-1]) + (" and " if len(deeds) > 1 else "") + deeds[-1] if deeds else "on the bench"
    return f"{unit.name}{f', {what}' if what else ''}: {done}."


def _title(episode: Episode) -> str:
    return episode.session.episode.title or episode.session.unit.name


def _end_s(episode: Episode) -> float:
    """Where the last chapter ends: the plan's end; after a final cut, the last chapter keeps its planned length."""
    if not episode.chapters_final:
        return sum(segment.length_s for segment in episode.segments)
    by_title = {segment.title: segment.length_s for segment in episode.segments}
    last = episode.chapters[-1]
    return last.start_s + by_title.get(last.title, 10.0)


def summary(episode: Episode) -> tuple[str, ...]:
    """What a build has to tell whoever ran it: each verdict with what it was passed on, then what is left out."""
    verdicts: dict[str, list[str]] = {}
    for verdict in episode.verdicts:
        verdicts.setdefault(verdict.verdict, []).append(verdict.label)
    return (*(f"{word}: {'; '.join(labels)}" for word, labels in verdicts.items()), *left_out(episode))


def left_out(episode: Episode) -> tuple[str, ...]:
    """Each output that is not made, or not whole, and why."""
    return tuple(line for line in (*episode.left_out, chapters_left_out(episode)) if line)


def chapters_left_out(episode: Episode) -> str:
    """Why the description carries no chapters, or ""."""
    why = chapters_fault(episode.chapters, _end_s(episode))
    return f"description.txt: chapters left out, {why}" if why else ""


def all_cautions(episode: Episode, pages: Pages) -> list[str]:
    """Every caution that this session calls for, the one that stands over all first."""
    by_topic = pages.cautions(mended=is_mended(episode.repair, episode.runs))
    names = {segment.name for segment in episode.segments}
    topics = ["all"]
    if episode.repair or names & set(OPEN_CHASSIS):
        topics.append("open")
    if is_mended(episode.repair, episode.runs) or names & {"fault", "repair"}:
        topics.append("repair")
    if episode.findings:
        topics.append("power")
    return [caution for topic in topics for caution in by_topic.get(topic, ())]


def description_facts(episode: Episode, table: SpecTable, pages: Pages) -> dict[str, Any]:
    """What the description's template is given."""
    return {
        "headline": headline(episode),
        "price": episode.price.line if episode.price else "",
        "rows": table.rows,
        "foot": _as_sentences(table.foot),
        "chapters": () if chapters_left_out(episode) else episode.chapters,
        "final": episode.chapters_final,
        "equipment": episode.session.bench.equipment,
        "cautions": all_cautions(episode, pages),
    }


def _as_sentences(lines: Sequence[str]) -> str:
    return " ".join(f"{line[0].upper()}{line[1:]}." for line in lines)


def outline(episode: Episode, pages: Pages) -> str:
    """The outline to speak from."""
    return pages.text("outline.md.j2", **_to_say(episode))


def prompter(episode: Episode, pages: Pages) -> str:
    """The same as a page to read from while the camera runs."""
    return pages.text("prompter.html", **_to_say(episode))


def _to_say(episode: Episode) -> dict[str, Any]:
    """What is said, in order, with the cards to show: what the templates of outline and prompter are given."""
    settings = episode.session.episode
    starts: dict[str, float] = {}
    for chapter in episode.chapters if episode.chapters_final else ():
        # a segment that the cut comes back to begins where it first stands
        starts.setdefault(chapter.title, chapter.start_s)
    return {
        "title": _title(episode),
        "unit": episode.session.unit,
        "presenter": settings.presenter,
        "total_s": sum(s.length_s for s in episode.segments),
        "words_per_minute": f"{settings.words_per_minute:g}",
        "final": episode.chapters_final,
        "always": episode.cautions,
        "titles": {file_stems(episode.cards)[card.id]: card.title for card in episode.cards},
        "segments": [_segment(s, episode, starts.get(s.title, s.start_s)) for s in episode.segments],
    }


def _segment(s: Segment, episode: Episode, start_s: float) -> dict[str, Any]:
    numbers = file_stems(episode.cards)
    holds = {card.id: card.hold_s for card in episode.cards}
    return {
        "name": s.name,
        "title": s.title,
        "start_s": start_s,
        "length_s": s.length_s,
        "flag": s.flag,
        "cautions": s.cautions,
        "beats": [
            {
                "cards": [numbers[card] for card in beat.cards],
                "note": beat.note.text if beat.note else "",
                "place": _place(beat.note) if beat.note else "",
                "sentences": beat.sentences,
                "hold_s": sum(holds[card] or episode.session.episode.card_seconds for card in beat.cards),
            }
            for beat in s.beats
        ],
        # the same, sorted out
        "sentences": s.sentences,
        "card_files": [numbers[c] for c in s.cards],
        "notes": [{"text": note.text, "place": _place(note)} for note in s.notes if note.text],
    }


def _place(note: Note) -> str:
    return " ".join(part for part in (note.clip, clock(note.at_s)) if part)


def framing_sentences(
    pages: Pages, repair: Sequence[RepairRow], verdicts: Sequence[Verdict], price: PriceLine | None
) -> dict[str, list[Said]]:
    """What is said of price, fault, repair and verdict: each from its rows."""
    said: dict[str, list[Said]] = {}
    if price is not None:
        for part in ("history", "value"):
            said[part] = _lines(
                pages.text("words/price.j2", part=part, price=price, line=price.line, fair=price.fair_shown), "price"
            )
    if repair:
        judged = [(r, verdict) for r in repair if (verdict := point_verdict(r))]
        faulty = [r for r, verdict in judged if verdict != "in order"]
        done = [r for r in repair if was_worked_on(r)]
        for part, rows in (("fault", faulty), ("repair", done)):
            text = pages.text(
                "words/repair.j2",
                part=part,
                rows=[vars(r) | {"verdict": point_verdict(r)} for r in rows],
                in_order=len(judged) - len(faulty),
                total=len(judged),
                as_found=[r.point for r in faulty if is_as_found(r)],
                still=[r.point for r in faulty if not is_as_found(r)],
            )
            said[part] = _lines(text, "repair" if part == "repair" else "")
    if verdicts:
        counted = {word: sum(v.verdict == word for v in verdicts) for word in _COUNTED}
        words = {word: f"{n} {_COUNTED[word][n != 1]}" for word, n in counted.items() if n}
        counts = {
            "judged": sum(counted[word] for word in JUDGED),
            "counts": [text for word, text in words.items() if word in JUDGED],
            "others": [text for word, text in words.items() if word not in JUDGED],
        }
        said["verdict"] = _lines(pages.text("words/verdict.j2", verdicts=verdicts, **counts), "table")
    return said


def _lines(text: str, card: str) -> list[Said]:
    return [Said(" ".join(line.split()), card) for line in text.splitlines() if line.strip()]
