"""What goes under the video: the description, the comment to pin, the planned chapters."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.episode.published import Correction
from reviewkit.ingest.session.cut_file import parse_cut
from reviewkit.model import places
from reviewkit.model.change import Change
from reviewkit.model.episode import Chapter, Episode, Segment
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Rating, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.description import (
    LONGEST_DESCRIPTION,
    MOST_CORRECTIONS,
    description_facts,
    render_comment,
    render_description,
    render_headline,
    render_planned_chapters,
    select_results,
)
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.text_outputs import render_texts
from reviewkit.verdict.spec_table import NONE_GIVEN, SpecTable, TableRow

SESSION = Session(Path("session"), Unit("Norrvale", "Forty", "integrated amplifier", 1977))
CAUTIONS = ["This is one repair, not a how-to."]


@pytest.fixture
def pages(tmp_path: Path) -> Pages:
    return Pages(tmp_path / "templates", places.templates())


def row(label, verdict, quantity="crosstalk", margin="", **keys):
    return TableRow(label, "60 dB", "60 dB", "52 dB", verdict, margin, "", promised="60 dB", quantity=quantity, **keys)


def verdict(word, room=None):
    return Verdict(Rating("separation", "dB", at_least=60.0), "Separation", "60 dB", "60 dB", "52 dB", word, room=room)


def found(value, channel="R", quantity="thd_plus_noise", unit="%", **at):
    return Finding(quantity, channel, value, unit, {"frequency": 1000.0} | at, "tone", "tone", "after", "x.csv")


def change(before, after, channel="R", **keys):
    return Change(found(before, channel, **keys), found(after, channel, **keys))


def repaired(point, verdict="open", action="replaced"):
    found_text = "220 Ω" if verdict == "in order" else verdict
    off = None if verdict == "open" else 220.0
    return RepairRow(point, 220.0, "220 Ω", off, found_text, "Ω", 20.0, "20 Ω", action, "")


def episode(changes=(), verdicts=(), repair=(), unit=SESSION.unit, **keys):
    given = {
        "session": Session(Path("session"), unit),
        "runs": (),
        "verdicts": tuple(verdicts),
        "cards": (),
        "segments": (),
        "page_segments": (),
        "chapters": (),
        "chapters_final": True,
        "repair": tuple(repair),
        "changes": tuple(changes),
    }
    return Episode(**(given | keys))


# ------------------------------------------------------------------ the story


MET, MISSED, CLOSE = verdict("meets", 0.2), verdict("falls short"), verdict("too close to call")
OPEN = verdict("not comparable")
FIXED = repaired("Bias trimmer R")
STORIES = {
    "one bad channel": (
        episode((change(1.53, 0.0266), change(0.0214, 0.0213, "L")), [*[MET] * 9, MISSED, CLOSE], [FIXED]),
        "This 1977 Norrvale Forty had one bad channel: distortion 1.5 % before, 0.027 % after. "
        "9 of 11 ratings met, 1 missed, 1 too close to call.",
    ),
    "the worse of two": (
        episode((change(1.53, 0.0266), change(2.81, 0.0213, "L")), [MET, MET], [FIXED]),
        "This 1977 Norrvale Forty had two bad channels: distortion 2.8 % before, 0.027 % after. Both ratings met.",
    ),
    "the other channel was not measured": (
        episode((change(1.53, 0.0266),), [MISSED, MISSED, OPEN], [FIXED]),
        "This 1977 Norrvale Forty was repaired: distortion 1.5 % before, 0.027 % after. "
        "2 of 3 ratings could be judged: none met, 2 missed.",
    ),
    "the other channel under other conditions": (
        episode((change(1.53, 0.0266), change(0.02, 0.02, "L", load=4.0)), (), [FIXED]),
        "This 1977 Norrvale Forty was repaired: distortion 1.5 % before, 0.027 % after.",
    ),
    "less than a factor of two, and hum by 40 dB": (
        episode((change(0.03, 0.02), change(-40.0, -80.0, "", quantity="hum", unit="dB")), [CLOSE], [FIXED]),
        "This 1977 Norrvale Forty was repaired: hum −40.0 dB before, −80.0 dB after. "
        "Its only rating was too close to call.",
    ),
    "a response": (
        episode((change(13.8, 0.36, "L", quantity="flatness", unit="dB", band=(20.0, 20e3)),), [MET], [FIXED]),
        "This 1977 Norrvale Forty was repaired: response ±13.8 dB before, ±0.36 dB after. Its only rating was met.",
    ),
    "only worse": (
        episode((change(0.02, 1.4),), [OPEN], [FIXED]),
        "This 1977 Norrvale Forty was repaired and measured against its maker's ratings.",
    ),
    "measured before the repair only": (
        episode(unit=Unit("Norrvale", "Forty"), verdicts=[verdict("not measured")]),
        "This Norrvale Forty is on the bench.",
    ),
    "repaired, nothing measured": (
        episode(repair=[FIXED]),
        "This 1977 Norrvale Forty was repaired.",
    ),
    "nothing done at the points": (
        episode(repair=[repaired("Rail", "in order", "none")], verdicts=[MET]),
        "This 1977 Norrvale Forty meets its rated separation: 52 dB, rated 60 dB. Its only rating was met.",
    ),
}


@pytest.mark.parametrize("name", STORIES)
def test_the_first_line_says_what_happened(name, pages):
    told, line = STORIES[name]
    assert render_headline(told, pages) == line


def test_a_change_within_its_uncertainty_is_none(pages):
    unsure = [Finding("damping_factor", "R", v, "", {}, "z", "source-impedance", "after", "", 30.0) for v in (20, 45)]
    assert "before" not in render_headline(episode((Change(*unsure),), (), [FIXED]), pages)


# ------------------------------------------------------------------ the description


def facts(results=(), repair=(), equipment=(), **keys):
    given = {
        "headline": "Norrvale Forty: measured.",
        "page": "https://example.org/forty",
        "results": tuple(results),
        "repair": tuple(repair),
        "price": "$329 in 1977 is about $1,700 in 2024 money.",
        "rows": (),
        "foot": "Uncertainty not stated.",
        "chapters": (Chapter(0.0, "Opening"), Chapter(72.0, "The front"), Chapter(3725.0, "Closing")),
        "final": True,
        "equipment": tuple(equipment),
        "cautions": CAUTIONS,
    }
    return given | keys


def part(n=0, wrong="open", done="replaced", before=True, found_text="open", **keys):
    point = f"Trimmer {n}"
    given = {"point": point, "wrong": wrong, "done": done, "before": before, "found_text": found_text}
    return given | {"expected_text": "220 Ω"} | keys


EQUIPMENT = "a two-channel 24-bit capture interface"
ALWAYS = ("Norrvale Forty: measured.", "https://example.org/forty", "1:12 The front", "1:02:05 Closing", CAUTIONS[0])
RESULT, REPAIR, SMALL_PRINT = "Separation: rated 60 dB, measured 52 dB", "Trimmer 0: open; replaced", "not stated."


def test_everything_stands_in_its_order(pages):
    text, cut = render_description(pages, facts([row("Separation", "falls short")], [part()], [EQUIPMENT]))
    assert cut == ""
    lines = text.splitlines()
    assert lines[:2] == list(ALWAYS[:2])
    heads = ["Chapters", "Results", "What was wrong and what was done", "Equipment", "Cautions"]
    assert [line for line in lines if line in heads] == heads
    for each in (*ALWAYS, RESULT, REPAIR, SMALL_PRINT, EQUIPMENT):
        assert each in text
    assert "\n\n\n" not in text
    assert text.endswith(f"{CAUTIONS[0]}\n")
    assert not {"$329", "Rated and measured"} & set(lines)


@pytest.mark.parametrize(
    ("row_facts", "line"),
    [
        (part(), "Trimmer 0: open; replaced"),
        (part(wrong="short", done=""), "Trimmer 0: shorted"),
        (part(wrong="out of tolerance", found_text="9 Ω"), "Trimmer 0: 9 Ω where 220 Ω belongs; replaced"),
        (
            part(wrong="out of tolerance", found_text="9 Ω", before=False, done=""),
            "Trimmer 0: 9 Ω still, where 220 Ω belongs",
        ),
        (part(wrong="", done="cleaned"), "Trimmer 0: cleaned"),
    ],
)
def test_what_was_wrong_and_what_was_done(row_facts, line, pages):
    assert line in render_description(pages, facts(repair=[row_facts]))[0].splitlines()


def test_where_nothing_was_wrong_it_says_only_what_was_done(pages):
    lines = render_description(pages, facts(repair=[part(wrong="", done="cleaned")]))[0].splitlines()
    assert "What was done" in lines


def test_a_long_repair_is_counted(pages):
    text, _ = render_description(pages, facts(repair=[part(n) for n in range(30)]))
    assert "Trimmer 9: open" in text
    assert "Trimmer 10" not in text
    assert "\nand 20 more\n" in text


def test_at_most_five_results_misses_first(pages):
    rows = [
        row("Power 8", "meets", "power"),
        *(row(f"Miss {n}", "falls short") for n in range(3)),
        row("Close", "too close to call"),
        row("Power 4", "not comparable", "power", brief="measured continuous"),
        row("Gain", "not measured"),
        row("Response", "meets"),
    ]
    assert [r.label for r in select_results(SpecTable(tuple(rows), ()))] == [
        *("Miss 0", "Miss 1", "Miss 2", "Close", "Power 8"),
    ]
    chosen = select_results(SpecTable((rows[0], *rows[5:]), ()))
    text, _ = render_description(pages, facts(chosen))
    assert "Power 4: rated 60 dB, measured 52 dB, not comparable (measured continuous)" in text.splitlines()
    assert [r.label for r in chosen] == ["Power 8", "Power 4"]


def test_a_power_without_a_rating_is_a_result(pages):
    own = TableRow("Power", NONE_GIVEN, NONE_GIVEN, "46.1 W", "", "", "", quantity="power_at_limit")
    text, _ = render_description(pages, facts(select_results(SpecTable((own,), ()))))
    assert "Power: 46.1 W, no rating given" in text.splitlines()


# in the order decided: equipment, repair, small print, results
@pytest.mark.parametrize(
    ("equipment", "action", "foot", "label", "gone", "kept"),
    [
        (120, 1, 1, 1, [EQUIPMENT], [REPAIR, SMALL_PRINT, RESULT]),
        (120, 600, 1, 1, [EQUIPMENT, REPAIR], [SMALL_PRINT, RESULT]),
        (120, 600, 5000, 1, [EQUIPMENT, REPAIR, SMALL_PRINT], [RESULT]),
        (120, 600, 5000, 5000, [EQUIPMENT, REPAIR, SMALL_PRINT, RESULT, "Results"], []),
    ],
    ids=["equipment", "repair", "small print", "results"],
)
def test_a_huge_session_is_cut_in_the_decided_order(pages, equipment, action, foot, label, gone, kept):
    text, cut = render_description(
        pages,
        facts(
            [row("Separation", "falls short"), row("x" * label, "falls short")],
            [part(n, done="replaced" + "." * action) for n in range(10)],
            [EQUIPMENT] * equipment,
            foot="x" * foot + "Uncertainty not stated.",
        ),
    )
    assert cut
    assert len(text.encode()) <= LONGEST_DESCRIPTION == 5000
    for each in gone:
        assert each not in text
    for each in (*ALWAYS, *kept):
        assert each in text


def test_bytes_are_counted_not_only_characters(pages):
    wide = facts([row("Ω" * 1500, "falls short")], equipment=["Ω" * 1500])
    _, cut = render_description(pages, wide)
    assert cut == "the equipment"
    assert len(pages.text("description.txt.j2", cut=0, **wide)) <= LONGEST_DESCRIPTION


def test_what_no_cut_can_shorten_is_told(pages):
    with pytest.raises(InputError, match="the description is longer than 5000"):
        render_description(pages, facts(headline="a" * 5001))


HOSTILE = "<b>&\"'</b> > x"


def test_no_angle_brackets_whoever_wrote_them(pages):
    hostile = TableRow(
        HOSTILE, HOSTILE, HOSTILE, HOSTILE, "not comparable", "", HOSTILE, promised=HOSTILE, brief=HOSTILE
    )
    unjudged = TableRow(HOSTILE, NONE_GIVEN, NONE_GIVEN, HOSTILE, "", "", HOSTILE)
    text, _ = render_description(
        pages,
        facts(
            [hostile, unjudged],
            [part(point=HOSTILE, wrong="out of tolerance", found_text=HOSTILE, expected_text=HOSTILE, done=HOSTILE)],
            [HOSTILE],
            headline=HOSTILE,
            page=HOSTILE,
            foot=HOSTILE,
            cautions=[HOSTILE],
            chapters=(Chapter(0.0, HOSTILE),),
        ),
    )
    assert not set("<>") & set(text)
    assert text.count("‹b›") == 16
    assert len(text.splitlines()) == 19  # each of them stays on its line


# ------------------------------------------------------------------ chapters


SEGMENTS = (Segment("opening", "Opening", 0.0, 20.0), Segment("after", "On the bench", 20.0, 4000.0),
            Segment("closing", "Closing", 4020.0, 10.0))  # fmt: skip


def planned(final):
    chapters = tuple(Chapter(s.start_s, s.title) for s in SEGMENTS)
    return episode(segments=SEGMENTS, chapters=chapters, chapters_final=final)


@pytest.mark.parametrize("final", [True, False])
def test_planned_chapters_never_stand_in_the_description(final, pages):
    text, _ = render_description(pages, description_facts(planned(final), SpecTable((), ()), pages))
    assert ("1:07:00 Closing" in text) is final
    assert bool(re.search(r"^\d+:\d\d", text, re.MULTILINE)) is final


def test_the_planned_chapters_are_a_draft_of_the_final_cut(pages):
    text = render_planned_chapters(planned(final=False), pages)
    assert [(at, name) for at, name, _ in parse_cut(text)] == [(s.start_s, s.name) for s in SEGMENTS]


def test_a_session_has_planned_chapters_until_there_is_a_cut(sample, sample_copy):
    assert "Chapters" not in sample.text("description.txt")
    (sample_copy / "final.txt").write_bytes((sample.out / "chapters-planned.txt").read_bytes())
    prepared = pipeline.prepare(sample_copy, open_cache())
    files = render_texts(prepared.episode, prepared.pages, prepared.series.table).files
    assert b"\nChapters\n0:00 The side that sounded rough\n" in files["description.txt"]
    assert "chapters-planned.txt" not in files


# ------------------------------------------------------------------ the comment


def lines_of(pages, rows=(), verdicts=(), corrections=(), **keys):
    table = SpecTable(tuple(rows), ())
    return render_comment(episode(verdicts=verdicts, **keys), table, corrections, pages).splitlines()


CORRECTED = [Correction("Gain", "29 dB", "30 dB"), Correction("Hum", "1 mV", "")]
QUESTION = "Has anyone measured another Norrvale Forty? One unit says nothing about the rest."


def test_the_comment_in_five_lines(pages):
    rows = [row("Damping", "falls short", margin="−13 %"), row("Power", "too close to call"), row("Hum", "meets")]
    assert lines_of(pages, rows, [MISSED, CLOSE, MET], CORRECTED)[1:] == [
        "Missed: Damping: rated 60 dB, measured 52 dB (−13 %)",
        "Too close to call: Power: rated 60 dB, measured 52 dB",
        "Corrected since this was first published: Gain: 30 dB; it said 29 dB. Hum: no longer given; it said 1 mV",
        QUESTION,
    ]


def test_where_all_is_met_the_nearest_to_its_limit_is_named(pages):
    rows = [row("Hum", "meets"), row("Noise", "meets", margin="+0.2 dB"), row("Gain", "not comparable")]
    lines = lines_of(pages, rows, [verdict("meets", 0.8), verdict("meets", 0.1), OPEN])
    assert lines[1:] == ["Nearest to its limit: Noise: rated 60 dB, measured 52 dB (+0.2 dB)", QUESTION]


def test_where_nothing_was_rated_a_figure_is_named(pages):
    own = TableRow("Power", NONE_GIVEN, NONE_GIVEN, "46.1 W", "", "", "", quantity="power_at_limit")
    assert lines_of(pages, [own])[1:] == ["Measured: Power: 46.1 W", QUESTION]


def test_many_misses_and_corrections_are_counted(pages):
    rows = [row(f"Miss {n}", "falls short") for n in range(8)]
    many = [Correction(f"Figure {n}", "1 W", "2 W") for n in range(MOST_CORRECTIONS + 3)]
    lines = lines_of(pages, rows, [MISSED] * 8, many)
    assert len(lines) == 4
    assert "Miss 4" in lines[1]
    assert lines[1].endswith("measured 52 dB; and 3 more")
    assert lines[2].endswith("Figure 11: 2 W; it said 1 W. And 3 more figures")


def test_the_samples_comment_has_three_to_five_lines(sample):
    assert 3 <= len(sample.text("comment.txt").splitlines()) <= 5


def test_what_is_only_printed_is_not_in_the_description(pages):
    rows = (row("Separation", "falls short"), row("Weight", "not measured", quantity="", only_printed=True))
    facts = description_facts(Episode(SESSION, (), (), (), (), (), (), False), SpecTable(rows, ()), pages)
    assert [each.label for each in facts["rows"]] == ["Separation"]
