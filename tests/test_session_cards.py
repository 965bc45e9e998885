"""The cards that no measurement makes, as data: what they say, and what they leave out."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.build.card_titles import word_title
from reviewkit.episode import session_cards
from reviewkit.episode.hunt import make_fix_card, make_hunt_card
from reviewkit.episode.outcome import IMPROVED, MEASURED, REPAIRED, Outcome
from reviewkit.episode.score import judged_figure, make_ending_card, make_score_card
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model import places
from reviewkit.model.card import Card, Chart, HuntReading, Row
from reviewkit.model.change import Change
from reviewkit.model.finding import Finding, Point
from reviewkit.model.prices import PriceLine
from reviewkit.model.session import Bench, EpisodeSettings, PrintedFigure, Rating, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.spec_table import SpecTable, TableRow

SESSION = Session(
    Path(), Unit("Norrvale", "Forty", "integrated amplifier", 1977), Bench(input="aux", mains="120 V 60 Hz")
)
PRICE = PriceLine(329, "USD", 1977, 2024, 5.176, 1703.0, "$329", "$1,700", "", "$260")
PAGES = Pages(places.templates(), places.templates())
HEADER = "point,expected,found,unit,tolerance,action,after\n"
TRAIL = """\
"Rail, positive",38.5,38.9,V,5 %,none,
"Rail, negative",-38.5,-38.8,V,5 %,none,
"Bias L, before",22,21.3,mV,4 mV,none,
"Bias R, before",22,0.2,mV,4 mV,traced to the bias spreader,22.8
"Bias spreader R, collector to emitter",1.92,0.66,V,0.2 V,traced to the trimmer,1.93
"Bias trimmer R, in the base arm",220,open,ohm,20 %,"replaced, sealed",221
"Bias resistor R",390,392,ohm,5 %,none,
"Bias trimmer L",220,231,ohm,20 %,replaced too,
Output relay contacts,,,,,cleaned,
"Bias L, after, warm",22,22.5,mV,4 mV,go,
"""


def points(rows: str = TRAIL):
    return parse_repair(HEADER + rows)


def verdict(label, word, measured="43 W", limit="40 W", *, room=None, margin="", brief="", quantity="power"):
    position = None if room is None else max(-1.2, min(1.2, room))
    finding = Finding(quantity, "R", 43.0, "W", {"frequency": 1000.0}, "power", "distortion-power", "", "power.csv")
    rating = Rating(quantity, "W", at_least=40.0)
    return Verdict(
        Rating(quantity, "%", at_most=0.05) if limit.endswith("%") else rating,
        label,
        f"{limit} into 8 Ω",
        limit,
        measured,
        word,
        margin,
        position=position,
        room=room,
        findings=(finding,) if measured else (),
        brief=brief,
    )


VERDICTS = (
    verdict("Power into 8 Ω", "meets", "42.9 ± 1.8 W at 1 kHz", room=0.1, margin="+7 %"),
    verdict("Separation, 1 kHz", "meets", "64.0 dB", "50 dB", room=2.3, margin="+14.0 dB"),
    verdict("Intermodulation at 40 W", "meets", "0.089 %", "0.1 %", room=0.17, margin="1.1 ×"),
    verdict("Damping factor, 1 kHz", "falls short", "52", "60", room=-0.2, margin="−13 %"),
    verdict("THD at 40 W", "falls short", "0.17 % at 20 kHz", "0.05 %", room=-1.8, margin="0.29 ×"),
    verdict("Power into 4 Ω", "too close to call", "60.3 ± 1.6 W", "60 W", room=0.0, margin="+0.5 %"),
    verdict("Music power", "not comparable", "46.1 W", "55 W", brief="measured continuous"),
    verdict("Gain, main in", "not measured", "", "29 dB"),
    verdict("Input sensitivity, aux", "", "147 mV, −2 %", "150 mV"),
)


# ------------------------------------------------------------------ title and price


@pytest.mark.parametrize(
    ("title", "hook"),
    [
        ("Norrvale Forty: the side that sounded rough", "The side that sounded rough"),
        ("Forty – one side sounds rough", "One side sounds rough"),
        ("One side sounds rough", "One side sounds rough"),
        ("Norrvale Forty-two", "Norrvale Forty-two"),
        ("", "Norrvale Forty"),
    ],
)
def test_the_hook_is_the_episode_s_title_without_the_unit_s_name(title, hook):
    session = replace(SESSION, episode=EpisodeSettings(title=title, presenter="the bench"))
    card = session_cards.make_title_card(session, PRICE, b"photo")
    assert (card.body.hook, card.title) == (hook, hook)
    assert card.body.name == ("" if hook == "Norrvale Forty" else "Norrvale Forty")
    assert (card.body.what, card.body.presenter, card.body.photo) == (
        "integrated amplifier, 1977",
        "the bench",
        b"photo",
    )


def test_worth_is_on_the_price_s_own_card_alone():
    assert session_cards.make_title_card(SESSION, PRICE).body.price.worth == ""
    price = session_cards.make_price_card(PRICE).body
    assert (price.paid, price.now, price.years, price.worth) == ("$329", "$1,700", (1977, 2024), "$260")
    # paid in the year that it is carried over to: one amount, and without an opinion no card
    same = replace(PRICE, to_year=1977)
    assert session_cards.make_price_card(same).body.now == ""
    assert session_cards.make_price_card(replace(same, fair_shown="")) is None
    assert session_cards.make_price_card(None) is None


# ------------------------------------------------------------------ the hunt and the fix


def test_the_hunt_narrows_from_what_is_ok_to_the_part():
    card = make_hunt_card(points())
    body = card.body
    assert [(r.point, r.expected, r.reading, r.word) for r in body.readings] == [
        ("Rail, positive", "38.5 V", "38.9 V", "OK"),
        ("Bias L", "22 mV", "21.3 mV", "OK"),
        ("Bias R", "22 mV", "0.2 mV", "too low"),
        ("Bias spreader R, collector to emitter", "1.92 V", "0.66 V", "too low"),
    ]
    assert [r.out for r in body.readings] == [False, False, True, True]
    assert (body.part.point, body.part.reading, body.part.word) == ("Bias trimmer R, in the base arm", "open", "open")
    assert (card.stage, card.conditions) == ("The hunt", ("before the repair",))
    # where nothing was repaired yet, it is before none
    assert make_hunt_card(points("A,1,2,V,5 %,traced to B,\nB,1,3,V,5 %,none,\n")).conditions == ()


def test_the_part_is_the_last_point_out_of_tolerance_that_was_worked_on():
    rows = "A,1,2,V,5 %,traced,\nB,1,3,V,5 %,replaced,\nC,1,0.2,V,5 %,none,\n"
    body = make_hunt_card(points(rows)).body
    assert ([r.point for r in body.readings], body.part.point, body.part.word) == (["A"], "B", "too high")
    # what was mended itself is another fault, not a step on the way to this one
    mended = make_hunt_card(points(rows.replace("traced", "core aligned"))).body
    assert (mended.readings, mended.part.point) == ((), "B")
    # with nothing done and nothing open, it is the last
    assert make_hunt_card(points("A,1,2,V,5 %,none,\nB,1,3,V,5 %,,\n")).body.part.point == "B"
    assert make_hunt_card(points("R4,220,short,ohm,5 %,,\n")).body.part.reading == "shorted"


@pytest.mark.parametrize("last", ["C901", "C312"])
def test_the_part_is_the_one_that_a_reading_was_traced_to_wherever_its_row_is(last):
    """Two faults in one unit: what was replaced besides is no cause of the reading."""
    rows = {"C901": "C901,4700,610,uF,20 %,replaced,\n", "C312": "C312,4.7,0.11,uF,20 %,replaced,\n"}
    first = next(text for name, text in rows.items() if name != last)
    body = make_hunt_card(points(f"Ripple,0.1,1.9,V,0.2 V,traced to C901,\n{first}{rows[last]}")).body
    assert ([r.point for r in body.readings], body.part.point) == (["Ripple"], "C901")


def test_a_long_chain_keeps_its_beginning_and_its_end():
    rows = "Rail,38,38,V,5 %,,\n" + "".join(f"P{n},1,2,V,5 %,traced,\n" for n in range(1, 8)) + "Q1,1,9,V,5 %,new,\n"
    body = make_hunt_card(points(rows)).body
    assert [r.point for r in body.readings] == ["P1", "P5", "P6", "P7"]
    assert body.part.point == "Q1"


def test_without_a_fault_there_is_no_hunt_and_no_fix():
    fine = "Rail,38.5,38.9,V,5 %,none,\nOutput relay contacts,,,,,cleaned,\nP,,3,V,,,\n"
    for rows in (fine, '"Bias R, after",22,40,mV,4 mV,,\n'):
        assert make_hunt_card(points(rows)) is None
        assert make_fix_card(points(rows)) is None
    assert make_hunt_card(()) is None


def test_the_fix_has_what_was_done_and_what_is_read_after_it():
    card = make_fix_card(points())
    assert (card.body.part, card.body.done) == ("Bias trimmer R", "replaced, sealed")
    assert card.body.reading == HuntReading("Bias trimmer R, in the base arm", "220 Ω", "221 Ω", "OK")
    assert (card.body.before, card.body.others) == ("open", "2 others were off, too, and read right again")
    assert card.finding.facts == {"back": True, "off": 0, "part": "The bias trimmer R"}
    # a file of earlier days: only what was read again under the same name
    old = TRAIL.replace(",22.8\n", ",\n").replace(",1.93\n", ",\n").replace(",221\n", ",\n")
    assert make_fix_card(points(old)) is None
    again = make_fix_card(points(old + '"Bias R, after, warm",22,22.6,mV,4 mV,go,\n'))
    assert (again.body.reading.point, again.body.reading.reading, again.body.others) == ("Bias R", "22.6 mV", "")
    assert again.finding.facts["part"] == "The bias R"


def test_the_fix_shows_what_is_still_off():
    low = TRAIL.replace(",1.93\n", ",0.9\n")
    off = make_fix_card(points(low))
    shown = off.body.reading
    assert (shown.point, shown.expected, shown.reading, shown.word) == (
        "Bias spreader R, collector to emitter",
        "1.92 V",
        "0.9 V",
        "out of tolerance",
    )
    assert (off.body.before, off.body.others) == ("0.66 V", "")
    assert (off.finding.facts["back"], off.finding.facts["off"]) == (False, 1)
    both = make_fix_card(points(low.replace(",22.8\n", ",9\n"))).body
    assert (both.reading.point, both.others) == ("Bias R", "Bias spreader R does not, either")


@pytest.mark.parametrize(
    ("others", "said"),
    [
        ((), ""),
        (("Bias R",), "Bias R was off, too, and reads right again"),
        (("Emitter resistors R",), "Emitter resistors R were off, too, and read right again"),
        (("Bias R", "C1"), "2 others were off, too, and read right again"),
        (tuple(f"C{n}" for n in range(9)), "9 others were off, too, and read right again"),
    ],
)
def test_the_fix_says_what_the_others_read(others, said):
    rows = "".join(f"{name},1,2,V,5 %,traced,1\n" for name in others)
    assert make_fix_card(points(f"{rows}Q1,1,2,V,5 %,replaced,1\n")).body.others == said


@pytest.mark.parametrize(
    ("part", "facts", "title"),
    [
        ("Decoder, free-running", {"back": True}, "The decoder reads right again"),
        ("Q12", {"back": True}, "Q12 reads right again"),
        ("B+ voltage", {"back": True}, "The B+ voltage reads right again"),
        ("Bias R", {"back": True}, "The bias R reads right again"),
        ("Emitter resistors R", {"back": True}, "It reads right again"),
        ("Trimmer of the second decoder stage", {"back": True}, "It reads right again"),
        ("Decoder", {"back": False}, "Not all of it reads right"),
    ],
)
def test_the_fix_s_title_names_the_part(part, facts, title):
    after = "1" if facts["back"] else "3"
    card = make_fix_card(points(f'"{part}",1,2,V,5 %,set,{after}\n'))
    assert word_title(card.finding, PAGES) == title


def test_the_long_list_has_every_point():
    card = session_cards.make_repair_card(points())
    assert len(card.body.rows) == 10
    assert card.body.rows[0] == Row(("Rail, positive", "38.5 V ± 5 %", "38.9 V"), "OK")
    assert card.body.rows[3] == Row(
        ("Bias R, before", "22 mV ± 4 mV", "0.2 mV"), "too low", note="traced to the bias spreader; now 22.8 mV"
    )
    assert card.body.rows[5].cells[2] == ""  # "open" is said once
    assert card.body.rows[5].verdict == "open"
    assert session_cards.make_repair_card(()) is None


# ------------------------------------------------------------------ the score


def test_the_score_tells_misses_first_and_what_is_met_by_how_near_it_is():
    card = make_score_card(VERDICTS, repaired=True)
    body = card.body
    assert [(r.label, r.measured, r.rated, r.note) for r in body.missed] == [
        ("THD at 40 W", "0.17 %", "0.05 %", "3.4 × the limit"),
        ("Damping factor, 1 kHz", "52", "60", "by 13 %"),
    ]
    assert [(r.measured, r.uncertainty) for r in body.close] == [("60.3", "± 1.6 W")]
    assert [(r.label, r.note) for r in body.unjudged] == [
        ("Music power", "measured continuous"),
        ("Gain, main in", "not measured"),
        (VERDICTS[8].label, "nominal"),
    ]
    # without ± where it doesn't decide
    assert [r.measured for r in body.met] == ["42.9 W", "0.089 %", "64.0 dB"]
    # what couldn't be judged has no needle
    assert [r.position for r in body.unjudged] == [None, None, None]
    assert [card.finding.facts[name] for name in ("met", "judged", "ratings")] == [3, 6, 9]
    assert (card.stage, card.conditions) == ("After the repair", ())
    assert make_score_card(VERDICTS[6:], repaired=False) is None
    # of one alone only if a note calls for it
    assert make_score_card(VERDICTS[5:], repaired=False) is None
    assert make_score_card(VERDICTS[5:], repaired=False, called=True).finding.facts["judged"] == 1


def test_of_many_met_ratings_the_nearest_to_its_limit_comes_first():
    many = [verdict(f"Rating {n}", "meets", room=n / 20) for n in range(14, 0, -1)]
    body = make_score_card(many, repaired=False).body
    assert [r.label for r in body.met] == [f"Rating {n}" for n in range(1, 15)]


def test_every_reason_has_at_most_six_words():
    assert all(len(r.note.split()) <= 6 for r in make_score_card(VERDICTS, repaired=False).body.unjudged)


@pytest.mark.parametrize(
    ("measured", "figure"), [("58.2 ± 2.5 W", "58.2 W"), ("0.17 % at 20 kHz", "0.17 %"), ("71 ± 3", "71"), ("52", "52")]
)
def test_a_figure_keeps_its_unit_without_its_uncertainty(measured, figure):
    assert judged_figure(verdict("x", "meets", measured)) == figure


# ------------------------------------------------------------------ one figure


def found(value, stage, quantity="thd_plus_noise", unit="%", **at):
    return Finding(quantity, "R", value, unit, at, f"power-{stage}", "distortion-power", stage, "x.csv")


def pair_of(before: float, after: float, quantity: str = "thd_plus_noise", unit: str = "%") -> Card:
    change = Change(
        found(before, "before", quantity, unit, power=1.0), found(after, "after", quantity, unit, power=1.0)
    )
    subject = "Distortion (THD+N), right channel"
    return Card(
        "power", subject, ("8 Ω", "1 kHz"), Chart(()), finding=Point("titles", "pair", {"change": change}), stage="x"
    )


def test_the_number_is_what_changed_most_and_names_what_it_is():
    card = session_cards.make_number_card(pair_of(5.0, 0.02))
    body = card.body
    assert (body.figure, body.sentence, body.was) == ("0.020 %", "Distortion, improved from 5.0 %", "before, 5.0 %")
    assert (body.dial.low, body.dial.high) == (10.0, 0.01)
    assert [text for _, text in body.dial.ticks] == ["10 %", "1 %", "0.1 %", "0.01 %"]
    assert card.conditions == ("1 W", "8 Ω", "1 kHz")
    assert card.hero.caption == "distortion, right, at 1 W"
    # what got worse is no climax
    assert session_cards.make_number_card(pair_of(0.02, 5.0)) is None
    assert session_cards.make_number_card(None) is None


def test_more_is_better_of_a_ratio():
    body = session_cards.make_number_card(pair_of(62.0, 98.5, "snr", "dB")).body
    assert body.sentence == "Signal to noise, improved from 62.0 dB"
    assert body.dial.low < 62.0 < 98.5 < body.dial.high


@given(
    st.floats(1e-4, 1e3),
    st.floats(1.3, 1e5),
    st.sampled_from(("%", "dB", "W", "V", "")),
    st.booleans(),
)
def test_every_dial_holds_both_values_better_to_the_right(low, factor, unit, rises):
    high = low * factor + (unit == "dB")  # no card is about a change of less than a decibel
    before, after = (low, high) if rises else (high, low)
    dial = session_cards.make_dial(before, after, unit)

    def at(value):
        if dial.scale == "linear":
            return (value - dial.low) / (dial.high - dial.low)
        return math.log(value / dial.low) / math.log(dial.high / dial.low)

    assert 0 <= at(before) < at(after) <= 1
    assert at(after) - at(before) >= 0.1
    assert 2 <= len(dial.ticks) <= 13
    assert all(-1e-9 <= at(value) <= 1 + 1e-9 for value in (*dial.minor, *(value for value, _ in dial.ticks)))


# ------------------------------------------------------------------ the ending


def ending(outcome, verdicts=VERDICTS, change=None, repair=()):
    return make_ending_card(SESSION, outcome, change, repair, verdicts)


def test_the_ending_counts_what_was_judged_and_names_the_misses():
    change = pair_of(5.0, 0.02).finding.facts["change"]
    body = ending(Outcome(REPAIRED), change=change).body
    assert (body.word, body.met, body.of) == ("Repaired", "3", "of 6 judged ratings met")
    assert body.missed == ("THD at 40 W 0.17 %, rated 0.05 %", "damping factor 52, rated 60")
    assert (body.hero.before, body.hero.figure) == ("5.0 %", "0.020 %")
    # of each rating a mark, missed first
    others = ("not comparable", "not measured", "")
    assert body.tally == (*["falls short"] * 2, "too close to call", *["meets"] * 3, *others)


def test_what_is_lacking_is_on_the_card():
    body = ending(Outcome(IMPROVED, ("not read again: Bias R", "still out: Smell"), ("bias",))).body
    assert (body.pending, body.unchecked) == ("not read again: Bias R; still out: Smell", ("bias",))


def test_without_a_repair_what_was_missed_or_is_nearest_its_limit_is_the_figure():
    card = ending(Outcome(MEASURED, ("nothing was repaired",)), VERDICTS[:3])
    assert (card.body.word, card.body.pending) == ("Measured", "nothing was repaired")
    assert (card.body.hero.figure, card.body.hero.before) == ("42.9 W", "")
    assert (card.body.hero.caption, card.body.hero.note) == ("power into 8 Ω, right", "rated 40 W, met by 7 %")
    assert (card.body.met, card.body.of) == ("3", "of 3 ratings met")
    assert ending(Outcome(MEASURED), ()) is None
    assert ending(Outcome(MEASURED), VERDICTS[6:]) is None
    # no figure twice
    one = ending(Outcome(MEASURED), VERDICTS[3:4]).body
    assert (one.hero.figure, one.hero.note) == ("52", "missed, rated 60")
    assert (one.met, one.of, one.missed) == ("", "", ())
    meant = {"limit": "8 Ω, at least 6.4 Ω", "limit_figure": "6.4 Ω", "limit_source": "rated 8 Ω: lowest allowed"}
    impedance = replace(VERDICTS[3], label="Impedance", measured="5.93 Ω", **meant)
    assert ending(Outcome(MEASURED), (impedance,)).body.hero.note == "missed, lowest allowed 6.4 Ω"
    one = ending(Outcome(REPAIRED), VERDICTS[3:4], pair_of(5.0, 0.02).finding.facts["change"]).body
    assert (one.met, one.of, len(one.missed)) == ("1", "rating missed", 1)


def test_one_rating_alone_that_was_not_judged_is_named():
    printed = (PrintedFigure("Weight", "12 kg"),)
    rumble = replace(VERDICTS[6], label="Rumble (DIN B-weighted)", brief="measured unweighted")
    for verdicts, others, text in (
        (VERDICTS[:3], printed, "not judged: weight, not measured"),
        ((*VERDICTS[:3], rumble), (), "not judged: rumble, DIN B-weighted"),
        ((*VERDICTS[:3], replace(rumble, label="Power, 20 Hz")), (), "not judged: power, measured unweighted"),
        (VERDICTS[:3], (), ""),
        ((*VERDICTS[:3], rumble), printed, ""),
    ):
        assert make_score_card(verdicts, others, repaired=False).body.not_judged == text


def test_what_is_only_printed_counts_as_a_rating():
    printed = (PrintedFigure("Weight", "12 kg"),)
    card = make_score_card(VERDICTS, printed, repaired=True)
    assert [card.finding.facts[name] for name in ("judged", "ratings")] == [6, 10]
    assert (card.body.unjudged[-1].label, card.body.unjudged[-1].note) == ("Weight", "not measured")
    body = make_ending_card(replace(SESSION, printed=printed), Outcome(MEASURED), None, (), VERDICTS).body
    assert len(body.tally) == 10


def test_without_a_change_the_first_point_that_was_read_again_is_the_figure():
    body = ending(Outcome(REPAIRED), (), repair=points()).body
    assert (body.hero.before, body.hero.figure, body.hero.caption) == ("0.2 mV", "22.8 mV", "Bias R")
    assert (body.met, body.tally) == ("", ())


# ------------------------------------------------------------------ the long table


def test_the_table_has_the_first_ratings_that_were_judged():
    rows = tuple(TableRow(v.label, v.limit, v.rated, v.measured or "–", v.verdict, v.margin, "") for v in VERDICTS)
    table = SpecTable((*rows, TableRow("Balance", "none given", "none given", "+0.1 dB", "", "", "")), ())
    card = session_cards.make_table_card(SESSION, table, VERDICTS, repaired=True)
    assert [row.cells[0] for row in card.body.rows] == [v.label for v in VERDICTS[3:6]]  # what is not met
    assert card.body.more == "and 3 more, all met"  # of the six that were judged
    fewer = session_cards.make_table_card(SESSION, SpecTable(rows[:4], ()), VERDICTS[:4], repaired=True)
    assert [row.cells[0] for row in fewer.body.rows] == [VERDICTS[n].label for n in (3, 0, 1)]  # no table of one row
    assert fewer.body.more == "and 1 more, all met"
    one = session_cards.make_table_card(SESSION, SpecTable(rows[5:9], ()), VERDICTS[5:9], repaired=True)
    assert [row.cells[0] for row in one.body.rows] == [v.label for v in VERDICTS[5:8]]
    assert one.body.more == "and 1 more"
    few = session_cards.make_table_card(
        SESSION, SpecTable((*rows[6:8], table.rows[-1]), ()), VERDICTS[6:8], repaired=True
    )
    assert few.body.rows == (
        Row(("Music power", "", "55 W"), "not comparable", note="measured continuous"),
        Row(("Gain, main in", "", "29 dB"), "not measured"),
        Row(("Balance", "+0.1 dB", "none given")),
    )
    assert few.body.more == ""
    for count in (0, 1):
        short = SpecTable(rows[:count], ())
        assert session_cards.make_table_card(SESSION, short, VERDICTS[:count], repaired=False) is None


def test_of_many_ratings_those_that_are_judged_are_shown():
    ratings = (
        Rating("power", "W", at_least=40.0, load_ohm=8.0, thd_percent=0.05, source="manual"),
        Rating("damping_factor", "", at_least=60.0),
    )
    card = session_cards.make_rated_card(replace(SESSION, ratings=ratings), ())
    assert card.body.rows == (Row(("Power into 8 Ω", "40 W or more")), Row(("Damping factor", "60 or more")))
    assert card.asides == ("manual (1 of 2)",)
    assert word_title(card.finding, PAGES) == "What the maker printed"
    assert session_cards.make_rated_card(SESSION, ()) is None
    many = tuple(
        Rating("power", "W", at_least=40.0, load_ohm=ohms, order=n)
        for n, ohms in enumerate((2.0, 4.0, 8.0, 16.0, 32.0, 64.0), 1)
    )
    words = ("not measured", *["meets"] * 4, "falls short")
    judged = [replace(v, rating=r, verdict=w) for v, r, w in zip(VERDICTS, many, words, strict=False)]
    session = replace(SESSION, ratings=many)
    card = session_cards.make_rated_card(session, judged, [judged[5], judged[2]])
    # those of cards on film come first, in that order
    assert [row.cells[0].split()[-2] for row in card.body.rows] == ["64", "8", "4"]
    assert card.body.more == "and 2 more"
    assert word_title(card.finding, PAGES) == "5 maker's ratings to meet"
    # one more row, not "and 1 more"
    four = session_cards.make_rated_card(replace(session, ratings=many[1:5]), judged[1:5])
    assert (len(four.body.rows), four.body.more) == (4, "")
    one = session_cards.make_rated_card(session, judged[1:2])
    assert (word_title(one.finding, PAGES), one.body.more) == ("1 maker's rating to meet", "")


def test_of_one_quantity_one_rating_is_shown_told_apart_from_the_other_with_its_side():
    def own(name, order, mode, **limit):
        return Rating(name, "dBf", order=order, input="FM", conditions=(("mode", mode),), called=name, **limit)

    ratings = (
        own("quieting", 1, "mono", at_most=16.0),
        own("quieting", 2, "stereo", at_most=37.5),
        own("threshold", 3, "", nominal=19.2),
        *(own(f"ratio {n}", n, "", at_least=50.0 + n) for n in (4, 5, 6)),
    )
    words = ("meets", "meets", "", "meets", "meets", "meets")
    judged = [replace(VERDICTS[0], rating=r, verdict=w, limit="") for r, w in zip(ratings, words, strict=True)]
    card = session_cards.make_rated_card(replace(SESSION, ratings=ratings), judged, judged[:2])
    assert [row.cells for row in card.body.rows] == [
        ("Quieting (mono)", "16 dBf or less"),
        ("Ratio 4", "54 dBf or more"),
        ("Ratio 5", "55 dBf or more"),
    ]
    # what all rows share is said once, and a nominal value is nothing to meet
    assert (card.conditions, card.body.more, card.finding.facts["ratings"]) == (("FM",), "and 2 more", 5)
    # where there is room for both, they are told apart
    few = session_cards.make_rated_card(replace(SESSION, ratings=ratings), judged[:4], judged[:2])
    assert [row.cells[0] for row in few.body.rows] == ["Quieting (mono)", "Ratio 4", "Quieting (stereo)"]


def test_a_rating_that_means_another_limit_has_both():
    rating = Rating("impedance", "Ω", nominal=8.0, called="impedance")
    meant = replace(VERDICTS[0], rating=rating, limit="at least 6.4 Ω", limit_figure="6.4 Ω")
    card = session_cards.make_rated_card(replace(SESSION, ratings=(rating,)), [meant])
    assert card.body.rows == (Row(("Impedance, 8 Ω", "may dip to 6.4 Ω")),)


def test_what_is_only_printed_is_on_the_card_of_ratings_and_not_on_that_of_the_table():
    long = "440 × 150 × 390 mm, without the feet"
    printed = (PrintedFigure("Weight", "11.5 kg", "leaflet"), PrintedFigure("Dimensions", long))
    card = session_cards.make_rated_card(replace(SESSION, printed=printed), ())
    assert card.body.rows == (
        Row(("Weight", "11.5 kg"), note="not measured"),
        Row(("Dimensions", ""), note=f"{long}; not measured"),
    )
    assert card.asides == ("leaflet (1 of 2)",)
    weight = TableRow("Weight", "11.5 kg", "11.5 kg", "–", "not measured", "", "", only_printed=True)
    balance = TableRow("Balance", "none given", "none given", "+0.1 dB", "", "", "")
    offset = TableRow("DC offset", "none given", "none given", "11 mV", "", "", "")
    table = session_cards.make_table_card(SESSION, SpecTable((weight, balance, offset), ()), (), repaired=False)
    assert [row.cells[0] for row in table.body.rows] == ["Balance", "DC offset"]
    assert session_cards.make_table_card(SESSION, SpecTable((weight, weight), ()), (), repaired=False) is None
