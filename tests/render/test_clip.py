"""Clips, decoded again by the program that encoded them and held against the stills.

What stands outside the project: the decoder; ITU-R BT.709-6 for the colours; the frame counts by exact fractions.
"""

import hashlib
import io
import math
import re
import shutil
import stat
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from accuracy import grid
from card_samples import CHARTS, SAMPLES
from PIL import Image

from reviewkit.build.write_outputs import Incoming, write_outputs
from reviewkit.commands.cli import run
from reviewkit.model.card import Axis, Card, Chart, Hero, Panel, Trace
from reviewkit.model.card_files import kind_of
from reviewkit.model.errors import CannotFinish, InputError
from reviewkit.render.cards.card import lay_out_in_roles
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.paint import NO_FONTS, paint
from reviewkit.render.cards.pictures import Order, draw_pictures
from reviewkit.render.cards.roles import ROLES, apply_look
from reviewkit.render.cards.scene import Area, Stroke, Text
from reviewkit.render.cards.shape import SHAPES, WIDE
from reviewkit.render.footage import ffmpeg
from reviewkit.render.footage.clip import Motion, count_frames, write_clear_clip, write_opaque_clip
from reviewkit.render.footage.frames import animate, mix, mix_with_alpha, to_yuv, yuv
from reviewkit.render.footage.steps import ClipStep, plan_steps

LOOK = LOOKS["lamplight"]
WIDTH, HEIGHT = 1280, 720
RATE, SECONDS, FRAMES = Fraction(10000, 1001), 5.1, 51
CARD = SAMPLES["response"]


@pytest.fixture(scope="session")
def encoder():
    try:
        return ffmpeg.find_encoder()
    except InputError:
        pytest.skip("no ffmpeg here: neither on the path nor by imageio-ffmpeg")


@pytest.fixture(scope="module")
def made(encoder, tmp_path_factory):
    """The response card's pictures, and where its clips are."""
    motion = Motion(RATE, SECONDS, encoder, tmp_path_factory.mktemp("clips"))
    order = Order(LOOK, WIDTH, overlay=True, motion=motion)
    return draw_pictures(CARD, order), motion


@pytest.fixture(scope="module")
def frames(made):
    return decoded(made[1].encoder.ffmpeg, made[1].file("response", ".mp4"), "rgb24")


@pytest.fixture(scope="module")
def clear_frames(made):
    return decoded(made[1].encoder.ffmpeg, made[1].file("response", ".mov"), "rgba")


def decoded(program, file, pixel_format, width=WIDTH, height=HEIGHT):
    """Every frame; shape (frames, height, width, channels)."""
    # chroma drawn out smoothly, as a player does
    scale = f"scale=flags=bicubic+accurate_rnd+full_chroma_int,format={pixel_format}"
    command = [program, "-loglevel", "error", "-i", file, "-vf", scale]
    ran = subprocess.run([*command, "-fps_mode", "passthrough", "-f", "rawvideo", "-"], capture_output=True, check=True)
    assert not ran.stderr
    return np.frombuffer(ran.stdout, np.uint8).reshape(-1, height, width, len(pixel_format.rstrip("24")))


def steps_of(name, shape=WIDE, seconds=SECONDS):
    card = SAMPLES[name]
    found = lay_out_in_roles(card.found, NO_FONTS, shape) if card.found else ()
    return plan_steps(card, lay_out_in_roles(card, NO_FONTS, shape), found, Fraction(str(seconds)))


def painted(steps, shape=WIDE, width=WIDTH):
    return [paint(apply_look(step.items, LOOK), LOOK.ground, width, shape=shape)[..., :3].copy() for step in steps]


def begin_frames(steps, frames):
    """The frame after which each step begins to appear."""
    ends = np.cumsum([0.0, *(float(step.seconds + step.pause) for step in steps[1:])])
    return [number * frames / ends[-1] for number in ends[:-1]]


def drawing_frames(steps):
    return math.ceil(sum(step.seconds + step.pause for step in steps) * RATE)


def psnr_db(one, other):
    return 10 * math.log10(255**2 / max(np.mean((one.astype(float) - other) ** 2), 1e-9))


