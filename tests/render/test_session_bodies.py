"""The cards without a chart, laid out: where things are, what is in colour; in every shape and with any text."""

import io
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from card_samples import SAMPLES, UNIT, said, shapes, texts
from hostile_sessions import NAMES
from PIL import Image

from reviewkit.episode.hunt import make_fix_card
from reviewkit.episode.session_cards import make_dial
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model.card import (
    Card,
    Ending,
    Fix,
    Hero,
    Hunt,
    HuntReading,
    Number,
    Price,
    Row,
    Rows,
    Score,
    ScoreRow,
    TitlePage,
)
from reviewkit.render.cards.card import LayoutFault, lay_out
from reviewkit.render.cards.colour_check import find_colour_problems
from reviewkit.render.cards.colours import LOOKS, find_look
from reviewkit.render.cards.layout_check import bounds, find_problems
from reviewkit.render.cards.scene import Area, Picture
from reviewkit.render.cards.shape import SHAPES

LOOK = find_look("lamplight")
EVERY_SHAPE = pytest.mark.parametrize("shape", SHAPES)


def sound(card, shape="wide"):
    """What a card is laid out as, checked to have no problem; not painted."""
    items = lay_out(card, "lamplight", SHAPES[shape])
    assert find_problems(items, SHAPES[shape]) == ()
    assert find_colour_problems(items, LOOK) == ()
    return items


def with_body(name, /, **changes):
    return replace(SAMPLES[name], body=replace(SAMPLES[name].body, **changes))


def picture(size=(64, 64), colour=(250, 200, 60)):
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, "PNG")
    return file.getvalue()


def wedges(items, colour=None):
    found = [bounds(item) for item in shapes(items, "needle", Area) if colour in (None, item.colour)]
    return sorted(found, key=lambda box: box.left)


# ------------------------------------------------------------------ number


@EVERY_SHAPE
def test_the_number_fills_the_frame_over_a_dial_from_worse_to_better(shape):
    items = sound(SAMPLES["number"], shape=shape)
    figure = max(texts(items), key=lambda text: text.size)
    assert figure.text.startswith("0.020")
    safe = SHAPES[shape].safe
    assert figure.box.width > 0.9 * safe.width
    small, tall = wedges(items)
    assert small.height < tall.height
    heavy = max((line for line in shapes(items, "needle") if line.width >= 9), key=lambda line: line.width)
    (left, _), (right, _) = heavy.points
    assert left == pytest.approx((small.left + small.right) / 2)
    assert right == pytest.approx((tall.left + tall.right) / 2)


# ------------------------------------------------------------------ hunt


FINE = ("Rail", "Rail, positive", "Bias L")  # the first as it is where there is less room


@EVERY_SHAPE
def test_the_hunt_s_needle_narrows_to_the_part(shape):
    items = sound(SAMPLES["hunt"], shape=shape)
    pieces = shapes(items, "hunt", Area)
    # the part alone has the colour of a fault
    assert [piece.colour for piece in pieces] == [LOOK.hunt] * 2 + [LOOK.soft] * 2 + [LOOK.falls_short]
    across = [min(bounds(piece).width, bounds(piece).height) for piece in pieces]
    along = 0 if shape == "wide" else 1
    ends = [sorted(point[along] for point in piece.points) for piece in pieces]
    assert all(one[-1] < two[0] for one, two in pairwise(ends))  # in order, none over another
    assert across[0] > across[-1]
    tip = [point for point in pieces[-1].points if point[along] == ends[-1][-1]]
    assert np.ptp([point[1 - along] for point in tip]) == pytest.approx(0, abs=1e-6)
    # only the part is loud and has figures; a word only what was OK
    assert [text.text for text in texts(items) if text.weight == "black"] == ["open"]
    assert [text.text for text in texts(items) if text.text[-1] in "ΩV"] == ["expected 220 Ω"]
    # what was OK is soft and says so once
    words = [text for text in texts(items) if text.text in ("both OK", "too low")]
    assert [(text.text, text.colour) for text in words] == [("both OK", LOOK.soft)]
    fine = [text for text in texts(items) if text.text in FINE]
    assert ({text.colour for text in fine}, len(fine)) == ({LOOK.soft}, 2)
    assert max(text.size for text in fine) <= min(text.size for text in texts(items) if text.text == "Bias R")


