"""Notes, sentences and cards put into segments, timed; and the chapters that follow from them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit.build import pipeline
from reviewkit.build.build import make
from reviewkit.build.options import Options
from reviewkit.episode.chapters import segment_of_still, split_after
from reviewkit.episode.episode import (
    JOINED_S,
    ORDER,
    SHORTEST_S,
    assemble,
    find_chapters_fault,
    format_clock,
    make_chapters,
    order_segments,
    segment_of_run,
    segments_before_repair,
    title_of,
)
from reviewkit.episode.stills import AFTER, BEFORE, PAIR
from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, TitlePage
from reviewkit.model.episode import Chapter, Sentence
from reviewkit.model.finding import Conditions, Point, Run
from reviewkit.model.notes import Note, Notes
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Bench, EpisodeSettings, Measurement, Session, Unit
from reviewkit.verdict.repair_points import kinds_of_work

SESSION = Session(Path("session"), Unit("Norrvale", "Forty"), episode=EpisodeSettings(words_per_minute=150))
TITLES = {"after": "Is it fixed?", "around": "A look around"}
CAUTIONS = {
    "open": ["Unplug before a hand goes in."],
    "cold": ["Same rules."],
    "live": ["This part is live."],
    "repair": ["The first power-up is current-limited."],
    "power": ["Dummy loads get hot."],
    "all": ["This is no instruction."],
}


def note(segment, text="", *cards, cut=False):
    return Note("bench-1.mp4", 0.0, segment, text, cards, cut)


def card(card_id, first="", hold_s=None, stage=AFTER, kind=""):
    finding = Point("titles", "plain", {"kind": kind, "asks": KINDS[kind].asks}) if kind else None
    body = TitlePage("", "")
    return Card(card_id, "", (), body, stage=stage, first=first or card_id, hold_s=hold_s, finding=finding)


def pair(card_id, first=""):
    """A card of before and after, with that as found."""
    found = card(f"{card_id}-found", first or card_id, stage=BEFORE)
    return replace(card(card_id, first, stage=PAIR), found=found)


def put_together(notes=(), sentences=None, cards=(), cautions=None, repaired=True, session=SESSION, more=()):
    """`cards`: ids; `sentences`: texts, or (text, card), by segment."""
    all_cards = [*(card(name) for name in cards), *more]
    said = {
        name: [Sentence(one) if isinstance(one, str) else Sentence(*one) for one in found]
        for name, found in (sentences or {}).items()
    }
    return assemble(session, Notes(notes=tuple(notes)), said, all_cards, cautions or {}, repaired, TITLES)


def by_name(segments):
    return {s.name: s for s in segments}


def run_at(stage, card="tone"):
    return Run(Conditions(Measurement("m", "tone", stage=stage, card=card), Bench()), ())


# ------------------------------------------------------------------ order


def test_the_known_segments_stand_in_the_order_of_a_review():
    until_repair = "opening history front rear inside before fault repair"
    assert (
        " ".join(ORDER)
        == f"{until_repair} after listening power steady flat quiet clean load radio verdict value closing"
    )
    shuffled = [note(name, "word " * 60) for name in reversed(ORDER)]
    assert [s.name for s in put_together(shuffled)] == list(ORDER)


@pytest.mark.parametrize(
    ("noted", "needed", "names"),
    [
        (["opening", "front"], [], ["opening", "front"]),
        (["closing", "opening"], [], ["opening", "closing"]),
        (["opening"], ["verdict", "after"], ["opening", "after", "verdict"]),
        (["opening", "lamps", "front"], [], ["opening", "lamps", "front"]),
        (["opening", "lamps", "knobs", "front"], [], ["opening", "lamps", "knobs", "front"]),
        (["lamps", "opening"], [], ["lamps", "opening"]),
        (["front", "lamps", "opening", "lamps"], [], ["opening", "front", "lamps"]),
        (["repair", "tuner", "after"], ["before"], ["before", "repair", "tuner", "after"]),
        ([], [], []),
    ],
)
def test_a_users_own_segment_stands_behind_the_one_it_follows(noted, needed, names):
    assert order_segments(noted, needed) == names


def test_notes_before_the_first_named_segment_belong_to_the_opening():
    segments = by_name(put_together([note("", "hello"), note("front", "knobs")]))
    assert list(segments) == ["opening", "front"]
    assert [n.text for n in segments["opening"].notes] == ["hello"]


def test_segments_follow_one_another_without_a_gap():
    segments = put_together([note(name, "word " * 60) for name in ORDER])
    at = 0.0
    for segment in segments:
        assert segment.start_s == at
        at += segment.length_s


def test_a_segment_with_nothing_in_it_is_not_there():
    assert put_together() == ()
    assert [s.name for s in put_together([note("front", "knobs")], sentences={"after": [], "value": ["Fair."]})] == [
        "front",
        "value",
    ]


def test_a_segment_without_a_title_has_its_name():
    assert title_of("after", TITLES) == "Is it fixed?"
    assert title_of("lamps", TITLES) == "Lamps"


@pytest.mark.parametrize(("words", "names"), [(20, ["front", "inside"]), (60, ["front", "rear", "inside"])])
def test_a_short_front_and_a_short_rear_are_one_look_around(words, names):
    """At 150 words a minute, 60 words take longer than a segment that is joined may."""
    assert 20 * 60 / 150 < JOINED_S < 60 * 60 / 150
    notes = [note("front", "word " * words), note("rear", "word " * 20), note("inside", "x")]
    segments = put_together(notes)
    assert [s.name for s in segments] == names
    assert segments[0].title == ("A look around" if len(names) == 2 else "Front")
    assert [len(s.notes) for s in segments] == ([2, 1] if len(names) == 2 else [1, 1, 1])
    assert segments[-1].start_s == sum(s.length_s for s in segments[:-1])


# ------------------------------------------------------------------ what viewers ask


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_answers_a_question(kind):
    assert KINDS[kind].asks in ORDER
    assert segment_of_still(card("x", kind=kind)) == KINDS[kind].asks
    # what compares before and after answers whether it is fixed
    assert segment_of_still(card("x", stage=PAIR, kind=kind)) == "after"
    assert segment_of_still(card("x", stage=BEFORE, kind=kind)) == "before"


def test_results_are_split_by_question_and_notes_go_with_their_cards():
    cards = [pair("tone"), card("response", kind="response"), card("idle", kind="noise"), card("sweep", kind="phono")]
    notes = [
        note("after", "Same again.", "tone"),
        note("after", "The curve.", "response"),
        note("after", "Still the curve."),
        note("after", "Nothing plays.", "idle"),
        note("lamps", "My own.", "sweep"),
    ]
    split = split_after(Notes(notes=tuple(notes)), cards)
    assert [n.segment for n in split.notes] == ["after", "flat", "flat", "quiet", "lamps"]
    said = {"after": [("Flat.", "response"), ("Quiet.", "idle"), ("On the curve.", "sweep"), ("Good.", "tone")]}
    segments = by_name(put_together(split.notes, said, more=cards))
    assert {name: s.sentences for name, s in segments.items() if s.sentences} == {
        "after": ("Good.",),
        "flat": ("Flat.",),
        "quiet": ("Quiet.",),
        "lamps": ("On the curve.",),
    }


def test_a_judged_card_stands_apart_from_the_pair_of_its_measurement():
    judged = card("power-rated", "power", kind="distortion-power")
    said = {"after": [("Was bad.", "power"), ("Makes 46 W.", "power-rated")]}
    segments = by_name(put_together((), said, more=[pair("power"), judged]))
    assert {name: (s.cards, s.sentences) for name, s in segments.items() if name != "before"} == {
        "after": (("power",), ("Was bad.",)),
        "power": (("power-rated",), ("Makes 46 W.",)),
    }


def test_a_sentence_has_the_wording_that_repeats_no_phrase():
    one = Sentence("One percent distortion comes at 46 W.", "", ("It makes 46 W, before one percent.",))
    other = Sentence("One percent distortion comes at 64 W.", "", ("It makes 64 W, before one percent.",))
    (segment,) = assemble(SESSION, Notes(), {"after": [one, other]}, (), {}, True, TITLES)
    assert segment.sentences == (one.text, other.others[0])


# ------------------------------------------------------------------ notes, cards, sentences, cautions


def test_a_bad_take_is_in_no_segment():
    segments = put_together(
        [note("front", "knobs"), note("front", "camera slipped", "tone", cut=True), note("rear", "no", cut=True)],
        cards=["tone"],
    )
    assert [s.name for s in segments] == ["front", "after"]
    assert [n.text for n in segments[0].notes] == ["knobs"]
    # a card that only a bad take called for is shown where it belongs
    assert segments[1].cards == ("tone",)


def test_a_card_is_shown_where_a_note_calls_for_it_and_nowhere_else():
    cards = ["title", "tone", "response", "table"]
    segments = by_name(
        put_together(
            [note("opening", "x"), note("before", "look", "tone"), note("before", "again", "tone")], cards=cards
        )
    )
    assert {name: s.cards for name, s in segments.items()} == {
        "opening": ("title",),
        "before": ("tone",),
        "after": ("response",),
        "verdict": ("table",),
    }


def test_called_cards_stand_before_those_that_belong_there_anyway():
    segments = put_together([note("after", "x", "table")], cards=["tone", "table"])
    assert segments[0].cards == ("table", "tone")


@pytest.mark.parametrize(
    ("name", "segment"),
    [
        ("title", "opening"),
        ("rated", "history"),
        ("hunt", "fault"),
        ("fix", "repair"),
        ("score", "verdict"),
        ("table", "verdict"),
        ("number", "verdict"),
        ("price", "value"),
        ("ending", "closing"),
        ("anything", "after"),
    ],
)
def test_where_a_card_is_shown_by_default(name, segment):
    assert segment_of_still(card(name)) == segment
    assert segment_of_still(card(f"{name}-2", name)) == segment


@pytest.mark.parametrize(("stage", "segment"), [(BEFORE, "before"), (PAIR, "after"), (AFTER, "after"), ("", "after")])
def test_where_a_measurements_card_is_shown(stage, segment):
    assert segment_of_still(card("tone", stage=stage)) == segment


@pytest.mark.parametrize("stage", ["before", "after", "bench", ""])
def test_where_a_measurement_is_spoken_of(stage):
    assert segment_of_run(run_at(stage)) == ("before" if stage == "before" else "after")


def test_a_pair_is_shown_as_found_before_the_repair_and_whole_after_it():
    said = {"before": [("Bad.", "tone")], "after": [("Wide.", "power"), ("Good.", "tone")]}
    segments = by_name(put_together([note("repair", "x")], said, ["power"], more=[pair("tone")]))
    assert beats_of(segments["before"]) == [("", ("Bad.",), ("tone-found",))]
    # what was shown as found comes first
    assert beats_of(segments["after"]) == [("", ("Good.",), ("tone",)), ("", ("Wide.",), ("power",))]


def test_a_pair_that_a_note_shows_as_found_is_whole_after_the_repair():
    said = {"before": [("Bad.", "tone")], "after": [("Good.", "tone")]}
    segments = by_name(put_together([note("fault", "look", "tone-found")], said, more=[pair("tone")]))
    assert beats_of(segments["fault"]) == [("look", ("Bad.",), ("tone-found",))]
    assert "before" not in segments
    assert beats_of(segments["after"]) == [("", ("Good.",), ("tone",))]


def test_what_is_said_of_a_card_that_is_not_shown_is_left_out():
    said = {"before": [("Bad.", "tone")], "after": [("Good.", "tone"), ("Wide.", "power"), ("Fair.",)]}
    assert put_together((), {"after": [("Wide.", "power")]}) == ()
    (segment,) = put_together((), said, ["power"])
    assert beats_of(segment) == [("", ("Wide.",), ("power",)), ("", ("Fair.",), ())]
    # a card of after the repair shows nothing of before it
    segments = put_together((), said, ["tone"])
    assert [s.name for s in segments] == ["after"]


@pytest.mark.parametrize(
    ("noted", "before"),
    [
        ((), {"opening", "history", "front", "rear", "inside", "before", "fault"}),
        (
            ("opening", "lamps", "repair", "tuner"),
            {"opening", "lamps", "history", "front", "rear", "inside", "fault", "before"},
        ),
    ],
)
def test_which_segments_come_before_the_repair(noted, before):
    assert segments_before_repair(Notes(notes=tuple(note(name) for name in noted))) == before


def test_nothing_is_said_twice():
    segments = by_name(
        put_together(sentences={"before": ["One.", "Two.", "One."], "after": ["Two.", "Three."], "verdict": ["One."]})
    )
    assert {name: s.sentences for name, s in segments.items()} == {
        "before": ("One.", "Two."),
        "after": ("Three.",),
        "verdict": (),
    }


def test_each_caution_in_full_where_it_is_first_needed_and_then_in_short():
    everything = [note(name, "x") for name in ORDER]
    segments = by_name(put_together(everything, cautions=CAUTIONS))
    assert {name: s.cautions for name, s in segments.items() if s.cautions} == {
        "inside": ("Unplug before a hand goes in.",),
        "before": ("The first power-up is current-limited.", "Dummy loads get hot."),
        "fault": ("This part is live.",),
        "repair": ("Same rules.",),
    }
    later = by_name(put_together([note("repair", "x"), note("after", "x")], cautions=CAUTIONS))
    assert later["repair"].cautions == ("Unplug before a hand goes in.", "The first power-up is current-limited.")
    assert later["after"].cautions == ("Dummy loads get hot.",)
    assert not by_name(put_together([note("front", "x")], cautions=CAUTIONS))["front"].cautions


def test_what_is_adjusted_is_adjusted_live_and_the_cover_is_off_for_the_first_power_up():
    adjusted = {**CAUTIONS, "settings": ["Adjusting is live work."]}
    segments = by_name(put_together([note(name, "x") for name in ("before", "fault", "repair")], cautions=adjusted))
    assert segments["before"].cautions[:2] == (
        "Unplug before a hand goes in.",
        "The first power-up is current-limited.",
    )
    assert segments["fault"].cautions == ("This part is live.",)
    assert segments["repair"].cautions == ("Adjusting is live work.",)
    unread = {topic: lines for topic, lines in CAUTIONS.items() if topic != "live"}
    assert by_name(put_together([note("before", "x"), note("fault", "x")], cautions=unread))["fault"].cautions == (
        "Same rules.",
    )


@pytest.mark.parametrize(
    ("actions", "kinds"),
    [
        ((), ()),
        (("none", "go"), ("readings",)),
        (("core aligned", "trimmer set"), ("readings", "settings")),
        (("replaced", "bias re-adjusted"), ("readings", "settings")),
        (("trimmer replaced",), ("readings",)),
    ],
)
def test_what_of_a_repair_is_done_live(actions, kinds):
    rows = [RepairRow("Bias", 22.0, "22 mV", 21.0, "21 mV", "mV", 4.0, "4 mV", action, "") for action in actions]
    assert kinds_of_work(rows) == kinds


# ------------------------------------------------------------------ planned lengths


@pytest.mark.parametrize(
    ("notes", "sentences", "cautions", "cards", "length_s"),
    [
        ((), ("word",), (), 0, 10),  # no chapter may be shorter
        ((), ("word " * 75,), (), 0, 30),
        (("word " * 50,), ("word " * 50,), ("word " * 50,), 0, 60),
        (("",), (), (), 4, 24),
        (("word " * 75,), (), (), 4, 30),
        (("word " * 75,), (), (), 7, 42),
        # "0.021 %" is said in five words: forty of them take 80 seconds at 150 words a minute
        ((), ("0.021 %, " * 40,), (), 0, 80),
        # what is said elsewhere does not fill the time that cards stand in silence
        (("word " * 75, ""), (), (), 4, 54),
    ],
)
def test_what_is_said_or_the_cards_that_are_held_whichever_is_longer(notes, sentences, cautions, cards, length_s):
    names = [f"c{number}" for number in range(cards)]
    called = [note("repair", text, *(names if text is notes[-1] else ())) for text in notes]
    (segment,) = put_together(
        called, {"repair": sentences}, cautions={"repair": cautions}, more=[card(name) for name in names]
    )
    assert segment.length_s == length_s


def test_what_is_said_before_everything_else_is_in_the_first_segments_time():
    fifty, first = "word " * 50, {"all": ["word " * 25]}
    segments = put_together([note("opening", fifty), note("front", fifty)], cautions=first)
    assert [s.length_s for s in segments] == [30, 20]


def test_a_length_is_enough_for_what_is_said():
    assert put_together([note("front", "word " * 51)])[0].length_s == 21  # 20.4 s


def test_the_speakers_pace_and_the_cards_hold_are_the_sessions():
    slow = Session(Path("s"), Unit("a", "b"), episode=EpisodeSettings(words_per_minute=75, card_seconds=10))
    assert put_together(sentences={"after": ["word " * 75]}, session=slow)[0].length_s == 60
    assert put_together(cards="abcd", session=slow)[0].length_s == 40


def test_a_length_that_needs_a_thought_is_flagged():
    assert put_together([note("front", "word " * 600)])[0].flag == ""
    assert put_together([note("front", "word " * 610)])[0].flag.startswith("long: over 4:00")
    cards = ["a", "b"]
    assert put_together([note("after", "word " * 30)], cards=cards)[0].flag.startswith(
        "few words: cards are shown for 12 s"
    )
    assert put_together(sentences={"after": [("word " * 15, "a"), ("word " * 5, "b")]}, cards=cards)[0].flag == ""


# ------------------------------------------------------------------ beats: what is said while which card is shown


def beats_of(segment):
    return [(b.note.text if b.note else "", b.sentences, b.cards) for b in segment.beats]


def test_a_sentence_stands_with_the_card_that_shows_it():
    said = {
        "after": [("Curve.", "response"), ("Fair.",), ("Low.", "tone"), ("Also low.", "tone")],
        "before": [("Bad.", "tone")],
    }
    segments = by_name(
        put_together(
            [note("before", "look", "tone-found"), note("after", "now"), note("after", "again", "tone")],
            said,
            ["response", "crosstalk"],
            more=[pair("tone")],
        )
    )
    assert beats_of(segments["before"]) == [("look", ("Bad.",), ("tone-found",))]
    assert beats_of(segments["after"]) == [
        ("now", (), ()),
        ("again", ("Low.", "Also low."), ("tone",)),
        ("", ("Curve.",), ("response",)),
        ("", (), ("crosstalk",)),
        ("", ("Fair.",), ()),
    ]


def test_what_was_shown_before_the_repair_comes_first_after_it_in_the_order_it_was_shown():
    said = {
        "before": [("Bad.", "tone"), ("Thin.", "response")],
        "after": [("Wide.", "power"), ("Good.", "tone"), ("Fair.",), ("Flat.", "response")],
    }
    notes = [
        note("before", "bass", "response-found"),
        note("before", "look", "tone-found"),
        note("after", "Same tone again."),
    ]
    more = [pair("tone"), pair("response")]
    segments = by_name(put_together(notes, said, ["power", "square"], more=more))
    assert beats_of(segments["after"]) == [
        ("Same tone again.", (), ()),
        ("", ("Flat.",), ("response",)),
        ("", ("Good.",), ("tone",)),
        ("", ("Wide.",), ("power",)),
        ("", (), ("square",)),
        ("", ("Fair.",), ()),
    ]


def test_the_bench_speaks_where_a_note_shows_its_card():
    """A segment of the user's own, say about the tuner, has its measurements told in it."""
    said = {"after": [("Flat.", "fm"), ("Loud.", "power")], "before": [("Bad.", "fm")]}
    cards = {"cards": ["power"], "more": [pair("fm")]}
    segments = by_name(put_together([note("tuner", "listen", "fm")], said, **cards))
    assert {name: s.sentences for name, s in segments.items()} == {
        "before": ("Bad.",),
        "after": ("Loud.",),
        "tuner": ("Flat.",),
    }
    twice = [note("tuner", "listen", "fm"), note("after", "and again", "fm")]
    assert by_name(put_together(twice, said, **cards))["after"].sentences == ("Flat.", "Loud.")


