"""The cards that no measurement makes, as data: what they say, and what they leave out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit.episode import session_cards
from reviewkit.model.card import Row
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Bench, Measurement, Rating, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.card import fit
from reviewkit.verdict.spec_table import spec_table

SESSION = Session(Path(), Unit("Norrvale", "Forty"), Bench(mains="120 V 60 Hz"))
PRICE = PriceLine(329, "USD", 1977, 2024, 5.176, 1703.0, "$329", "$1,700", "", "$260")


def verdict(label, word, *, position=None, margin="", measured="43 W", at=None, limit="40 W", room=None):
    findings = ()
    if at is not None:
        findings = (Finding("power_at_limit", "R", 43.0, "W", at, "power", "distortion-power", "", "power.csv"),)
    rating = Rating("power", "W", at_least=40.0)
    return Verdict(rating, label, limit, limit, measured, word, margin, "", "", position, ("power",), findings, room)


def repaired(point, expected, found, tolerance, action, **more):
    value = None if found in ("open", "short") else float(found)
    text = found if value is None else f"{found} V"
    wanted = f"{expected} V" if expected is not None else ""
    return RepairRow(point, expected, wanted, value, text, "V", more.get("off"), tolerance, action, "")


def test_the_repair_reads_expected_to_found():
    trail = (
        repaired("Rail", 38.5, "38.9", "5 %", "none", off=1.925),
        repaired("Bias spreader", 1.92, "0.66", "0.2 V", "traced to the trimmer", off=0.2),
        repaired("Trimmer", 1.0, "open", "20 %", "replaced", off=0.2),
        repaired("Offset, after", 0, "0.01", "", "GO"),
    )
    rail, spreader, trimmer, offset = session_cards.make_repair_card(SESSION, trail).body.rows
    assert rail == Row(("Rail", "38.5 V ± 5 %", "→", "38.9 V", "in order"), "in order")
    assert spreader.cells[1:] == ("1.92 V ± 0.2 V", "→", "0.66 V", "out of tolerance")
    word = "out of tolerance"
    assert (spreader.note, spreader.loud) == ("traced to the trimmer", True)
    assert (trimmer.cells[3:], trimmer.verdict, trimmer.loud) == (("open", word), word, True)
    # a point that passed is nothing done, and one that has no tolerance is not judged
    assert offset == Row(("Offset, after", "0 V", "→", "0.01 V", ""))


def test_the_table_says_where_it_was_measured():
    verdicts = [
        verdict(
            "Power into 8 Ω", "meets", at={"frequency": 400.0}, position=0.1, margin="+7 %", measured="43 W at 400 Hz"
        ),
        verdict("DIN power", "meets", at={"frequency": 1000.0}, position=0.1, margin="+7 %"),
        verdict("Music power", "falls short", at={"frequency": 1000.0}, position=-0.1, margin="−7 %"),
        verdict("Damping factor, 1 kHz", "meets", at={"frequency": 1000.0}),
        verdict("Signal to noise", "meets", at={"band": [20.0, 20_000.0]}),
        verdict("Intermodulation", "meets", at={"tones": (60.0, 7000.0)}),
        verdict("Gain", "not measured", measured=""),
    ]
    table = spec_table(SESSION, (), verdicts)
    card = session_cards.make_table_card(SESSION, table, verdicts)
    assert card.conditions == "120 V 60 Hz · 1 kHz where no frequency stands"
    assert [row.note for row in card.body.rows] == ["", "", "", "", "20 Hz – 20 kHz", "60 Hz + 7 kHz", ""]
    assert [row.margin for row in card.body.rows] == ["+7 %", "+7 %", "−7 %", "", "", "", ""]


def test_the_summary_names_what_does_not_hold_and_the_nearest_that_does():
    verdicts = [
        verdict("Power", "meets", position=0.15, margin="+23 %", room=0.15),
        # of needles that are kept clear of the notch alike, the figure nearest to its limit
        verdict("Offset", "meets", position=0.1, margin="+1 %", room=0.007),
        verdict("Separation", "meets", position=0.1, margin="+0.6 dB", room=0.002),
        verdict("Gain", "not measured", measured=""),
        verdict("Damping factor", "falls short", position=-0.1, margin="−13 %", measured="52", limit="60"),
        verdict("Noise", "too close to call", position=0.0, margin="+0.1 dB", measured="92.1 ± 0.3 dB"),
    ]
    card = session_cards.make_closing_card(SESSION, verdicts, PRICE)
    assert card.body.rows == (
        Row(("Ratings met", "", "3 of 6"), "meets", 0.1, "nearest to its limit: Separation", "+0.6 dB"),
        Row(("Damping factor", "60", "52"), "falls short", -0.1, margin="−13 %"),
        Row(("Noise", "40 W", "92.1 ± 0.3 dB"), "too close to call", 0.0),
        Row(("Gain", "40 W", "–"), "not measured"),
        Row(("Fair today, an opinion", "", "$260")),
    )
    assert card.body.amounts == (("new, 1977", "$329"), ("in 2024 money", "about $1,700"))
    assert card.body.years == (1977, 2024)


def test_many_that_do_not_hold_are_counted():
    verdicts = [verdict(f"Rating {n}", "falls short", position=-n / 10) for n in range(1, 8)]
    (row,) = session_cards.make_closing_card(SESSION, verdicts, None).body.rows
    assert row == Row(("Ratings missed", "", "7 of 7"), "falls short", -0.7, "Rating 1; Rating 2 and 5 more")


@pytest.mark.parametrize("price", [PRICE, replace(PRICE, fair_shown=""), None], ids=["opinion", "price", "neither"])
@pytest.mark.parametrize("counts", [(4, 0, 0, 0), (2, 2, 1, 0), (1, 1, 1, 1), (2, 1, 1, 1), (1, 2, 2, 3), (2, 2, 2, 2)])
def test_the_summary_stays_on_one_card(counts, price):
    words = ("falls short", "too close to call", "not comparable", "not measured")
    verdicts = [verdict("Input sensitivity, phono", "meets", position=0.1, room=0.1, margin="+0.6 dB")] * 3
    for word, count in zip(words, counts, strict=True):
        names = ["Response at 1 W, 10 Hz – 50 kHz, aux", "Intermodulation at 62 W"][:count]
        verdicts += [verdict(name, word, position=-0.2, measured="0.030 ± 0.001 %") for name in names]
    card = session_cards.make_closing_card(SESSION, verdicts, price)
    assert len(fit(card)) == 1
    said = session_cards.add_alt_text(card).alt
    assert said.count("Response at 1 W") == sum(count > 0 for count in counts) or min(counts) > 0


def test_nothing_judged_and_no_price_is_no_card():
    assert session_cards.make_closing_card(SESSION, (), None) is None
    assert session_cards.make_closing_card(SESSION, (), PRICE).body.headers == ("", "", "")


def test_a_price_of_one_year_has_no_scale_of_years():
    same = PriceLine(329, "USD", 2024, 2024, 1.0, 329.0, "$329", "$330", "")
    assert session_cards.make_title_card(SESSION, same).body.years is None
    assert session_cards.make_title_card(SESSION, PRICE).body.years == (1977, 2024)


def test_a_card_shows_the_verdicts_on_what_its_runs_answered():
    run = Run(Conditions(Measurement("power", "distortion-power"), Bench()), ())
    close = verdict("Power", "too close to call", margin="+0.5 %", measured="40.2 ± 0.9 W")
    (shown,) = session_cards.verdicts_on([run], [close, replace(close, verdict="not measured")])
    # where the uncertainty decides it stands there, and the margin, which is smaller, does not
    assert (shown.label, shown.margin) == ("Power: 40.2 ± 0.9 W", "")
    # of a rating that another measurement answered it shows none
    other = replace(run, conditions=Conditions(Measurement("x", "distortion-power"), Bench()))
    assert session_cards.verdicts_on([other], [close]) == ()


def test_the_alternative_text_says_what_is_seen():
    card = session_cards.make_closing_card(
        SESSION, [verdict("Gain", "falls short", position=-0.2, margin="−13 %")], PRICE
    )
    alt = session_cards.add_alt_text(card).alt
    assert "Gain, 40 W, 43 W, falls short, −13 %" in alt
    assert "new, 1977: $329. in 2024 money: about $1,700" in alt
    trail = [repaired("Trimmer", 1.0, "open", "20 %", "replaced", off=0.2)]
    alt = session_cards.add_alt_text(session_cards.make_repair_card(SESSION, trail)).alt
    assert "Trimmer, 1.0 V ± 20 %, open, replaced, out of tolerance" in alt