@EVERY_SHAPE
def test_the_part_s_value_is_the_largest_with_what_was_expected_above_it(shape):
    part = HuntReading("Decoder, free-running", "19.00 kHz", "18.86 kHz", "too low", out=True)
    items = texts(sound(with_body("hunt", part=part), shape=shape))
    named = {text.text: text for text in items}
    figure, expected = named["18.86 kHz"], named["expected 19.00 kHz"]
    on_card = [text for text in items if text.text not in SAMPLES["hunt"].title]
    assert figure == max(on_card, key=lambda text: text.size)
    assert expected.box.bottom <= figure.box.top
    words = [text for text in items if text.text == "too low"]
    assert all(text.size < words[-1].size < figure.size for text in words[:-1])
    # the tip's name is short where it has to be, and its word isn't said again under a title that has it
    assert "Decoder, free-running" in named
    long = replace(part, point="Decoder, free-running, without a pilot tone from the generator")
    assert "Decoder" in {text.text for text in texts(sound(with_body("hunt", part=long), shape=shape))}
    said_by_title = texts(sound(replace(with_body("hunt", part=part), title="Decoder reads too low"), shape=shape))
    assert sum(text.text == "too low" for text in said_by_title) == sum(text.text == "too low" for text in items) - 1


@EVERY_SHAPE
def test_without_a_step_in_between_there_is_no_needle(shape):
    items = sound(with_body("hunt", readings=()), shape=shape)
    assert not shapes(items, "hunt", Area)
    assert [text.text for text in texts(items) if text.weight == "black"] == ["open"]


@EVERY_SHAPE
def test_the_fix_has_one_large_pair_with_what_was_expected_above_and_what_was_done_below(shape):
    items = texts(sound(SAMPLES["fix"], shape=shape))
    named = {text.text: text for text in items}
    old, new = named["open"], named["221 Ω"]
    assert (old.weight, old.colour, new.weight, new.colour) == ("light", LOOK.soft, "black", LOOK.ink)
    others = [text for text in items if text not in (old, new)]
    assert min(old.size, new.size) > max(text.size for text in others)
    column = [
        named["expected 220 Ω"],
        old,
        named["2 others read right again, too"],
        named["What was done: replaced, sealed multi-turn"],
    ]
    assert all(one.box.bottom <= two.box.top for one, two in pairwise(column))
    assert column[2].colour == LOOK.soft


LONG_PART = "Interstage coupling capacitor, tone control board, right channel"


@EVERY_SHAPE
@pytest.mark.parametrize("others", [0, 1, 2, 9])
def test_the_fix_has_room_for_any_number_of_other_points(shape, others):
    rows = "".join(f'"{LONG_PART.replace(",", "")} {n}",10,1,V,5 %,traced,10\n' for n in range(others))
    for part in ("C312", LONG_PART):
        card = make_fix_card(
            parse_repair(
                f'point,expected,found,unit,tolerance,action,after\n{rows}"{part}",5,1,V,5 %,"replaced, sealed",5\n'
            )
        )
        assert isinstance(card.body, Fix)
        for was, now in (("0.11 µF", "4.72 µF"), ("4700 µ", "1 µ"), ("1 Q,g", "0 Q,g")):
            body = replace(card.body, reading=replace(card.body.reading, reading=now), before=was)
            items = texts(sound(replace(card, body=body, title="It reads right again", corner=UNIT), shape=shape))
            said_last = " ".join(text.text for text in items if text.part == "step 2")
            assert said_last == body.others, now
            assert ("off, too" in said_last) is (others > 0), now


# ------------------------------------------------------------------ score


def row(label, word, position, measured="52", rated="60", note="by 13 %"):
    return ScoreRow(label, measured, rated, word, note, position)


def score(missed=0, close=0, unjudged=0, met=0):
    return Card(
        "score",
        "Rated and measured",
        ("aux input",),
        Score(
            tuple(row(f"Missed {n}", "falls short", -0.4 * n) for n in range(missed, 0, -1)),
            tuple(row(f"Close {n}", "too close to call", 0.0, "60.3", "60 W", "") for n in range(1, close + 1)),
            tuple(row(f"Open {n}", "not comparable", None, note="not measured") for n in range(1, unjudged + 1)),
            tuple(row(f"Met {n}", "meets", 0.3 * n) for n in range(1, met + 1)),
        ),
        title="9 of 11 judged ratings met",
        stage="After the repair",
        corner=UNIT,
    )


