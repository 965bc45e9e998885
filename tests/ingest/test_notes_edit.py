"""notes.txt changed as text: every other line stays as it is, and the notes in it read as before."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.ingest.session import notes_edit
from reviewkit.ingest.session.notes_file import parse_notes
from reviewkit.model.errors import InputError

BEGAN = datetime(2026, 3, 4, 23, 59, 30)
OLD = '# mine\nclip a.mp4 for 14:05\n0:00 opening: Bought "as is".\n      More of it.\n0:26 No name.\n'


def after(seconds):
    return BEGAN + timedelta(seconds=seconds)


def running(text=OLD):
    return notes_edit.start_clip(text, "bench-1.mp4", BEGAN)


def test_a_clip_begins_by_the_clock_and_ends_with_its_length():
    text = running()
    assert text == f"{OLD}clip bench-1.mp4 at 23:59:30\n# running since 2026-03-04 23:59:30\n"
    assert notes_edit.read_lines(text).running.running == BEGAN
    text = notes_edit.add_note(text, after(45), "fault", "Past midnight.")
    text = notes_edit.end_clip(text, after(100))
    assert text == f"{OLD}clip bench-1.mp4 for 1:40 at 23:59:30\n00:00:15 fault: Past midnight.\n"
    assert [(c.name, c.length_s) for c in parse_notes(text).clips] == [("a.mp4", 845.0), ("bench-1.mp4", 100.0)]
    assert notes_edit.end_clip(text, after(200)) == text
    with pytest.raises(InputError, match="no clip is running"):
        notes_edit.add_note(text, after(0), "fault", "x")


def test_another_clip_ends_the_one_before():
    text = notes_edit.start_clip(running(""), "two.mp4", after(60))
    assert text.splitlines()[0] == "clip bench-1.mp4 for 1:00 at 23:59:30"
    assert notes_edit.read_lines(text).running.name == "two.mp4"
    with pytest.raises(InputError, match="already"):
        notes_edit.start_clip(text, "two.mp4", after(90))


def test_a_note_is_put_in_its_place_by_time_and_no_other_changes_its_segment():
    text = notes_edit.add_note(running(), after(10), "fault", "First.")
    text = notes_edit.add_note(text, after(30), "fault", "Third.")
    text = notes_edit.add_note(text, after(20), "before", "Second, from another window.")
    assert text.splitlines()[-3:] == [
        "23:59:40 fault: First.",
        "23:59:50 before: Second, from another window.",
        "00:00:00 fault: Third.",
    ]
    text = notes_edit.add_note(text, after(40), "fault", "")
    assert text.endswith("00:00:10 fault:\n")  # a note without words names its segment, or it couldn't be read
    parse_notes(text)


@pytest.mark.parametrize("words", ["note: this", "http://x", "Careful: hot", "[card x]", "# no comment", "0:30"])
def test_words_are_read_as_they_were_written(words):
    text = notes_edit.add_note(running(), after(10), "fault", words)
    last = parse_notes(text).notes[-1]
    assert (last.segment, last.at_s) == ("fault", 10.0)
    assert last.text == ("" if words.startswith("[") else words)


def test_a_note_is_changed_and_comments_and_line_ends_stay():
    old = OLD.replace("\n", "\r\n")
    first = notes_edit.read_lines(old).notes[0]
    assert (first.words, first.at_s) == ('Bought "as is". More of it.', 0)
    text = notes_edit.change_note(old, first.line, "0:03", "history", "Other words. [card x]", cut=True)
    assert text == (
        "# mine\r\nclip a.mp4 for 14:05\r\n0:03 history: Other words. [card x] [cut]\r\n0:26 opening: No name.\r\n"
    )
    assert notes_edit.without_cards(text, ["x"]) == text.replace(" [card x]", "")


def test_a_note_that_moves_leaves_its_segment_to_those_that_took_it_from_it():
    text = "0:01 opening: A.\n0:02 B.\n0:05 fault: C.\n"
    assert notes_edit.change_note(text, 1, "0:03", "opening", "A.", cut=False) == (
        "0:02 opening: B.\n0:03 A.\n0:05 fault: C.\n"
    )


@pytest.mark.parametrize(("time", "message"), [("half past", "not a time"), ("99:00", "past the end of its clip")])
def test_what_cannot_be_read_is_not_written(time, message):
    with pytest.raises(InputError, match=message):
        notes_edit.change_note(OLD, 3, time, "opening", "x", cut=False)
    with pytest.raises(InputError, match="not a segment"):
        notes_edit.change_note(OLD, 3, "0:01", "two words", "x", cut=False)
    with pytest.raises(InputError, match="there is no note here"):
        notes_edit.change_note(OLD, 2, "0:01", "opening", "x", cut=False)


def test_a_note_is_not_lost_because_another_line_is_wrong():
    wrong = running("this is no note\n")
    assert notes_edit.add_note(wrong, after(5), "fault", "Kept.").endswith("23:59:35 fault: Kept.\n")


@given(
    st.lists(
        st.tuples(st.integers(0, 600), st.sampled_from(["", "fault", "before"]), st.sampled_from(["", "A.", "B: c"]))
    )
)
def test_whatever_is_stamped_reads_back_in_order(stamps):
    text = running()
    for seconds, segment, words in stamps:
        text = notes_edit.add_note(text, after(seconds), segment or "opening", words)
    own = [note for note in parse_notes(text).notes if note.clip == "bench-1.mp4"]
    assert [note.at_s for note in own] == sorted(float(seconds) for seconds, _, _ in stamps)
    assert sorted((n.at_s, n.segment, n.text) for n in own) == sorted(
        (float(seconds), segment or "opening", words) for seconds, segment, words in stamps
    )
    assert text.startswith(OLD)
