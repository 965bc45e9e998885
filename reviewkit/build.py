"""From a session folder to what lies in its out/: everything is made before the first of it is moved in."""

from __future__ import annotations

import atexit
import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from reviewkit import record
from reviewkit.bench_file import Gathered
from reviewkit.bench_runs import Take
from reviewkit.errors import Fault, InputError, nearest
from reviewkit.kept import Kept
from reviewkit.model import Card
from reviewkit.options import Options
from reviewkit.pipeline import Prepared, prepare, session_pages
from reviewkit.published import FILE_NAME, corrections, published, told
from reviewkit.record import Record
from reviewkit.remembered import Once, anew
from reviewkit.render import outputs, plan_page, tables
from reviewkit.render.card import Order
from reviewkit.render.clip import Motion
from reviewkit.render.contact_sheet import contact_sheet
from reviewkit.render.deliver import Incoming, alone, deliver
from reviewkit.render.ffmpeg import found
from reviewkit.render.look import LOOKS, Look
from reviewkit.render.own_files import PICTURES, refuse_to_replace
from reviewkit.render.paint import Fonts
from reviewkit.render.thumbnail import shown, thumbnail
from reviewkit.render.timeline import timeline_file
from reviewkit.render.workers import Drawn, Task, Workers
from reviewkit.stamps import Stamp, digest
from reviewkit.whole_files import write_whole

Progress = Callable[[str, int, int], None]
# where each picture of a card is put, by its kind; what is kept for a later build goes by the card's own name
_PLACES = {
    **PICTURES,
    "page": f"{record.KEPT}/{{id}}.page",
    "small": f"{record.KEPT}/{{id}}.small",
}


@dataclass(frozen=True)
class Ready:
    """A build whose outputs are all made and not yet moved in. `files`: path in `out` -> content, or where it lies;
    `digests`: what tells each from any other; `said`: what there is to say of it; `made_from`: what is recorded of a
    whole build; `stamps`: of its inputs; `published`: what is to be remembered of a publication, and where; `inputs`:
    the files that it read or looked for; `adopt`: whether it may replace files that no build made.
    """

    out: Path
    files: Mapping[str, bytes | Path]
    digests: Mapping[str, str]
    said: tuple[str, ...]
    made_from: Record | None
    stamps: tuple[Stamp, ...]
    published: tuple[Path, bytes] | None
    prepared: Prepared | None
    inputs: tuple[Path, ...] = ()
    adopt: bool = False


@dataclass(frozen=True)
class Built:
    """What a build did. `files`: every output with its digest; `new`: how many of them are not as they were."""

    out: Path
    files: Mapping[str, str]
    new: int
    removed: tuple[str, ...]
    said: tuple[str, ...]


def build(folder: Path, options: Options) -> Built:
    """A session folder → everything in out/. Nothing is moved in before all of it is ready."""
    return hand_over(make(folder, options))


def make(
    folder: Path,
    options: Options,
    progress: Progress = lambda what, done, of: None,
    workers: Workers | None = None,
    remembered: Once | None = None,
    incoming: Incoming | None = None,
    prepared_is: Callable[[Prepared], None] = lambda prepared: None,
) -> Ready:
    """Everything that a build writes, made and checked, nothing moved in yet. `workers`: those begun, if any;
    `remembered`: what this process has worked out before, where that is to be taken over instead of what lies in out/;
    `incoming`: where clips wait. `prepared_is` is told what the outputs will be written from while cards are still
    being drawn.
    """
    wanted: list[Card] = []
    begun: list[Task[Drawn]] = []
    workers = workers or Workers(0)
    out = options.out_of(folder)
    ffmpeg = found() if options.motion else ""  # before anything is drawn
    if options.motion and incoming is None:
        incoming = Incoming(out, atexit.register)
    kept, once = Kept(out, remembered), remembered or anew

    def begin_drawing(cards: Sequence[Card], look: Look, fonts: Fonts, gathered: Gathered) -> None:
        page, episode = None if options.only else LOOKS["brochure"], gathered.session.episode
        motion = (
            Motion(episode.frame_rate, episode.card_seconds, ffmpeg, incoming.path) if incoming and ffmpeg else None
        )
        order = Order(look, options.width, page, not options.only, fonts, options.overlay, strip=True, motion=motion)
        new = [card for card in cards if options.only in ("", card.id)]
        wanted.extend(new)
        begun.extend(kept.begin_drawing(new, order, gathered.type_digests, workers.begin_drawing))

    pages = session_pages(folder, once)
    load_beside = cache(lambda: workers.load_beside(pages.get_ready))

    def elsewhere(take: Take) -> Take:
        taken = workers.elsewhere(take)
        load_beside()  # not before a worker has something to read: until then all wait for this process
        return taken

    prepared = prepare(folder, elsewhere, begin_drawing, once, pages, kept)
    prepared_is(prepared)
    if not wanted:
        known = [card.id for card in prepared.episode.cards]
        raise InputError(Fault("--only", 0, f'no card "{options.only}"; {nearest(options.only, known)}'))
    drawn = _drawn(wanted, workers.finish(begun, lambda done: progress("cards", done, len(begun))))
    episode, inputs = prepared.episode, prepared.gathered.inputs
    read = tuple(folder / name for name in inputs)
    places = _places(episode.cards, drawn)
    files = {place: drawn[card][kind] for card, by_kind in places.items() for kind, place in by_kind.items()}
    if options.only:
        said = outputs.summary(episode)
        return Ready(out, files, _digests(files), said, None, (), None, prepared, read, options.adopt)
    small = [(Path(places[card.id]["cards"]).name, drawn[card.id]["small"]) for card in episode.cards]
    type_digests = prepared.gathered.type_digests
    unit, figure, look, fonts = episode.session.unit, shown(episode), prepared.look, prepared.fonts
    further = {
        "thumbnail.png": kept.begin_picture(
            "thumbnail.png",
            (unit, figure, look, fonts, type_digests),
            lambda: workers.begin(thumbnail, unit, figure, look, fonts),
        ),
        "contact-sheet.png": kept.begin_picture(
            "contact-sheet.png",
            ([name for name, _ in small], kept.looks(*drawn), look, fonts, type_digests),
            lambda: workers.begin(contact_sheet, small, look, fonts),
        ),
    }
    brochure = {card: content for card, by_kind in drawn.items() if isinstance(content := by_kind["page"], bytes)}
    told_now = told(prepared.table, episode.findings)
    corrected = corrections(told_now, prepared.published)
    texts, cut = outputs.texts(episode, prepared.pages, prepared.table, brochure, corrected)
    files |= texts | plan_page.texts(prepared.plan, prepared.pages)
    episode = replace(episode, left_out=(*episode.left_out, *cut))
    files |= {name: workers.wait_for(task) for name, task in further.items()}
    files |= timeline_file(episode, files) | kept.files()
    said = outputs.summary(episode)
    made_from = Record(options.for_record(), inputs, _digests(files), kept.recorded(places), said)
    to_remember = tables.published_json(published(told_now, prepared.published)).encode()
    publication = (folder / FILE_NAME, to_remember) if options.published else None
    stamps = prepared.gathered.stamps
    return Ready(out, files, made_from.outputs, said, made_from, stamps, publication, prepared, read, options.adopt)