@EVERY_SHAPE
@pytest.mark.parametrize(
    "counts", [(1, 1, 2, 9), (4, 2, 3, 14), (0, 0, 0, 1), (0, 0, 2, 6), (6, 0, 0, 0), (0, 1, 0, 0), (9, 4, 4, 18)]
)
def test_every_score_fits_on_one_card(shape, counts):
    items = sound(score(*counts), shape=shape)
    assert len(wedges(items)) == sum((*counts[:2], counts[3]))
    judged = counts[0] + counts[1] + counts[3]
    large = max(texts(items), key=lambda text: text.size)
    assert (large.text, large.colour) == (f"{counts[3]} of {judged}", LOOK.meets if counts[3] == judged else LOOK.ink)
    named = [*(f"Missed {n}" for n in range(counts[0], 0, -1)), *(f"Close {n}" for n in range(1, counts[1] + 1))]
    shown = [text.text for text in texts(items) if text.weight == "bold" and text.text.startswith(tuple("MC"))]
    assert shown == (named[: len(shown)] if named else ["Met 1"])
    assert len(shown) == min(len(named) or 1, 3)
    assert all(text.size >= 48 for text in texts(items) if text.text in shown and text.weight == "bold")
    assert ("not judged" in said(items)) == (counts[2] > 0)
    left_out = [sum(name.startswith(word) for name in named[len(shown) :]) for word in ("Missed", "Close")]
    for count, word, name in zip(left_out, ("missed", "too close to call"), ("Missed", "Close"), strict=True):
        more = "more " if any(each.startswith(name) for each in shown) else ""
        assert (f"{count} {more}{word}" in said(items)) == (count > 0)


def test_missed_and_undecided_needles_are_larger_and_what_is_met_is_a_count():
    items = sound(score(1, 1, 0, 3))
    heights = {
        colour: {round(box.height) for box in wedges(items, colour)} for colour in (LOOK.falls_short, LOOK.meets)
    }
    assert min(heights[LOOK.falls_short]) > max(heights[LOOK.meets])
    named = [text for text in texts(items) if text.text in ("Missed 1", "Close 1") and text.weight == "regular"]
    assert [(text.text, text.colour) for text in named] == [("Missed 1", LOOK.falls_short), ("Close 1", LOOK.ink)]
    assert "Met" not in said(items)  # the count has them


def test_too_close_is_exactly_on_the_notch_and_what_is_not_judged_has_no_needle():
    items = sound(score(0, 1, 3, 0))
    (needle,) = wedges(items)
    notch = next(line for line in shapes(items, "needle") if line.width == 9 and line.points[0][0] == line.points[1][0])
    assert (needle.left + needle.right) / 2 == pytest.approx(notch.points[0][0])


def test_needles_past_the_end_are_within_the_frame():
    card = score(2, 0, 0, 9)
    rows = tuple(replace(each, position=1.2) for each in card.body.met)
    missed = tuple(replace(each, position=-1.2) for each in card.body.missed)
    items = sound(replace(card, body=replace(card.body, met=rows, missed=missed)))
    assert all(box.left >= 0 and box.right <= 1920 for box in wedges(items))
    assert len(wedges(items)) == 11


def test_everything_missed_has_only_the_worst_in_colour():
    items = sound(score(5))
    assert len(wedges(items, LOOK.falls_short)) == 1
    assert len(wedges(items, LOOK.ink)) == 4
    coloured = [text.text for text in texts(items) if text.colour == LOOK.falls_short]
    assert coloured == ["missed by 13 %"]


def test_everything_met_names_the_nearest_to_its_limit():
    items = sound(score(0, 0, 0, 5))
    assert {"nearest its limit", "Met 1", "52, rated 60"} <= {text.text for text in texts(items)}
    one = {text.text for text in texts(sound(score(0, 0, 0, 1)))}  # the nearest of one is no news
    assert "met by 13 %" in one


@EVERY_SHAPE
def test_the_one_rating_that_was_not_judged_is_named_with_its_reason(shape):
    why = "not judged: rumble, measured unweighted"
    card = score(1, 0, 1, 3)
    assert why in said(sound(replace(card, body=replace(card.body, not_judged=why)), shape=shape))
    long = f"{why}{' and otherwise' * 8}"
    assert "1 not judged" in said(sound(replace(card, body=replace(card.body, not_judged=long)), shape=shape))


@EVERY_SHAPE
def test_ratings_that_differ_in_their_condition_keep_it(shape):
    rows = (
        row("Hum, aux", "falls short", -0.5),
        row("Hum, phono", "falls short", -0.2),
        row("Gain, aux", "meets", 0.1),
    )
    words = said(sound(replace(score(), body=Score(rows[:2], (), (), rows[2:])), shape=shape))
    assert "Hum, aux" in words
    assert "Hum, phono" in words
    assert "Gain" not in words