def test_cards_of_one_matter_stand_together_unless_a_note_parts_them():
    more = [card("tone-waveform", "tone"), card("tone-spectrum", "tone")]

    def shown(*notes):
        all_cards = [card("tone"), *more]
        said = {"after": [Sentence("Low.", "tone")]}
        (segment,) = assemble(SESSION, Notes(notes=notes), said, all_cards, {}, True, TITLES)
        return [b.cards for b in segment.beats]

    assert shown() == [("tone", "tone-waveform", "tone-spectrum")]
    assert shown(note("after", "x", "tone")) == [("tone", "tone-waveform", "tone-spectrum")]
    assert shown(note("after", "x", "tone"), note("after", "y", "tone-spectrum")) == [
        ("tone", "tone-waveform"),
        ("tone-spectrum",),
    ]
    assert shown(note("after", "y", "tone-spectrum")) == [("tone-spectrum",), ("tone", "tone-waveform")]


def test_a_cards_own_hold_counts(session_of):
    """`hold` of a measurement is how long its card stands, whatever the other cards do."""
    toml = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n[[measurement]]\nfile = "r.csv"\nkind = "response"\n'
    rows = "\n".join(f"{hz},{0.0:.2f}" for hz in (20, 100, 1000, 10_000, 20_000))
    files = {"r.csv": f"Frequency (Hz),Level (dBV)\n{rows}\n"}
    lengths = []
    for name, hold in (("short", ""), ("long", 'hold = "95 s"\n')):
        segments = pipeline.check(session_of(toml + hold, files, name=name)).segments
        lengths.append(by_name(segments)["flat"].length_s)
    assert lengths[0] < 95
    assert lengths[1] >= 95


