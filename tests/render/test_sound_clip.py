"""A sound with a picture, decoded again by the program that encoded it: the still, the cursor's place, the sound."""

from __future__ import annotations

import math
import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from reviewkit.episode.sound_cards import make_sound_cards
from reviewkit.model.errors import CannotFinish, InputError
from reviewkit.model.session import Sound
from reviewkit.model.sound import PlayedSide, PlayedSound
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.pictures import Order, draw_for_sound
from reviewkit.render.footage import ffmpeg
from reviewkit.render.footage.clip import Motion
from reviewkit.render.footage.frames import yuv
from reviewkit.render.footage.sound_clip import Plot, move_cursor, write_sound_clip
from reviewkit.signal.playing_level import quantise

WIDTH, HEIGHT, RATE_HZ = 1280, 720, 48_000
PLOT = Plot(200.0, 100.0, 1000.0, 600.0)
CURSOR = (255, 240, 200)
COLOUR = "#fff0c8"


@pytest.fixture(scope="session")
def encoder():
    try:
        return ffmpeg.find_encoder()
    except InputError:
        pytest.skip("no ffmpeg here: neither on the path nor by imageio-ffmpeg")


def still() -> np.ndarray:
    """A picture of its own: a dark ground that rises to the right, so that a shift would be seen."""
    pixels = np.zeros((HEIGHT, WIDTH, 4), np.uint8)
    pixels[..., :3] = (np.arange(WIDTH) * 60 // WIDTH)[np.newaxis, :, np.newaxis]
    pixels[..., 3] = 255
    return pixels


def beeps(seconds: float) -> np.ndarray:
    """A tone that sounds in the second half alone, louder on the left."""
    at = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = 0.25 * np.sin(2 * np.pi * 1000 * at) * (at >= seconds / 2)
    return quantise(np.stack([wave, wave / 4], axis=1), 0.0)


def write(encoder, place: Path, seconds: float = 1.5, rate: Fraction = Fraction(30)) -> Path:
    motion = Motion(rate, 6.0, encoder, place.parent)
    write_sound_clip(still(), PLOT, COLOUR, beeps(seconds), RATE_HZ, place, motion)
    return place


@pytest.fixture(scope="module")
def made(encoder, tmp_path_factory):
    return write(encoder, tmp_path_factory.mktemp("sound") / "a.mp4")


def decoded(program: str, file: Path, *options: str) -> bytes:
    command = [program, "-loglevel", "error", "-i", str(file), *options, "-"]
    return subprocess.run(command, capture_output=True, check=True).stdout


def frames_of(program: str, file: Path) -> np.ndarray:
    raw = decoded(program, file, "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", "rgb24")
    return np.frombuffer(raw, np.uint8).reshape(-1, HEIGHT, WIDTH, 3)


def test_the_cursor_moves_evenly_across_the_plot_and_leaves_the_still_as_it_was(made, encoder):
    frames = frames_of(encoder.ffmpeg, made)
    assert len(frames) == 45
    plain = still()[..., :3].astype(int)
    for number, frame in enumerate(frames):
        row = frame[350].astype(int)
        bright = np.flatnonzero(row[:, 0] > 180)
        middle = (bright[0] + bright[-1] + 1) / 2
        assert middle == pytest.approx(PLOT.left + (PLOT.right - PLOT.left) * number / 45, abs=2)
        assert np.abs(row[bright[len(bright) // 2]] - CURSOR).max() < 12
        beside = np.abs(np.arange(WIDTH) - middle) > 8
        assert np.abs(frame[:, beside] - plain[:, beside]).max() < 12
    assert (frames[20][: int(PLOT.top) - 4, :, 0] < 120).all()
    assert (frames[20][int(PLOT.bottom) + 4 :, :, 0] < 120).all()


def test_the_sound_is_in_it_in_time_and_side(made, encoder):
    raw = decoded(encoder.ffmpeg, made, "-f", "f32le", "-ac", "2")
    heard = np.frombuffer(raw, np.float32).reshape(-1, 2)
    assert len(heard) == pytest.approx(1.5 * RATE_HZ, abs=2048)
    begins = int(np.argmax(np.abs(heard[:, 0]) > 0.05)) / RATE_HZ
    assert begins == pytest.approx(0.75, abs=0.01)  # half a frame is 0.017
    tone = heard[RATE_HZ : RATE_HZ + RATE_HZ // 4]
    assert np.std(tone[:, 0]) == pytest.approx(0.25 / math.sqrt(2), rel=0.02)
    assert np.std(tone[:, 1]) == pytest.approx(0.0625 / math.sqrt(2), rel=0.05)


def test_the_same_sound_gives_the_same_bytes(made, encoder, tmp_path):
    assert write(encoder, tmp_path / "another name.mp4").read_bytes() == made.read_bytes()
    assert [path.name for path in tmp_path.iterdir()] == ["another name.mp4"]


@pytest.mark.parametrize("rate", [Fraction(30000, 1001), Fraction(25)])
def test_it_lasts_as_long_as_the_sound(rate, encoder, tmp_path):
    assert len(frames_of(encoder.ffmpeg, write(encoder, tmp_path / "a.mp4", 0.7, rate))) == math.ceil(0.7 * rate)


def test_where_the_encoder_fails_no_file_is_left(encoder, tmp_path):
    broken = ffmpeg.Encoder("/bin/false", "")
    with pytest.raises(CannotFinish):
        write(broken, tmp_path / "a.mp4")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(CannotFinish):
        write(encoder, tmp_path / "no such folder" / "a.mp4")


@pytest.mark.parametrize("plot", [Plot(0, 0, WIDTH, HEIGHT), Plot(-50, 10, WIDTH + 50, 20), Plot(3.3, 5.1, 9.9, 8.7)])
def test_a_cursor_at_the_edge_stays_in_the_picture(plot):
    cursor = yuv(np.full((2, 2, 4), 255, np.uint8))
    plain = yuv(still())
    for frame in move_cursor(plain, plot, cursor, 7):
        assert [plane.shape for plane in frame] == [plane.shape for plane in plain]
        assert sum(int((plane != before).sum()) for plane, before in zip(frame, plain, strict=True)) > 0


# ------------------------------------------------------------------ the picture itself


def played(before_s: float, after_s: float, *, one_channel: bool = False) -> PlayedSound:
    sides = []
    for name, seconds in (("before", before_s), ("after", after_s)):
        samples = beeps(seconds)
        if one_channel:
            samples[:, 1] = samples[:, 0]
        sides.append(PlayedSide(name, samples, 0.0, -23.0, -12.0))
    words = {"before": "as found", "after": "as repaired", "short": "same gain before and after"}
    return PlayedSound(Sound("it", "a", "b", title="A tone"), RATE_HZ, (sides[0], sides[1]), words=words)


def test_a_cards_trace_is_the_level_over_time():
    """A sine of peak 0.25 is at -12.04 dBFS, in the right channel 12.04 dB lower; before it begins there is nothing."""
    (panel,) = make_sound_cards(played(2.0, 2.0), "Norrvale Forty")["it-before"].body.panels
    left, right = panel.traces
    assert (left.x[0], left.x[-1]) == (0.0, 2.0)
    assert left.y[left.x > 1.1] == pytest.approx(-12.04, abs=0.05)
    assert right.y[right.x > 1.1] == pytest.approx(-24.08, abs=0.05)
    assert left.y[left.x < 0.9].max() < -70
    assert (panel.x.low, panel.x.high, panel.x.unit) == (0.0, 2.0, "s")


def test_nothing_from_after_the_repair_is_on_the_card_before_it():
    cards = make_sound_cards(played(1.0, 2.0), "Norrvale Forty")
    before, after = (cards[name].body.panels[0] for name in ("it-before", "it-after"))
    assert [(trace.channel, trace.role) for trace in before.traces] == [("L", "now"), ("R", "now")]
    assert [(trace.channel, trace.role) for trace in after.traces] == [
        *(("L", "before"), ("R", "before")), *(("L", "now"), ("R", "now")),
    ]  # fmt: skip
    assert (before.x, before.y) == (after.x, after.y)
    assert (cards["it-before"].subject, cards["it-before"].conditions) == ("as found", ("same gain before and after",))


def test_one_channel_is_one_trace_without_a_side():
    (panel,) = make_sound_cards(played(1.0, 1.0, one_channel=True), "")["it-before"].body.panels
    assert [trace.channel for trace in panel.traces] == [""]


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("width", [1280, 1920])
def test_the_cursor_runs_where_the_curve_is(look, width):
    """The still's plot begins and ends where its rules do, and the curve with them."""
    card = make_sound_cards(played(2.0, 2.0), "Norrvale Forty")["it-after"]
    pixels, plot = draw_for_sound(card, Order(LOOKS[look], width))
    assert pixels.shape == (width * 9 // 16, width, 4)
    assert 0 < plot.left < plot.right < width
    assert 0 < plot.top < plot.bottom < width * 9 // 16
    ground = pixels[0, 0, :3].astype(int)
    drawn = np.abs(pixels[int(plot.top) + 6 : int(plot.bottom) - 6, :, :3].astype(int) - ground).max(axis=(0, 2)) > 40
    inside = np.flatnonzero(drawn[int(plot.left) - 3 : int(plot.right) + 4])
    assert inside[0] <= 6
    assert inside[-1] >= plot.right - plot.left - 2