@EVERY_SHAPE
def test_each_line_says_the_verdict_then_the_figure(shape):
    items = texts(sound(score(1, 1, 0, 9), shape=shape))
    headings = {text.text: text for text in items if text.text in ("missed by 13 %", "too close to call")}
    assert [text.colour for text in headings.values()] == [LOOK.falls_short, LOOK.ink]
    lines = [text for text in items if text.text in ("52, rated 60", "60.3, rated 60 W")]
    assert len(lines) == 2
    for text, heading in zip(lines, headings.values(), strict=True):
        one_line = heading.baseline == text.baseline and heading.box.right < text.box.left
        assert one_line or (shape != "wide" and heading.baseline < text.box.top)
    assert lines[0].box.bottom < headings["too close to call"].box.top


# ------------------------------------------------------------------ ending


@EVERY_SHAPE
def test_the_tally_hangs_what_was_missed_and_stands_what_was_met(shape):
    items = sound(SAMPLES["ending"], shape=shape)
    line = SHAPES[shape].dial
    marks = {
        colour: [bounds(item) for item in shapes(items, "needle", Area) if item.colour == colour]
        for colour in (LOOK.falls_short, LOOK.meets, LOOK.ink)
    }
    assert all(box.bottom > line + 20 and box.top > line - 5 for box in marks[LOOK.falls_short])
    assert all(box.top < line - 20 and box.bottom < line + 5 for box in marks[LOOK.meets])
    assert all(box.top < line - 10 and box.bottom > line + 10 for box in marks[LOOK.ink])
    assert [len(found) for found in marks.values()] == [1, 9, 1]
    named = {text.text: text.box.left for text in texts(items)}
    for name, colour in (("missed", LOOK.falls_short), ("met", LOOK.meets)):
        assert named[name] == pytest.approx(min(box.left for box in marks[colour]), abs=6)
    assert "not judged" in named
    word = max(texts(items), key=lambda text: text.size)
    assert word.text == "Repaired"


@EVERY_SHAPE
@pytest.mark.parametrize("word", ["Repaired", "Improved", "Not repaired", "Measured"])
def test_every_ending_fits_with_and_without_its_parts(shape, word):
    pending = "not read again: Bias spreader R, Bias trimmer R and 2 more; not read: leakage with the plug both ways"
    missed = tuple(f"damping factor {n}, rated 60" for n in range(8))
    for changes in ({}, {"hero": None}, {"of": "", "met": "", "tally": ()}, {"missed": missed, "pending": pending}):
        sound(with_body("ending", word=word, **changes), shape=shape)
    assert word in said(sound(with_body("ending", word=word, hero=None, of="", tally=()), shape=shape))


def test_a_tally_of_many_ratings_stays_in_the_frame():
    sound(with_body("ending", tally=("falls short", *("meets",) * 60)))


@EVERY_SHAPE
def test_without_a_miss_the_dial_is_plain_and_the_count_says_the_rest(shape):
    tally = ("too close to call", "meets", "meets", "not comparable")
    items = sound(with_body("ending", tally=tally, missed=(), met="2", of="of 3 judged ratings met"), shape=shape)
    assert not shapes(items, "needle", Area)
    assert "1 undecided" in {text.text for text in texts(items)}
    # the large figure says it
    hero = Hero("1.1 dB", "capture ratio", note="rated 1.0 dB, too close to call")
    assert "1 undecided" not in said(sound(with_body("ending", hero=hero, tally=tally, missed=()), shape=shape))


@EVERY_SHAPE
def test_what_is_not_checked_yet_comes_last_in_plain_words(shape):
    unchecked = ("DC offset", "bias", "electrical safety, mains leakage with the plug both ways")
    for missed in ((), SAMPLES["ending"].body.missed):
        body = {"word": "Improved", "unchecked": unchecked, "missed": missed}
        items = texts(sound(with_body("ending", **body), shape=shape))
        last = next(text for text in items if text.text.startswith("Still"))
        result = next(text for text in items if text.text.endswith("judged ratings met"))
        word = next(text for text in items if text.text == "Improved")
        assert "Still to check: DC offset, bias, electrical safety" in " ".join(text.text for text in items)
        assert last.colour == LOOK.ink
        assert last.box.top > result.baseline > word.baseline


# ------------------------------------------------------------------ title and price


@EVERY_SHAPE
def test_no_text_is_on_the_photograph(shape):
    for hook in ("One side sounds rough", "Why the side that sounded rough came back after one new trimmer"):
        items = sound(with_body("title", hook=hook, photo=picture((640, 360))), shape=shape)
        (photo,) = [bounds(item) for item in items if isinstance(item, Picture)]
        assert not [text for text in texts(items) if text.box.meets(photo)]
        frame = SHAPES[shape]
        assert (photo.right, photo.left) == (frame.width, 0 if shape != "wide" else 960)


