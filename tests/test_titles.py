"""The titles of cards: findings in a few words, for every kind of measurement and every form of a card."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit.build.card_titles import LONGEST, word_title, word_titles
from reviewkit.episode.alt_text import heading_of
from reviewkit.measure.kinds import KINDS
from reviewkit.model import places, quantities
from reviewkit.model.card import Card, Chart, Score
from reviewkit.model.change import Change
from reviewkit.model.finding import Conditions, Finding, Point, Run
from reviewkit.model.level import Level
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Bench, Measurement, Rating
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT

PAGES = Pages(Path("no-such-folder") / "templates", places.templates())
# each kind, and the further pictures that it has
PICTURES = [*((kind, "") for kind in KINDS), ("tone", "waveform"), ("tone", "spectrum"), ("flutter", "rates")]
CHANNELS = ("L", "R", "both", "", "L>R")
APARTS = ("", " at 125 mW", " at 2.83 V", " into 16 Ω")
NAMES = {kind.title.casefold() for kind in KINDS.values()} | {rule.label.casefold() for rule in RULES.values()}
NAMES |= {quantity.name.casefold() for quantity in quantities.QUANTITIES.values()} | {"waveform", "spectrum", "contour"}
# and the names that brochures of other gear print
RATED = dict.fromkeys((*RULES, *quantities.QUANTITIES))


def finding(value: float, channel: str = "R", quantity: str = "thd") -> Finding:
    return Finding(quantity, channel, value, "%", {}, "m", "tone", "", "m.csv")


def change(improved: bool, channel: str) -> Change:
    worse, better = finding(1.0, channel), finding(0.1, channel)
    return Change(worse, better) if improved else Change(better, worse)


def verdict(quantity: str, word: str) -> Verdict:
    return Verdict(Rating(quantity, RULES[quantity].unit if quantity in RULES else ""), quantity, "", "", "1", word)


def title(form: str, apart: str = "", **facts: object) -> str:
    given = {
        "kind": "tone",
        "picture": "",
        "subject": "",
        "verdict": None,
        "change": None,
        "channel": "",
        "settings": (),
    }
    return word_title(Point("titles", form, given | facts), PAGES, apart)


def check(text: str) -> None:
    assert 0 < len(text) <= LONGEST, text
    assert text[0].isupper()
    assert text.rstrip("?").casefold() not in NAMES, f"{text} is only what was measured"
    assert not text.endswith(".")
    assert "  " not in text
    assert " ?" not in text


def test_each_kind_in_each_form():
    for form in ["fault", "pair", "plain"]:
        for kind, picture in PICTURES:
            for channel in CHANNELS:
                for improved in (True, False):
                    for apart in APARTS:
                        check(
                            title(
                                form,
                                apart,
                                kind=kind,
                                picture=picture,
                                channel=channel,
                                change=change(improved, channel),
                            )
                        )


def test_what_is_cleaner_in_one_place_only_is_not_cleaner_across_the_band():
    spot = replace(finding(0.2, quantity="distortion"), at={"frequency": 1000.0})
    facts = {"kind": "distortion-frequency", "change": change(True, "R"), "figure": spot}
    assert title("pair", **facts, only_there=False) == "Cleaner across the band"
    assert title("pair", **facts, only_there=True) == "Cleaner at 1 kHz"
    # where it isn't the worst, it doesn't say that it is
    assert title("plain", kind="distortion-frequency", figure=spot) == "How clean across the band?"


def test_each_rated_name_with_each_verdict():
    for quantity in RATED:
        words = [title("verdict", verdict=verdict(quantity, word)) for word in (MEETS, SHORT, CLOSE, INCOMPARABLE)]
        assert len(set(words)) == 4, words
        for word in (MEETS, SHORT, CLOSE, INCOMPARABLE):
            for apart in APARTS:
                check(title("verdict", apart, verdict=verdict(quantity, word)))


def test_what_is_met_with_room_to_spare_is_better_than_rated():
    for quantity in RATED:
        met = verdict(quantity, MEETS)
        barely, clearly = (title("verdict", verdict=replace(met, room=room)) for room in (0.09, 0.1))
        assert barely == title("verdict", verdict=met), quantity
        check(clearly)
        with_tolerance = replace(met, room=0.5, rating=replace(met.rating, tolerance=0.1))
        assert title("verdict", verdict=with_tolerance) == barely, quantity  # within a tolerance, more isn't better
        for pair in ("Both", "Left", "Right"):
            for word in (MEETS, SHORT):
                of_pair = title("verdict", verdict=replace(met, verdict=word, room=0.5), pair=pair)
                check(of_pair)
                assert not of_pair.startswith((f"{pair} it", f"{pair} the")), quantity


def test_a_clear_margin_is_in_the_title():
    met = verdict("wow_and_flutter", MEETS)
    assert title("verdict", verdict=met) == "As steady as rated"
    assert title("verdict", verdict=replace(met, room=1.0)) == "Steadier than rated"
    assert title("verdict", verdict=verdict("impedance", SHORT), pair="Both") == "Impedance dips too low"


def test_readings_are_counted_if_more_than_one_is_rated():
    assert title("plain", kind="reading", counts=[(1, "met")]) == "What did the meter say?"
    assert title("plain", kind="reading", counts=[(5, "met"), (1, "missed")]) == "5 of 6 as rated, 1 missed"
    close = title("plain", kind="reading", counts=[(10, "met"), (2, CLOSE)])
    assert close == "10 of 12 as rated, 2 too close to call"
    three = title("plain", kind="reading", counts=[(1, "met"), (1, "missed"), (1, CLOSE)])
    assert three == "1 of 3 readings as rated"
    assert title("plain", kind="reading", counts=[(2, "missed"), (1, CLOSE)]) == "None of 3 readings as rated"
    assert title("plain", kind="reading", counts=[(2, "met")]) == "Both readings as rated"


def test_as_found_nothing_is_said_of_the_repair():
    for kind, picture in PICTURES:
        for channel in CHANNELS:
            words = (
                title("fault", kind=kind, picture=picture, channel=channel, change=change(True, channel))
                .casefold()
                .split()
            )
            assert not {"again", "back", "less", "repair", "now", "after"} & set(words), kind


def test_what_is_not_comparable_is_no_miss():
    for quantity in RULES:
        assert title("verdict", verdict=verdict(quantity, INCOMPARABLE)) == "Rated under other conditions", quantity


def test_what_got_worse_is_no_repair():
    assert title("pair", channel="R", change=change(False, "R")) == "The right channel got worse"
    assert title("fault", channel="R", change=change(False, "R")) == "How clean is it?"
    assert title("pair", channel="R", change=change(True, "R")) == "The right channel cleans up"
    assert title("fault", channel="L", change=change(True, "L")) == "The left channel is rough"


def test_filters_are_no_controls():
    assert title("plain", kind="contour", settings=("bass full up",)) == "What do the controls do?"
    assert title("plain", kind="contour", settings=("loudness", "low filter")) == "What do loudness and filters do?"
    assert title("plain", kind="contour", settings=("low filter",)) == "What do the filters do?"


# ------------------------------------------------------------------ on cards


def run(name: str, stage: str = "", **m: object) -> Run:
    measurement = Measurement(name, "tone", card=name, stage=stage, load_ohm=8.0, **m)  # type: ignore[arg-type]
    return Run(Conditions(measurement, Bench()), ())


def card(name: str, form: str = "plain", first: str = "", **facts: object) -> Card:
    given = {
        "kind": "tone",
        "picture": "",
        "subject": "",
        "verdict": None,
        "change": None,
        "channel": "",
        "settings": (),
    }
    return Card(name, "THD", (), Chart(()), finding=Point("titles", form, given | facts), first=first or name)


def titles(cards: list[Card], runs: list[Run]) -> list[str]:
    by_card: dict[str, list[Run]] = {}
    for each in runs:
        by_card.setdefault(each.conditions.measurement.card, []).append(each)
    return [each.title for each in word_titles(cards, by_card, PAGES)]


def test_two_drives_have_two_titles():
    runs = [run("low", drive=Level(5.0, "W")), run("high", drive=Level(30.0, "W"))]
    assert titles([card("low"), card("high")], runs) == ["How clean is it at 5 W?", "How clean is it at 30 W?"]


@pytest.mark.parametrize(
    ("one", "other", "ends"),
    [
        ({"load_ohm": 8.0}, {"load_ohm": 4.0}, (" into 8 Ω?", " into 4 Ω?")),
        ({"frequency_hz": 1000.0}, {"frequency_hz": 10_000.0}, (" at 1 kHz?", " at 10 kHz?")),
        ({"input": "aux"}, {"input": "phono"}, (" on aux?", " on phono?")),
        ({"setting": "filter on"}, {"setting": "filter off"}, (" with filter on?", " with filter off?")),
        ({"setting": "x" * 40}, {"setting": "y" * 40}, ("?", "?")),  # which the overline says
        ({}, {}, ("?", "?")),
    ],
)
def test_a_title_names_the_condition_that_differs(one, other, ends):
    runs = [
        Run(Conditions(replace(Measurement(n, "tone", card=n), **m), Bench()), ())
        for n, m in (("a", one), ("b", other))
    ]
    assert titles([card("a"), card("b")], runs) == [f"How clean is it{end}" for end in ends]


def test_the_users_title_is_kept_and_no_reason_for_others_to_differ():
    runs = [run("low", drive=Level(5.0, "W"), title="Whisper clean"), run("high", drive=Level(30.0, "W"))]
    assert titles([card("low"), card("high")], runs) == ["Whisper clean", "How clean is it?"]


def test_a_pair_has_the_title_of_after_and_as_found_that_of_before():
    of = {"change": change(True, "R"), "channel": "R"}
    pair = replace(card("tone", "pair", **of), found=card("tone-found", "fault", "tone", **of))
    own = [
        replace(
            run("x", "before", title="Thin"),
            conditions=Conditions(Measurement("x", "tone", card="tone", stage="before", title="Rough"), Bench()),
        ),
        replace(
            run("y", "after"), conditions=Conditions(Measurement("y", "tone", card="tone", stage="after"), Bench())
        ),
    ]
    (worded,) = word_titles([pair], {"tone": own}, PAGES)
    assert worded.found is not None
    assert (worded.found.title, worded.title) == ("Rough", "The right channel cleans up")


def test_a_further_card_has_a_title_of_its_own():
    runs = [run("tone", title="Whisper clean")]
    assert titles([card("tone"), card("tone-spectrum", first="tone", picture="spectrum")], runs) == [
        "Whisper clean",
        "What comes with the tone?",
    ]


@pytest.mark.parametrize(
    ("subject", "counts", "worded"),  # met, missed, judged, ratings
    [
        ("Damping factor", (7, 1, 9, 12), ("Damping factor falls short", "7 of 9 judged ratings met")),
        ("Intermodulation of two tones, both at 40 W", (1, 1, 2, 2), ("One rating falls short", "1 of 2 ratings met")),
        ("Hum", (0, 2, 3, 3), ("2 fall short", "None of 3 ratings met")),
        ("Capture ratio", (9, 0, 10, 10), ("9 met, 1 undecided", "9 of 10 ratings met")),
        ("Maximum output level", (3, 0, 4, 4), ("3 met, 1 undecided", "3 of 4 ratings met")),
        ("Hum", (1, 0, 3, 4), ("2 are too close to call", "1 of 3 judged ratings met")),
        ("Hum", (4, 0, 4, 4), ("Every rating is met", "All 4 ratings met")),
        ("Hum", (4, 0, 4, 5), ("Every judged rating is met", "All 4 judged ratings met")),
        ("Hum", (2, 0, 2, 2), ("Both ratings are met", "Both ratings met")),
        ("Hum", (1, 0, 1, 2), ("The one judged rating is met", "Rated hum: met")),
    ],
)
def test_the_score_says_what_was_found_and_its_chapter_the_count(subject, counts, worded):
    facts = dict(zip(("met", "missed", "judged", "ratings"), counts, strict=True))
    facts |= {"subject": subject, "only": "Rated hum"}
    card = Card("score", "", (), Score((), (), (), ()), finding=Point("cards", "score", facts))
    (titled,) = word_titles([card], {}, PAGES)
    assert (titled.title, titled.heading) == worded
    assert len(titled.title) <= LONGEST
    assert heading_of(titled) == titled.heading