# ------------------------------------------------------------------ lengths


def test_a_clip_has_as_many_frames_as_its_seconds_have():
    for seconds in [0.5, 1.0, 6.0, 7.3, 600.0]:
        for rate in [24, 25, 30, 60, 240, Fraction(24000, 1001), Fraction(30000, 1001), Fraction(60000, 1001)]:
            assert count_frames(seconds, Fraction(rate)) == round(Fraction(str(seconds)) * rate), (rate, seconds)


@pytest.mark.parametrize("seconds", [0.001, 0.04, 0.1])
def test_a_clip_has_a_first_frame_and_a_last_one_however_short_it_is(seconds):
    assert count_frames(seconds, Fraction(25)) == max(2, round(seconds * 25))


# ------------------------------------------------------------------ what is shown when


def parts(step):
    return {item.part for item in step.items}


def test_a_verdict_appears_from_the_scale_to_the_word():
    steps = steps_of("response")
    assert [step.way for step in steps] == ["", "slide", "fade", "sweep", "fade", "fade"]
    assert [(item.kind, item.part) for item in steps[0].items] == [("dial", "line")]
    assert parts(steps[1]) == {"line", "scale"}
    assert parts(steps[2]) == {"line", "scale", "frame"}
    assert parts(steps[3]) - parts(steps[2]) == {"curve"}
    assert "word" not in parts(steps[4])
    assert {item.text for item in steps[5].items if isinstance(item, Text) and item.part == "word"} >= {
        "falls",
        "short",
    }


def test_the_wedge_of_a_number_comes_from_the_left_end_of_its_scale():
    *before, last = steps_of("number")
    wedges, scale = (
        [item for item in last.items if item.part == "needle" and isinstance(item, what)] for what in (Area, Stroke)
    )
    assert (last.way, len(wedges)) == ("swing", 1)
    assert not any(wedges[0] in step.items for step in before)
    left = min(x for item in scale for x, _ in item.points)
    assert np.mean(wedges[0].points, axis=0)[0] - last.reach == pytest.approx(left, abs=2)


def test_a_pair_starts_from_its_card_as_found():
    steps, found = steps_of("pair"), SAMPLES["found"]
    assert [step.way for step in steps] == ["", "cut", "fade", "sweep", "fall", "cut"]
    first = lay_out_in_roles(found, NO_FONTS, WIDE)
    assert {id(item) for item in steps[0].items} != set()
    assert [item.text for item in steps[0].items if isinstance(item, Text)] == [
        item.text for item in first if isinstance(item, Text)
    ]

    def texts(step):
        return {item.text for item in step.items if isinstance(item, Text)}

    assert "The right channel is rough" not in texts(steps[1])
    for step in steps[1:]:
        assert "The right channel comes back" in texts(step)
    # the fault's figure stays, without its colour, until the new one is there; only then is the old one light
    for step in steps[2:5]:
        assert "5.0 %" in texts(step)
        assert "0.020 %" not in texts(step)
        assert not any(item.colour == ROLES.status("falls short") for item in step.items)
    assert {"5.0", "0.020 %"} <= texts(steps[5])
    assert {item.weight for item in steps[5].items if isinstance(item, Text) and item.text == "5.0"} == {"light"}
    curves = [[item.part for item in step.items if getattr(item, "kind", "") == "curve"] for step in steps]
    assert curves[2] == ["ghost"]
    assert sorted(curves[3]) == ["curve", "ghost"]
    assert "fall" in parts(steps[4]) - parts(steps[3])


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_both_cards_of_a_pair_have_the_same_places(shape):
    """The same scale, and the fault's figure where the old one is afterwards."""
    found, after = (lay_out_in_roles(SAMPLES[name], NO_FONTS, shape) for name in ("found", "pair"))

    def numbers(items):
        return [(item.text, item.x, item.baseline) for item in items if isinstance(item, Text) and item.part == "scale"]

    def rules(items):
        return [tuple(y for _, y in item.points) for item in items if getattr(item, "kind", "") == "grid"]

    assert numbers(found) == numbers(after)
    assert set(rules(found)) == set(rules(after))
    ((x, baseline, size),) = [(i.x, i.baseline, i.size) for i in found if isinstance(i, Text) and i.text == "5.0 %"]
    (old,) = [item for item in after if isinstance(item, Text) and item.text == "5.0"]
    assert (old.baseline, old.size) == (baseline, size)
    assert old.box.left == pytest.approx(x, abs=12)  # a light figure has more room on its left


