"""Notes, sentences and cards assembled into timed segments, and the chapters that follow from them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence

from reviewkit.episode.chapters import ASKED, RADIO, find_leads, segment_of_still
from reviewkit.episode.stills import BEFORE
from reviewkit.episode.wording import Speaker
from reviewkit.model import spoken
from reviewkit.model.card import Card
from reviewkit.model.card_files import SESSION_CARDS, stills
from reviewkit.model.episode import Beat, Chapter, Segment, Sentence
from reviewkit.model.finding import Run
from reviewkit.model.gear import Gear
from reviewkit.model.notes import Note, Notes
from reviewkit.model.session import Session
from reviewkit.model.sound import BOTH, SIDES, PlayedSound, lengths_of

# the segments in the order of the story: the symptom, what it is, a look around, the symptom measured, the hunt, the
# part, the same test again, what viewers ask of the rest, the verdict
ORDER = (
    *("opening", "history", "front", "rear", "inside", "before", "fault", "repair", "after", "listening"),
    *ASKED,
    *(RADIO, "verdict", "value", "closing"),
)
AS_FOUND = ORDER[: ORDER.index("repair") + 1]  # nothing from after the repair is shown or played there
# segments that show an open chassis, and segments in which it is driven at power
OPEN_CHASSIS = ("inside", "fault", "repair")
AT_POWER = ("before", "after", "bench", *ASKED)
# no chapter may be shorter (common practice of video platforms, no standard), so no segment is planned shorter
SHORTEST_S = 10.0
LONGEST_S = 240.0  # of a segment before it is flagged; a judgement, no source
JOINED_S = 20.0  # a front and a rear that are both shorter are one look around; a judgement, no source
MOST_SILENT_S = 12.0  # longest hold of cards without narration before a segment is flagged; a judgement, no source


def segment_of_run(run: Run) -> str:
    """Return the segment of a measurement: before or after the repair; on the bench if nothing was repaired."""
    return "before" if run.conditions.measurement.stage == "before" else "after"


def segments_before_repair(notes: Notes) -> set[str]:
    """Return the segments of a film of a repair that come before it, as far as they are known or noted."""
    names = order_segments([note.segment for note in notes.notes if note.segment and not note.cut], ["repair", *ORDER])
    return set(names[: names.index("repair")])


def story_order(gear: Gear | None) -> tuple[str, ...]:
    """Return the segments in the order of the story, with what is asked of this type of gear in its own order."""
    asked = gear.asked if gear else ASKED
    first = ORDER.index(ASKED[0])
    return (*ORDER[:first], *asked, *ORDER[first + len(ASKED) :])


def order_segments(noted: Sequence[str], needed: Sequence[str], order: Sequence[str] = ORDER) -> list[str]:
    """Order the segments: known ones as in `order`, the user's own after the one they follow in the notes."""
    names = [name for name in order if name in noted or name in needed]
    previous = ""
    for name in dict.fromkeys(noted):
        if name not in ORDER:
            names.insert(names.index(previous) + 1 if previous in names else 0, name)
        previous = name
    return names


def title_of(name: str, titles: Mapping[str, str]) -> str:
    """Return a segment's title: as the notes or the templates word it, else its name."""
    return titles.get(name) or name.capitalize()


