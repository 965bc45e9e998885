"""timeline.otio: the noted clips in a row, the cards above them where notes call for them, and markers.

All positions are whole frames, computed from exact seconds. Markers are on the clips, in the clip's own time, so that
they move with the clip. A segment's marker spans its footage: even a clip that was trimmed at its head shows which
segment it belongs to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from importlib.util import find_spec
from typing import Any
from urllib.parse import quote

from reviewkit.model.card import Card
from reviewkit.model.card_files import file_stems, film_path
from reviewkit.model.episode import Episode
from reviewkit.model.notes import Clip, Note
from reviewkit.model.timecode import exact, frame_of_clock, nearest_frame
from reviewkit.render.footage.clip import count_frames

FILE_NAME = "timeline.otio"
LEFT_OUT = f"{FILE_NAME}: left out; pip install 'bench-reviewkit[timeline]'"
LEAST_S = (
    3  # least hold of a card, however soon the next is called for: its clip needs it to draw (a judgement, no source)
)
LONGEST_NAME = (
    60  # of a marker, in characters; its comment has the full text. A segment's name is read back, so it isn't cut
)
_COLOURS = {"segment": "GREEN", "note": "CYAN", "bad take": "RED"}  # as otio.schema.MarkerColor names them


@dataclass(frozen=True)
class _Marker:
    """A marker on a clip, in frames from the clip's first."""

    what: str  # segment, note or bad take
    words: str
    start: int
    length: int
    ids: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _TrackItem:
    """An item on a track, in frames; `first`, `available`: start and length of its medium."""

    name: str
    url: str
    start: int
    length: int
    first: int
    available: int
    marks: tuple[_Marker, ...] = ()
    ids: dict[str, str] = field(default_factory=dict)
    by_clock: bool = False  # `first` is the clock's


def missing_library() -> tuple[str, ...]:
    """Return how to get a timeline if its library isn't installed. The library isn't imported."""
    return () if find_spec("opentimelineio") else (LEFT_OUT,)


def timeline_files(episode: Episode, outputs: Collection[str]) -> dict[str, bytes]:
    """Return the timeline by its file name; nothing without the library.

    Parameters
    ----------
    episode : Episode
        The episode.
    outputs : collection of str
        Paths of the files in the build, including those of animated cards.

    Returns
    -------
    dict of str to bytes
        The file.
    """
    if missing_library():
        return {}
    import opentimelineio as otio

    return {FILE_NAME: build_timeline(otio, episode, outputs).encode()}


def build_timeline(otio: Any, episode: Episode, outputs: Collection[str]) -> str:
    """Return the timeline's text. The same episode gives the same text."""
    rate = episode.session.episode.frame_rate
    footage = _place_clips(episode, rate)
    shown = _place_cards(episode, footage, outputs, rate)
    settings, unit = episode.session.episode, episode.session.unit
    written = _TimelineObjects(otio, rate)
    whole = otio.schema.Timeline(settings.title or unit.name)
    if footage and footage[0].by_clock:
        whole.global_start_time = written.time(footage[0].first)
    kinds = otio.schema.TrackKind
    heard = [replace(clip, marks=()) for clip in footage if clip.url]
    for name, kind, placed in (
        ("clips", kinds.Video, footage),
        ("cards", kinds.Video, shown),
        ("sound of the clips", kinds.Audio, heard),
    ):
        if placed:
            whole.tracks.append(written.track(name, kind, placed))
    return f"{whole.to_json_string(indent=1)}\n"


# ------------------------------------------------------------------ positions


def _place_clips(episode: Episode, rate: Fraction) -> list[_TrackItem]:
    """Place the clips in the notes' order, end to end: time between two of them isn't part of the film."""
    notes = episode.notes
    clips = list(notes.clips)
    if any(not note.clip for note in notes.notes):
        clips.insert(0, Clip(""))
    tail_s = exact(episode.session.episode.card_seconds)
    placed: list[_TrackItem] = []
    start, segment = 0, ""
    for clip in clips:
        own = [note for note in notes.notes if note.clip == clip.name]
        # without a noted length: up to the last note, plus a card's hold
        until_s = max((exact(note.at_s) for note in own), default=Fraction(0)) + tail_s
        length = max(nearest_frame(until_s if clip.length_s is None else exact(clip.length_s), rate), 1)
        marks, segment = _marks(own, segment, length, rate)
        placed.append(
            _TrackItem(
                name=clip.name or "footage of no named clip",
                url=quote(clip.name),
                start=start,
                length=length,
                first=0 if clip.starts_s is None else frame_of_clock(exact(clip.starts_s), rate),
                available=length,
                marks=marks,
                ids={"clip": clip.name} if clip.name else {},
                by_clock=clip.starts_s is not None,
            )
        )
        start += length
    return placed


def _marks(notes: Sequence[Note], segment: str, length: int, rate: Fraction) -> tuple[tuple[_Marker, ...], str]:
    """Return a clip's markers in order, and the segment that it ends in, given the previous clip's."""
    marks: list[_Marker] = []
    begins: list[tuple[int, str]] = []
    for note in notes:
        at = _frame_of(note, length, rate)
        ids = {"note": str(note.line)}
        if note.cut:
            marks.append(_Marker("bad take", note.text, at, 1, ids))
            continue
        if (named := note.segment or "opening") != segment:
            segment = named
            begins.append((at, named))
        if note.text or note.cards:
            marks.append(_Marker("note", note.text or f"card {', '.join(note.cards)}", at, 1, ids))
    ends = [at for at, _ in (*begins[1:], (length, ""))] if begins else []
    spans = [
        _Marker("segment", name, at, end - at, {"segment": name})
        for (at, name), end in zip(begins, ends, strict=True)
        if end > at  # otherwise another segment was named at the same time
    ]
    return tuple(sorted((*spans, *marks), key=lambda mark: mark.start)), segment