@pytest.mark.parametrize(("name", "shape"), grid([*SAMPLES], [*SHAPES.values()]))
def test_all_is_there_after_two_and_a_half_seconds_and_is_the_still(name, shape):
    steps = steps_of(name, shape, 6.0)
    pictures = painted(
        [steps[-1], replace(steps[-1], items=lay_out_in_roles(SAMPLES[name], NO_FONTS, shape))], shape, 640
    )
    assert np.array_equal(*pictures)
    whole = sum(step.seconds + step.pause for step in steps)
    if name == "hunt":
        assert whole == Fraction(24, 5)  # the last reading is there with a fifth of the clip left
    else:
        assert 0 <= whole <= Fraction(5, 2)
    assert sum(step.seconds + step.pause for step in steps_of(name, shape, 2.0)) <= (1 if name != "hunt" else 10)


def test_a_score_shows_missed_undecided_then_met_in_one_sweep():
    steps = steps_of("score")
    shown = [" ".join(item.text for item in step.items if isinstance(item, Text)) for step in steps]
    appears = [
        next(at for at, text in enumerate(shown) if word in text) for word in ("by 13 %", "60.3", "1 not judged")
    ]
    assert appears == sorted(set(appears))
    assert steps[appears[0]].way == "fade"
    assert steps[appears[2]].way == "sweep"


def test_a_hunt_takes_one_reading_after_another():
    steps = steps_of("hunt", seconds=10.0)
    names = ["Rail, positive", "Bias L", "Bias R", "spreader R", "open"]
    for name, step, before in zip(names, steps[-5:], steps[-6:-1], strict=True):
        assert name in {item.text for item in step.items if isinstance(item, Text)}
        assert name not in {item.text for item in before.items if isinstance(item, Text)}
        assert step.seconds + step.pause > 1


def test_what_a_curve_is_compared_with_stays_from_the_card_as_found_on():
    corners, turn = np.array((-1.0, 1.0)), np.linspace(0, 2 * np.pi, 90)
    axis = Axis(-1.0, 1.0, "linear", ((-1.0, "−1"), (0.0, "0"), (1.0, "1")))
    ideal = Trace(corners, corners, "", "ideal", "in step")
    circle, line = Trace(np.sin(turn), np.cos(turn), ""), Trace(corners, 0.9 * corners, "", label="after")
    now, was = (ideal, replace(circle, role="before", label="before"), line), (ideal, circle)
    plots = [Chart((Panel(axis, axis, traces, one_channel=True, square=True),)) for traces in (now, was)]
    hero = Hero("0.3 arcmin", "after", "4.4 arcmin")
    found = Card("azimuth-found", "Azimuth", (), plots[1], title="Out of step", hero=Hero("4.4 arcmin"), corner="N")
    pair = Card("azimuth", "Azimuth", (), plots[0], title="In step", hero=hero, corner="N", found=found)
    of_found = lay_out_in_roles(replace(found, repaired=pair), NO_FONTS, SHAPES["wide"])
    steps = plan_steps(pair, lay_out_in_roles(pair, NO_FONTS, SHAPES["wide"]), of_found, Fraction(6))
    for step in steps:
        assert "in step" in {item.text for item in step.items if isinstance(item, Text)}


def test_an_ending_shows_word_change_then_tally():
    steps = steps_of("ending")
    shown = [{item.text for item in step.items if isinstance(item, Text)} for step in steps]
    appears = [next(at for at, some in enumerate(shown) if word in some) for word in ("Repaired", "0.020 %", "9")]
    assert appears == sorted(set(appears))


# ------------------------------------------------------------------ the frames before they are encoded


def plain_steps(*ways, seconds=1):
    return [ClipStep((), way, Fraction(seconds) if way else Fraction(0)) for way in ("", *ways)]


