"""Episodes made of notes and named cards alone, for what is laid out in time."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from reviewkit.episode.episode import assemble
from reviewkit.ingest.session.notes_file import parse_notes
from reviewkit.model.card import Card, TitlePage
from reviewkit.model.episode import Episode
from reviewkit.model.session import EpisodeSettings, Session, Unit


def episode(notes: str, cards: dict[str, float | None], rate: Fraction = Fraction(25), **settings) -> Episode:
    """`cards`: id -> how long it is held, None: six seconds."""
    read = parse_notes(notes)
    made = tuple(
        Card(name, name, (), TitlePage(name, name), first=name.split("+")[0], hold_s=hold)
        for name, hold in cards.items()
    )
    session = Session(Path(), Unit("Elmgate", "Two"), episode=EpisodeSettings(frame_rate=rate, **settings))
    segments = assemble(session, read, {}, made, {}, True, {})
    return Episode(session, (), (), made, segments, segments, (), False, notes=read)
