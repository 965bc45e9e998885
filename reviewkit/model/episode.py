"""The episode: segments, chapters, sentences."""

from __future__ import annotations

from dataclasses import dataclass, field

from reviewkit.model.card import Card
from reviewkit.model.card_files import stills
from reviewkit.model.change import Change
from reviewkit.model.finding import Finding, Run
from reviewkit.model.notes import Note, Notes
from reviewkit.model.prices import PriceLine
from reviewkit.model.recognised import Recognised
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session
from reviewkit.model.sound import PlayedSound
from reviewkit.model.verdict import Verdict


@dataclass(frozen=True)
class Sentence:
    """A sentence from the bench, and the card (the first of a series) that shows it; "" for none.

    `others`: other wordings, for where its own would come twice.
    """

    text: str
    card: str = ""
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class Beat:
    """A stretch of narration with the cards that are shown and the sounds that are played during it."""

    note: Note | None = None
    sentences: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()  # the stems of their files, played after what is said


@dataclass(frozen=True)
class Segment:
    """A part of the episode, its times planned from words and card holds; `flag`: why its length needs attention."""

    name: str
    title: str
    start_s: float
    length_s: float
    beats: tuple[Beat, ...] = ()
    cautions: tuple[str, ...] = ()
    flag: str = ""

    @property
    def notes(self) -> tuple[Note, ...]:
        """Return the notes of the segment."""
        return tuple(beat.note for beat in self.beats if beat.note is not None)

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return the bench's sentences in the segment."""
        return tuple(sentence for beat in self.beats for sentence in beat.sentences)

    @property
    def cards(self) -> tuple[str, ...]:
        """Return the cards shown in the segment, each once."""
        return tuple(dict.fromkeys(card for beat in self.beats for card in beat.cards))


@dataclass(frozen=True)
class Chapter:
    """One chapter: time from the start, title, and the segment that it is of."""

    start_s: float
    title: str
    segment: str = ""


@dataclass(frozen=True)
class Story:
    """The story in the data.

    Attributes
    ----------
    change
        What the repair improved most, of the worse channel; None if nothing was compared or nothing improved much.
    subject
        What that is, in a viewer's words.
    channels
        "one" if only one channel had it, "both" if both did, "" if that isn't known.
    ratings
        How many there are, those that are only printed included.
    judged
        How many ratings were decided: met, missed or too close to call.
    """

    repaired: bool
    change: Change | None
    subject: str
    channels: str
    ratings: int
    judged: int
    met: int
    missed: int
    undecided: int


@dataclass(frozen=True, eq=False)
class Episode:
    """Everything that the outputs are written from."""

    session: Session
    runs: tuple[Run, ...]
    verdicts: tuple[Verdict, ...]
    cards: tuple[Card, ...]
    segments: tuple[Segment, ...]
    page_segments: tuple[Segment, ...]  # the same with all cards: the segments have those for filming
    chapters: tuple[Chapter, ...]
    chapters_final: bool
    repair: tuple[RepairRow, ...] = ()
    changes: tuple[Change, ...] = ()
    price: PriceLine | None = None
    cautions: tuple[str, ...] = ()
    notes: Notes = field(default_factory=Notes)  # bad takes too; `cards` are ids of cards that exist
    sounds: tuple[PlayedSound, ...] = ()
    left_out: tuple[str, ...] = ()  # outputs and figures that could not be made, with the reason
    recognised: tuple[Recognised, ...] = ()  # the files whose kind session.toml doesn't say

    @property
    def stills(self) -> tuple[Card, ...]:
        """Return every picture of the cards. In a pair, the card as found comes first."""
        return stills(self.cards)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Return every finding, in the measurements' order."""
        return tuple(finding for run in self.runs for finding in run.findings)