def assemble(
    session: Session,
    notes: Notes,
    said: Mapping[str, Sequence[Sentence]],
    cards: Sequence[Card],
    cautions: Mapping[str, Sequence[str]],
    repaired: bool,
    titles: Mapping[str, str],
    sounds: Sequence[PlayedSound] = (),
) -> tuple[Segment, ...]:
    """Assemble the segments with their planned times.

    Parameters
    ----------
    session : Session
        The session.
    notes : Notes
        Its notes.
    said : mapping of str to sequence of Sentence
        What the bench has to say, by segment.
    cards : sequence of Card
        The cards in order. Sentences about other measurements are left out.
    cautions : mapping of str to sequence of str
        By the topics of templates/words/cautions.j2; those of "all" are spoken before everything else, in the first
        segment's time.
    repaired : bool
        True if something was repaired.
    titles : mapping of str to str
        By segment; those of the user's own have their name.
    sounds : sequence of PlayedSound
        The sounds.

    Returns
    -------
    tuple of Segment
        The segments in order.
    """
    kept = [note for note in notes.notes if not note.cut]
    noted = [note.segment for note in kept if note.segment]
    # notes before the first named segment belong to the opening
    by_segment: dict[str, list[Note]] = {}
    for note in kept:
        by_segment.setdefault(note.segment or "opening", []).append(note)
    called = {card for note in kept for card in note.cards}
    shown_stills = stills(cards)
    leads = find_leads(cards)
    said = _of_the_shown(said, shown_stills, leads)
    places = {still.id: segment_of_still(still) for still in shown_stills if still.id not in called}
    heard = _place_sounds(sounds, kept)
    if not repaired and "bench" in noted and "after" not in noted:
        # nothing was repaired: the measurements go into a segment that the user calls bench
        to_bench = dict.fromkeys(("after", *ASKED, RADIO), "bench")
        said = {to_bench.get(name, name): sentences for name, sentences in said.items()}
        places = {card: to_bench.get(name, name) for card, name in places.items()}
        heard = {stem: to_bench.get(name, name) for stem, name in heard.items()}
    said = _move_to_shown(said, kept, places, cards, leads)
    needed = [
        *(name for name, sentences in said.items() if sentences),
        *places.values(),
        *heard.values(),
        *(["opening"] if "opening" in by_segment else []),
    ]
    names = order_segments(noted, needed, story_order(session.unit.gear))
    sounding = {*heard.values(), *(name for name, notes in by_segment.items() if any(note.sounds for note in notes))}
    warned = _cautions_by_segment(names, cautions, sounding, repaired=repaired)
    lengths_s, holds = lengths_of(sounds), {still.id: still.hold_s for still in shown_stills}
    together = _BeatBuilder(cards, called, leads)
    segments: list[Segment] = []
    start_s, said_before = 0.0, set[Sentence]()
    for name in names:
        own = [one for one in dict.fromkeys(said.get(name, ())) if one not in said_before]
        said_before.update(own)
        shown = [card for card, place in places.items() if place == name]
        beats = (
            *together.beats(by_segment.get(name, ()), own, shown),
            *(Beat(sounds=(stem,)) for stem, place in heard.items() if place == name),
        )
        said_too = [*(cautions.get("all", ()) if not segments else ()), *warned.get(name, ())]
        length_s, flag = _plan_length(session, beats, said_too, holds, lengths_s)
        title, own_cautions = title_of(name, titles), tuple(warned.get(name, ()))
        last = segments[-1] if segments else None
        if name == "rear" and last and last.name == "front" and max(length_s, last.length_s) < JOINED_S:
            del segments[-1]
            name, title, start_s = last.name, title_of("around", titles), last.start_s
            beats, own_cautions = (*last.beats, *beats), (*last.cautions, *own_cautions)
            length_s, flag = _plan_length(session, beats, own_cautions, holds, lengths_s)
        segments.append(Segment(name, title, start_s, length_s, beats, own_cautions, flag))
        start_s += length_s
    return tuple(segments)


def _of_the_shown(
    said: Mapping[str, Sequence[Sentence]], shown: Sequence[Card], leads: Mapping[str, str]
) -> dict[str, list[Sentence]]:
    """Return the sentences without those about measurements of which nothing is shown in that stage."""
    shown_before = {leads[still.id] for still in shown if still.stage == BEFORE}
    shown_later = {leads[still.id] for still in shown if still.stage != BEFORE}
    kept = {"", *SESSION_CARDS}
    return {
        name: [one for one in sentences if one.card in kept | (shown_before if name == "before" else shown_later)]
        for name, sentences in said.items()
    }


def _move_to_shown(
    said: Mapping[str, Sequence[Sentence]],
    notes: Sequence[Note],
    places: Mapping[str, str],
    cards: Sequence[Card],
    leads: Mapping[str, str],
) -> dict[str, list[Sentence]]:
    """Move sentences to the segment in which a note shows their card, unless one does so in their own; without a note
    to where it is shown anyway.

    Those about the time before the repair go with the card as found, all others with the card after it.
    """
    found = {card.found.id for card in cards if card.found} | {card.id for card in cards if card.stage == BEFORE}
    shown_in: dict[tuple[str, bool], list[str]] = {}
    for note in notes:
        for card in note.cards:
            if card in leads:
                shown_in.setdefault((leads[card], card in found), []).append(note.segment or "opening")
    for card, place in places.items():
        if card in leads:
            shown_in.setdefault((leads[card], card in found), [place])
    moved: dict[str, list[Sentence]] = {}
    for name, sentences in said.items():
        for one in sentences:
            shown = shown_in.get((one.card, name == "before"), [name])
            moved.setdefault(name if name in shown else shown[0], []).append(one)
    return moved


