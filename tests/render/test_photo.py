"""The photograph behind the title card: turned, cropped about its middle, dimmed no further than its texts need."""

import io
from dataclasses import replace

import numpy as np
import pytest
from card_samples import SAMPLES
from PIL import Image

from reviewkit.render.cards.photo import fill_frame

ORIENTATION = 0x0112  # Exif 2.3, tag 274


def encoded(pixels, kind="PNG", **more):
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, kind, **more)
    return file.getvalue()


def bench(height=720, width=1280, seed=7):
    """A made-up picture: a bright panel with dark knobs on a table, and some noise."""
    y, x = np.mgrid[0:height, 0:width]
    pixels = np.stack([200 - 90 * y / height, 150 - 60 * y / height, 110 - 50 * x / width], -1)
    pixels[height // 3 : 2 * height // 3, width // 8 : 7 * width // 8] = (226, 222, 214)
    for at in range(5):
        pixels[np.hypot(x - width * (0.2 + 0.15 * at), y - height / 2) < height / 16] = 30
    return (pixels + np.random.default_rng(seed).normal(0, 5, pixels.shape)).clip(0, 255).astype(np.uint8)


def with_photo(photo):
    card = SAMPLES["title"]
    return replace(card, body=replace(card.body, photo=photo))


# ------------------------------------------------------------------ into the frame


def test_it_fills_the_frame_about_its_middle():
    tall = np.zeros((1000, 400, 3), dtype=np.uint8)
    tall[500 - 112 : 500 + 113] = (0, 200, 0)  # 16:9 of 400 is 225 high
    shown = fill_frame(encoded(tall), 1280, 720)
    assert shown.shape == (720, 1280, 4)
    assert np.abs(shown[16:-16, :, :3].astype(int) - (0, 200, 0)).max() <= 2
    wide = np.zeros((90, 1000, 3), dtype=np.uint8)
    wide[:, 420:580] = (0, 0, 200)
    assert np.abs(fill_frame(encoded(wide), 1280, 720)[:, 32:-32, :3].astype(int) - (0, 0, 200)).max() <= 2


@pytest.mark.parametrize(("value", "turn"), [(1, 0), (3, 2), (6, 3), (8, 1)])
def test_it_is_turned_as_the_camera_was_held(value, turn):
    """Orientation 6 is shown a quarter turn clockwise, 8 counter-clockwise, 3 upside down (Exif 2.3, from memory)."""
    stored = np.full((320, 320, 3), 40, dtype=np.uint8)
    stored[100:140, 100:140] = 250
    exif = Image.Exif()
    exif[ORIENTATION] = value
    shown = fill_frame(encoded(stored, "JPEG", quality=95, exif=exif), 1280, 720)
    expected = fill_frame(encoded(np.rot90(stored, turn).copy()), 1280, 720)
    assert np.abs(shown.astype(int) - expected).mean() < 2
    assert (expected[..., :3] > 200).any()


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "I;16", "LA", "1"])
def test_every_kind_of_pixel_is_seen(mode):
    grey = np.tile(np.linspace(30, 220, 320).astype(np.uint8), (180, 1))
    image = Image.fromarray(grey)
    if mode == "I;16":
        image = Image.fromarray(grey.astype(np.uint16) * 257)
    elif mode != "L":
        image = image.convert("RGB").convert(mode) if mode != "LA" else image.convert(mode)
    file = io.BytesIO()
    image.save(file, "JPEG" if mode == "CMYK" else "PNG")
    shown = fill_frame(file.getvalue(), 1280, 720)[..., :3].astype(int)
    assert shown[:, :300].mean() < 100 < 150 < shown[:, -300:].mean()