def all_frames(pictures, steps, frames, mixed=mix):
    return [frame[0].copy() for frame in animate(((one,) for one in pictures), steps, frames, 1.0, mixed)]


def test_curve_then_names_then_the_whole():
    pictures = [np.full((4, 40), 10, np.uint8) for _ in range(3)]
    for picture in pictures[1:]:
        picture[1, 4:24] = 200  # a curve
    pictures[2][0, 30:34] = 100  # a name
    seen = all_frames(pictures, plain_steps("sweep", "fade"), 20)
    assert len(seen) == 21
    assert (seen[0] == pictures[0]).all()
    assert (seen[-1] == pictures[2]).all()
    reach = [int((frame[1] == 200).sum()) for frame in seen]
    assert reach == sorted(reach)
    assert reach[10] == 20
    assert reach[9] < 20
    assert not any((frame[0] != 10).any() for frame in seen[:11])  # no name before the curve has passed
    assert 10 < seen[13][0, 30] < 100


def test_an_arrow_falls_and_a_cut_takes_no_frame():
    pictures = [np.zeros((40, 8), np.uint8) for _ in range(3)]
    for picture in pictures[1:]:
        picture[4:24, 3] = 9
    pictures[2][30] = 7
    seen = all_frames(pictures, [*plain_steps("fall"), ClipStep((), "cut", Fraction(0))], 10)
    reach = [int((frame[:, 3] == 9).sum()) for frame in seen]
    assert reach == sorted(reach)
    assert [frame[30, 0] for frame in seen] == [0] * 10 + [7]  # with the last frame of the fall


def test_a_scale_slides_in_from_the_right():
    pictures = [np.zeros((6, 100), np.uint8) for _ in range(2)]
    pictures[1][3, 10:90:20] = 5
    seen = all_frames(pictures, plain_steps("slide"), 8)
    places = [np.flatnonzero(frame[3]) for frame in seen]
    assert not len(places[0])
    firsts = [int(place[0]) for place in places if len(place)]
    assert firsts == sorted(firsts, reverse=True)
    assert all((np.diff(place) == 20).all() for place in places)  # as a whole
    assert (seen[-1] == pictures[1]).all()


def test_a_needle_swings_from_the_left_end_and_leaves_what_it_passes():
    before = np.zeros((8, 100), np.uint8)
    before[2:6, 20:30] = 50  # a number under the scale
    after = before.copy()
    after[1:7, 60:66] = 200  # the wedge
    steps = [ClipStep((), "", Fraction(0)), ClipStep((), "swing", Fraction(1), reach=52.0)]
    seen = all_frames([before, after], steps, 20)
    lefts = [int(np.flatnonzero((frame == 200).any(axis=0))[0]) for frame in seen[1:]]
    assert lefts == sorted(lefts)
    assert lefts[0] < 20
    assert lefts[-1] == 60
    assert all((frame == 200).sum() == 36 for frame in seen[1:])  # whole wherever it is
    assert (seen[-1] == after).all()
    assert (seen[12][2:6, 20:30] == 50).all()  # it has passed there


def test_a_card_with_one_step_stands_still():
    picture = np.full((4, 8), 3, np.uint8)
    seen = all_frames([picture], plain_steps(), 3)
    assert len(seen) == 4
    assert all((frame == picture).all() for frame in seen)


def test_pauses_are_waited_for():
    pictures = [np.zeros((2, 4), np.uint8), np.full((2, 4), 9, np.uint8), np.full((2, 4), 20, np.uint8)]
    steps = [
        ClipStep((), "", Fraction(0)),
        ClipStep((), "cut", Fraction(0), Fraction(1)),
        ClipStep((), "fade", Fraction(1)),
    ]
    seen = [int(frame[0, 0]) for frame in all_frames(pictures, steps, 10)]
    assert seen[:6] == [0, 9, 9, 9, 9, 9]
    assert seen[-1] == 20
    assert seen == sorted(seen)


