"""On every card of many sessions: the judged figure is the large one, and nothing stands in the wrong stage."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import awkward_cases
import one_evening
import pytest
import receiver_session
from rebuilt import third_session
from test_awkward_cases import write
from texts_on_cards import figure_of, texts_on

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.episode.alt_text import heading_of
from reviewkit.episode.stills import AFTER, BEFORE, PAIR
from reviewkit.model.card import Card, Chart, Rows, Score
from reviewkit.model.card_files import SESSION_CARDS
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.scene import Text
from reviewkit.verdict.changes import is_repaired
from reviewkit.verdict.verdict import JUDGED

CHECKOUT = Path(__file__).resolve().parents[1]


def _sample(folder: Path) -> None:
    shutil.copytree(CHECKOUT / "sample_session", folder, ignore=shutil.ignore_patterns("out", "__pycache__"))


def _awkward(case: awkward_cases.Case) -> Callable[[Path], object]:
    return lambda folder: write(case, folder)


SESSIONS: dict[str, Callable[[Path], object]] = {
    "the sample": _sample,
    "the receiver": receiver_session.write,
    "one evening": one_evening.write,
    **{f"the third, {name}": writer for name, writer in third_session.WRITERS.items()},
    **{case.id: _awkward(case) for case in awkward_cases.SESSIONS if not case.refused},
}


@pytest.fixture(scope="module")
def episodes(tmp_path_factory) -> dict[str, pipeline.Episode]:
    made = {}
    for name, write_session in SESSIONS.items():
        folder = tmp_path_factory.mktemp("judged") / "session"
        write_session(folder)
        made[name] = pipeline.prepare(folder, open_cache()).episode
    return made


@pytest.fixture(scope="module")
def cards(episodes) -> list[tuple[str, Card]]:
    """Every card with its session and its id, in words."""
    return [(f"{name}: {card.id}", card) for name, episode in episodes.items() for card in episode.stills]


def printed(card: Card) -> list[Text]:
    return [item for item in lay_out(card, "lamplight") if isinstance(item, Text)]


def test_the_judged_figure_is_the_large_one(cards):
    for name, card in cards:
        if card.verdict is None:
            continue
        texts = printed(card)
        assert card.hero is not None, name
        assert card.hero.findings[:1] == card.verdict.findings[:1], name
        assert card.hero.figure.split(" ")[0] == figure_of(card.verdict), name
        others = [item for item in texts if item.text not in card.verdict.verdict]
        assert max(others, key=lambda item: item.size).text == card.hero.figure, name
        # the margin belongs to that figure, and the word is there in full
        words = " ".join(item.text for item in texts)
        assert all(part in words for part in card.verdict.verdict.split(" ")), name
        assert f"rated {card.verdict.limit}".split(" ")[1] in words, name
        if card.verdict.verdict not in JUDGED:
            assert 1 <= len(card.verdict.brief.split()) <= 6, (name, card.verdict.brief)
            assert card.verdict.brief in words, name


def test_every_figure_of_the_score_is_printed(cards):
    for name, card in cards:
        if isinstance(card.body, Score):
            words = [item.text for item in printed(card)]
            rows = (*card.body.missed, *card.body.close)
            for row in (rows or card.body.met)[: 3 if rows else 1]:  # of more, the card has the number
                assert any(text.startswith(row.measured.split(" ")[0]) for text in words), (name, row.label)


def test_a_limit_is_drawn_only_with_its_own_verdict(cards):
    for name, card in cards:
        for limit in (
            (limit for panel in card.body.panels for limit in panel.limits) if isinstance(card.body, Chart) else ()
        ):
            assert card.verdict is not None, name
            assert limit.rating is card.verdict.rating, name


def test_each_card_of_a_measurement_says_its_stage(episodes):
    for name, episode in episodes.items():
        staged = {run.conditions.measurement.stage for run in episode.runs} & {"before", "after"}
        stages = (BEFORE, AFTER, PAIR) if staged and is_repaired(episode.repair, episode.runs) else ("",)
        for card in episode.stills:
            if card.id not in SESSION_CARDS and not isinstance(card.body, Rows):
                assert card.stage in stages, (name, card.id)


def test_as_found_nothing_of_after_is_there(episodes, cards):
    later = {
        finding
        for episode in episodes.values()
        for run in episode.runs
        if run.conditions.measurement.stage == "after"
        for finding in map(id, run.findings)
    }
    for name, card in cards:
        if card.stage != BEFORE:
            continue
        assert card.hero is None or not {id(finding) for finding in card.hero.findings} & later, name
        assert card.verdict is None, name
        assert not card.readings or card.found is None
        said = " ".join(texts_on(card)).casefold().split()
        assert not {"after", "repaired", "now"} & set(said), name
        if isinstance(card.body, Chart):
            assert not any(trace.role == "before" for panel in card.body.panels for trace in panel.traces), name


def test_no_measurements_name_is_a_title(cards):
    for name, card in cards:
        assert not card.subject or card.title.casefold() != card.subject.casefold(), name
        assert card.alt
        assert heading_of(card), name


def test_the_alternative_text_has_every_figure_of_the_card(cards):
    for name, card in cards:
        alt = card.alt.casefold()
        hero = [card.hero.figure, card.hero.before] if card.hero else []
        body = [cell for row in card.body.rows for cell in row.cells] if isinstance(card.body, Rows) else []
        for text in (*hero, *body, card.title, *card.conditions):
            assert text.casefold() in alt, (name, text)
