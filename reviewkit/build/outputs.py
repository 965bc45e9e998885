"""The draw and write stages: the pictures of the cards, and every file of out/ in memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from reviewkit.build.cache import Cache
from reviewkit.build.composing import CardSeries, Composed, compose_cards, compose_episode, judge_results
from reviewkit.build.drawing import Pictures, begin_drawing, finish_drawing
from reviewkit.build.making import Making, begin_making, finish_making
from reviewkit.build.options import Options
from reviewkit.build.page_outputs import begin_lead, begin_type, page_pictures
from reviewkit.build.pool import FOR_ONE_SESSION, Pool
from reviewkit.build.session_files import SessionFiles
from reviewkit.build.sound_outputs import begin_compressing, draw_sound_clips
from reviewkit.episode.published import collect_figures, find_corrections, record_published
from reviewkit.model.card import Card
from reviewkit.model.card_files import KINDS as KINDS_OF_FILES
from reviewkit.model.card_files import card_path, file_stems, stills
from reviewkit.model.errors import Fault, InputError, nearest
from reviewkit.model.finding import Run
from reviewkit.model.session import Session
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.contact_sheet import draw_contact_sheet
from reviewkit.render.cards.pictures import Order
from reviewkit.render.cards.thumbnail import choose_thumbnails, draw_thumbnail
from reviewkit.render.footage.clip import Motion
from reviewkit.render.footage.ffmpeg import Encoder
from reviewkit.render.footage.sound_files import write_sounds
from reviewkit.render.footage.timeline import timeline_files
from reviewkit.render.pages import tables, text_outputs
from reviewkit.render.pages.episode_page import render_episode_page
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_page import render_plan

Progress = Callable[[int, int], None]  # called with how many cards are drawn, of how many


@dataclass(frozen=True)
class Clips:
    """The settings for making clips. `folder`: where they are put; `drawn_before`: see `drawing.draw`."""

    encoder: Encoder
    folder: Path
    drawn_before: Mapping[str, Path] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Outputs:
    """The outputs of a build. `files`: by their path in the output folder; clips are files already. `published`: the
    new content of published.json if the figures are those that viewers are given.
    """

    composed: Composed
    files: Mapping[str, bytes | Path]
    summary: tuple[str, ...]
    published: bytes | None = None


def make_outputs(
    files: SessionFiles,
    measured: Sequence[Run],
    options: Options,
    pages: Pages,
    pool: Pool,
    cache: Cache,
    clips: Clips | None,
    progress: Progress,
) -> Outputs:
    """Return everything that a build makes of a session as read and measured.

    Raises
    ------
    InputError
        As composing does, for an unknown card in the options, and for texts that don't fit on a card.
    CannotFinish
        If a clip can't be encoded.
    """
    pool.load(FOR_ONE_SESSION, start=False)
    if not options.only:
        reducing = begin_type(pool, cache)
    series = compose_cards(judge_results(files, measured), options, pages)
    cards = [s for card in series.cards for s in stills((card,)) if options.only in ("", card.id, s.id)]
    if options.only and not cards:
        known = [still.id for still in stills(series.cards)]
        raise InputError(Fault("--only", 0, f'no card "{options.only}"; {nearest(options.only, known)}'))
    order = _order(files.session, series, options, clips, page_png=pages.has_own("episode.html"))
    before = clips.drawn_before if clips else {}
    compressing = begin_compressing(() if options.only else files.sounds, pool, cache)
    drawing = begin_drawing(cards, order, files.type_digests, before, pool, cache)
    composed = compose_episode(series, pages)
    if options.only:
        drawn = finish_drawing(drawing, cache, progress)
        return Outputs(composed, _card_files(series.cards, drawn), text_outputs.summarise(composed.episode))
    episode, type_digests = composed.episode, files.type_digests
    thumbnails = _begin_thumbnails(composed, pool, cache)
    leading = begin_lead(series.cards, files.photo, series.fonts, type_digests, pool, cache)
    figures = collect_figures(series.table, episode.findings)
    texts = text_outputs.render_texts(episode, pages, series.table, find_corrections(figures, files.published))
    outputs: dict[str, bytes | Path] = {
        **texts.files,
        **render_plan(composed.plan, pages),
        **write_sounds(episode.sounds),
    }
    drawn = finish_drawing(drawing, cache, progress)
    sheet = _begin_contact_sheet(series, drawn, order.shapes[0], pool, cache)
    outputs |= {**_card_files(series.cards, drawn), **finish_making(thumbnails, cache)}
    small = {card: content for card, each in drawn.items() if isinstance(content := each.get("prompter"), bytes)}
    outputs["prompter.html"] = text_outputs.render_prompter(episode, pages, small)
    outputs["episode.html"] = render_episode_page(
        episode,
        pages,
        series.table,
        texts.table,
        page_pictures(series.cards, drawn, finish_making(leading, cache)),
        finish_making(compressing, cache),
        finish_making(reducing, cache),
    )
    outputs |= finish_making(sheet, cache)
    outputs |= timeline_files(episode, outputs)
    outputs |= draw_sound_clips(episode, order, type_digests, before, cache)
    published = (
        tables.format_published_json(record_published(figures, files.published)).encode() if options.published else None
    )
    return Outputs(
        composed,
        outputs,
        text_outputs.summarise(replace(episode, left_out=(*episode.left_out, *texts.shortened))),
        published,
    )


def _order(session: Session, series: CardSeries, options: Options, clips: Clips | None, *, page_png: bool) -> Order:
    """Return which pictures of each card are wanted."""
    whole, settings = not options.only, session.episode
    return Order(
        series.look,
        options.width,
        LOOKS["brochure"] if whole else None,
        whole and page_png,
        whole,
        series.fonts,
        options.overlay,
        strip=True,
        motion=Motion(settings.frame_rate, settings.card_seconds, clips.encoder, clips.folder) if clips else None,
        shapes=options.shapes_of(settings),
    )


def _begin_thumbnails(composed: Composed, pool: Pool, cache: Cache) -> Making:
    """Have the thumbnails to choose from drawn."""
    series, files = composed.series, composed.files
    chosen = choose_thumbnails(composed.episode, files.photo, files.mark)
    given = {name: (what, series.look, series.fonts) for name, what in chosen.items()}
    return begin_making(draw_thumbnail, given, pool, cache, files.type_digests)


def _begin_contact_sheet(
    series: CardSeries, drawn: Mapping[str, Pictures], shape: str, pool: Pool, cache: Cache
) -> Making:
    """Have the contact sheet drawn from small pictures of the cards."""
    small = [(f"{stem}.png", drawn[card]["small"]) for card, stem in file_stems(series.cards).items()]
    given = {"contact-sheet.png": (small, series.look, series.fonts, shape)}
    return begin_making(draw_contact_sheet, given, pool, cache, series.results.files.type_digests)


def _card_files(cards: Sequence[Card], drawn: Mapping[str, Pictures]) -> dict[str, bytes | Path]:
    """Return the pictures of cards by their path in the output folder."""
    return {
        card_path(kind, stem): content
        for card, stem in file_stems(cards).items()
        for kind, content in drawn.get(card, {}).items()
        if kind in KINDS_OF_FILES
    }