def test_what_is_faded_in_clear_keeps_its_colour():
    gone = np.array([[21, 25, 30, 0]], np.uint8)
    here = np.array([[243, 238, 228, 255]], np.uint8)
    # straight alpha: half there is the colour itself at half its opacity, not half the colour
    assert mix_with_alpha(gone, here, 0.5).tolist() == [[243, 238, 228, 128]]
    assert mix_with_alpha(gone, here, 0.0)[0, 3] == 0
    assert mix_with_alpha(gone, here, 1.0).tolist() == here.tolist()
    both = np.array([[100, 0, 0, 255]], np.uint8), np.array([[200, 0, 0, 255]], np.uint8)
    assert mix_with_alpha(*both, 0.5).tolist() == [[150, 0, 0, 255]]


def test_what_is_converted_only_where_it_changes_is_the_whole():
    rng = np.random.default_rng(5)
    pictures = [rng.integers(0, 256, (10, 6, 4), np.uint8)]
    for rows in (slice(3, 4), slice(0, 10), slice(0, 0), slice(9, 10)):
        picture = pictures[-1].copy()
        picture[rows] = rng.integers(0, 256, picture[rows].shape, np.uint8)
        pictures.append(picture)
    for planes, picture in zip(to_yuv(iter(pictures)), pictures, strict=True):
        assert all((one == other).all() for one, other in zip(planes, yuv(picture), strict=True))


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        # ITU-R BT.709-6, 8 bit: Y = 16 + 219 (0.2126 R + 0.7152 G + 0.0722 B), C = 128 + 224 (B - Y) / 1.8556 …
        ((0, 0, 0), (16, 128, 128)),
        ((255, 255, 255), (235, 128, 128)),
        ((255, 0, 0), (63, 102, 240)),
        ((0, 255, 0), (173, 42, 26)),
        ((0, 0, 255), (32, 240, 118)),
    ],
)
def test_colours_are_those_of_bt_709(colour, expected):
    pixels = np.empty((4, 6, 4), np.uint8)
    pixels[...] = (*colour, 255)
    planes = yuv(pixels)
    assert [plane.shape for plane in planes] == [(4, 6), (2, 3), (2, 3)]
    assert [int(plane[0, 0]) for plane in planes] == list(expected)
    assert all((plane == plane[0, 0]).all() for plane in planes)


# ------------------------------------------------------------------ the clip


def test_a_clip_has_the_sessions_rate_and_says_its_colours(made, frames):
    program, clip = made[1].encoder.ffmpeg, made[1].file("response", ".mp4")
    said = subprocess.run([program, "-hide_banner", "-i", clip], capture_output=True)
    text = said.stderr.decode()
    assert re.search(r"Video: h264 \(High\).*yuv420p\(tv, bt709, progressive\), 1280x720", text)
    assert re.search(r"\b9\.99 fps", text)
    assert len(frames) == FRAMES == round(Fraction(str(SECONDS)) * RATE)
    stamps = packet_times(made[1].encoder.ffmpeg, made[1].file("response", ".mp4"))
    # each a whole number of frames after the one before, in exact fractions
    assert stamps == [number / RATE for number in range(FRAMES)]


def packet_times(program, file):
    """When each picture is shown, in s."""
    command = [program, "-loglevel", "error", "-i", file, "-c", "copy", "-f", "framecrc", "-"]
    lines = subprocess.run(command, capture_output=True, check=True).stdout.decode().splitlines()
    base = next(Fraction(line.split(": ")[1]) for line in lines if line.startswith("#tb"))
    return [int(line.split(",")[2]) * base for line in lines if not line.startswith("#")]


def test_the_first_frame_is_the_dial_line_and_the_last_is_the_still(made, frames):
    steps = steps_of("response")
    first, scale, *_ = painted(steps)
    still = np.asarray(Image.open(io.BytesIO(made[0]["cards"])).convert("RGB"))
    assert psnr_db(frames[0], first) >= 40
    assert psnr_db(frames[0], first) > psnr_db(frames[0], scale)
    assert psnr_db(frames[-1], still) >= 40
    assert all(psnr_db(frame, still) >= 40 for frame in frames[drawing_frames(steps) :])
    # flat colours as they are in the still, within what 8 bit of luma and chroma can hold
    assert np.abs(frames[-1][5, 5].astype(int) - still[5, 5]).max() <= 2