def _frame_of(note: Note, length: int, rate: Fraction) -> int:
    return min(nearest_frame(exact(note.at_s), rate), length - 1)


def _place_cards(
    episode: Episode, footage: Sequence[_TrackItem], outputs: Collection[str], rate: Fraction
) -> list[_TrackItem]:
    """Place the cards that notes call for at their times, then the others at the end, in the outline's order."""
    names = file_stems(episode.cards)
    holds = {card.id: _hold_frames(card, episode, rate) for card in episode.stills}

    def put(card: str, start: int, length: int, marks: tuple[_Marker, ...] = ()) -> _TrackItem:
        url = film_path(names[card], outputs)
        return _TrackItem(names[card], quote(url), start, length, 0, holds[card], marks, {"card": card})

    calls = _card_calls(episode, footage, rate)
    placed = [put(*place) for place in _schedule(calls, holds, nearest_frame(Fraction(LEAST_S), rate))]
    free = max((one.start + one.length for one in (*placed, *footage)), default=0)
    done = {card for _, cards in calls for card in cards}
    noted = {mark.words for clip in footage for mark in clip.marks if mark.what == "segment"}
    for segment in episode.segments:
        for card in segment.cards:
            if card not in done:
                begin = _Marker("segment", segment.name, 0, holds[card], {"segment": segment.name})
                placed.append(put(card, free, holds[card], () if segment.name in noted else (begin,)))
                free += holds[card]
                done.add(card)
                noted.add(segment.name)
    return placed


def _card_calls(episode: Episode, footage: Sequence[_TrackItem], rate: Fraction) -> list[tuple[int, tuple[str, ...]]]:
    """Return each note that calls for cards as (frame on the timeline, cards), with continuation cards."""
    called = {beat.note: beat.cards for segment in episode.segments for beat in segment.beats if beat.note}
    clips = {placed.ids.get("clip", ""): placed for placed in footage}
    return [
        (clips[note.clip].start + _frame_of(note, clips[note.clip].length, rate), cards)
        for note in episode.notes.notes
        if not note.cut and (cards := called.get(note, ()))
    ]


def _schedule(
    calls: Sequence[tuple[int, tuple[str, ...]]], holds: Mapping[str, int], least: int
) -> Iterator[tuple[str, int, int]]:
    """Yield each card with its first frame and its length.

    If the next call comes before a card's hold is over, the card is cut short, for the narration has moved on. Cards of
    one note share the time; none is shorter than `least`, and what follows then waits.
    """
    free = 0
    for number, (at, cards) in enumerate(calls):
        start, whole = max(at, free), sum(holds[card] for card in cards)
        room = min(max(calls[number + 1][0] - start, 0), whole) if number + 1 < len(calls) else whole
        for card in cards:
            length = max(holds[card] * room // whole, min(holds[card], least))
            yield card, start, length
            start += length
        free = start


def _hold_frames(card: Card, episode: Episode, rate: Fraction) -> int:
    """Return the number of frames that a card stays on screen, which is the length of its clip."""
    return count_frames(card.hold_s or episode.session.episode.card_seconds, rate)


# ------------------------------------------------------------------ library objects


class _TimelineObjects:
    """Converts items into the library's objects. Its rates are floats, its values whole frames: no error adds up."""

    def __init__(self, otio: Any, rate: Fraction) -> None:
        self.otio = otio
        self.rate = float(rate)

    def time(self, frames: int) -> Any:
        """Return a time in frames."""
        return self.otio.opentime.RationalTime(frames, self.rate)

    def track(self, name: str, kind: str, placed: Sequence[_TrackItem]) -> Any:
        """Return a track with gaps between its items."""
        track = self.otio.schema.Track(name, kind=kind)
        at = 0
        for one in placed:
            if one.start > at:
                track.append(self.otio.schema.Gap(source_range=self._range(0, one.start - at)))
            track.append(self._clip(one))
            at = one.start + one.length
        return track

    def _range(self, first: int, length: int) -> Any:
        return self.otio.opentime.TimeRange(self.time(first), self.time(length))

    def _clip(self, one: _TrackItem) -> Any:
        schema = self.otio.schema
        available = self._range(one.first, one.available)
        if one.url:
            medium = schema.ExternalReference(target_url=one.url, available_range=available)
        else:
            medium = schema.MissingReference(available_range=available)
        return schema.Clip(
            one.name,
            media_reference=medium,
            source_range=self._range(one.first, one.length),
            markers=[self._marker(mark, one.first) for mark in one.marks],
            metadata={"reviewkit": one.ids} if one.ids else {},
        )

    def _marker(self, mark: _Marker, first: int) -> Any:
        name = f"{mark.what}: {mark.words}".removesuffix(": ")
        if mark.what != "segment" and len(name) > LONGEST_NAME:
            name = f"{name[: LONGEST_NAME - 2].rsplit(' ', 1)[0]} …"
        return self.otio.schema.Marker(
            name,
            marked_range=self._range(first + mark.start, mark.length),
            color=getattr(self.otio.schema.MarkerColor, _COLOURS[mark.what]),
            metadata={"reviewkit": mark.ids},
            comment=mark.words,
        )
