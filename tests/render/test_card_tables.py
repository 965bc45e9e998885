from dataclasses import replace

import pytest
from card_samples import SAMPLES, UNIT, said, sound, texts

from reviewkit.model import Card, Row, Rows
from reviewkit.render.card import LayoutFault, fit
from reviewkit.render.look import LEAST


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
