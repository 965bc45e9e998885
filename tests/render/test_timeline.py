"""timeline.otio, read back with the library that defines the format (OpenTimelineIO)."""

import json
import sys
from fractions import Fraction

import pytest
from cut_on_paper import episode

from reviewkit.build import pipeline
from reviewkit.build.build import make
from reviewkit.build.options import Options
from reviewkit.model.timecode import RATES
from reviewkit.render.footage.timeline import build_timeline, timeline_files

otio = pytest.importorskip("opentimelineio")
opentime = otio.opentime

NTSC = Fraction(30000, 1001)
NOTES = """\
clip A 1.mp4 for 2:00
0:00 opening: Bought at an estate sale. [card title]
0:20 before: Look at the right channel. [card tone]
0:40 Tried it twice, camera slipped. [cut] [card tone]
1:10.5 [card power]
clip B.mp4 at 21:10:32
21:10:40 after: The step is gone. [card tone]
21:12:00 And this is the end of it.
"""
CARDS = {"title": None, "tone": None, "tone+more": 4.0, "power": 10.0, "table": None}


def drawn(*args, made=(), **settings):
    """The timeline of an episode, by the library's own reader."""
    whole = otio.core.deserialize_json_from_string(build_timeline(otio, episode(*args, **settings), made))
    assert isinstance(whole, otio.schema.Timeline)
    return whole


def track(whole, name):
    return next(one for one in whole.tracks if one.name == name)


def placed(track):
    """Each clip's name with its first frame and its length on the timeline."""
    found = {}
    for clip in track.find_clips():
        span = clip.transformed_time_range(clip.trimmed_range(), track)
        found.setdefault(clip.name, []).append((span.start_time.value, span.duration.value))
    return found


def marks(whole):
    """Every marker's name with its place on the timeline, in frames."""
    return [
        (marker.name, clip.transformed_time(marker.marked_range.start_time, whole.tracks).value)
        for clip in whole.find_clips()
        for marker in clip.markers
    ]


# ------------------------------------------------------------------ what is on it


def test_clips_stand_end_to_end_by_file_name_with_what_is_known_of_them():
    whole = drawn(NOTES, CARDS)
    clips = track(whole, "clips")
    # 2 minutes at 25; then from 21:10:32 to the last note at 21:12:00, and six seconds for it
    assert placed(clips) == {"A 1.mp4": [(0, 3000)], "B.mp4": [(3000, (88 + 6) * 25)]}
    assert [clip.media_reference.target_url for clip in clips] == ["A%201.mp4", "B.mp4"]
    assert [clip.media_reference.available_range.duration.value for clip in clips] == [3000, 2350]
    assert [clip.trimmed_range().start_time.to_timecode() for clip in clips] == ["00:00:00:00", "21:10:32:00"]
    assert placed(track(whole, "sound of the clips")) == placed(clips)
    assert whole.global_start_time is None  # nobody said when the first clip began


def test_cards_stand_where_their_notes_call_for_them():
    cards = placed(track(drawn(NOTES, CARDS), "cards"))
    assert cards == {
        "01-title": [(0, 150)],
        "02-tone": [(500, 150), (3000 + 8 * 25, 150)],  # again after the repair; the bad take calls for none
        "03-tone+more": [(650, 100)],  # follows its first
        "04-power": [(1763, 250)],  # 70.5 s is frame 1762.5, which is no frame: half a frame off, no more
        "05-table": [(5350, 150)],  # no note calls for it: behind the footage
    }


def test_markers_say_what_they_are_by_name_and_colour():
    whole = drawn(NOTES, CARDS)
    clip = track(whole, "clips")[0]
    shown = [(m.name, m.color, m.marked_range.start_time.value, m.marked_range.duration.value) for m in clip.markers]
    colour = otio.schema.MarkerColor
    assert shown == [
        ("segment: opening", colour.GREEN, 0, 500),
        ("note: Bought at an estate sale.", colour.CYAN, 0, 1),
        ("segment: before", colour.GREEN, 500, 2500),
        ("note: Look at the right channel.", colour.CYAN, 500, 1),
        ("bad take: Tried it twice, camera slipped.", colour.RED, 1000, 1),
        ("note: card power", colour.CYAN, 1763, 1),
    ]
    assert {key for m in clip.markers for key in m.metadata} == {"reviewkit"}