# ------------------------------------------------------------------ chapters


def test_planned_chapters_are_the_segments():
    segments = put_together([note("opening", "x"), note("front", "word " * 100), note("closing", "x")])
    assert make_chapters(segments, (), TITLES) == tuple(Chapter(s.start_s, s.title, s.name) for s in segments)


def test_the_final_cuts_times_take_their_place():
    segments = put_together([note("front", "x"), note("rear", "x"), note("after", "x")])
    final = ((0.0, "front"), (61.5, "after"), (300.0, "lamps"))
    assert make_chapters(segments, final, TITLES) == (
        Chapter(0.0, "A look around", "front"),
        Chapter(61.5, "Is it fixed?", "after"),
        Chapter(300.0, "Lamps", "lamps"),
    )


# the rules of video platforms: first at 0:00, at least three, each at least ten seconds (common practice, no standard)
@pytest.mark.parametrize(
    ("starts", "end_s", "said"),
    [
        ([0, 10, 20], 30, ""),
        ([0.0, 10.0, 20.0, 600.0], 610.0, ""),
        ([], 30, "three"),
        ([0, 20], 40, "three"),
        ([1, 20, 40], 60, "0:00"),
        ([0.4, 20, 40], 60, "0:00"),
        ([0, 9, 20], 30, '"chapter 0" lasts 9'),
        ([0, 10, 20], 29, '"chapter 2" lasts 9'),
        ([0, 10, 20], 20, '"chapter 2" lasts 0'),
        # the stamps have whole seconds: 9.6 s are written as 0:09
        ([0, 9.6, 30], 60, '"chapter 0" lasts 9'),
    ],
)
def test_a_list_that_platforms_would_ignore_is_told(starts, end_s, said):
    chapters = tuple(Chapter(float(s), f"chapter {n}") for n, s in enumerate(starts))
    fault = find_chapters_fault(chapters, end_s)
    assert said in fault
    assert bool(fault) == bool(said)


