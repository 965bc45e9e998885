"""The text outputs of a build, all from one Episode."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.episode import format_clock, plan_beat
from reviewkit.episode.published import Correction, select_for_viewers
from reviewkit.model.card_files import file_stems
from reviewkit.model.episode import Episode, Segment, Sentence
from reviewkit.model.notes import Note
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.sound import BOTH, PlayedSound, lengths_of, sound_path
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages import description, page, tables
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.repair_points import OK, is_before_repair, point_verdict, was_worked_on
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
    """Text outputs by file name.

    Attributes
    ----------
    table
        The spec table as HTML.
    shortened
        What had to be cut to meet a length limit, ready to print.
    """

    files: Mapping[str, bytes]
    table: str
    shortened: tuple[str, ...]


def render_texts(episode: Episode, pages: Pages, table: SpecTable, corrections: Sequence[Correction] = ()) -> Texts:
    """Render every text output except the page and the prompter, which need the pictures.

    `corrections`: the published figures that have changed.

    Raises
    ------
    InputError
        If a template is at fault, or a text is too long.
    """
    files = {
        "outline.md": render_outline(episode, pages),
        "findings.json": tables.format_findings_json(episode),
    }
    files["description.txt"], cut = description.render_description(
        pages, description.description_facts(episode, table, pages)
    )
    shortened = (f"description.txt: too long, so without {cut}",) if cut else ()
    if episode.chapters:
        note = "" if episode.chapters_final else "planned: put the final cut's times into final.txt"
        files["chapters.vtt"] = page.format_web_vtt(episode.chapters, description.end_of_chapters(episode), note)
        if not episode.chapters_final:
            files[description.CHAPTERS_PLANNED] = description.render_planned_chapters(episode, pages)
    fragment = ""
    if table.rows:
        name = episode.session.unit.name
        markdown = pages.text("spec-table.md.j2", name=name, rows=table.rows, foot=table.foot)
        fragment = pages.html("spec-table.md.j2", markdown)
        files["spec-table.md"] = markdown
        files["spec-table.html"] = pages.text("spec-table.html", name=name, table=fragment)
        files["spec-table.csv"] = tables.format_spec_csv(table)
        corrected = select_for_viewers(corrections, _measurement_cards(episode))
        files["comment.txt"] = description.render_comment(episode, table, corrected, pages)
    return Texts({name: text.encode() for name, text in files.items()}, fragment, shortened)


def render_episode_page(
    episode: Episode,
    pages: Pages,
    table: SpecTable,
    fragment: str,
    brochure: Mapping[str, bytes],
    compressed: Mapping[str, bytes],
) -> bytes:
    """Render the page to publish.

    `fragment`: the table as HTML; `brochure`: the cards' pictures as PNG, by card id; `compressed`: the sounds as MP3,
    by stem.

    Raises
    ------
    InputError
        If a template is at fault.
    """
    facts = _page_facts(episode, pages, table, fragment, brochure)
    return pages.text("episode.html", **facts, **_page_sounds(episode, pages, compressed)).encode()


def _page_facts(
    episode: Episode, pages: Pages, table: SpecTable, fragment: str, brochure: Mapping[str, bytes]
) -> dict[str, Any]:
    """Return the variables of the page's template."""
    pictures = {
        name: {"name": name, "alt": card.alt, "data": base64.b64encode(brochure[card.id]).decode()}
        for name, card in zip(file_stems(episode.cards).values(), episode.stills, strict=True)
    }
    return _script_facts(episode) | {
        "segments": [_segment(s, episode, s.start_s) for s in episode.page_segments],
        "headline": description.render_headline(episode, pages),
        "price": episode.price.line if episode.price else "",
        "rows": table.rows,
        "table": fragment,  # the same as HTML, for templates that insert the whole table
        "foot": table.foot,
        "findings": page.finding_rows(episode.findings),
        "cards": list(pictures.values()),
        "pictures": pictures,
        "measured": _measured_cards(episode),
        "withheld": [why for run in episode.runs for why in run.withheld],
        "equipment": episode.session.bench.equipment,
        "cautions": description.all_cautions(episode, pages),
    }


def _page_sounds(episode: Episode, pages: Pages, compressed: Mapping[str, bytes]) -> dict[str, Any]:
    """Return the sounds that a page can play, and what is to be said before they are."""
    shown = [
        {
            "title": each.title,
            "said": each.words.get("said", ""),
            "sides": [
                fact | {"data": base64.b64encode(compressed[fact["stem"]]).decode()}
                for fact in _sound_files(each)
                if fact["stem"] in compressed
            ],
        }
        for each in episode.sounds
    ]
    return {
        "sounds": [each for each in shown if each["sides"]],
        "sound_cautions": pages.cautions().get("sound", ()),
    }


def _measurement_cards(episode: Episode) -> dict[str, tuple[str, str]]:
    """Return what each measurement's card is called, by its user or by what it shows, and the text of all its cards."""
    measurements = [run.conditions.measurement for run in episode.runs]
    shown: dict[str, tuple[str, str]] = {}
    for m in measurements:
        cards = [card for card in episode.stills if m.card in (card.id, card.first)]
        shown[m.id] = (m.title or (cards[0].subject if cards else m.id), " ".join(card.alt for card in cards))
    return shown


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


def _title(episode: Episode) -> str:
    return episode.session.episode.title or episode.session.unit.name


