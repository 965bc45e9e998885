"""A card that does not fit says less: what it says twice first, and never what a number holds under."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from card_samples import FREQUENCY, SAMPLES, curve_card, said, verdict
from reviewkit.render.cards.short_forms import shorter_forms

from reviewkit.model.card import Card, Mark, Readout, Row, Rows, Trace
from reviewkit.render.cards.card import LayoutFault, Order, draw_pictures, fit, lay_out
from reviewkit.render.cards.look import LOOKS

LONG = "Frequency response at the loudspeaker terminals " * 8


def flat(channel, role="now", label=None):
    return Trace(FREQUENCY, np.zeros(400), channel, role, channel if label is None else label)


def test_the_first_form_is_the_card_itself_and_each_differs_from_the_one_before():
    for card in SAMPLES.values():
        made = list(shorter_forms(card))
        assert made[0] is card
        assert all(one != other for one, other in pairwise(made))


def test_a_card_that_fits_is_drawn_as_it_was_written():
    for card in SAMPLES.values():
        written = {card.title, *(reading.label for reading in card.readings if reading.label)}
        shown = said(lay_out(card, "lamplight"))
        assert all(word in shown for words in written for word in words.split())


def test_no_form_loses_a_condition_or_a_key_number():
    card = replace(
        SAMPLES["response"],
        readings=(
            Readout("worst, 5 W into 8 Ω", "0.3 dB", (("L", "0.3 dB"),)),
            Readout("at 10 kHz, aux", "1.2 dB"),
            Readout("balance", "", (("worst", "0.2 dB"),)),
        ),
        shorter=("Response",),
    )
    for form in shorter_forms(card):  # the last one is left
        assert (form.conditions, form.foot, form.corner) == (card.conditions, card.foot, card.corner)
        assert form.verdicts == card.verdicts
        assert [reading.key for reading in form.readings if reading.key] == ["0.3 dB", "1.2 dB"]
    assert [reading.label for reading in form.readings] == ["worst", "at 10 kHz"]
    assert form.title == "Response"


def test_a_label_loses_only_what_the_line_under_the_title_says():
    card = curve_card(readings=(Readout("THD, 5 W into 8 Ω, 80 kHz band", "0.1 %"), Readout("5 W into 8 Ω", "2 %")))
    _, shorter = shorter_forms(card)
    assert [reading.label for reading in shorter.readings] == ["THD, 80 kHz band", "5 W into 8 Ω"]


def test_marks_lose_their_words_only_where_a_reading_has_the_figure_and_the_curves_their_own_names():
    marks = (Mark(1000.0, 0.0, "−0.28 dB at 1 kHz"), Mark(2000.0, 0.0, "−0.2 dB at 2 kHz"))
    readings = (Readout("worst", "−0.28 dB"),)
    named = curve_card(flat("L"), flat("R"), marks=marks, readings=readings)
    _, shorter = shorter_forms(named)
    assert [mark.text for mark in shorter.body.panels[0].marks] == ["", "−0.2 dB at 2 kHz"]
    unnamed = curve_card(flat("L", label=""), marks=marks, readings=readings)
    assert list(shorter_forms(unnamed)) == [unnamed]  # a mark may be what names the curve


def test_pairs_are_named_once_where_both_names_have_no_room():
    traces = [flat(c, "now", f"{c} bass +{n}") for n in range(12) for c in "LR"]
    shown = said(lay_out(curve_card(*traces), "lamplight"))
    assert "bass +7" in shown
    assert "L bass +7" not in shown
    few = said(lay_out(curve_card(*traces[:8]), "lamplight"))
    assert "L bass +1" in few
    assert "R bass +1" in few


def test_a_curve_without_its_pair_keeps_its_channel():
    traces = (flat("L", "before", "L before"), flat("R", "now", "R after"), flat("L"), flat("R"))
    card = curve_card(*traces)
    assert list(shorter_forms(card)) == [card]


def test_the_writers_shorter_title_is_taken_where_the_long_one_does_not_fit():
    card = replace(SAMPLES["response"], title=LONG, shorter=(LONG[:-40], "Frequency response"))
    drawn = draw_pictures(card, Order(LOOKS["lamplight"], 1280))
    assert drawn == draw_pictures(replace(card, title="Frequency response"), Order(LOOKS["lamplight"], 1280))


def test_where_no_form_fits_the_fault_is_that_of_the_card_as_written():
    with pytest.raises(LayoutFault) as raised:
        lay_out(replace(SAMPLES["response"], title=LONG, shorter=(LONG[1:],)), "lamplight")
    assert raised.value.text == LONG
    assert raised.value.remedy == "shorten the title"


def test_readings_are_dropped_from_the_foot_as_the_last_resort():
    blocks = tuple(Readout(f"block {n}", "", tuple((f"{k} kHz", "0.1 %") for k in range(5))) for n in range(6))
    card = curve_card(flat("L"), readings=blocks, verdicts=(verdict("Power", "40 W", "meets", 0.1),))
    shown = said(lay_out(card, "lamplight"))
    assert "block 0" in shown
    assert "block 5" not in shown


def test_a_table_that_is_too_wide_leaves_out_its_margins():
    cells = ("THD+N at 40 W into 8 Ω, both channels", "at most 0.05 % of the output", "0.0412345 % of the output ")
    rows = (Row((*cells, "and one more column"), "too close to call", 0.1, margin="+1234567.8 % of the limit"),)
    card = Card("table", "Rated", "", Rows(("",) * 4, rows, (1.0,) * 4, strong=2, needles=True))
    (part,) = fit(card)
    assert part.body.rows[0].margin == ""
    assert part.body.rows[0].cells == rows[0].cells
    roomy = replace(card, body=replace(card.body, rows=(replace(rows[0], cells=cells[:1]),)))
    assert fit(roomy)[0].body.rows[0].margin


def test_a_verdict_leaves_out_why_it_does_not_compare_where_there_is_no_room():
    why = "measured at 4.86 W"
    verdict = replace(SAMPLES["response"].verdicts[0], label=f"THD at 5 W: {why}", brief=why)
    forms = list(shorter_forms(replace(SAMPLES["response"], verdicts=(verdict,))))
    assert forms[0].verdicts[0].label == "THD at 5 W: measured at 4.86 W"
    assert forms[-1].verdicts[0].label == "THD at 5 W"
