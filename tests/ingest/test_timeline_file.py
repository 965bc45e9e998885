"""final.otio: timeline.otio as an editor changes it, by the library that defines the format, and read back."""

import json
import sys
from fractions import Fraction

import pytest
from cut_on_paper import episode

from reviewkit.build import pipeline
from reviewkit.ingest.session.cut_file import parse_cut, read_final
from reviewkit.ingest.session.timeline_file import read_edited
from reviewkit.model.errors import InputError
from reviewkit.model.timecode import RATES
from reviewkit.render.footage.timeline import build_timeline

otio = pytest.importorskip("opentimelineio")
Range, Time = otio.opentime.TimeRange, otio.opentime.RationalTime

NOTES = """\
clip A.mp4 for 2:00 at 21:00:00
21:00:00 opening: Bought at an estate sale.
21:00:20 before: Look at the right channel.
21:01:00 repair: The trimmer is open.
clip B.mp4 for 3:00
0:10 after: The step is gone.
1:00 verdict: Line by line.
"""
RATE = 25.0


def exported(rate=Fraction(25), notes=NOTES):
    return otio.core.deserialize_json_from_string(build_timeline(otio, episode(notes, {"title": None}, rate), ()))


def read(whole, tmp_path):
    """(start, segment) of each chapter of a cut."""
    (tmp_path / "final.otio").write_text(whole if isinstance(whole, str) else whole.to_json_string(), encoding="utf-8")
    return [(at, name) for at, name, _ in read_edited(tmp_path / "final.otio")]


def refused(whole, tmp_path):
    with pytest.raises(InputError) as raised:
        read(whole, tmp_path)
    return [str(fault) for fault in raised.value.faults]


def clips_of(whole):
    return next(track for track in whole.tracks if track.name == "clips")


def piece(clip, start_s, length_s, rate=RATE):
    """A part of a clip as an editor's blade leaves it: all markers are still on it."""
    part = clip.deepcopy()
    first = clip.media_reference.available_range.start_time
    part.source_range = Range(first + Time(start_s * rate, rate), Time(length_s * rate, rate))
    return part


def cut_of(*pieces, name="cut"):
    whole = otio.schema.Timeline(name)
    track = otio.schema.Track("V1")
    track.extend(pieces)
    whole.tracks.append(track)
    return whole


def parts():
    whole = exported()  # the library lets go of what is in a timeline that nobody holds
    return tuple(clip.deepcopy() for clip in clips_of(whole))


# ------------------------------------------------------------------ what an editor does


@pytest.mark.parametrize("rate", RATES, ids=lambda rate: f"{float(rate):.6g}")
def test_untouched_it_gives_the_times_of_the_notes(rate, tmp_path):
    written = "0:00 opening\n0:20 before\n1:00 repair\n2:10 after\n3:00 verdict\n"
    found = read(exported(rate), tmp_path)
    assert [name for _, name in found] == [name for _, name, _ in parse_cut(written)]
    # clips are whole frames long, so what follows may be half a frame off for each
    assert max(abs(at - to[0]) for (at, _), to in zip(found, parse_cut(written), strict=True)) <= 1 / rate


def test_trimmed_and_moved_clips_take_their_segments_along(tmp_path):
    a, b = parts()
    # the verdict first (60 s to 90 s of B), then A from 50 s to 80 s, then A's first 30 s
    whole = cut_of(piece(b, 60, 30), piece(a, 50, 30), piece(a, 0, 30))
    assert read(whole, tmp_path) == [(0, "verdict"), (40, "repair"), (60, "opening"), (80, "before")]


def test_a_segment_trimmed_at_its_head_begins_where_it_is_left(tmp_path):
    a, b = parts()
    whole = cut_of(piece(a, 3, 10), piece(a, 25, 10), piece(b, 12, 8), piece(b, 80, 30))
    # nowhere is the begin of a segment to be seen, but what is left of each is
    assert read(whole, tmp_path) == [(0, "opening"), (10, "before"), (20, "after"), (28, "verdict")]