def test_the_last_frame_loses_nothing_but_chroma_between_pixels(made):
    """Held against the still with a chroma sample for four pixels, so that only the encoder's own loss counts."""
    still = np.asarray(Image.open(io.BytesIO(made[0]["cards"])).convert("RGBA"))
    program, clip = made[1].encoder.ffmpeg, made[1].file("response", ".mp4")
    command = [program, "-loglevel", "error", "-i", clip, "-f", "rawvideo", "-"]
    ran = subprocess.run(command, capture_output=True, check=True)
    last = np.frombuffer(ran.stdout, np.uint8).reshape(FRAMES, -1)[-1]
    assert psnr_db(last, np.concatenate([plane.ravel() for plane in yuv(still)])) >= 50


def test_left_of_the_edge_is_the_curve_and_right_of_it_is_not(frames):
    steps = steps_of("response")
    layers = painted(steps)
    drawing, at = drawing_frames(steps), [step.way for step in steps].index("sweep")
    first, curve = layers[at - 1], layers[at]
    begins = begin_frames(steps, drawing)[at - 1 : at + 1]
    differs = np.flatnonzero((first != curve).any(axis=(0, 2)))
    left, right = differs[0], differs[-1] + 1
    seen = 0
    for number in range(math.ceil(begins[0]) + 1, math.floor(begins[1])):
        edge = left + (right - left) * (number - begins[0]) / (begins[1] - begins[0])
        before, after = slice(0, round(edge) - 6), slice(round(edge) + 6, None)  # chroma reaches over by a few pixels
        assert psnr_db(frames[number][:, before], curve[:, before]) >= 40
        assert psnr_db(frames[number][:, after], first[:, after]) >= 40
        assert psnr_db(frames[number][:, before], first[:, before]) < 40
        seen += 1
    assert seen >= 4


def test_the_word_comes_last(frames):
    steps = steps_of("response")
    *_, without, whole = painted(steps)
    where = (without != whole).any(axis=2)
    assert where.any()
    drawing = drawing_frames(steps)
    apart = np.abs(whole.astype(int) - without)[where].mean()
    away = [np.abs(frame.astype(int) - without)[where].mean() for frame in frames]
    assert max(away[: int(begin_frames(steps, drawing)[-1])]) < 0.15 * apart
    assert min(away[drawing:]) > 0.85 * apart


@pytest.mark.parametrize(
    "name", [name if name == "wide" else pytest.param(name, marks=pytest.mark.long) for name in SHAPES]
)
def test_a_pairs_clip_begins_with_the_still_as_found_and_ends_with_the_pair(encoder, tmp_path, name):
    shape = SHAPES[name]
    motion = Motion(Fraction(10), 5.0, encoder, tmp_path)
    order = Order(LOOK, WIDTH, motion=motion, shapes=(name,))
    drawn = draw_pictures(SAMPLES["pair"], order)
    found = draw_pictures(SAMPLES["found"], replace(order, motion=None))
    size = shape.width * 2 // 3, shape.height * 2 // 3
    seen = decoded(encoder.ffmpeg, drawn[kind_of("mp4", name)], "rgb24", *size)
    assert len(seen) == 50
    for frame, still in ((seen[0], found), (seen[-1], drawn)):
        picture = np.asarray(Image.open(io.BytesIO(still[kind_of("cards", name)])).convert("RGB"))
        assert psnr_db(frame, picture) >= 38


@pytest.mark.long
@pytest.mark.parametrize("name", [name for name in SAMPLES if name not in ("title", "table")])
def test_every_card_but_titles_and_tables_has_a_clip(encoder, tmp_path, name):
    motion = Motion(Fraction(10), 2.0, encoder, tmp_path)
    drawn = draw_pictures(SAMPLES[name], Order(LOOK, WIDTH, motion=motion))
    seen = decoded(encoder.ffmpeg, drawn["mp4"], "rgb24")
    still = np.asarray(Image.open(io.BytesIO(drawn["cards"])).convert("RGB"))
    assert len(seen) == 20
    assert psnr_db(seen[-1], still) >= 38
    assert psnr_db(seen[0], still) < 30
    assert name in CHARTS or name in ("number", "score", "hunt", "fix", "ending", "price")