@EVERY_SHAPE
@pytest.mark.parametrize("hook", ["Ostwick 240", "Klick", "Joplin 7", "Ökotest", "Åbent kig"])
def test_a_name_with_high_letters_fits(shape, hook):
    for photo in (b"", picture((640, 360))):
        for rest in ({}, {"name": "", "what": "", "presenter": "", "price": None}):
            sound(with_body("title", hook=hook, photo=photo, **rest), shape=shape)


@EVERY_SHAPE
@pytest.mark.parametrize("name", ["title", "ending"])
def test_the_mark_is_small_and_within_the_safe_box(shape, name):
    for size in ((64, 64), (400, 50), (50, 400)):
        items = sound(replace(SAMPLES[name], mark=picture(size)), shape=shape)
        (mark,) = [bounds(item) for item in items if isinstance(item, Picture)]
        assert mark.height <= 60
        assert mark.width <= 220
        assert mark.width / mark.height == pytest.approx(size[0] / size[1], rel=0.05)


@EVERY_SHAPE
@pytest.mark.parametrize("years", [(1977, 2024), (2019, 2024), (2023, 2024), (1913, 2024)])
def test_the_dial_of_years_has_its_ends_and_at_most_seven_numbers(shape, years):
    items = sound(with_body("price", years=years), shape=shape)
    numbers = [text.text for text in texts(items) if text.text.isdigit()]
    assert [numbers[0], numbers[-1]] == [str(year) for year in years]
    assert len(numbers) <= 7
    assert len(wedges(items)) == 2


@EVERY_SHAPE
def test_no_amount_is_twice_on_a_card(shape):
    for changes in ({}, {"worth": ""}, {"now": "", "years": (2024, 2024)}):
        printed = [text.text for text in texts(sound(with_body("price", **changes), shape=shape))]
        for amount in ("$329", "$1,700", "$260"):
            assert sum(amount in text for text in printed) <= 1


# ------------------------------------------------------------------ any text


def hostile(n):
    """Cards of which every text is a name of sixty letters, every figure as long as one can be."""
    out = [HuntReading(n, "0.65 V", "0.02 V", "too low", True)] * 3
    part = HuntReading(n, "−12345.6 mV", "−12345.6 mV", "too high", True)
    met = tuple(ScoreRow(n, "−102.21 dB", "102 dB (A)", "meets", "by 12.3 dB", p / 10) for p in range(1, 10))
    missed = tuple(replace(each, verdict="falls short", position=-2 * (each.position or 0)) for each in met[:7])
    close = tuple(replace(each, verdict="too close to call", position=0, uncertainty="± 1.64 dB") for each in met[:3])
    open_ = tuple(
        replace(each, verdict="not comparable", note="only continuous power was measured here", position=None)
        for each in met[:4]
    )
    price = Price("123.456.789 €", "987.654.321.000 €", (1927, 2024), "123.456.789 €")
    hero = Hero("−1234.56 dB", n, "−1234.56 dB", note="at 1 W")
    yield Number("−1234.56 dB", f"{n}, down from 5.0 %", make_dial(5.0, 0.02, "%"), 5.0, 0.02, "before, 5.0 %")
    yield Hunt((replace(part, word="OK", out=False), *out), part)
    yield Fix(n, n, part, "−12345.6 mV", n)
    yield from (Score(missed, close, open_, met), Score(missed, (), (), ()), Score((), (), open_, met[:1]))
    yield Ending("Not repaired", hero, ("meets",) * 60, "30", "of 60 judged ratings met", (n,) * 12, n)
    yield from (price, replace(price, years=(2023, 2024)), replace(price, now="", years=(2024, 2024)))
    yield from (TitlePage(n, n, n, n, price, picture((640, 360))), TitlePage(n, n, n, n))
    yield Rows(
        ("", "measured", "rated"), (Row((n, "1234.56 ± 12.34 W", "1234.56 W"), "falls short", note=n),), strong=1
    )


@pytest.mark.long
@EVERY_SHAPE
@pytest.mark.parametrize("script", NAMES)
def test_any_text_is_laid_out_with_nothing_wrong(script, shape):
    for body in hostile(NAMES[script]):
        card = Card("made-up", "Rated", ("aux input",), body, title="9 of 11", stage="In short", corner=UNIT)
        for look in LOOKS:
            items = lay_out(card, look, SHAPES[shape])
            assert find_problems(items, SHAPES[shape]) == ()
            assert find_colour_problems(items, LOOKS[look]) == ()


def test_what_cannot_be_drawn_is_refused_with_a_remedy():
    with pytest.raises(LayoutFault) as raised:
        sound(with_body("number", figure="0" * 80))
    assert "[cards]" in str(raised.value)