def make_all(
    folders: Sequence[Path],
    options: Options,
    progress: Progress,
    workers: Workers,
    at_end: Callable[[Callable[[], None]], object],
) -> list[Ready]:
    """Every session's outputs. One session is shared among the processes card by card, several are made side by side.
    `at_end` takes what must be called once all is moved in, or nothing will be.
    """
    if len(folders) == 1:
        incoming = Incoming(options.out_of(folders[0]), at_end) if options.motion else None
        return [make(folders[0], options, progress, workers, incoming=incoming)]
    waiting = [Incoming(options.out_of(folder), at_end) for folder in folders]
    tasks = [workers.begin(_make_apart, *each, options) for each in zip(folders, waiting, strict=True)]
    made = workers.finish(tasks, lambda done: progress("sessions", done, len(tasks)))
    for ready in made:  # before the first of them is moved in
        refuse_to_replace(ready.out, ready.files, ready.inputs, adopt=ready.adopt)
    return made


def _make_apart(folder: Path, incoming: Incoming, options: Options) -> Ready:
    """`make` for another process: all of it is written there, and told from here where it lies."""
    ready = make(folder, options, incoming=incoming)
    return replace(ready, files=incoming.put(ready.files), prepared=None)


def hand_over(ready: Ready) -> Built:
    """Move what was made into its folder; what lies there already stays as it is."""
    with alone(ready.out):
        last = record.read(ready.out)
        digests = ready.digests
        there = {name for name, made in digests.items() if last and last.has(ready.out, name, made)}
        if ready.made_from is None:
            files, partial = ready.files, True
        else:
            files, partial = {**ready.files, record.FILE_NAME: ready.made_from.written()}, False
        removed = deliver(ready.out, files, partial=partial, there=there, inputs=ready.inputs, adopt=ready.adopt)
        if ready.made_from:
            ready.made_from.mark(ready.out, ready.stamps)
    if ready.published:
        write_whole(*ready.published)
    return Built(ready.out, digests, len(digests) - len(there), tuple(removed), ready.said)


def _places(cards: Sequence[Card], drawn: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, str]]:
    """Where each picture goes, by the card's id, then by its kind."""
    return {
        card.id: {kind: _PLACES[kind].format(number=f"{number:02d}", id=card.id) for kind in drawn[card.id]}
        for number, card in enumerate(cards, start=1)
        if card.id in drawn
    }


def _digests(files: Mapping[str, bytes | Path]) -> dict[str, str]:
    return {
        name: hashlib.sha256(content).hexdigest() if isinstance(content, bytes) else digest(content)
        for name, content in files.items()
    }


def _drawn(cards: Sequence[Card], pictures: Sequence[Drawn]) -> dict[str, dict[str, bytes | Path]]:
    """Each card's pictures, by card. Raises InputError naming every card whose texts do not fit."""
    faults = [Fault("session.toml", 0, why) for why in pictures if isinstance(why, str)]
    if faults:
        raise InputError(faults)
    return {card.id: made for card, made in zip(cards, pictures, strict=True) if not isinstance(made, str)}