def test_a_table_and_a_title_have_none(tmp_path):
    motion = Motion(Fraction(10), 2.0, ffmpeg.Encoder("no such program", ""), tmp_path)
    for name in ("title", "table"):
        assert set(draw_pictures(SAMPLES[name], Order(LOOK, WIDTH, motion=motion))) == {"cards"}


def test_the_clip_with_alpha_is_the_overlay_to_the_last_bit(made, clear_frames):
    file, seen = made[1].file("response", ".mov"), clear_frames
    overlay = np.asarray(Image.open(io.BytesIO(made[0]["overlays"])))
    assert len(seen) == FRAMES
    assert packet_times(made[1].encoder.ffmpeg, file) == [number / RATE for number in range(FRAMES)]
    assert (seen[-1] == overlay).all()
    assert (seen[0][..., 3] <= overlay[..., 3]).all()
    assert (seen[0] != overlay).any()
    # 32 bits a pixel: editing programs go by it (the MOV container's video sample description)
    data = file.read_bytes()
    assert data[data.rindex(b"rle ") + 78 :][:2] == bytes((0, 32))


def test_the_same_card_gives_the_same_bytes_and_nothing_of_where_and_when(made, tmp_path):
    motion = replace(made[1], folder=tmp_path)
    draw_pictures(CARD, Order(LOOK, WIDTH, overlay=True, motion=motion))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["response.mov", "response.mp4"]
    for ending in (".mp4", ".mov"):
        again, before = (each.file("response", ending).read_bytes() for each in (motion, made[1]))
        assert hashlib.sha256(again).digest() == hashlib.sha256(before).digest()
        for telling in (b"Lavf", b"response", b"/tmp", str(tmp_path).encode(), b"Norrvale"):
            assert telling not in before
        head = before[before.index(b"mvhd") + 4 :]
        assert head[4:12] == bytes(8)  # made and changed: no time


def test_a_long_clip_takes_no_longer_to_encode(encoder, tmp_path):
    motion = Motion(Fraction(10), 6.0, encoder, tmp_path)
    flat = [np.full((90, 160, 4), 40 + 10 * layer, np.uint8) for layer in range(4)]
    steps = plain_steps("fade", "sweep", "fade", seconds=Fraction(1, 6))
    for seconds, frames in ((1.0, 10), (200.0, 2000)):
        place = tmp_path / f"{frames}.mp4"
        write_opaque_clip(iter(flat), steps, 1.0, place, motion, seconds)
        assert packet_times(encoder.ffmpeg, place) == [Fraction(number, 10) for number in range(frames)]
    assert (tmp_path / "2000.mp4").stat().st_size < 140_000


# ------------------------------------------------------------------ where it cannot be done


