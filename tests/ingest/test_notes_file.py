"""notes.txt: every form of a line, and one bad file per mistake."""

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from reviewkit.ingest.session.footage_time import read_time, show_time
from reviewkit.ingest.session.notes_file import parse_notes, read_notes
from reviewkit.model.errors import InputError
from reviewkit.model.notes import Clip, Note

GOOD = """\
# filmed in one afternoon
clip bench-1.mp4 for 14:05
0:00 opening: Bought at an estate sale as "one side sounds rough".
0:41 front: Five knobs, and a meter lamp that still works.
     A second line, indented, goes on. [card rated]
\tAnd a third. [cut]

6:12 before: Look at the right channel. [card tone-before] [card tone]
# a comment between
13:10.5 Tried it twice, camera slipped. [cut]
13:20 Careful: hot
clip bench-2.mp4 at 21:10:32
21:14:05 Still before the repair.
21:14:05.25 verdict: [sic] Forty watts.
"""


def faults_of(text):
    with pytest.raises(InputError) as raised:
        parse_notes(text)
    return [str(fault) for fault in raised.value.faults]


def test_every_form_of_a_line():
    notes = parse_notes(GOOD)
    assert notes.clips == (
        Clip("bench-1.mp4", length_s=845.0, line=2),
        Clip("bench-2.mp4", starts_s=76232.0, line=12),
    )
    assert notes.notes == (
        Note("bench-1.mp4", 0.0, "opening", 'Bought at an estate sale as "one side sounds rough".', line=3),
        Note(
            "bench-1.mp4",
            41.0,
            "front",
            "Five knobs, and a meter lamp that still works. A second line, indented, goes on. And a third.",
            ("rated",),
            cut=True,
            line=4,
        ),
        Note("bench-1.mp4", 372.0, "before", "Look at the right channel.", ("tone-before", "tone"), line=8),
        Note("bench-1.mp4", 790.5, "before", "Tried it twice, camera slipped.", cut=True, line=10),
        # a capital makes it text; the segment is the last one named, also across clips
        Note("bench-1.mp4", 800.0, "before", "Careful: hot", line=11),
        Note("bench-2.mp4", 213.0, "before", "Still before the repair.", line=13),
        Note("bench-2.mp4", 213.25, "verdict", "[sic] Forty watts.", line=14),
    )


def test_a_file_with_mark_and_windows_line_ends_reads_the_same(tmp_path):
    (tmp_path / "notes.txt").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_notes(tmp_path / "notes.txt") == parse_notes(GOOD)


def test_notes_without_clips_and_segments():
    assert parse_notes("0:05 A start.\n1:02:03 later: On.\n").notes == (
        Note("", 5.0, "", "A start.", line=1),
        Note("", 3723.0, "later", "On.", line=2),
    )


def test_words_for_readers_come_after_their_tag():
    text = """\
0:05 opening: And this is it. [card title] [page] An amplifier from an
     estate sale. [card rated]
     It plays. [page] On one side.
0:20 [page] Only for readers.
0:31 Over to the bench. [not page] [card tone]
0:40 See the manual [page 14].
"""
    assert parse_notes(text).notes == (
        Note(
            *("", 5.0, "opening", "And this is it.", ("title", "rated")),
            line=1,
            page="An amplifier from an estate sale. It plays. On one side.",
        ),
        Note("", 20.0, "opening", "", line=4, page="Only for readers."),
        Note("", 31.0, "opening", "Over to the bench.", ("tone",), line=5, on_page=False),
        Note("", 40.0, "opening", "See the manual [page 14].", line=6),
    )
    assert [note.read_text for note in parse_notes(text).notes] == [
        "An amplifier from an estate sale. It plays. On one side.",
        "Only for readers.",
        "",
        "See the manual [page 14].",
    ]


def test_an_empty_file_has_no_notes():
    assert parse_notes("# nothing yet\n\n").notes == ()


def test_the_clock_goes_round_at_midnight():
    notes = parse_notes("clip A.mp4 at 23:59:30\n23:59:40 opening: Late.\n0:00:10 Later.\n00:01:00 On.\n").notes
    assert [note.at_s for note in notes] == [10.0, 40.0, 90.0]


def test_times_go_back_where_a_new_clip_starts():
    notes = parse_notes("clip A.mp4\n5:00 opening: One.\nclip my second clip.mp4 at 10:00:00 for 2:00\n10:00:01 Two.\n")
    assert [note.at_s for note in notes.notes] == [300.0, 1.0]
    assert notes.clips[1] == Clip("my second clip.mp4", length_s=120.0, starts_s=36000.0, line=3)