def _place_sounds(sounds: Sequence[PlayedSound], notes: Sequence[Note]) -> dict[str, str]:
    """Return the segments of the sounds that no note calls for, by the stems of their files: as found before the
    repair, then both together.
    """
    called = {stem for note in notes for stem in note.sounds}
    last = "listening" if any(note.segment == "listening" for note in notes) else "after"
    return {
        each.stem(part): place
        for each in sounds
        if not called & {each.stem(part) for part in each.lengths_s}
        for part, place in ((SIDES[0], "before"), (BOTH, last))
    }


class _BeatBuilder:
    """Assembles beats: a note, the cards it calls for, the sentences about them."""

    def __init__(self, cards: Sequence[Card], called: Collection[str], leads: Mapping[str, str]) -> None:
        self._first, self._speaker = leads, Speaker()
        self._found = {card.found.id for card in cards if card.found}
        self._rest: dict[str, list[str]] = {}  # cards that continue a first one, unless a note calls for them
        for card in cards:
            first = self._first[card.id]
            if first != card.id and first in self._first and card.id not in called:
                self._rest.setdefault(first, []).append(card.id)
        self._leading = set(self._first) - {card for rest in self._rest.values() for card in rest}
        self._shown: dict[str, tuple[str, ...]] = {}  # the first card of each series shown so far, and its still

    def beats(self, notes: Sequence[Note], said: Sequence[Sentence], shown: Sequence[str]) -> Iterator[Beat]:
        """Yield the beats of one segment.

        The notes come first, in order; then sentences about cards of an earlier segment, shown again; then the cards
        that no note calls for, first those that were shown as found; then the remaining sentences.

        Parameters
        ----------
        notes : sequence of Note
            The segment's notes.
        said : sequence of Sentence
            Its sentences.
        shown : sequence of str
            Ids of its cards that no note in any segment calls for.

        Yields
        ------
        Beat
            A beat.
        """
        left, earlier, here = list(said), dict(self._shown), [card for note in notes for card in note.cards]
        for still in (*here, *shown):
            first = self._first.get(still, still)
            self._shown[first] = () if still in self._found else (still,)
        for note in notes:
            cards = self._with_rest(note.cards)
            yield Beat(note, self._remove(left, cards), cards, note.sounds)
        follow = {self._first[still] for still in shown}
        for first, still_shown in earlier.items():
            again = () if first in follow else self._remove(left, (first,))
            if again:
                yield Beat(None, again, still_shown)
        places = {first: place for place, first in enumerate(earlier)}
        for card in sorted(shown, key=lambda card: places.get(self._first[card], len(places))):
            if card in self._leading:
                cards = self._with_rest((card,))
                yield Beat(None, self._remove(left, cards), cards)
        while left:
            card = left[0].card
            together = [one for one in left if one.card == card]
            left = [one for one in left if one.card != card]
            yield Beat(None, tuple(map(self._speaker.word, together)), (card,) if card in self._first else ())

    def _with_rest(self, cards: Sequence[str]) -> tuple[str, ...]:
        """Return cards with those that follow them and haven't been shown yet."""
        return tuple(dict.fromkeys(one for card in cards for one in (card, *self._rest.pop(card, ()))))

    def _remove(self, left: list[Sentence], cards: Sequence[str]) -> tuple[str, ...]:
        """Remove the sentences about these cards from the remaining ones and return them."""
        firsts = {self._first.get(card, card) for card in cards}
        removed = [one for one in left if one.card in firsts]
        left[:] = [one for one in left if one.card not in firsts]
        return tuple(map(self._speaker.word, removed))


def _talking_s(texts: Sequence[str], session: Session) -> float:
    return sum(spoken.words(text) for text in texts) * 60 / session.episode.words_per_minute


