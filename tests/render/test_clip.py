"""Clips, decoded again by the program that encoded them and held against the stills.

What stands outside the project: the decoder; ITU-R BT.709-6 for the colours; the frame counts by exact fractions.
"""

import hashlib
import io
import math
import re
import stat
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from card_samples import response
from PIL import Image

from reviewkit.build.write_outputs import Incoming, write_outputs
from reviewkit.commands.cli import run
from reviewkit.model.errors import CannotFinish, InputError
from reviewkit.render.cards.card import Order, draw_pictures, lay_out
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.footage import ffmpeg
from reviewkit.render.footage.clip import (
    Motion,
    _mix,
    _mix_with_alpha,
    _yuv,
    animate,
    plan_length,
    split_layers,
    write_clear_clip,
    write_opaque_clip,
)
from reviewkit.render.footage.overlay import draw_overlay

LOOK = LOOKS["lamplight"]
WIDTH, HEIGHT = 1280, 720
RATE, SECONDS, FRAMES = Fraction(10000, 1001), 1.7, 17


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
    return draw_pictures(response(), order), motion


@pytest.fixture(scope="module")
def frames(made):
    return decoded(made[1].encoder.ffmpeg, made[1].file("response", ".mp4"), "rgb24")


def decoded(program, file, pixel_format):
    """Every frame; shape (frames, height, width, channels)."""
    # chroma drawn out smoothly, as a player does
    scale = f"scale=flags=bicubic+accurate_rnd+full_chroma_int,format={pixel_format}"
    command = [
        program,
        "-loglevel",
        "error",
        "-i",
        file,
        "-vf",
        scale,
        "-fps_mode",
        "passthrough",
        "-f",
        "rawvideo",
        "-",
    ]
    ran = subprocess.run(command, capture_output=True, check=True)
    assert not ran.stderr
    return np.frombuffer(ran.stdout, np.uint8).reshape(-1, HEIGHT, WIDTH, len(pixel_format.rstrip("24")))


def painted_layers():
    from reviewkit.render.cards.paint import paint

    return [paint(part, LOOK.ground, WIDTH)[..., :3].copy() for part in split_layers(lay_out(response(), LOOK.name))]


def psnr_db(one, other):
    return 10 * math.log10(255**2 / max(np.mean((one.astype(float) - other) ** 2), 1e-9))


# ------------------------------------------------------------------ lengths


@pytest.mark.parametrize(
    "rate", [24, 25, 30, 60, 240, Fraction(24000, 1001), Fraction(30000, 1001), Fraction(60000, 1001)]
)
@pytest.mark.parametrize("seconds", [0.5, 1.0, 6.0, 7.3, 600.0])
def test_a_clip_has_as_many_frames_as_its_seconds_have(rate, seconds):
    made = plan_length(seconds, Fraction(rate))
    assert made.frames == round(Fraction(str(seconds)) * rate)
    assert made.drawing == pytest.approx(min(seconds / 3, 2.0) * rate, abs=0.5 + 1e-9)
    assert made.hold >= 0


@pytest.mark.parametrize("seconds", [0.001, 0.04, 0.1])
def test_a_clip_has_a_first_frame_and_a_last_one_however_short_it_is(seconds):
    assert plan_length(seconds, Fraction(25)).frames == max(2, round(seconds * 25))
    assert plan_length(seconds, Fraction(25)).drawing >= 1


# ------------------------------------------------------------------ the frames before they are encoded


def test_curve_then_names_then_needle_and_the_last_frame_is_the_whole():
    steps = [np.full((4, 40), 10, np.uint8) for _ in range(4)]
    for step in steps[1:]:
        step[1, 4:24] = 200  # a curve
    for step in steps[2:]:
        step[0, 30:34] = 100  # a name
    steps[3][3, 30:34] = 60  # a needle
    seen = [frame[0].copy() for frame in animate(((step,) for step in steps), 20, _mix)]
    assert len(seen) == 21
    assert (seen[0] == steps[0]).all()
    assert (seen[-1] == steps[3]).all()
    reach = [int((frame[1] == 200).sum()) for frame in seen]
    assert reach == sorted(reach)
    assert reach[14] == 20
    assert reach[13] < 20
    assert not any((frame[0] != 10).any() for frame in seen[:15])  # no name before the curve has passed
    assert 10 < seen[16][0, 30] < 100
    assert not any((frame[3] != 10).any() for frame in seen[:18])  # no needle before the names are there
    assert (seen[17] == steps[2]).all()


def test_a_card_without_needle_or_names_moves_too():
    steps = [np.zeros((4, 8), np.uint8) for _ in range(4)]
    for step in steps[1:]:
        step[2, 3:5] = 9
    seen = [frame[0].copy() for frame in animate(((step,) for step in steps), 1, lambda a, b, share: b)]
    assert len(seen) == 2
    assert (seen[1] == steps[1]).all()
    assert not seen[0].any()