def test_a_link_is_no_segment_and_a_segment_may_stand_alone():
    notes = parse_notes("0:01 https://example.org is text\n0:02 front:\n0:03 rear:Two phono inputs.\n").notes
    assert [(note.segment, note.text) for note in notes] == [
        ("", "https://example.org is text"),
        ("front", ""),
        ("rear", "Two phono inputs."),
    ]


MISTAKES = {
    "Five knobs.": 'notes.txt:1: "Five knobs." cannot be read; a note looks like 0:41 front: Five knobs. [card rated]',
    "0:41front: x": 'notes.txt:1: "0:41front:" is not a time; write M:SS or H:MM:SS, as in 6:12',
    "0:4 x": 'notes.txt:1: "0:4" has one digit in its seconds; write two: M:SS or H:MM:SS, as in 6:12',
    "0:75 x": 'notes.txt:1: "0:75": seconds go up to 59; write M:SS or H:MM:SS, as in 6:12',
    "1:60:00 x": 'notes.txt:1: "1:60:00": minutes go up to 59; write M:SS or H:MM:SS, as in 6:12',
    "13:10,5 x": 'notes.txt:1: "13:10,5" has a comma; write 13:10.5',
    "1:00 a\n0:59 b": (
        "notes.txt:2: 0:59 is earlier than the note above it; "
        "times go back only after a clip line, for example clip bench-2.mp4"
    ),
    "0:41": "notes.txt:1: there is nothing after the time; a note looks like 0:41 front: Five knobs. [card rated]",
    "  indented": (
        'notes.txt:1: "indented" is indented, but there is no note above it; '
        "a note looks like 0:41 front: Five knobs. [card rated]"
    ),
    "clip A.mp4\n  indented": (
        'notes.txt:2: "indented" is indented, but there is no note above it; '
        "a note looks like 0:41 front: Five knobs. [card rated]"
    ),
    "0:01 a\n  0:02 b": (
        'notes.txt:2: "0:02 b" is indented, but begins with a time; '
        "move it to the start of the line if it is a note, else put a word before the time"
    ),
    "0:01 a [card]": ("notes.txt:1: [card]: a card is called for by its id, one each; write [card tone-before]"),
    "0:01 a [card one two]": (
        "notes.txt:1: [card one two]: a card is called for by its id, one each; write [card tone-before]"
    ),
    "0:01 a [Cut]": "notes.txt:1: [Cut] is not understood; write [cut] for a bad take, else put it in ( )",
    "0:01 a [card tone": 'notes.txt:1: "[card tone" has no closing bracket; write [card tone-before] or [cut]',
    "0:01 a [Page] b": (
        "notes.txt:1: [Page] is not understood; write [page] before the words for readers, "
        "or [not page] to leave the note out of the page"
    ),
    "0:01 a [no page]": (
        "notes.txt:1: [no page] is not understood; write [page] before the words for readers, "
        "or [not page] to leave the note out of the page"
    ),
    "0:01 a [page]": (
        "notes.txt:1: there is nothing after [page]; "
        "write the words for readers after it, or [not page] to leave the note out of the page"
    ),
    "0:01 a [not page]\n  [page] b": ("notes.txt:1: [page] and [not page] contradict each other; keep one of them"),
    "0:01 a [not page": 'notes.txt:1: "[not page" has no closing bracket; write [card tone-before] or [cut]',
    "clip": (
        'notes.txt:1: "clip" names no clip, or says no time; '
        "write for example clip bench-1.mp4 for 14:05, or clip bench-2.mp4 at 21:10:32"
    ),
    "clip A.mp4 for": (
        'notes.txt:1: "clip A.mp4 for" names no clip, or says no time; '
        "write for example clip bench-1.mp4 for 14:05, or clip bench-2.mp4 at 21:10:32"
    ),
    "clip A.mp4 for ever": 'notes.txt:1: clip … for "ever" is not a time; write M:SS or H:MM:SS, as in 6:12',
    "clip A.mp4 at 21:10": (
        'notes.txt:1: clip … at "21:10" is not a time of day; after "clip … at" write HH:MM:SS, as in 21:10:32'
    ),
    "clip A.mp4 at 24:00:00": (
        'notes.txt:1: clip … at "24:00:00": the hours of a day go up to 23; write HH:MM:SS, as in 21:10:32'
    ),
    "clip A.mp4 for 0:00": ("notes.txt:1: clip A.mp4 has no length; write how long it runs, or leave the length out"),
    "clip A.mp4\nclip A.mp4": (
        "notes.txt:2: clip A.mp4 has begun in line 1 already; keep the notes of one clip together"
    ),
    "clip A.mp4 for 1:00\n1:00.5 x": (
        "notes.txt:2: 1:00.5 is past the end of its clip: clip A.mp4 runs 1:00; correct the time or the length"
    ),
    "clip A.mp4 for 1:00 at 10:00:00\n10:01:01 x": (
        "notes.txt:2: 10:01:01 is past the end of its clip: clip A.mp4 runs 1:00; correct the time or the length"
    ),
    "clip A.mp4 at 10:00:00\n0:41 x": (
        'notes.txt:2: "0:41" is not a time of day; after "clip … at" write HH:MM:SS, as in 21:10:32'
    ),
    "clip A.mp4 at 10:00:00\n09:59:00 x": (
        "notes.txt:2: 09:59:00 is before the clip began, at 10:00:00; correct one of them"
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: text.replace("\n", " / "))
def test_one_mistake_gives_one_message(text):
    assert faults_of(text) == [MISTAKES[text]]


def test_all_faults_are_told_at_once_each_once():
    text = "0:75 a\n  goes on\nnonsense\n  goes on\n0:10 b\n0:05 c [cards]\n0:20\n"
    assert [fault.split(":")[1] for fault in faults_of(text)] == ["1", "3", "6", "6", "7"]


@given(st.integers(0, 9999 * 60 + 59))
def test_minutes_and_seconds_read_back(seconds):
    assert read_time(f"{seconds // 60}:{seconds % 60:02d}") == seconds


@given(st.integers(0, 86_399), st.integers(0, 999))
def test_the_clock_reads_back(seconds, thousandths):
    written = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{thousandths:03d}"
    assert read_time(written, clock=True) == seconds + Fraction(thousandths, 1000)
    assert read_time(show_time(seconds + Fraction(thousandths, 1000))) == seconds + Fraction(thousandths, 1000)


@given(st.integers(0, 86_399), st.lists(st.integers(0, 4 * 3600), min_size=1, max_size=5))
def test_clock_notes_count_from_their_clip_at_any_time_of_day(start, offsets):
    def clock(seconds):
        seconds %= 86_400
        return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"

    offsets.sort()
    text = f"clip A.mp4 at {clock(start)}\n" + "".join(f"{clock(start + offset)} x\n" for offset in offsets)
    assert [note.at_s for note in parse_notes(text).notes] == offsets


@given(st.lists(st.integers(0, 5000), min_size=2, max_size=6))
def test_times_that_fall_inside_a_clip_are_refused_at_their_line(times):
    assume(times != sorted(times))
    highest, expected = -1, []
    for line, time in enumerate(times, 1):
        if time < highest:
            expected.append(line)
        highest = max(highest, time)
    text = "".join(f"{time // 60}:{time % 60:02d} x\n" for time in times)
    with pytest.raises(InputError) as raised:
        parse_notes(text)
    assert [fault.line for fault in raised.value.faults] == expected


@given(st.text(alphabet="0123456789:. \t\n#[]acdilprtuxé/,-", max_size=60))
def test_any_text_is_read_or_refused(text):
    try:
        notes, faults = parse_notes(text).notes, ()
    except InputError as error:
        notes, faults = (), error.faults
    assert all(1 <= fault.line <= text.count("\n") + 1 for fault in faults)
    assert all(note.at_s >= 0 for note in notes)
    # every line that begins with a time is a note or a fault
    assert faults or len(notes) == sum(line[:1].isdigit() for line in text.split("\n"))


def test_a_segments_chapter_may_have_a_title_of_its_own():
    read = parse_notes('0:00 opening: x\n0:10 after "Is it  fixed?": y\n0:20 z\n0:30 lamps "And the lamps?": x\n')
    assert read.titles == (("after", "Is it fixed?"), ("lamps", "And the lamps?"))
    assert [(note.segment, note.text) for note in read.notes[1:3]] == [("after", "y"), ("after", "z")]
    assert parse_notes('0:10 it "hums": y\n').notes[0].text == "y"
    assert parse_notes('0:10 It "hums": y\n').notes[0].text == 'It "hums": y'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '0:10 after "": y',
            'notes.txt:1: after needs a title of 1 to 60 characters between the quotes, such as "Is it fixed?"',
        ),
        (f'0:10 after "{"x" * 61}": y', "notes.txt:1: after needs a title of 1 to 60 characters between the quotes"),
        (
            '0:10 after "One": y\n0:20 after "Two": y',
            'notes.txt:2: after has the title "One" in line 1 already; keep one',
        ),
    ],
)
def test_a_title_that_cannot_be_one(text, message):
    with pytest.raises(InputError) as raised:
        parse_notes(text)
    assert [str(fault)[: len(message)] for fault in raised.value.faults] == [message]