def test_without_an_encoder_nothing_is_written_and_it_says_what_to_install(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    out = tmp_path / "out"
    assert run(["build", str(tmp_path), "--motion", "--out", str(out)]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "--motion needs ffmpeg: install it, or: pip install 'bench-reviewkit[motion]'",
        "nothing was written",
    ]
    assert not out.exists()


def program(place, text):
    place.write_text(f"#!/bin/sh\n{text}\n")
    place.chmod(place.stat().st_mode | stat.S_IXUSR)
    return str(place)


@pytest.mark.skipif(sys.platform == "win32", reason="the stand-in is a shell script")
def test_an_ffmpeg_without_the_encoder_is_told_from_none(tmp_path, monkeypatch):
    program(tmp_path / "ffmpeg", "echo ' V....D mpeg4'")
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(InputError, match=r"--motion needs ffmpeg with libx264, which .*ffmpeg doesn't have"):
        ffmpeg.find_encoder()


@pytest.mark.skipif(sys.platform == "win32", reason="the stand-in is a shell script")
@pytest.mark.parametrize("reads", ["", "cat >/dev/null; "])
def test_an_encoder_that_fails_is_quoted_and_leaves_nothing(tmp_path, reads):
    bad = program(tmp_path / "bad", f"{reads}echo first >&2; echo No space left on device >&2; exit 1")
    folder = tmp_path / "clips"
    folder.mkdir()
    motion = Motion(Fraction(10), 1.0, ffmpeg.Encoder(bad, ""), folder)
    flat = np.zeros((720, 1280, 4), np.uint8)
    for write, name in ((write_opaque_clip, "a.mp4"), (write_clear_clip, "a.mov")):
        with pytest.raises(CannotFinish, match=r"^ffmpeg: No space left on device$"):
            write(iter([flat] * 2), plain_steps("fade"), 1.0, folder / name, motion, 1.0)
    assert list(folder.iterdir()) == []


@pytest.fixture
def session(tmp_path):
    folder = tmp_path / "session"
    folder.mkdir()
    (folder / "session.toml").write_text(
        '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n[episode]\nframe_rate = 10\ncard_seconds = 60\n'
        '[[measurement]]\nkind = "response"\nfile = "response.csv"\nhold = "0.5 s"\n'
    )
    rows = "".join(f"{hz},{-hz / 1e5:.3f},{-hz / 9e4:.3f}\n" for hz in (20, 50, 100, 500, 1000, 5000, 10000, 20000))
    (folder / "response.csv").write_text(f"Frequency (Hz),Left (dB),Right (dB)\n{rows}")
    return folder


def test_a_build_puts_a_clip_beside_each_chart_as_long_as_it_is_held(encoder, session, capsys):
    assert run(["build", str(session), "--motion", "--only", "response"]) == 0, capsys.readouterr().err
    out = session / "out"
    assert [path.name for path in (out / "clips").iterdir()] == ["02-response.mp4"]
    assert packet_times(encoder.ffmpeg, out / "clips" / "02-response.mp4") == [
        Fraction(number, 10) for number in range(5)
    ]
    assert not list(out.glob(".incoming*"))


@pytest.mark.skipif(sys.platform == "win32", reason="the stand-in is a shell script")
def test_a_build_whose_encoder_fails_writes_nothing(session, tmp_path, monkeypatch, capsys):
    program(tmp_path / "ffmpeg", 'case "$*" in *-encoders*) echo libx264;; *) echo no room >&2; exit 1;; esac')
    monkeypatch.setenv("PATH", str(tmp_path))
    assert run(["build", str(session), "--motion", "--only", "response"]) == 1
    assert capsys.readouterr().err == "reviewkit: could not finish: ffmpeg: no room\n"
    assert not (session / "out").exists()


def test_finished_files_are_moved_in_whole(tmp_path):
    out = tmp_path / "out"
    incoming = Incoming(out, lambda clear: None)
    (incoming.path / "response.mp4").write_bytes(b"film")
    write_outputs(out, {"clips/01-response.mp4": incoming.path / "response.mp4", "outline.md": b"text"})
    assert (out / "clips" / "01-response.mp4").read_bytes() == b"film"
    assert not incoming.path.exists()
    assert write_outputs(out, {"outline.md": b"text"}) == ["clips/01-response.mp4"]  # no longer made


def test_what_was_not_delivered_is_gone_with_its_folder(tmp_path):
    with ExitStack() as left:
        incoming = Incoming(tmp_path / "new", left.callback)
        (incoming.path / "a.mp4").write_bytes(b"film")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    with ExitStack() as left:
        assert Incoming(tmp_path / "out", left.callback).path.is_dir()
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["mine.txt"]


def test_what_a_stopped_encoder_still_opened_goes_too(tmp_path, monkeypatch):
    incoming = Incoming(tmp_path / "out", lambda clear: None)
    remove, late = shutil.rmtree, iter([True])

    def remove_and_open(path, **how):
        remove(path, **how)
        if next(late, False):  # as if it had opened the file between the listing and the removal
            path.mkdir()
            (path / "leak.mp4").write_bytes(b"ftyp")

    monkeypatch.setattr(shutil, "rmtree", remove_and_open)
    incoming.clear()
    assert list(tmp_path.iterdir()) == []


def test_the_first_frame_stands_on_the_plate_of_the_whole_card(clear_frames):
    """Else plates would grow while the clip runs."""
    seen = clear_frames
    assert (seen[0][..., 3] >= seen[-1][..., 3].min()).all()
    assert seen[0][300:400, 900:1200, 3].min() > 150  # where nothing is yet
