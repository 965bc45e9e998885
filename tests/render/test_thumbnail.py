"""The thumbnails: which figure they show, and that they can be read at 168 × 94 pixels."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from card_samples import SAMPLES, verdict
from hostile_sessions import NAMES
from PIL import Image

from reviewkit.model.change import Change
from reviewkit.model.episode import Episode
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding, Point
from reviewkit.model.session import EpisodeSettings, Session, Unit
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.contrast import contrast
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Page, Picture, Stroke, Text
from reviewkit.render.cards.shape import WIDE
from reviewkit.render.cards.thumbnail import (
    LEAST,
    MOST_WORDS,
    WIDTH,
    Thumbnail,
    choose_thumbnails,
    draw_thumbnail,
    lay_out_thumbnail,
    remark_on_thumbnail,
)

UNIT = Unit("Norrvale", "Forty", year=1977)
# where a player prints the length, of a 1920 × 1080 frame (common practice, no source)
CLOCK = (1600.0, 940.0)


def finding(value, stage, quantity="thd_plus_noise", unit="%"):
    return Finding(quantity, "R", value, unit, {"power": 1.0}, stage, "distortion-power", stage, "x.csv")


def pair(before=5.0, after=0.02):
    change = Change(finding(before, "before"), finding(after, "after"))
    return replace(SAMPLES["pair"], finding=Point("titles", "pair", {"change": change}))


def episode(*cards, verdicts=(), unit=UNIT, title="", thumbnail="figure"):
    session = Session(Path(), unit, episode=EpisodeSettings(title=title, thumbnail=thumbnail))
    return Episode(
        session, (), tuple(verdicts), cards, segments=(), page_segments=(), chapters=(), chapters_final=False
    )


def photo(size=(640, 360)):
    file = io.BytesIO()
    Image.new("RGB", size, (180, 90, 60)).save(file, "PNG")
    return file.getvalue()


def laid_out(what, look="lamplight"):
    page = Page("thumbnail", LOOKS[look], make_measure("thumbnail"), WIDE)
    lay_out_thumbnail(page, what)
    return page.items


# ------------------------------------------------------------------ what is on them


def test_three_to_choose_from_all_of_one_channel():
    made = choose_thumbnails(episode(pair()), photo())
    assert list(made) == ["thumbnail.png", "thumbnail-pair.png", "thumbnail-photo.png"]
    figure, both, picture = made.values()
    assert (figure.what, figure.figure, figure.before) == ("distortion", "0.020 %", "")
    assert (both.figure, both.before) == (picture.figure, picture.before) == ("0.020 %", "5.0")
    assert both.panel is not None
    assert picture.panel is None
    assert picture.photo
    assert list(choose_thumbnails(episode(pair()))) == ["thumbnail.png", "thumbnail-pair.png"]


@pytest.mark.parametrize(("chosen", "left"), [("pair", ["figure", "photo"]), ("photo", ["figure", "pair"])])
def test_the_one_that_is_chosen_is_thumbnail_png_and_the_others_keep_their_names(chosen, left):
    whole = episode(pair(), thumbnail=chosen)
    made = choose_thumbnails(whole, photo())
    assert list(made) == ["thumbnail.png", *(f"thumbnail-{name}.png" for name in left)]
    assert bool(made["thumbnail.png"].photo) == (chosen == "photo")
    assert made["thumbnail-figure.png"].before == ""
    assert remark_on_thumbnail(whole.session, whole.cards, photo()) == ()


@pytest.mark.parametrize("chosen", ["pair", "photo"])
def test_one_that_cannot_be_made_is_reported_and_the_figure_is(chosen):
    whole = episode(pair(0.02, 5.0), thumbnail=chosen)
    assert list(choose_thumbnails(whole)) == ["thumbnail.png"]
    (remark,) = remark_on_thumbnail(whole.session, whole.cards, b"")
    assert remark.startswith(f'no thumbnail "{chosen}" without ')


def test_what_got_worse_is_not_shown():
    assert list(choose_thumbnails(episode(pair(0.02, 5.0)))) == ["thumbnail.png"]


def test_without_a_repair_it_is_the_rated_power_and_a_miss_only_if_there_is_nothing_else():
    power = replace(verdict("Power", "40 W", "meets", 0.2, "42.9 ± 1.8 W at 1 kHz"), findings=(finding(42.9, ""),))
    missed = replace(verdict("Damping factor", "60", "falls short", -0.2, "52"), findings=(finding(52.0, ""),))
    both = choose_thumbnails(episode(verdicts=(missed, power)))["thumbnail.png"]
    assert (both.what, both.figure) == ("power", "42.9 W")
    assert choose_thumbnails(episode(verdicts=(missed,)))["thumbnail.png"].figure == "52"
    assert choose_thumbnails(episode())["thumbnail.png"].figure == "1977"
    bare = choose_thumbnails(episode(unit=Unit("Norrvale", "Forty")))["thumbnail.png"]
    assert (bare.words, bare.what, bare.figure) == ("Norrvale Forty", "", "")


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ("One side rough", "One side rough"),
        ("Norrvale Forty: one side rough", "One side rough"),
        ("The side that sounded rough", "Norrvale Forty"),
        ("", "Norrvale Forty"),
    ],
)
def test_at_most_four_words_with_those_that_say_what_the_figure_is(title, words):
    what = choose_thumbnails(episode(pair(), title=title))["thumbnail.png"]
    assert what.words == words
    assert len(f"{what.words} {what.what}".split()) <= MOST_WORDS


def test_a_long_maker_gives_way_to_its_short_name_or_the_model():
    unit = Unit("The Norrvale Instrument Company", "Forty", short="Norrvale Forty")
    assert choose_thumbnails(episode(pair(), unit=unit))["thumbnail.png"].words == "Norrvale Forty"
    assert choose_thumbnails(episode(pair(), unit=replace(unit, short="")))["thumbnail.png"].words == "Forty"


# ------------------------------------------------------------------ the pictures


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("name", ["thumbnail.png", "thumbnail-pair.png", "thumbnail-photo.png"])
def test_it_can_be_read_and_leaves_the_player_s_clock_its_corner(name, look):
    mark = photo((64, 64))
    items = laid_out(choose_thumbnails(episode(pair(), title="One side rough"), photo(), mark)[name], look)
    assert find_problems(items, WIDE, LEAST) == ()
    texts = [item for item in items if isinstance(item, Text)]
    assert all(text.size >= LEAST for text in texts)
    assert all(contrast(text.colour, LOOKS[look].ground) >= 4.5 for text in texts)
    assert not [text for text in texts if text.box.right > CLOCK[0] and text.box.bottom > CLOCK[1]]
    pictures = [item for item in items if isinstance(item, Picture)]
    assert ("photo" in {item.kind for item in pictures}) == (name == "thumbnail-photo.png")
    assert "mark" in {item.kind for item in pictures}
    curves = [item for item in items if isinstance(item, Stroke) and item.kind == "curve"]
    assert len(curves) == (2 if name == "thumbnail-pair.png" else 0)


def test_the_file_is_1280_wide_in_colours_of_the_look():
    made = choose_thumbnails(episode(pair()), photo())
    drawn = {name: draw_thumbnail(what, LOOKS["brochure"]) for name, what in made.items()}
    for png in drawn.values():
        image = Image.open(io.BytesIO(png))
        assert (image.size, image.info) == ((WIDTH, 720), {})
    again = draw_thumbnail(choose_thumbnails(episode(pair()), photo())["thumbnail.png"], LOOKS["brochure"])
    assert drawn["thumbnail.png"] == again
    # the photograph is where it belongs, in its own colours
    shown = np.asarray(Image.open(io.BytesIO(drawn["thumbnail-photo.png"])).convert("RGB"))
    assert np.abs(shown[100:300, 800:1200].astype(int) - (180, 90, 60)).max() <= 2


@pytest.mark.parametrize("name", NAMES.values())
def test_a_long_name_is_drawn_or_refused_with_a_remedy(name):
    for unit in (Unit(name, "Forty"), Unit("Norrvale", name)):
        for what in choose_thumbnails(episode(pair(), unit=unit), photo()).values():
            refused = ""
            try:
                draw_thumbnail(what, LOOKS["lamplight"])
            except InputError as fault:
                refused = str(fault)
            assert not refused or "write short = … in [unit]" in refused


def test_nothing_at_all_is_drawn_too():
    assert draw_thumbnail(Thumbnail("Forty", "", ""), LOOKS["lamplight"])


def test_a_name_that_begins_with_a_j_stays_inside():
    """Its hook reaches to the left of where the letter is set."""
    assert draw_thumbnail(Thumbnail("Forty", "jitter", "0.30 ns"), LOOKS["lamplight"])