def test_a_long_note_is_a_short_name_and_all_of_it_is_in_the_comment():
    text = "The bias trimmer is open, in the arm from base to emitter, and so the outputs get one drop of three."
    marker = drawn(f"0:10 repair: {text}\n", {}).find_clips()[0].markers[1]
    assert marker.comment == text
    assert len(marker.name) <= 60
    assert marker.name.startswith("note: The bias trimmer is open")
    assert marker.name.endswith(" …")


def test_a_card_that_moves_is_its_clip():
    whole = drawn(NOTES, CARDS, made={"clips/02-tone.mp4", "cards/02-tone.png"})
    urls = {clip.name: clip.media_reference.target_url for clip in track(whole, "cards").find_clips()}
    assert urls["02-tone"] == "clips/02-tone.mp4"
    assert urls["04-power"] == "cards/04-power.png"


def test_footage_of_no_named_clip_has_no_medium():
    whole = drawn("0:05 front: Five knobs.\nclip A.mp4 for 0:10\n0:01 The rear.\n", {})
    first, second = track(whole, "clips")
    assert isinstance(first.media_reference, otio.schema.MissingReference)
    assert placed(track(whole, "clips"))["A.mp4"] == [((5 + 6) * 25, 250)]
    assert list(placed(track(whole, "sound of the clips"))) == ["A.mp4"]
    assert [m.name for m in second.markers] == ["note: The rear."]  # still the front: no second begin


def test_without_notes_the_cards_stand_in_the_outlines_order_with_their_segment():
    whole = drawn("", CARDS)
    assert [one.name for one in whole.tracks] == ["cards"]
    assert [clip.name for clip in whole.find_clips()] == ["01-title", "02-tone", "03-tone+more", "04-power", "05-table"]
    assert marks(whole) == [("segment: opening", 0), ("segment: after", 150), ("segment: verdict", 650)]


# ------------------------------------------------------------------ cards that get in each other's way


def frames(notes, cards):
    return placed(track(drawn(notes, cards), "cards"))


def test_the_next_card_cuts_the_one_before_short():
    shown = frames("clip A for 1:00\n0:00 before: x [card a]\n0:04 y [card b]\n", {"a": None, "b": None})
    assert shown == {"01-a": [(0, 100)], "02-b": [(100, 150)]}


def test_cards_of_one_note_share_what_there_is():
    notes = "clip A for 1:00\n0:00 before: x [card a] [card b]\n0:06 y [card c]\n"
    shown = frames(notes, {"a": 6.0, "b": 3.0, "c": None})
    assert shown == {"01-a": [(0, 100)], "02-b": [(100, 75)], "03-c": [(175, 150)]}


def test_no_card_is_lost_and_none_is_too_short_to_see():
    notes = "clip A for 1:00\n0:00 before: x [card a] [card b]\n0:01 y [card c]\n0:30 z [card d]\n"
    shown = frames(notes, {"a": None, "b": None, "c": None, "d": 1.0})
    # three seconds each, and the third waits for them
    assert shown == {"01-a": [(0, 75)], "02-b": [(75, 75)], "03-c": [(150, 150)], "04-d": [(750, 25)]}


# ------------------------------------------------------------------ frames and time


@pytest.mark.parametrize("rate", RATES, ids=lambda rate: f"{float(rate):.6g}")
def test_no_drift_over_two_hours_at_any_rate(rate):
    # a frame lasts 1/rate: closed form. No note is off by more than half of one, nor is any card
    times = range(0, 7200, 61)
    cards = {f"c{i}": 1.0 for i in range(len(times))}
    notes = "".join(f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d} n{i} [card c{i}]\n" for i, t in enumerate(times))
    whole = drawn(f"clip A for 2:00:00\n{notes}", cards, rate)
    at = {name: frame for name, frame in marks(whole) if name.startswith("note")}
    shown = placed(track(whole, "cards"))
    for number, seconds in enumerate(times):
        frame = at[f"note: n{number}"]
        assert frame == int(frame) == shown[f"{number + 1:02d}-c{number}"][0][0]
        assert abs(Fraction(frame) / rate - seconds) <= 1 / rate / 2
    assert whole.duration().rate == float(rate)


