"""The published page as data: what leads it, its story, its table, what search engines get."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import receiver_session
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from reviewkit.commands import cli
from reviewkit.episode.lead import choose_lead
from reviewkit.model import places
from reviewkit.model.card import Card, Chart, Hero
from reviewkit.model.episode import Beat, Episode, Segment
from reviewkit.model.notes import Note
from reviewkit.model.session import EpisodeSettings, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages import embedded_type, episode_page, tables
from reviewkit.render.pages.episode_page import format_review
from reviewkit.verdict.spec_table import TableRow

HOSTILE = "</script><script>hit=1</script><!-- <script> ]]> &lt; \u2028"


def session(unit: Unit | None = None, **settings) -> Session:
    return Session(Path(), unit or Unit("Elmgate", "Two", "tuner", 1968), episode=EpisodeSettings(**settings))


def episode(segments=(), cards=(), **settings) -> Episode:
    return Episode(session(**settings), (), (), tuple(cards), (), tuple(segments), (), False)


# ------------------------------------------------------------------ what leads it


def chart(name: str, word: str = "", room: float | None = None) -> Card:
    rating = None if not word else Verdict(None, name, name, "", "", word, room=room)  # type: ignore[arg-type]
    return Card(name, name, (), Chart(()), hero=Hero("1 W"), verdict=rating)


def test_without_a_repair_the_verdict_nearest_to_its_limit_leads():
    cards = [
        chart("plain"),
        chart("far", "falls short", -0.5),
        chart("near", "meets", 0.1),
        chart("odd", "not comparable"),
    ]
    assert choose_lead(cards) is cards[2]
    assert choose_lead(cards[:1]) is cards[0]
    assert choose_lead([Card("x", "", (), Chart(()))]) is None


def test_in_the_sample_it_is_what_the_repair_improved_most(sample, episode):
    lead = choose_lead(episode.cards)
    assert lead.id == "power-8ohm"
    assert (lead.hero.before, lead.hero.figure) == ("3.0 %", "0.033 %")
    assert "distortion 3.0 % before, 0.033 % after" in sample.text("description.txt").splitlines()[0]


# ------------------------------------------------------------------ the story


def note(text: str, page: str = "", segment: str = "before") -> Note:
    return Note("", 0.0, segment, text, page=page)


def segment(name: str, *beats: Beat) -> Segment:
    return Segment(name, name.title(), 0.0, 10.0, beats)


def test_what_is_said_before_a_card_goes_with_it_and_a_card_comes_once():
    cards = [Card(name, name, (), Chart(())) for name in ("tone", "noise", "title")]
    beats = (
        Beat(note("First.")),
        Beat(note("Then."), ("A figure.",), ("tone",)),
        Beat(note("Again."), (), ("tone", "title")),
        Beat(None, ("More.",)),
        Beat(note(""), (), ("noise",)),
    )
    story = episode_page._story(episode([segment("before", *beats), segment("empty", Beat(note("")))], cards), "")
    assert [section["title"] for section in story] == ["Before"]
    assert story[0]["parts"] == [
        {"paragraphs": [("First.", []), ("Then.", ["A figure."])], "cards": ["01-tone"]},
        {"paragraphs": [("Again.", []), ("", ["More."])], "cards": ["02-noise"]},
    ]


def test_the_card_that_leads_is_not_shown_again_and_the_opening_has_no_heading():
    cards = [Card("tone", "", (), Chart(()))]
    made = episode([segment("opening", Beat(note("Here.", segment="opening"), (), ("tone",)))], cards)
    assert episode_page._story(made, "01-tone") == [
        {"title": "", "cautions": (), "parts": [{"paragraphs": [("Here.", [])], "cards": []}]}
    ]


def test_words_for_readers_in_the_opening_lead_the_page_and_do_not_come_twice(sample):
    text = sample.text("episode.html")
    (lead,) = re.findall(r'<p class="lead">(.*?)</p>', text)
    assert lead.startswith("A worn trimmer had gone open")
    assert text.count(f">{lead}<") == 1
    # camera lines stay in the outline, and out of the page
    for line in ("Line by line against the manual.", "The plan: measure it as found"):
        assert line in sample.text("outline.md")
        assert line not in text
    assert "The same signal goes into both." in text
    assert "The same signal goes into both." not in sample.text("outline.md")


# ------------------------------------------------------------------ the table


def test_what_is_missed_comes_first_and_what_has_no_rating_last():
    verdicts = ["meets", "", "not measured", "falls short", "not comparable", "too close to call"]
    rows = [TableRow(f"row {word}", "1", "1", "1", word, "", "", promised="1") for word in verdicts]
    rows.append(TableRow("no rating", "none given", "none given", "1", "", "", ""))
    assert [row.label for row in episode_page._ordered(rows)] == [
        *("row falls short", "row too close to call", "row not comparable", "row not measured", "row meets", "row "),
        "no rating",
    ]


def test_the_table_to_copy_has_no_cell_that_a_spreadsheet_would_run():
    rows = [TableRow("=1+1", "60", "60", "52", "falls short", "−13 %", "")]
    assert tables.format_spec_text(rows) == "what\tmeasured\trated\tverdict\tby\n'=1+1\t52\t60\tfalls short\t−13 %"


# ------------------------------------------------------------------ for search engines


def test_a_rating_is_given_only_where_the_user_gave_one():
    assert "reviewRating" not in format_review(episode(), "x")
    review = json.loads(format_review(episode(rating=4.5), "x"))
    assert review["reviewRating"] == {"@type": "Rating", "ratingValue": 4.5, "bestRating": 5, "worstRating": 1}


@given(st.text(), st.text())
def test_any_words_stay_words(name, text):
    made = replace(episode(), session=session(Unit(f"{HOSTILE}{name}", name)))
    written = format_review(made, f"{text}{HOSTILE}")
    assert not re.search("[<>&\u2028\u2029]", written)
    review = json.loads(written)
    assert review["reviewBody"] == f"{text}{HOSTILE}"
    assert review["itemReviewed"]["brand"]["name"] == f"{HOSTILE}{name}"


# ------------------------------------------------------------------ templates of a session's own


def built_with(folder: Path, template: str) -> str:
    receiver_session.write(folder)
    (folder / "templates").mkdir()
    (folder / "templates" / "episode.html").write_text(template, encoding="utf-8")
    assert cli.run(["build", str(folder), "--quiet"]) == 0
    return (folder / "out" / "episode.html").read_text(encoding="utf-8")


def test_a_template_of_an_earlier_version_still_has_its_pictures(tmp_path):
    """A PNG of each card, also of those that the page now leaves out, as base64."""
    old = "{% for p in cards %}<img src='data:image/png;base64,{{ p.data }}' alt='{{ p.alt }}'>{% endfor %}"
    pictures = re.findall("base64,([^']*)'", built_with(tmp_path / "old", old))
    assert len(pictures) >= 9
    for data in pictures:
        assert Image.open(io.BytesIO(base64.b64decode(data))).size == (1280, 720)


def test_a_copy_of_the_shipped_page_is_a_template_that_may_be_used(tmp_path):
    shipped = (places.templates() / "episode.html").read_text(encoding="utf-8")
    page = built_with(tmp_path / "copy", shipped)
    assert "<picture>" in page
    assert page.count("data:image/svg+xml,<svg") >= 12
    assert 'type="application/ld+json"' in page


# ------------------------------------------------------------------ a photograph, and the type


def test_a_photograph_leads_the_page_upright_and_without_what_the_camera_wrote(tmp_path):
    folder = receiver_session.write(tmp_path / "photographed")
    picture, exif = Image.new("RGB", (2000, 1500), "#806040"), Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "a camera's name"  # to be turned by 90 degrees
    picture.save(folder / "front.jpg", exif=exif)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    (folder / "session.toml").write_text(f'{text}photo = "front.jpg"\n', encoding="utf-8")
    assert cli.run(["build", str(folder), "--quiet"]) == 0
    page = (folder / "out" / "episode.html").read_text(encoding="utf-8")
    (data,) = re.findall(r'<img class="photo" src="data:image/jpeg;base64,([^"]*)"', page)
    photo = Image.open(io.BytesIO(base64.b64decode(data)))
    assert photo.size == (960, 1280)
    assert not photo.getexif()
    assert "<strong>$898</strong> new in 1984" in page
    # then no card leads it, and all are in the story
    assert page.count("<figure") == page.count('<figure class="card"')


def test_the_type_holds_latin_and_the_signs_of_the_trade():
    from fontTools.ttLib import TTFont

    for name in embedded_type.installed_type():
        content = embedded_type.subset_type(name)
        assert content == embedded_type.subset_type.__wrapped__(name)
        assert len(content) < 20_000
        with TTFont(io.BytesIO(content)) as font:
            assert font.flavor == "woff"
            assert {ord(sign) for sign in "AZaz09äéßłŽ±×−–—“”‘’…µΩ≤°½"} <= set(font.getBestCmap())
            widths = {font["hmtx"][font.getBestCmap()[ord(sign)]][0] for sign in "0123456789"}
            assert len(widths) == 1  # figures one below another


def test_without_the_package_of_the_type_the_page_has_none(monkeypatch):
    monkeypatch.setattr(embedded_type, "find_spec", lambda name: None)
    assert embedded_type.installed_type() == ()