def summarise(episode: Episode) -> tuple[str, ...]:
    """Return what to report after a build: the ratings by verdict, then what is left out."""
    verdicts: dict[str, list[str]] = {}
    for verdict in episode.verdicts:
        verdicts.setdefault(verdict.verdict, []).append(verdict.label)
    return (*(f"{word}: {'; '.join(labels)}" for word, labels in verdicts.items()), *left_out(episode))


def left_out(episode: Episode) -> tuple[str, ...]:
    """Return each output that is missing or incomplete, with the reason."""
    return tuple(line for line in (*episode.left_out, description.chapters_left_out(episode)) if line)


def render_outline(episode: Episode, pages: Pages) -> str:
    """Render the outline to speak from."""
    return pages.text("outline.md.j2", **_script_facts(episode))


def render_prompter(episode: Episode, pages: Pages, small: Mapping[str, bytes]) -> bytes:
    """Render the outline as a page to read from while the camera runs.

    `small`: a small picture of each card for filming as PNG, by card id.

    Raises
    ------
    InputError
        If a template is at fault.
    """
    stems, seconds = file_stems(episode.cards), episode.session.episode.card_seconds
    return pages.text(
        "prompter.html",
        **_script_facts(episode),
        thumbnails={stems[card]: base64.b64encode(content).decode() for card, content in small.items()},
        held={stems[still.id]: f"{still.hold_s or seconds:g} s" for still in episode.stills},
    ).encode()


def _script_facts(episode: Episode) -> dict[str, Any]:
    """Return the variables of the outline's and the prompter's templates: the script, with its cards."""
    settings = episode.session.episode
    starts: dict[str, float] = {}
    for chapter in episode.chapters if episode.chapters_final else ():
        # a segment that the cut returns to begins at its first appearance
        starts.setdefault(chapter.title, chapter.start_s)
    return {
        "title": _title(episode),
        "unit": episode.session.unit,
        "presenter": settings.presenter,
        "total_s": sum(s.length_s for s in episode.segments),
        "words_per_minute": f"{settings.words_per_minute:g}",
        "final": episode.chapters_final,
        "always": episode.cautions,
        "page_only": [file_stems(episode.cards)[still.id] for still in episode.stills if not still.on_film],
        "titles": {file_stems(episode.cards)[still.id]: heading_of(still) for still in episode.stills},
        "segments": [_segment(s, episode, starts.get(s.title, s.start_s)) for s in episode.segments],
    }


def _segment(s: Segment, episode: Episode, start_s: float) -> dict[str, Any]:
    numbers = file_stems(episode.cards)
    holds, lengths_s = {card.id: card.hold_s for card in episode.stills}, lengths_of(episode.sounds)
    played = {fact["stem"]: fact for each in episode.sounds for fact in _sound_files(each)}
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
                "sounds": [played[stem] for stem in beat.sounds],
                "hold_s": plan_beat(beat, episode.session, holds, lengths_s)[0],
            }
            for beat in s.beats
        ],
        # the same, by kind
        "sentences": s.sentences,
        "card_files": [numbers[c] for c in s.cards],
        "notes": [{"text": note.text, "place": _place(note)} for note in s.notes if note.text],
    }


def _sound_files(sound: PlayedSound) -> list[dict[str, Any]]:
    """Return what the templates are given of a sound's files."""
    return [
        {
            "stem": sound.stem(part),
            "file": sound_path(sound.stem(part)),
            "part": part,
            "what": sound.words.get(part, part),
            "said": sound.words.get("said", "") if part == BOTH else "",
            "length_s": length_s,
        }
        for part, length_s in sound.lengths_s.items()
    ]


def _place(note: Note) -> str:
    return " ".join(part for part in (note.clip, format_clock(note.at_s)) if part)


def framing_sentences(
    pages: Pages, repair: Sequence[RepairRow], verdicts: Sequence[Verdict], price: PriceLine | None
) -> dict[str, list[Sentence]]:
    """Return the sentences on price, fault, repair and verdict, by segment."""
    said: dict[str, list[Sentence]] = {}
    if price is not None:
        for part in ("history", "value"):
            said[part] = _split_sentences(
                pages.text("words/price.j2", part=part, price=price, line=price.line, fair=price.fair_shown),
                "price" if part == "value" else "",
            )
    if repair:
        judged = [(r, verdict) for r in repair if (verdict := point_verdict(r))]
        faulty = [r for r, verdict in judged if verdict != OK]
        done = [r for r in repair if was_worked_on(r)]
        for part, rows in (("fault", faulty), ("repair", done)):
            text = pages.text(
                "words/repair.j2",
                part=part,
                rows=[vars(r) | {"verdict": point_verdict(r)} for r in rows],
                in_order=len(judged) - len(faulty),
                total=len(judged),
                as_found=[r.point for r in faulty if is_before_repair(r)],
                still=[r.point for r in faulty if not is_before_repair(r)],
            )
            said[part] = _split_sentences(text, "fix" if part == "repair" else "")
    if verdicts:
        counted = {word: sum(v.verdict == word for v in verdicts) for word in _COUNTED}
        words = {word: f"{n} {_COUNTED[word][n != 1]}" for word, n in counted.items() if n}
        counts = {
            "judged": sum(counted[word] for word in JUDGED),
            "counts": [text for word, text in words.items() if word in JUDGED],
            "others": [text for word, text in words.items() if word not in JUDGED],
        }
        said["verdict"] = _split_sentences(pages.text("words/verdict.j2", verdicts=verdicts, **counts), "score")
    return said


def _split_sentences(text: str, card: str) -> list[Sentence]:
    return [Sentence(" ".join(line.split()), card) for line in text.splitlines() if line.strip()]