def test_a_part_shown_elsewhere_is_no_chapter_where_the_begin_is_to_be_seen(tmp_path):
    a, b = parts()
    whole = cut_of(piece(a, 0, 30), piece(b, 30, 5), piece(a, 30, 40), piece(b, 10, 60))
    # five seconds of "after" as a cutaway in "before"
    assert read(whole, tmp_path) == [(0, "opening"), (20, "before"), (65, "repair"), (75, "after"), (125, "verdict")]


def test_a_clip_parted_within_a_segment_begins_it_once(tmp_path):
    a, _ = parts()
    whole = cut_of(piece(a, 0, 21), piece(a, 20, 10), piece(a, 35, 5), piece(a, 60, 5))
    assert read(whole, tmp_path) == [(0, "opening"), (20, "before"), (36, "repair")]


def test_a_segment_that_the_cut_comes_back_to_has_two_chapters(tmp_path):
    a, _ = parts()
    whole = cut_of(piece(a, 20, 5), piece(a, 60, 5), piece(a, 20, 5))
    assert read(whole, tmp_path) == [(0, "before"), (5, "repair"), (10, "before")]


def test_gaps_and_transitions_count_as_the_library_counts_them(tmp_path):
    a, b = parts()
    whole = cut_of(otio.schema.Gap(duration=Time(50, RATE)), piece(a, 0, 30), piece(b, 60, 30))
    whole.tracks[0].insert(2, otio.schema.Transition(in_offset=Time(10, RATE), out_offset=Time(10, RATE)))
    assert read(whole, tmp_path) == [(2, "opening"), (22, "before"), (32, "verdict")]


def test_stacks_in_stacks_each_trim_what_is_in_them(tmp_path):
    a, b = parts()
    inner = otio.schema.Stack("scene", children=[otio.schema.Track("V1", children=[piece(a, 10, 60), piece(b, 0, 20)])])
    inner.source_range = Range(Time(5 * RATE, RATE), Time(60 * RATE, RATE))  # cuts off 5 s of A, and the most of B
    whole = cut_of(otio.schema.Gap(duration=Time(25, RATE)), inner)
    # A from 15 s: opening is left of, before at 20 s, repair at 60 s; B's own begin of "after" is cut off
    found = read(whole, tmp_path)
    assert found == [(1, "opening"), (6, "before"), (46, "repair")]
    track = whole.tracks[0]
    marker = inner[0][0].markers[2]
    assert marker.name == "segment: before"
    there = inner[0][0].transformed_time(marker.marked_range.start_time, track)
    assert there.to_seconds() == found[1][0]  # as the library itself has it


def test_markers_on_track_and_timeline_count_and_other_markers_do_not(tmp_path):
    whole = cut_of(otio.schema.Clip("film.mov", source_range=Range(Time(0, RATE), Time(7500, RATE))))
    mark = otio.schema.Marker
    whole.tracks[0].markers.append(mark("segment: front", Range(Time(250, RATE), Time(1, RATE))))
    whole.tracks.markers.append(mark("Segment:opening ", Range(Time(0, RATE), Time(0, RATE))))
    whole.tracks.markers.append(mark("fix the sound", Range(Time(100, RATE), Time(1, RATE))))
    whole.tracks.markers.append(mark("note: segment: rear", Range(Time(120, RATE), Time(1, RATE))))
    assert read(whole, tmp_path) == [(0, "opening"), (10, "front")]


def test_the_timelines_own_markers_may_count_from_its_timecode(tmp_path):
    whole = cut_of(otio.schema.Clip("film.mov", source_range=Range(Time(0, RATE), Time(7500, RATE))))
    whole.global_start_time = Time(90000, RATE)  # 01:00:00:00, as many programs begin
    for frame, name in ((90000, "opening"), (90500, "front")):
        whole.tracks.markers.append(otio.schema.Marker(f"segment: {name}", Range(Time(frame, RATE), Time(1, RATE))))
    assert read(whole, tmp_path) == [(0, "opening"), (20, "front")]


def test_what_is_switched_off_is_not_in_the_cut(tmp_path):
    a, b = parts()
    whole = cut_of(piece(a, 0, 30), piece(b, 60, 30))
    whole.tracks[0][1].enabled = False
    assert read(whole, tmp_path) == [(0, "opening"), (20, "before")]


