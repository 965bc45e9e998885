"""Which runs share a card, which cards there are, in which order, and which are for filming."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.build.card_groups import group_runs, join_runs, put_judged_first, share_cards
from reviewkit.build.card_series import Series, called_cards
from reviewkit.episode.card_choices import add_readings, choose_for_film, leave_out, put_in_order, read_choices
from reviewkit.episode.stills import AFTER, BEFORE, PAIR
from reviewkit.ingest.session.notes_file import parse_notes
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, Chart, Hero, Rows
from reviewkit.model.card_files import file_stems, stills
from reviewkit.model.change import Change
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Conditions, Finding, Point, Run
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, CardChoices, Measurement, Rating
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.text_outputs import render_outline
from reviewkit.verdict.verdict import CLOSE, MEETS, SHORT

TONE = {"kind": "tone", "input": "aux", "load_ohm": 8.0, "drive": Level(5.0, "W")}


def run(name: str, channels: str = "LR", **conditions: object) -> Run:
    """A measurement of these channels. `card`: as the session names it."""
    m = Measurement(name, **{**TONE, **conditions})  # type: ignore[arg-type]
    return Run(Conditions(m, Bench()), tuple(_finding(m, channel) for channel in channels))


def _finding(m: Measurement, channel: str, quantity: str = "thd", value: float = 0.1, **at: object) -> Finding:
    return Finding(quantity, channel, value, "%", at, m.id, m.kind, m.stage, "x.csv")


def cards_of(*runs: Run) -> dict[str, str]:
    return {each.conditions.measurement.id: each.conditions.measurement.card for each in share_cards(runs)}


# ------------------------------------------------------------------ which runs share a card


@pytest.mark.parametrize(
    ("runs", "cards"),
    [
        # only the stage differs
        (
            [run("tone-before", stage="before"), run("tone-after", stage="after")],
            {"tone-before": "tone", "tone-after": "tone"},
        ),
        # one of them has a table of its own
        (
            [
                run("before-tone", stage="before", named=False),
                run("after-tone", stage="after", named=True, title="Clean", readings=("hum",), line=9, planned=True),
            ],
            {"before-tone": "tone", "after-tone": "tone"},
        ),
        (
            [run("before-tone", stage="before", named=False), run("after-tone", stage="after", files="after/*.csv")],
            {"before-tone": "tone", "after-tone": "tone"},
        ),
        ([run("before", stage="before"), run("later", stage="after")], {"before": "later", "later": "later"}),
        (
            [run("power-8ohm-before", stage="before"), run("power-8ohm", stage="after")],
            {"power-8ohm-before": "power-8ohm", "power-8ohm": "power-8ohm"},
        ),
        # a name that another card has isn't used
        (
            [
                run("tone-before", stage="before"),
                run("tone-after", stage="after"),
                run("tone", stage="after", drive=Level(30.0, "W")),
            ],
            {"tone-before": "tone-after", "tone-after": "tone-after", "tone": "tone"},
        ),
        (
            [run("price-before", stage="before"), run("price-after", stage="after")],
            {"price-before": "price-after", "price-after": "price-after"},
        ),
        # anything else that differs keeps them apart
        ([run("a", stage="before"), run("b", stage="after", drive=Level(30.0, "W"))], {"a": "a", "b": "b"}),
        ([run("a", stage="before"), run("b", stage="after", setting="loudness")], {"a": "a", "b": "b"}),
        ([run("a", stage="before"), run("b", stage="after", load_ohm=4.0)], {"a": "a", "b": "b"}),
        ([run("a", stage="before"), run("b", stage="after", kind="noise")], {"a": "a", "b": "b"}),
        # how a file is read is no condition
        (
            [run("a", stage="before", window="hann"), run("b", stage="after", units={"left": "dBV"})],
            {"a": "b", "b": "b"},
        ),
        # two of one stage don't share a card; the first takes that of before
        ([run("a", stage="before"), run("b", stage="after"), run("c", stage="after")], {"a": "b", "b": "b", "c": "c"}),
        ([run("a"), run("b")], {"a": "a", "b": "b"}),
        # one export for each channel
        ([run("x-left", "L"), run("x-right", "R")], {"x-left": "x", "x-right": "x"}),
        ([run("x-left", ["L>R"], driven="L"), run("x-right", ["R>L"], driven="R")], {"x-left": "x", "x-right": "x"}),
        (
            [run("x.L", "L", stage="before"), run("x.R", "R", stage="before"), run("y", stage="after")],
            {"x.L": "y", "x.R": "y", "y": "y"},
        ),
        ([run("x", "L"), run("y", "L")], {"x": "x", "y": "y"}),
        ([run("x", [""]), run("y", [""])], {"x": "x", "y": "y"}),
        # the session's own word goes first
        ([run("a", stage="before", card="a"), run("b", stage="after")], {"a": "a", "b": "b"}),
        ([run("a", stage="before"), run("b", stage="after", card="b")], {"a": "a", "b": "b"}),
        ([run("a", setting="x", card="c"), run("b", setting="y", card="c")], {"a": "c", "b": "c"}),
        ([run("a", setting="x", card="b"), run("b", setting="y")], {"a": "b", "b": "b"}),
        # the bench's own is drawn on every card of its kind, so it needs none
        (
            [run("a", stage="before"), run("loop", stage="bench"), run("b", stage="after")],
            {"a": "b", "loop": "loop", "b": "b"},
        ),
    ],
)
def test_which_card_a_run_is_drawn_on(runs, cards):
    assert cards_of(*runs) == cards


def test_the_rating_that_a_card_judges_comes_first_in_all_its_runs():
    met, missed, elsewhere = (Rating("thd", "%", at_most=limit) for limit in (0.2, 0.05, 0.3))
    runs = [run("tone-before", stage="before"), run("tone-after", stage="after"), run("other", drive=None)]
    runs = [replace(each, conditions=replace(each.conditions, ratings=(elsewhere, met, missed))) for each in runs]
    runs = share_cards(runs)
    words = [(met, MEETS), (missed, SHORT)]
    verdicts = [Verdict(one, "", "", "", "0.1 %", word, findings=runs[1].findings[:1]) for one, word in words]
    before, after, other = (each.conditions.ratings for each in put_judged_first(runs, verdicts))
    assert before == after == (missed, elsewhere, met)
    assert other == (elsewhere, met, missed)


def test_groups_are_in_the_order_of_kinds_with_the_benchs_own_on_each():
    runs = share_cards([run("hiss", kind="noise"), run("tone-L", "L"), run("loop", stage="bench"), run("tone-R", "R")])
    groups = group_runs(runs, list(KINDS))
    assert list(groups) == ["tone", "hiss"]
    ids = {name: [each.conditions.measurement.id for each in group] for name, group in groups.items()}
    assert ids == {"tone": ["tone-L", "loop"], "hiss": ["hiss"]}
    assert [f.channel for f in groups["tone"][0].findings] == ["L", "R"]  # one run, of two files
    assert [f.measurement for f in groups["tone"][0].findings] == ["tone-L", "tone-R"]
    assert len(join_runs(runs)) == 3


# ------------------------------------------------------------------ choices


def verdict(word: str, order: int = 1) -> Verdict:
    return Verdict(Rating("power", "W", order=order), "Power", "", "", "1 W", word, room=0.1)


def card(name: str, kind: str = "tone", stage: str = AFTER, body=None, of: Verdict | None = None, **more) -> Card:
    finding = Point("titles", "plain", {"kind": kind, "picture": "", "change": None})
    return Card(name, kind, (), body or Chart(()), stage=stage, finding=finding, verdict=of, first=name, **more)


def pair(name: str, before: float, after: float, kind: str = "tone") -> Card:
    m = Measurement(name, kind)
    change = Change(_finding(m, "R", value=before), _finding(m, "R", value=after))
    finding = Point("titles", "pair", {"kind": kind, "picture": "", "change": change})
    found = replace(card(f"{name}-found", kind, BEFORE), first=name)
    return replace(card(name, kind, PAIR), finding=finding, found=found)


def filmed(cards: list[Card]) -> set[str]:
    return {still.id for still in stills(cards) if still.on_film}


def chosen(*cards: Card, called: tuple[str, ...] = (), only_page: tuple[str, ...] = ()) -> set[str]:
    return filmed(choose_for_film(cards, set(called), only_page))


def test_for_filming_is_what_changed_most():
    assert chosen(card("title"), pair("tone", 1.4, 0.026), pair("noise", 0.2, 0.1, "noise")) == {
        "title",
        "tone",
        "tone-found",
    }
    # what got worse is not what a repair is about
    assert chosen(pair("tone", 0.001, 1.0), pair("noise", 0.2, 0.1, "noise")) == {"noise", "noise-found"}
    assert chosen(pair("tone", 0.001, 1.0)) == {"tone", "tone-found"}


def test_for_filming_is_one_card_of_each_rated_kind_and_every_miss():
    cards = [
        card("tone"),
        card("power-4", "power", of=verdict(CLOSE, order=9)),
        card("power-8", "power", of=verdict(MEETS, order=3)),
        card("power-2", "power", of=verdict(SHORT, order=12)),
        card("hiss", "noise", of=verdict(MEETS)),
    ]
    # of a kind, the rating that the maker names first
    assert chosen(*cards) == {"power-8", "power-2", "hiss"}


def test_where_nothing_is_rated_and_nothing_changed_one_card_of_each_kind_is_for_filming():
    assert chosen(card("a"), card("b"), card("c", "noise")) == {"a", "c"}


def test_a_table_is_for_the_page_unless_a_note_calls_for_it():
    table = card("readings", "reading", body=Rows((), (), ()), of=verdict(MEETS))
    assert chosen(card("a"), table) == {"a"}
    assert chosen(card("a"), table, called=("readings",)) == {"a", "readings"}


def test_what_a_note_calls_for_is_for_filming_and_a_pair_with_both_stills():
    cards = [card("hiss", "noise", of=verdict(MEETS)), pair("tone", 2.0, 0.9), pair("slow", 9.0, 0.1)]
    assert chosen(*cards) == {"hiss", "slow", "slow-found"}
    assert chosen(*cards, called=("tone-found",)) == {"hiss", "slow", "slow-found", "tone", "tone-found"}


def test_only_page_takes_a_still_out_of_the_film():
    cards = [pair("tone", 2.0, 0.1), card("title"), card("hiss", "noise", of=verdict(MEETS))]
    assert chosen(*cards, only_page=("hiss", "tone")) == {"tone-found", "title"}
    assert chosen(*cards, only_page=("tone-found",)) == {"tone", "title", "hiss"}


def test_hidden_cards_are_not_there():
    cards = [card("title"), pair("tone", 2.0, 0.1), card("hiss")]
    assert [each.id for each in leave_out(cards, ("tone",))] == ["title", "hiss"]
    alone = leave_out(cards, ("tone-found", "hiss"))
    assert [still.id for still in stills(alone)] == ["title", "tone"]


@pytest.mark.parametrize(
    ("order", "result"),
    [
        ((), "abcde"),
        (("d", "b"), "adcbe"),  # they take each other's places, the others keep theirs
        (("e", "d", "c", "b", "a"), "edcba"),
        (("c",), "abcde"),
        (("e", "a"), "ebcda"),
    ],
)
def test_cards_named_in_an_order_come_in_it(order, result):
    assert "".join(each.id for each in put_in_order([card(name) for name in "abcde"], order)) == result


def test_a_card_as_found_has_the_number_of_its_pair():
    assert file_stems([card("title"), pair("tone", 2.0, 0.1), card("hiss")]) == {
        "title": "01-title",
        "tone-found": "02-tone-found",
        "tone": "02-tone",
        "hiss": "03-hiss",
    }


NAMES = {name: name for name in ("title", "response", "tone", "ending", "score")} | {
    "tone-before": "tone",
    "closing": "ending",
}


def test_choices_take_every_name_of_a_card():
    given = CardChoices(hide=("closing", "score"), order=("tone-before", "tone"), only_page=("price",))
    read, remarks = read_choices(given, NAMES)
    assert (read.hide, read.order, read.only_page) == (("ending", "score"), ("tone",), ())
    assert remarks == ()  # there may be a price another day


def test_a_name_that_is_no_cards_is_asked_about_or_remarked_on():
    with pytest.raises(
        InputError, match=r'session\.toml:7: \[cards\] hide: there is no card respons; did you mean "response"'
    ):
        read_choices(CardChoices(hide=("respons",), lines={"hide": 7}), NAMES)
    _, remarks = read_choices(CardChoices(order=("zzz",), lines={"order": 8}), NAMES)
    assert remarks == ("session.toml:8: order in [cards] names zzz, which is not a card",)


# ------------------------------------------------------------------ which card a note means


def called(text: str, cards: list[Card], before: tuple[str, ...] = (), kept_out: dict[str, str] | None = None):
    names = {still.id: still.id for still in stills(cards)} | {"x": cards[0].id}
    return called_cards(parse_notes(text), Series(tuple(cards), names, kept_out or {}), before)


def test_before_the_repair_a_note_means_the_card_as_found():
    cards = [pair("tone", 2.0, 0.1), card("hiss", stage="")]
    text = (
        "0:00 opening: a [card tone]\n0:10 fault: b [card x] [card hiss]\n0:20 after: c [card tone] [card tone-found]\n"
    )
    notes, remarks = called(text, cards, ("opening", "fault"))
    assert [note.cards for note in notes.notes] == [("tone-found",), ("tone-found", "hiss"), ("tone", "tone-found")]
    assert remarks == ()


def test_before_the_repair_no_card_shows_how_it_is_after_it():
    cards = [card("hiss", stage=AFTER), card("sweep", stage="")]
    notes, remarks = called("0:00 before: a [card hiss] [card sweep]\n0:10 after: b [card hiss]\n", cards, ("before",))
    assert [note.cards for note in notes.notes] == [("sweep",), ("hiss",)]
    (remark,) = remarks
    assert remark.startswith("notes.txt:1: card hiss is not shown in before: it has only what was measured after")


def test_a_card_that_is_kept_out_and_called_for_is_asked_about():
    cards = [pair("tone", 2.0, 0.1)]
    wanted = r"notes\.txt:1: \[card x\]: hide in \[cards\] of session\.toml leaves it out; change either"
    with pytest.raises(InputError, match=wanted):
        called("0:00 opening: a [card x]\n", cards, (), {"tone": "hide"})
    called("0:00 opening: a [card x] [cut]\n", cards, (), {"tone": "hide"})  # of a bad take nothing is asked


def test_a_name_that_resembles_a_cards_is_asked_about_and_another_is_remarked_on():
    cards = [pair("tone", 2.0, 0.1)]
    with pytest.raises(InputError, match='did you mean "tone"'):
        called("0:00 opening: a [card tones]\n", cards)
    for name in ("price", "closing", "repair", "mowing"):  # the first three may be there another day
        notes, remarks = called(f"0:00 opening: a [card {name}]\n", cards)
        assert notes.notes[0].cards == ()
        assert len(remarks) == 1
        assert f"card {name} is called for, but nothing makes it" in remarks[0]


# ------------------------------------------------------------------ further figures on a card


def with_readings(*wanted: str) -> tuple[Card, dict[str, list[Run]]]:
    m = Measurement("m", "tone", stage="after", readings=wanted, line=42)
    now = Run(
        Conditions(m, Bench()),
        (
            _finding(m, "L", "thd", 0.02, frequency=1000.0),
            _finding(m, "R", "thd", 0.05, frequency=1000.0),
            _finding(m, "R", "thd", 0.07, frequency=10_000.0),
        ),
    )
    old = Measurement("o", "tone", stage="before")
    was = Run(Conditions(old, Bench()), (_finding(old, "R", "thd", 5.0, frequency=1000.0),))
    found = replace(card("tone-found", stage=BEFORE), hero=Hero("5 %"), first="tone")
    return replace(card("tone", stage=PAIR), hero=Hero("1 %", note="at 1 W"), found=found), {"tone": [was, now]}


@pytest.mark.parametrize(
    ("wanted", "further", "as_found"),
    [
        ((), (), ()),
        (("THD",), ("THD at 1 kHz 0.050 % right",), ("THD at 1 kHz 5.0 %",)),
        (("thd at 10 kHz",), ("THD at 10 kHz 0.070 %",), ()),
        (("THD at 10 kHz", "THD"), ("THD at 10 kHz 0.070 %", "THD at 1 kHz 0.050 % right"), ("THD at 1 kHz 5.0 %",)),
    ],
)
def test_the_figures_that_a_measurement_asks_for_are_on_its_card(wanted, further, as_found):
    given, runs = with_readings(*wanted)
    (made,) = add_readings([given], runs)
    assert made.hero is not None
    assert made.hero.further == further
    assert made.found is not None
    assert made.found.hero is not None
    assert made.found.hero.further == as_found


@pytest.mark.parametrize(
    ("wanted", "further"),
    [
        # a channel's frequency is that of its own fit, and its power what comes out of it
        (("hum", "2nd harmonic"), ("hum −99.2 dB right", "2nd harmonic −65.8 dB left")),
        (("SINAD",), ("SINAD 60.0 dB right",)),  # of these the smaller is the worse
        (("THD", "hum"), ("hum −99.2 dB right",)),  # what is large isn't repeated
        (("hum", "hum at 1 kHz"), ("hum −99.2 dB right",)),
        (("power",), ("power at 1 % distortion 63.9 W right",)),
        (("distortion",), ("distortion at 20 kHz 0.34 % left",)),  # found in a band, elsewhere for each channel
    ],
)
def test_further_figures_are_those_of_the_worse_channel(wanted, further):
    m = Measurement("m", "tone", readings=wanted)

    def both(quantity: str, left: float, right: float, unit: str = "dB", **at: object) -> list[Finding]:
        own = ({"frequency": 1000.00004, "power": 4.0}, {"frequency": 999.99998, "power": 3.2})
        return [
            Finding(quantity, c, v, unit, {**each, "band": (20.0, 20_000.0), **at}, m.id, m.kind, "", "x.csv")
            for c, v, each in zip("LR", (left, right), own, strict=True)
        ]

    found = [
        *both("thd", 0.050, 0.066, "%"),
        *both("hum", -100.8, -99.2),
        *both("harmonic_2", -65.8, -68.0),
        *both("sinad", 66.0, 60.0),
        *both("power_at_limit", 64.8, 63.9, "W", limit=1.0),
        both("worst_distortion", 0.34, 0.30, "%", frequency=20_000.0)[0],
        both("worst_distortion", 0.34, 0.30, "%", frequency=16_000.0)[1],
    ]
    given = Card(
        "tone", "Distortion", ("4 W", "1 kHz"), Chart(()), hero=Hero("0.066 %", findings=(found[1],)), first="tone"
    )
    (made,) = add_readings([given], {"tone": [Run(Conditions(m, Bench()), tuple(found))]})
    assert made.hero is not None
    assert made.hero.further == further


def test_a_figure_that_it_has_not_is_asked_about():
    given, runs = with_readings("TDH")
    with pytest.raises(
        InputError,
        match=r'session\.toml:42: \[\[measurement\]\] m: readings: it has no figure "TDH"; did you mean "THD"',
    ):
        add_readings([given], runs)


# ------------------------------------------------------------------ in a session

NOTES = (
    "0:00 opening: Hello.\n0:30 before: Look at it. [card tone]\n1:00 repair: Done.\n1:30 after: Again. [card tone]\n"
)


@pytest.fixture
def composed(sample_copy):
    """Prepares the sample session with other notes and lines added to session.toml."""

    def prepare(notes: str = NOTES, toml: str = "", replaced: tuple[str, str] = ("", "")) -> pipeline.Composed:
        (sample_copy / "notes.txt").write_text(notes, encoding="utf-8")
        text = (sample_copy / "session.toml").read_text(encoding="utf-8").replace(*replaced)
        (sample_copy / "session.toml").write_text(text + toml, encoding="utf-8")
        return pipeline.prepare(sample_copy, open_cache())

    return prepare


def test_the_samples_pair_needs_no_card_key(composed):
    sample = composed(replaced=('card = "tone"\n', ""))
    runs = sample.episode.runs
    assert {m.card for each in runs if (m := each.conditions.measurement).id.startswith("tone-a")} == {"tone"}
    assert [still.id for still in sample.episode.stills if still.first == "tone"] == ["tone-found", "tone"]


def test_the_hunt_and_the_fix_follow_the_pair_before_its_verdict(composed):
    cards = [card.id for card in composed().episode.cards]
    at = cards.index("hunt")
    assert cards[at - 1 : at + 3] == ["power-8ohm", "hunt", "fix", "power-8ohm-rated"]


def test_nothing_of_after_is_shown_before_the_repair(composed):
    episode = composed().episode
    stage = {still.id: still.stage for still in episode.stills}
    order = [segment.name for segment in episode.segments]
    for segment in episode.segments:
        if order.index(segment.name) < order.index("repair"):
            assert {stage[name] for name in segment.cards} <= {"", BEFORE, "The hunt"}, segment.name
    assert "tone-found" in next(s for s in episode.segments if s.name == "before").cards
    assert "tone" in next(s for s in episode.segments if s.name == "after").cards


def test_the_wave_and_the_spectrum_are_made_if_a_note_calls_for_them(composed):
    assert not [card.id for card in composed().episode.cards if "waveform" in card.id]
    episode = composed(NOTES.replace("Look at it. [card tone]", "Look at it. [card tone-waveform]")).episode
    assert [still.id for still in episode.stills if "waveform" in still.id] == ["tone-waveform-found", "tone-waveform"]


def test_the_outline_says_what_is_on_the_page_only(composed):
    sample = composed()
    text = render_outline(sample.episode, sample.pages)
    _, _, rest = text.partition("## Not in the film")
    named = set(re.findall(r"\d\d-([\w-]+)", rest))
    assert named == {still.id for still in sample.episode.stills if not still.on_film}
    assert "square-1khz" in named
    film = {card for segment in sample.episode.segments for card in segment.cards}
    assert film == {still.id for still in sample.episode.stills if still.on_film}
    page = {card for segment in sample.episode.page_segments for card in segment.cards}
    assert page == {still.id for still in sample.episode.stills}


def test_cards_as_the_session_chooses_them(composed):
    toml = '\n[cards]\nhide = ["square-1khz"]\norder = ["phono", "response"]\nonly_page = ["crosstalk"]\n'
    plain, sample = composed(), composed(toml=toml)
    before, now = [[card.id for card in each.episode.cards] for each in (plain, sample)]
    assert "square-1khz" in before
    assert "square-1khz" not in now
    assert (before.index("response") < before.index("phono"), now.index("response") < now.index("phono")) == (
        True,
        False,
    )
    on_film = {card.id: card.on_film for card in sample.episode.cards}
    assert (on_film["crosstalk"], on_film["phono"]) == (False, True)


def test_a_short_name_is_in_the_corner(composed):
    sample = composed(replaced=('model = "Forty"', 'model = "Forty"\nshort = "N40"'))
    assert {card.corner for card in sample.episode.cards} == {"N40"}
    assert sample.episode.session.unit.name == "Norrvale Forty"
