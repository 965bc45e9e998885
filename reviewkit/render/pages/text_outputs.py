"""The text outputs of a build, all from one Episode."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.episode import format_clock, plan_beat
from reviewkit.episode.published import Correction, select_for_viewers
from reviewkit.model.card_files import file_stems
from reviewkit.model.episode import Episode, Segment
from reviewkit.model.notes import Note
from reviewkit.model.sound import BOTH, PlayedSound, lengths_of, sound_path
from reviewkit.model.spoken import spell_units
from reviewkit.render.pages import description, page, tables
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.spec_table import SpecTable


@dataclass(frozen=True)
class TextOutputs:
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


def render_texts(
    episode: Episode, pages: Pages, table: SpecTable, corrections: Sequence[Correction] = ()
) -> TextOutputs:
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
    return TextOutputs({name: text.encode() for name, text in files.items()}, fragment, shortened)


def _measurement_cards(episode: Episode) -> dict[str, tuple[str, str]]:
    """Return what each measurement's card is called, by its user or by what it shows, and the text of all its cards."""
    measurements = [run.conditions.measurement for run in episode.runs]
    shown: dict[str, tuple[str, str]] = {}
    for m in measurements:
        cards = [card for card in episode.stills if m.card in (card.id, card.first)]
        shown[m.id] = (m.title or (cards[0].subject if cards else m.id), " ".join(card.alt for card in cards))
    return shown


def title_of(episode: Episode) -> str:
    """Return the episode's title, else the unit's name."""
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
    return pages.text("outline.md.j2", **script_facts(episode))


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
        **script_facts(episode),
        thumbnails={stems[card]: base64.b64encode(content).decode() for card, content in small.items()},
        held={stems[still.id]: f"{still.hold_s or seconds:g} s" for still in episode.stills},
    ).encode()


def script_facts(episode: Episode) -> dict[str, Any]:
    """Return the variables of the outline's and the prompter's templates: the script, with its cards."""
    settings = episode.session.episode
    starts: dict[str, float] = {}
    for chapter in episode.chapters if episode.chapters_final else ():
        # a segment that the cut returns to begins at its first appearance
        starts.setdefault(chapter.segment, chapter.start_s)
    return {
        "title": title_of(episode),
        "unit": episode.session.unit,
        "presenter": settings.presenter,
        "total_s": sum(s.length_s for s in episode.segments),
        "words_per_minute": f"{settings.words_per_minute:g}",
        "final": episode.chapters_final,
        "always": episode.cautions,
        "page_only": [file_stems(episode.cards)[still.id] for still in episode.stills if not still.on_film],
        "titles": {file_stems(episode.cards)[still.id]: heading_of(still) for still in episode.stills},
        "segments": [segment_facts(s, episode, starts.get(s.name, s.start_s), spell_units) for s in episode.segments],
    }


def segment_facts(s: Segment, episode: Episode, start_s: float, word: Callable[[str], str] = str) -> dict[str, Any]:
    """Return what the templates are given of a segment; `word`: how its sentences are written."""
    numbers = file_stems(episode.cards)
    holds, lengths_s = {card.id: card.hold_s for card in episode.stills}, lengths_of(episode.sounds)
    played = {fact["stem"]: fact for each in episode.sounds for fact in sound_facts(each)}
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
                "sentences": [word(sentence) for sentence in beat.sentences],
                "sounds": [played[stem] for stem in beat.sounds],
                "hold_s": plan_beat(beat, episode.session, holds, lengths_s)[0],
            }
            for beat in s.beats
        ],
        # the same, by kind
        "sentences": [word(sentence) for sentence in s.sentences],
        "card_files": [numbers[c] for c in s.cards],
        "notes": [{"text": note.text, "place": _place(note)} for note in s.notes if note.text],
    }


def sound_facts(sound: PlayedSound) -> list[dict[str, Any]]:
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