def test_clips_of_another_rate_keep_their_real_time(tmp_path):
    # a film at 29.97 from clips at 25: 20 s of A are 20 s, whatever counts them
    a, b = parts()
    whole = cut_of(piece(a, 0, 30), piece(b, 60, 30))
    whole.global_start_time = Time(107892, 30000 / 1001)
    assert read(whole, tmp_path) == [(0, "opening"), (20, "before"), (30, "verdict")]


def test_a_rate_written_in_short_does_not_drift(tmp_path):
    # two hours in at 30000/1001, written as 29.97 by the program: frame 215 784 is 7199.9928 s (n × 1001/30000)
    whole = cut_of(otio.schema.Clip("film.mov", source_range=Range(Time(0, 29.97), Time(300_000, 29.97))))
    whole.tracks.markers.append(otio.schema.Marker("segment: closing", Range(Time(215_776, 29.97), Time(1, 29.97))))
    ((at, _),) = read(whole, tmp_path)
    assert abs(at - 215_776 * 1001 / 30000) < 1e-9


# ------------------------------------------------------------------ what is refused


def test_no_marker_of_a_segment(tmp_path):
    assert refused(cut_of(otio.schema.Clip("x", source_range=Range(Time(0, 25), Time(10, 25)))), tmp_path) == [
        "final.otio: no marker in the cut names a segment; keep those of timeline.otio, set markers named for example "
        "segment: before, or write final.txt"
    ]


def test_a_clip_of_changed_speed_is_told_and_not_guessed_at(tmp_path):
    a, _ = parts()
    fast = piece(a, 0, 30)
    fast.effects.append(otio.schema.LinearTimeWarp(time_scalar=2.0))
    assert refused(cut_of(fast), tmp_path) == [
        'final.otio: marker "segment: before" at 00:00:20:00 is in "A.mp4", whose speed was changed; '
        "set it on the timeline instead"
    ]


def test_a_marker_that_is_no_word_and_two_at_one_place(tmp_path):
    whole = cut_of(otio.schema.Clip("film.mov", source_range=Range(Time(0, RATE), Time(7500, RATE))))
    whole.global_start_time = Time(107892, 30000 / 1001)
    marker = otio.schema.Marker("segment: The Front", Range(Time(250, RATE), Time(1, RATE)))
    whole.tracks.markers.append(marker)
    (said,) = refused(whole, tmp_path)
    assert said.startswith('final.otio: marker "segment: The Front" at 01:00:')
    assert said.endswith("names no segment by one lower-case word; write for example segment: before")
    whole.global_start_time = None
    marker.name = "segment: front"
    whole.tracks[0].markers.append(otio.schema.Marker("segment: rear", Range(Time(250, RATE), Time(1, RATE))))
    (said,) = refused(whole, tmp_path)
    assert '"segment: front" and "segment: rear" are both at 00:00:10:00; move or delete one' in said.replace(
        '"segment: rear" and "segment: front"', '"segment: front" and "segment: rear"'
    )


REMEDY = "export the timeline from the editing program as OpenTimelineIO again, or write the times into final.txt"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "final.otio:1: is not an OpenTimelineIO file (Expecting value)"),
        (
            '{\n "OTIO_SCHEMA": "Timeline.1",\n oops',
            "final.otio:3: is not an OpenTimelineIO file (Expecting property name",
        ),
        ("TITLE: cut\n001  AX V C", "final.otio:1: is not an OpenTimelineIO file (Expecting value)"),
        ("[" * 100_000, "final.otio: is not an OpenTimelineIO file"),
        ("[1, 2]", "final.otio: has no timeline"),
        ("3", "final.otio: has no timeline"),
        ('{"OTIO_SCHEMA": "Nonsense.1"}', "final.otio: has no timeline"),
        ('{"OTIO_SCHEMA": "Timeline.1", "tracks": null}', "final.otio: has no timeline"),
        ('{"OTIO_SCHEMA": "Timeline.1"}', "final.otio:1: is not an OpenTimelineIO file (tracks is missing)"),
        ('{"OTIO_SCHEMA": "Timeline.1", "tracks": 3}', "final.otio:1: is not an OpenTimelineIO file (type mismatch"),
        ('{\n"OTIO_SCHEMA": "Timeline.99"}', "final.otio:2: is not an OpenTimelineIO file (unsupported schema version"),
    ],
)
def test_what_is_no_timeline(text, said, tmp_path):
    (told,) = refused(text, tmp_path)
    assert told.startswith(said)
    assert told.endswith(REMEDY)


