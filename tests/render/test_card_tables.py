from dataclasses import replace

import pytest
from card_samples import MINUS, SAMPLES, UNIT, said, shapes, sound, texts

from reviewkit.model.card import Card, Row, Rows
from reviewkit.render.cards.card import LayoutFault, fit
from reviewkit.render.cards.look import LEAST, SAFE_LEFT, SAFE_RIGHT, find_look


def long_table(rows):
    source = SAMPLES["table"]
    twelve = Rows(("", "rated", "measured"), tuple(source.body.rows) * 4, (2.4, 1.1, 1.6), strong=2, needles=True)
    return replace(source, body=replace(twelve, rows=twelve.rows[:rows]))


def test_a_table_that_fits_stays_one_card():
    assert fit(SAMPLES["table"]) == (SAMPLES["table"],)
    assert fit(SAMPLES["response"]) == (SAMPLES["response"],)


@pytest.mark.parametrize("rows", [12, 25, 32])
def test_a_long_table_is_split_evenly(rows):
    card = long_table(rows)
    parts = fit(card)
    assert len(parts) > 1
    assert [part.id for part in parts] == ["table", *(f"table-{n}" for n in range(2, len(parts) + 1))]
    assert tuple(row for part in parts for row in part.body.rows) == card.body.rows
    sizes = [len(part.body.rows) for part in parts]
    assert max(sizes) - min(sizes) <= 1
    for number, part in enumerate(parts, 1):
        assert part.title == card.title
        assert part.conditions == f"{card.conditions} · {number} of {len(parts)}"
        sound(part)


@pytest.mark.parametrize("rows", [13, 25])
def test_all_pages_of_a_table_are_set_alike(rows):
    """One size, the same column places, the same pitch of rows: a page turned is a table carried on."""
    settings = []
    for part in fit(long_table(rows)):
        items = sound(part)
        body = [text for text in texts(items) if text.size not in (60.0, 38.0) and text.baseline < 900]
        rules = [rule for rule in shapes(items, "rule") if rule.points[0][1] == rule.points[1][1]]
        names = [text for text in body if text.x < 100 and text.text in {row.cells[0] for row in part.body.rows}]
        settings.append(
            (
                {text.size for text in names},
                {round(text.x, 3) for text in body},
                round(float(rules[1].points[0][1] - rules[0].points[0][1]), 3),
            )
        )
    assert len(settings) > 1
    for setting in settings[1:]:
        assert setting[0] == settings[0][0]
        assert setting[2] == pytest.approx(settings[0][2])
    # every column begins at one place on all pages
    assert len(set.union(*({x for x in setting[1] if x < 1300} for setting in settings))) == 3


def test_a_row_that_must_be_seen_stands_over_a_coloured_rule():
    """Under each of them one, and none over it: a good row between two faulty ones is not framed by theirs."""
    items = sound(SAMPLES["repair"])
    faulty = find_look("lamplight").falls_short
    assert len([rule for rule in shapes(items, "rule") if rule.colour == faulty]) == 2
    bold = {text.text for text in texts(items) if text.bold and text.colour == faulty}
    assert bold >= {"1.9 V", "out of tolerance", "open"}
    assert {text.text for text in texts(items) if text.text == "in order" and not text.bold} == {"in order"}


def test_a_margin_stands_behind_the_word_at_the_right_edge():
    items = sound(SAMPLES["table"])
    margins = [text for text in texts(items) if text.text in ("+8 %", f"{MINUS}13 %")]
    assert len(margins) == 2
    words = {text.baseline: text for text in texts(items) if text.text in ("meets", "falls short")}
    for margin in margins:
        assert margin.box.right == pytest.approx(SAFE_RIGHT, abs=1)
        assert words[margin.baseline].box.right + 15 < margin.box.left


def test_amounts_stand_under_a_table_with_the_years_between():
    items = sound(SAMPLES["closing"])
    paid, now = (next(text for text in texts(items) if text.text == amount) for amount in ("$329", "about $1,700"))
    assert paid.box.left == pytest.approx(SAFE_LEFT, abs=6)
    assert now.box.right == pytest.approx(SAFE_RIGHT, abs=1)
    ticks = [tick for tick in shapes(items, "scale") if tick.points[0][0] == tick.points[1][0]]
    assert len(ticks) == 2024 - 1977 + 1
    years = {text.text: text for text in texts(items) if text.text in ("1977", "1990", "2000", "2010", "2024")}
    assert len(years) == 5
    # 2000 stands 23 of 47 years along
    middle = (years["2000"].box.left + years["2000"].box.right) / 2
    assert middle == pytest.approx(SAFE_LEFT + (SAFE_RIGHT - SAFE_LEFT) * 23 / 47, abs=3)


@pytest.mark.parametrize("years", [(1977, 1978), (1850, 2024), (2024, 1977)])
def test_a_scale_of_few_many_or_backward_years(years):
    page = replace(SAMPLES["title"].body, amounts=SAMPLES["title"].body.amounts[:2], years=years)
    items = sound(replace(SAMPLES["title"], body=page))
    first, last = (next(text for text in texts(items) if text.text == str(year)) for year in years)
    assert first.box.left < last.box.left
    assert first.x == pytest.approx(SAFE_LEFT, abs=1)


def test_rows_that_must_be_seen_stay_on_one_page():
    """Of 24 rows in two pages the even end, after the twelfth, would part the four faults."""
    source = SAMPLES["repair"]
    rows = tuple(replace(source.body.rows[0 if 9 <= n < 13 else 3], note="") for n in range(24))
    parts = fit(replace(source, body=replace(source.body, rows=rows)))
    loud = [[row.loud for row in part.body.rows] for part in parts]
    assert sum(any(page) for page in loud) == 1
    assert sum(len(page) for page in loud) == 24
    for part in parts:
        sound(part)


def test_a_row_that_no_card_can_hold_is_a_fault():
    body = Rows(("", ""), (Row(("what it is about " * 30, "43.1 W")),), (1, 1), strong=1)
    with pytest.raises(LayoutFault) as raised:
        fit(Card("table", "Rated and measured", "", body))
    assert raised.value.card_id == "table"


def test_cells_wrap_before_they_fail():
    action = "replaced the output relay and both coupling capacitors, then set the bias cold and again after an hour"
    rows = tuple(Row((f"Q{n} emitter", "0.38 V", "1.9 V", action, "open"), "open") for n in range(3))
    body = Rows(("point", "expected", "found", "action", ""), rows, (1, 1, 1, 2, 1))
    items = sound(Card("repair", "What was mended", "", body, corner=UNIT))
    assert said(items).count("replaced the output relay") == 3
    assert min(text.size for text in texts(items)) >= LEAST


def test_a_table_of_no_rows_is_drawn():
    sound(Card("table", "Rated and measured", "", Rows(("", "rated"), (), (1, 1), needles=True), corner=UNIT))