def plan_beat(
    beat: Beat, session: Session, holds: Mapping[str, float | None], lengths_s: Mapping[str, float]
) -> tuple[float, float]:
    """Return how long a beat takes, and how much of that its cards are on screen with nothing said, s.

    It takes as long as its words, figures as spoken, and its sounds, or as its cards if they stay on screen longer.
    """
    heard_s = _talking_s([*([beat.note.text] if beat.note else []), *beat.sentences], session)
    heard_s += sum(lengths_s[stem] for stem in beat.sounds)
    held_s = sum(holds.get(card) or session.episode.card_seconds for card in beat.cards)
    return max(heard_s, held_s), max(held_s - heard_s, 0.0)


def _plan_length(
    session: Session,
    beats: Sequence[Beat],
    cautions: Sequence[str],
    holds: Mapping[str, float | None],
    lengths_s: Mapping[str, float],
) -> tuple[float, str]:
    """Return a segment's length in whole seconds, and why it needs attention ("" if it doesn't)."""
    planned = [plan_beat(beat, session, holds, lengths_s) for beat in beats]
    whole_s = _talking_s(cautions, session) + sum(length_s for length_s, _ in planned)
    silent_s = sum(silence_s for _, silence_s in planned)
    length_s = float(math.ceil(max(whole_s, SHORTEST_S) - 1e-6))
    if length_s > LONGEST_S:
        return length_s, f"long: over {format_clock(LONGEST_S)}; split it, or leave some cards to the page"
    if silent_s >= MOST_SILENT_S:
        return (
            length_s,
            f"few words: cards are shown for {round(silent_s)} s with nothing said; add notes or leave some out",
        )
    return length_s, ""


def _cautions_by_segment(
    names: Sequence[str], cautions: Mapping[str, Sequence[str]], sounding: Collection[str], *, repaired: bool
) -> dict[str, list[str]]:
    """Place each caution where it is first needed; later, the short form for an open chassis, cold or live.

    `sounding`: the segments with sounds.
    """
    placed: dict[str, list[str]] = {}

    def place(name: str | None, topic: str) -> None:
        if name:
            placed.setdefault(name, []).extend(cautions.get(topic, ()))

    powered = ("before", "fault", "repair") if repaired else ("fault", "repair")
    first_powered = next((name for name in names if name in powered), None) if "repair" in cautions else None
    opened = [name for name in names if name in OPEN_CHASSIS]
    # whoever switches it on for the first time reads its rails, so its cover is off
    first_opened = next((name for name in names if name in (*opened, first_powered)), None)
    place(first_opened, "open")
    warm = {"fault": "live", "repair": "settings"}  # where it was read or adjusted with the power on
    for name in opened:
        if (topic := warm.get(name, "")) in cautions:
            place(name, topic)
        elif name != first_opened:
            place(name, "cold")
    place(first_powered, "repair")
    place(next((name for name in names if name in AT_POWER), None), "power")
    place(next((name for name in names if name in sounding), None), "sound")
    return placed


def make_chapters(
    segments: Sequence[Segment], final: Sequence[tuple[float, str]], titles: Mapping[str, str]
) -> tuple[Chapter, ...]:
    """Return the chapters: the final cut's if known, else the planned ones."""
    if final:
        planned = {segment.name: segment.title for segment in segments}
        return tuple(Chapter(start_s, planned.get(name) or title_of(name, titles), name) for start_s, name in final)
    return tuple(Chapter(segment.start_s, segment.title, segment.name) for segment in segments)


def find_chapters_fault(chapters: Sequence[Chapter], end_s: float) -> str:
    """Return why video platforms would ignore a list of chapters (common practice, no source), or ""."""
    if len(chapters) < 3:
        return f"a description needs at least three chapters, not {len(chapters)}"
    if chapters[0].start_s != 0:
        return "the first chapter must begin at 0:00"
    starts = [int(chapter.start_s) for chapter in chapters] + [int(end_s)]
    for chapter, start, following in zip(chapters, starts, starts[1:], strict=False):
        if following - start < SHORTEST_S:
            return f'each chapter must last at least ten seconds, "{chapter.title}" lasts {max(0, following - start)}'
    return ""


def format_clock(seconds: float) -> str:
    """Format a time as M:SS, or H:MM:SS from an hour on."""
    whole = int(seconds)
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"