def test_several_timelines_in_one_file(tmp_path):
    several = otio.schema.SerializableCollection("bin", [exported(), exported()])
    assert refused(several, tmp_path) == ["final.otio: holds 2 timelines; export the one that was published, alone"]
    del several[1]
    assert len(read(several, tmp_path)) == 5


def _damaged(node, number):
    """The file's data with its `number`-th value replaced by what does not belong there, or None at the end."""
    count = 0

    def walk(value):
        nonlocal count
        if isinstance(value, dict):
            return {key: walk(inner) for key, inner in value.items()}
        if isinstance(value, list):
            return [walk(inner) for inner in value]
        count += 1
        return ("x", None, -1, 0, 1e308, {}, float("inf"))[number % 7] if count - 1 == number // 7 else value

    return walk(node), count > number // 7


def test_no_damage_gives_a_traceback(tmp_path):
    clip = piece(parts()[0], 0, 30)
    del clip.markers[1:]
    whole = cut_of(otio.schema.Stack(children=[otio.schema.Track(children=[clip])]))
    whole.global_start_time = Time(90000, RATE)
    data = json.loads(whole.to_json_string())
    number, refusals = 0, 0
    while True:
        damaged, more = _damaged(data, number)
        if not more:
            break
        try:
            found = read(json.dumps(damaged), tmp_path)
            assert all(0 <= at < 360_000 for at, _ in found)
        except InputError:
            refusals += 1
        number += 1
    assert refusals > 50


# ------------------------------------------------------------------ in a session


def test_final_txt_goes_before_it_and_that_is_said(tmp_path):
    read(exported(), tmp_path)
    (tmp_path / "final.txt").write_text("0:00 opening\n")
    assert read_final(tmp_path) == (((0.0, "opening", 1),), ("final.otio: not read: final.txt wins",))
    (tmp_path / "final.txt").unlink()
    assert len(read_final(tmp_path)[0]) == 5
    (tmp_path / "final.otio").unlink()
    assert read_final(tmp_path) == ((), ("no final.txt: the description has no chapters",))


def test_segments_that_the_cut_lacks_are_told(tmp_path):
    a, _ = parts()
    read(cut_of(piece(a, 0, 30)), tmp_path)
    assert read_final(tmp_path, ["opening", "before", "repair", "after", "repair"])[1] == (
        "final.otio: no marker of repair, after: no chapter; set a marker segment: repair, if it is in the cut",
    )


def test_without_the_library_it_says_how_to_have_it(monkeypatch, tmp_path):
    read(exported(), tmp_path)
    monkeypatch.setitem(sys.modules, "opentimelineio", None)
    assert read_final(tmp_path) == (
        (),
        (
            "final.otio: not read, so the description has no chapters; pip install 'bench-reviewkit[timeline]'",
        ),
    )  # fmt: skip


def test_a_sessions_chapters_are_those_of_its_edited_timeline(session_of):
    folder = session_of('[unit]\nmaker = "Elmgate"\nmodel = "Two"\n', {"notes.txt": NOTES})
    planned = pipeline.check(folder)
    assert not planned.chapters_final
    (folder / "final.otio").write_text(cut_of(*(piece(clip, 0, 100) for clip in parts())).to_json_string())
    final = pipeline.check(folder)
    assert final.chapters_final
    assert [(chapter.start_s, chapter.title) for chapter in final.chapters] == [
        (0.0, "Elmgate Two"),
        (20.0, "What's wrong with it?"),
        (60.0, "What did it take?"),
        (110.0, "How does it measure?"),
        (160.0, "Does it meet its spec?"),
    ]
