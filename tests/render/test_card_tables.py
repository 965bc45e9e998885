"""Long tables: split evenly, set alike; no table says less in a narrow frame."""

from dataclasses import replace

import pytest
from card_samples import SAMPLES, said, shapes, sound, texts

from reviewkit.model.card import Card, Row, Rows
from reviewkit.render.cards.card import LayoutFault
from reviewkit.render.cards.colours import find_look
from reviewkit.render.cards.shape import SHAPES, WIDE
from reviewkit.render.cards.sizes import LEAST
from reviewkit.render.cards.table import MOST_ROWS, split_table

ALL = tuple(SHAPES.values())


def long_table(rows):
    source = SAMPLES["table"]
    return replace(source, body=replace(source.body, rows=(tuple(source.body.rows) * 4)[:rows]))


def one_row(*cells, **more):
    return Card("table", "all ratings", (), Rows(("", "measured", "rated"), (Row(cells, **more),), strong=1))


@pytest.mark.parametrize(
    ("title", "large"),
    [
        ("10 maker's ratings to meet", "10"),
        ("2 of 3 as rated, 1 missed", "2 of 3"),
        ("12 V rails", ""),
        ("All of it", ""),
    ],
)
def test_a_count_of_ratings_or_readings_is_large_and_other_numbers_are_not(title, large):
    body = Rows(("", ""), (Row(("Separation", "at least 45 dB")),) * 3, strong=1)
    items = texts(sound(Card("rated", "", (), body, title=title)))
    assert [item.text for item in items if item.weight == "black"] == ([large] if large else [])
    assert (title in {item.text for item in items}) is not bool(large)


def test_a_table_that_fits_stays_one_card():
    assert split_table(SAMPLES["table"]) == (SAMPLES["table"],)
    assert split_table(SAMPLES["response"]) == (SAMPLES["response"],)
    assert len(split_table(long_table(MOST_ROWS))) == 1


@pytest.mark.parametrize("rows", [15, 25, 32])
def test_a_long_table_is_split_evenly(rows):
    card = long_table(rows)
    parts = split_table(card)
    assert len(parts) > 1
    assert [part.id for part in parts] == ["table", *(f"table-{n}" for n in range(2, len(parts) + 1))]
    assert tuple(row for part in parts for row in part.body.rows) == card.body.rows
    sizes = [len(part.body.rows) for part in parts]
    assert max(sizes) - min(sizes) <= 1
    assert max(sizes) <= MOST_ROWS
    for number, part in enumerate(parts, 1):
        assert part.title == card.title
        assert part.conditions == (*card.conditions, f"{number} of {len(parts)}")


def test_all_pages_of_a_table_are_set_alike():
    """One size, the same column places, the same pitch of rows."""
    settings = []
    for part in split_table(long_table(25)):
        items = sound(part)
        names = {row.cells[0] for row in part.body.rows}
        body = [text for text in texts(items) if text.baseline > WIDE.high_dial]
        rules = [rule.points[0][1] for rule in shapes(items, "rule")]
        settings.append(
            (
                {text.size for text in body if text.text in names},
                {
                    round(text.box.right) for text in body if text.box.right > 1000
                },  # figures end where their column does
                round(float(rules[1] - rules[0]), 3),
            )
        )
    sizes, _, pitches = zip(*settings, strict=True)
    assert all(size == sizes[0] and len(size) == 1 for size in sizes)
    assert len(set(pitches)) == 1


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("look", ["lamplight", "brochure"])
def test_every_cell_verdict_and_note_is_there_in_every_shape(shape, look):
    for part in split_table(long_table(8), shapes=ALL):
        printed = said(sound(part, look, shape))
        for row in part.body.rows:
            for cell in filter(None, (*row.cells, row.verdict)):
                assert all(word in printed for word in cell.split())
        assert all(text.size >= LEAST for text in texts(sound(part, look, shape)))


def test_a_narrow_frame_gets_more_pages():
    wide, every = (split_table(long_table(14), shapes=some) for some in ((WIDE,), ALL))
    assert len(wide) < len(every)
    for part in every:
        sound(part, shape="square")


def test_only_the_verdict_s_word_is_in_its_colour():
    look = find_look("lamplight")
    items = sound(one_row("Damping factor", "52", "60", verdict="falls short", note="at 1 kHz"))
    coloured = [text.text for text in texts(items) if text.colour == look.falls_short]
    assert coloured == ["falls short"]
    assert [text.text for text in texts(items) if text.weight == "bold" and text.baseline > WIDE.high_dial] == [
        "52",
        "falls short",
    ]


def test_a_short_note_is_beside_the_name_a_long_one_below():
    near = {text.text: text for text in texts(sound(one_row("Damping factor", "52", "60", note="at 1 kHz")))}
    assert near["at 1 kHz"].baseline == near["Damping factor"].baseline
    long = "at 40 W, both channels driven, mains at 120 V, after half an hour at an eighth of it, cover off, fan on"
    below = texts(sound(one_row("Damping factor at the terminals", "52", "60", note=long)))
    name = next(text for text in below if text.text.startswith("Damping"))
    assert next(text for text in below if text.text.startswith("at 40 W")).baseline > name.baseline


def test_what_leaves_the_others_no_room_is_refused_with_the_text():
    with pytest.raises(LayoutFault) as raised:
        split_table(one_row("Power", "W" * 200, "60"))
    assert "W" * 200 in str(raised.value)


def test_headers_of_channels_have_their_colours():
    look = find_look("lamplight")
    body = Rows(("", "left", "right"), (Row(("Bias", "22 mV", "23 mV")),))
    heads = {text.text: text.colour for text in texts(sound(Card("readings", "Readings", (), body)))}
    assert (heads["left"], heads["right"]) == (look.left, look.right)