def test_planned_chapters_keep_the_rules_whatever_is_said():
    segments = put_together([note("opening", ""), note("front", "x"), note("closing", "")])
    assert min(s.length_s for s in segments) >= SHORTEST_S == 10
    assert find_chapters_fault(make_chapters(segments, (), TITLES), sum(s.length_s for s in segments)) == ""


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0:00"),
        (9.99, "0:09"),
        (61, "1:01"),
        (599, "9:59"),
        (3599, "59:59"),
        (3600, "1:00:00"),
        (36_061, "10:01:01"),
    ],
)
def test_a_time_as_it_is_written(seconds, text):
    assert format_clock(seconds) == text


def test_a_segment_called_bench_is_where_the_bench_speaks_when_nothing_was_repaired():
    notes = [note("bench", "Here."), note("closing", "Done.")]
    segments = put_together(notes, {"after": ["0.1 %."]}, ["tone"], {"power": ["Hot."]}, repaired=False)
    assert [s.name for s in segments] == ["bench", "closing"]
    bench = by_name(segments)["bench"]
    assert (bench.sentences, bench.cards, bench.cautions) == (("0.1 %.",), ("tone",), ("Hot.",))
    repaired = put_together(notes, {"after": ["0.1 %."]}, ["tone"], {"power": ["Hot."]}, repaired=True)
    assert "after" in by_name(repaired)


def test_a_segment_that_the_final_cut_comes_back_to_begins_where_it_first_stands(session_of):
    files = {
        "notes.txt": "0:00 opening: One.\n0:30 front: Two.\n1:00 closing: Three.\n",
        "final.txt": "0:00 opening\n0:20 front\n0:50 opening\n1:30 closing\n",
    }
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', files, name="back")
    outline = make(folder, Options()).files["outline.md"].decode()
    assert "## 0:00 Norrvale Forty" in outline
    assert "## 0:20 A look at the front" in outline
