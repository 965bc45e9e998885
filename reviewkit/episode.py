"""Notes, sentences and cards put into segments, in order and timed; and the chapters that follow from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from reviewkit import spoken
from reviewkit.model import Chapter, Note, Notes, Run, Segment, Session

TITLES = {
    "opening": "Opening",
    "history": "History",
    "front": "The front",
    "rear": "The rear",
    "inside": "Inside",
    "fault": "The fault",
    "before": "Before the repair",
    "repair": "The repair",
    "after": "After the repair",
    "listening": "Listening",
    "verdict": "The verdict",
    "value": "What it is worth",
    "closing": "Closing",
}
ORDER = tuple(TITLES)
# the segments in which a viewer sees an open chassis, and those in which it is driven at power
OPEN_CHASSIS = ("inside", "fault", "repair")
AT_POWER = ("before", "after", "bench")
_CARD_SEGMENTS = {"title": "opening", "rated": "history", "repair": "repair", "table": "verdict", "closing": "closing"}
# no chapter may be shorter (common practice of video platforms, no standard), so no segment is planned shorter
SHORTEST_S = 10.0


def segment_of_run(run: Run) -> str:
    """Where a measurement is talked about: before or after the repair; where nothing was mended, on the bench."""
    return "before" if run.conditions.measurement.stage == "before" else "after"


def segment_of_card(card_id: str, runs: Sequence[Run]) -> str:
    """Where a card is shown when no note calls for it."""
    stem = card_id.rsplit("-", 1)[0] if card_id.rsplit("-", 1)[-1].isdigit() else card_id
    for name in (card_id, stem):
        if name in _CARD_SEGMENTS:
            return _CARD_SEGMENTS[name]
    stages = [segment_of_run(run) for run in runs if run.conditions.measurement.card == card_id]
    return "before" if stages and set(stages) == {"before"} else "after"


def names_in_order(noted: Sequence[str], needed: Sequence[str]) -> list[str]:
    """The segments' order: the known ones as in ORDER; a user's own stands behind the one it follows in the notes."""
    names = [name for name in ORDER if name in noted or name in needed]
    previous = ""
    for name in dict.fromkeys(noted):
        if name not in ORDER:
            names.insert(names.index(previous) + 1 if previous in names else 0, name)
        previous = name
    return names


def title_of(name: str, mended: bool) -> str:
    """A segment's heading."""
    if name == "after" and not mended:
        return "On the bench"
    return TITLES.get(name, name.capitalize())


def assemble(
    session: Session,
    notes: Notes,
    sentences: Mapping[str, Sequence[str]],
    cards: Mapping[str, str],
    cautions: Mapping[str, Sequence[str]],
    mended: bool,
    holds: Mapping[str, float] = MappingProxyType({}),
) -> tuple[Segment, ...]:
    """The segments with their planned times.

    `sentences`: what the bench has to say, by segment; `cards`: card id -> the segment it is shown in unless a note
    calls for it elsewhere; `cautions`: by "open", "repair", "power" and "all"; `holds`: card id -> seconds, where a
    card has its own.
    """
    kept = [note for note in notes.notes if not note.cut]
    noted = [note.segment for note in kept if note.segment]
    # notes before the first named segment belong to the opening
    by_segment: dict[str, list[Note]] = {}
    for note in kept:
        by_segment.setdefault(note.segment or "opening", []).append(note)
    called = {
        name: list(dict.fromkeys(c for note in by_note for c in note.cards)) for name, by_note in by_segment.items()
    }
    everywhere = {card for found in called.values() for card in found}
    needed = (
        [name for name, said in sentences.items() if said]
        + [segment for card, segment in cards.items() if card not in everywhere]
        + (["opening"] if "opening" in by_segment else [])
    )
    if not mended and "bench" in noted and "after" not in noted:
        # nothing was mended: a segment that the user calls bench is the one in which the bench speaks
        sentences = {("bench" if name == "after" else name): said for name, said in sentences.items()}
        cards = {card: ("bench" if name == "after" else name) for card, name in cards.items()}
        needed = ["bench" if name == "after" else name for name in needed]
    names = names_in_order(noted, needed)
    warned = _cautions_by_segment(names, cautions)
    segments, start_s, said_before = [], 0.0, set[str]()
    for name in names:
        own = [s for s in dict.fromkeys(sentences.get(name, ())) if s not in said_before]
        said_before.update(own)
        shown = list(called.get(name, []))
        shown += [card for card, segment in cards.items() if segment == name and card not in everywhere]
        held_s = [holds[card] for card in shown if card in holds]
        length_s = planned_length(
            session, by_segment.get(name, ()), own, warned.get(name, ()), len(shown) - len(held_s), sum(held_s)
        )
        segments.append(
            Segment(
                name,
                title_of(name, mended),
                start_s,
                length_s,
                tuple(by_segment.get(name, ())),
                tuple(own),
                tuple(shown),
                tuple(warned.get(name, ())),
            )
        )
        start_s += length_s
    return tuple(segments)


def planned_length(
    session: Session,
    notes: Sequence[Note],
    sentences: Sequence[str],
    cautions: Sequence[str],
    cards: int,
    held_s: float = 0.0,
) -> float:
    """Whole seconds for what is said, figures as spoken, or for holding the cards, whichever is longer.

    `cards`: how many are held for the episode's card_seconds; `held_s`: what the others are held in all.
    """
    count = sum(spoken.words(text) for text in [*(note.text for note in notes), *sentences, *cautions])
    talking_s = 60 * count / session.episode.words_per_minute
    return float(round(max(talking_s, cards * session.episode.card_seconds + held_s, SHORTEST_S)))


def _cautions_by_segment(names: Sequence[str], cautions: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """Each caution once, where it is first needed."""
    placed: dict[str, list[str]] = {}
    for topic, segments in (("open", OPEN_CHASSIS), ("repair", ("repair", "fault")), ("power", AT_POWER)):
        first = next((name for name in names if name in segments), None)
        if first:
            placed.setdefault(first, []).extend(cautions.get(topic, ()))
    return placed


def chapters_of(segments: Sequence[Segment], final: Sequence[tuple[float, str]], mended: bool) -> tuple[Chapter, ...]:
    """The chapters: the final cut's times where they are known, else the planned ones."""
    if final:
        return tuple(Chapter(start_s, title_of(name, mended)) for start_s, name in final)
    return tuple(Chapter(segment.start_s, segment.title) for segment in segments)


def chapters_fault(chapters: Sequence[Chapter], end_s: float) -> str:
    """Why a list of chapters would be ignored by the common rules of video platforms (common practice), or ""."""
    if len(chapters) < 3:
        return f"a description needs at least three chapters, not {len(chapters)}"
    if chapters[0].start_s != 0:
        return "the first chapter must begin at 0:00"
    starts = [int(chapter.start_s) for chapter in chapters] + [int(end_s)]
    for chapter, start, following in zip(chapters, starts, starts[1:], strict=False):
        if following - start < SHORTEST_S:
            return f'each chapter must last at least ten seconds, "{chapter.title}" lasts {max(0, following - start)}'
    return ""


def clock(seconds: float) -> str:
    """A time as M:SS, or H:MM:SS from an hour on."""
    whole = int(seconds)
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"