def test_many_clips_do_not_add_up_a_fraction_each():
    # each clip is a whole number of frames, the nearest to its length: 100 of them are 100 times that
    clips = "".join(f"clip A{i}.mp4 for 1:01.02\n0:00 note {i}\n" for i in range(100))
    whole = drawn(clips, {}, NTSC)
    each = round(Fraction("61.02") * NTSC)
    assert [start for ((start, _),) in placed(track(whole, "clips")).values()] == [each * i for i in range(100)]


@pytest.mark.parametrize(
    ("rate", "clock", "frame", "written"),
    [
        # SMPTE ST 12-1: at 29.97 an hour of labels is 107 892 frames, at 59.94 it is 215 784; at 23.976 there is no
        # drop-frame, and an hour of labels is 86 400 frames
        (NTSC, "01:00:00", 107_892, "01:00:00;00"),
        (NTSC, "00:01:00", 1_800, "00:01:00;02"),
        (Fraction(60000, 1001), "01:00:00", 215_784, "01:00:00;00"),
        (Fraction(24000, 1001), "01:00:00", 86_400, "01:00:00:00"),
        (Fraction(25), "21:10:32", 1_905_800, "21:10:32:00"),
    ],
)
def test_the_timeline_begins_at_the_first_clips_clock(rate, clock, frame, written):
    whole = drawn(f"clip A.mp4 for 1:00 at {clock}\n{clock} front: Begin.\n", {}, rate)
    begins = whole.global_start_time
    assert (begins.value, begins.rate) == (frame, float(rate))
    assert begins.to_timecode() == written
    assert whole.find_clips()[0].trimmed_range().start_time == begins
    assert marks(whole)[0] == ("segment: front", 0)


def test_a_note_at_its_clips_very_end_is_still_on_it():
    whole = drawn("clip A.mp4 for 0:10\n0:10 front: End.\n", {})
    assert marks(whole) == [("segment: front", 249), ("note: End.", 249)]


# ------------------------------------------------------------------ the file


def test_the_same_episode_is_the_same_bytes_and_holds_no_path():
    one, other = (timeline_files(episode(NOTES, CARDS), ()) for _ in range(2))
    assert one == other
    assert list(one) == ["timeline.otio"]
    assert b"file:" not in one["timeline.otio"]
    assert b'"target_url": "/' not in one["timeline.otio"]


def test_the_library_finds_nothing_to_change():
    text = build_timeline(otio, episode(NOTES, CARDS), ())
    again = otio.core.deserialize_json_from_string(text)
    assert f"{again.to_json_string(indent=1)}\n" == text


def test_without_the_library_a_build_goes_on_and_says_how_to_have_it(monkeypatch, session_of):
    told = "timeline.otio: left out; pip install 'bench-reviewkit[timeline]'"
    folder = session_of('[unit]\nmaker = "Elmgate"\nmodel = "Two"\n', {"notes.txt": NOTES})
    assert told not in pipeline.check(folder).left_out
    monkeypatch.setitem(sys.modules, "opentimelineio", None)
    made = make(folder, Options())
    assert told in made.summary
    assert told in json.loads(made.files["findings.json"])["left_out"]
    assert "timeline.otio" not in made.files


def test_the_sample_session_has_all_its_cards_on_it(sample):
    whole = otio.adapters.read_from_file(str(sample.out / "timeline.otio"))
    page_only = sample.text("outline.md").partition("## Not in the film")[2]
    files = {path.stem for path in (sample.out / "cards").iterdir() if path.stem not in page_only}
    assert {clip.name for clip in track(whole, "cards").find_clips()} == files
    assert [clip.name for clip in track(whole, "clips")] == ["bench-1.mp4", "bench-2.mp4"]