def test_what_is_faded_in_clear_keeps_its_colour():
    gone = np.array([[21, 25, 30, 0]], np.uint8)
    here = np.array([[243, 238, 228, 255]], np.uint8)
    # straight alpha: half there is the colour itself at half its opacity, not half the colour
    assert _mix_with_alpha(gone, here, 0.5).tolist() == [[243, 238, 228, 128]]
    assert _mix_with_alpha(gone, here, 0.0)[0, 3] == 0
    assert _mix_with_alpha(gone, here, 1.0).tolist() == here.tolist()
    both = np.array([[100, 0, 0, 255]], np.uint8), np.array([[200, 0, 0, 255]], np.uint8)
    assert _mix_with_alpha(*both, 0.5).tolist() == [[150, 0, 0, 255]]


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
    planes = _yuv(pixels)
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


def test_the_first_frame_is_without_the_curve_and_the_last_is_the_still(made, frames):
    first, curve, *_ = painted_layers()
    still = np.asarray(Image.open(io.BytesIO(made[0]["cards"])).convert("RGB"))
    assert psnr_db(frames[0], first) >= 40
    assert psnr_db(frames[0], first) > psnr_db(frames[0], curve)
    assert psnr_db(frames[-1], still) >= 40
    assert all(psnr_db(frame, still) >= 40 for frame in frames[plan_length(SECONDS, RATE).drawing :])
    # flat colours as they are in the still, within what 8 bit of luma and chroma can hold
    assert np.abs(frames[-1][5, 5].astype(int) - still[5, 5]).max() <= 2


def test_the_last_frame_loses_nothing_but_chroma_between_pixels(made):
    """Held against the still with a chroma sample for four pixels, so that only the encoder's own loss counts."""
    still = np.asarray(Image.open(io.BytesIO(made[0]["cards"])).convert("RGBA"))
    program, clip = made[1].encoder.ffmpeg, made[1].file("response", ".mp4")
    command = [program, "-loglevel", "error", "-i", clip, "-f", "rawvideo", "-"]
    ran = subprocess.run(command, capture_output=True, check=True)
    last = np.frombuffer(ran.stdout, np.uint8).reshape(FRAMES, -1)[-1]
    assert psnr_db(last, np.concatenate([plane.ravel() for plane in _yuv(still)])) >= 50


def test_left_of_the_edge_is_the_curve_and_right_of_it_is_not(frames):
    first, curve, *_ = painted_layers()
    differs = np.flatnonzero((first != curve).any(axis=(0, 2)))
    left, right = differs[0], differs[-1] + 1
    drawing = plan_length(SECONDS, RATE).drawing
    for number in (1, 2, 4):
        edge = left + (right - left) * number / drawing / 0.7
        assert left < edge < right
        before, after = slice(0, round(edge) - 4), slice(round(edge) + 4, None)  # chroma reaches over by a few pixels
        assert psnr_db(frames[number][:, before], curve[:, before]) >= 40
        assert psnr_db(frames[number][:, after], first[:, after]) >= 40
        assert psnr_db(frames[number][:, before], first[:, before]) < 40


def test_the_needle_comes_last(frames):
    *_, without, whole = painted_layers()
    where = (without != whole).any(axis=2)
    assert where.any()
    drawing = plan_length(SECONDS, RATE).drawing
    apart = np.abs(whole.astype(int) - without)[where].mean()
    away = [np.abs(frame.astype(int) - without)[where].mean() for frame in frames]
    assert max(away[: int(0.85 * drawing) + 1]) < 0.15 * apart
    assert min(away[drawing:]) > 0.85 * apart


def test_the_clip_with_alpha_is_the_overlay_to_the_last_bit(made):
    file = made[1].file("response", ".mov")
    seen = decoded(made[1].encoder.ffmpeg, file, "rgba")
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
    draw_pictures(response(), Order(LOOK, WIDTH, overlay=True, motion=motion))
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
    for seconds, frames in ((1.0, 10), (600.0, 6000)):
        place = tmp_path / f"{frames}.mp4"
        write_opaque_clip(iter(flat), place, motion, seconds)
        assert packet_times(encoder.ffmpeg, place) == [Fraction(number, 10) for number in range(frames)]
    assert (tmp_path / "6000.mp4").stat().st_size < 400_000


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
    with pytest.raises(InputError, match=r"--motion needs ffmpeg with libx264, which .*ffmpeg is without"):
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
            write(iter([flat] * 4), folder / name, motion, 1.0)
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


def test_the_frame_stands_on_the_plate_of_the_whole_card(made):
    """Else plates would grow while the clip runs."""
    seen = decoded(made[1].encoder.ffmpeg, made[1].file("response", ".mov"), "rgba")
    items = [item for item in lay_out(response(), LOOK.name) if item.part == "frame"]
    alone = draw_overlay(items, LOOK, WIDTH)
    readings = (slice(300, 400), slice(900, 1200))  # where nothing of the frame is
    assert seen[0][readings][..., 3].min() > 150
    assert alone[readings][..., 3].max() == 0
