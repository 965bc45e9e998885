"""PNG: read back by Pillow (libpng's rules), and checked against ISO/IEC 15948 and RFC 1950 with zlib."""

import io
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from reviewkit.render.cards.png import NEAR, encode_png, encode_png_with_alpha

GROUND = (0x15, 0x19, 0x1E)


def canvas(height, width, colour=GROUND):
    pixels = np.full((height, width, 4), 255, dtype=np.uint8)
    pixels[..., :3] = colour
    return pixels


def read(data):
    image = Image.open(io.BytesIO(data))
    image.load()
    return image.mode, np.asarray(image.convert("RGB")).astype(int)


def chunks(data):
    """Name and content of each chunk, its CRC checked (ISO/IEC 15948, 5.3)."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, found = 8, []
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        body = data[at + 4 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(body)
        found.append((body[:4], body[4:]))
        at += 12 + length
    return found


def many_colours(height=40, width=60):
    pixels = canvas(height, width)
    pixels[..., :3] = np.random.default_rng(1).integers(0, 256, (height, width, 3))
    return pixels


def test_few_colours_have_a_palette_and_are_exact():
    pixels = canvas(200, 90)
    pixels[50:60, 20:70, :3] = (243, 238, 228)
    pixels[120, :, :3] = (63, 167, 160)
    mode, shown = read(encode_png(pixels))
    assert mode == "P"
    assert (shown == pixels[..., :3]).all()


def test_a_blend_is_near_and_the_drawn_colours_are_exact():
    ink, ground = np.array((243, 238, 228)), np.array(GROUND)
    part = np.linspace(0, 1, 256)[:, np.newaxis]
    pixels = canvas(64, 256)
    pixels[30:34, :, :3] = np.rint(ground + part * (ink - ground))
    mode, shown = read(encode_png(pixels, ("#f3eee4", "#15191e")))
    assert mode == "P"
    off = np.abs(shown - pixels[..., :3]).max(axis=2)
    assert off.max() <= NEAR
    assert off[:30].max() == 0
    assert (shown[31, 255] == ink).all()


def test_more_colours_than_a_palette_holds_are_written_in_full():
    # 7³ = 343 colours that are 40 levels apart: no entry can stand for two of them
    steps = np.stack(np.meshgrid(*(np.arange(7) * 40,) * 3), axis=-1).reshape(1, -1, 3)
    pixels = canvas(20, 343)
    pixels[5:9, :, :3] = steps
    mode, shown = read(encode_png(pixels))
    assert mode == "RGB"
    assert (shown == pixels[..., :3]).all()


def test_noise_is_written_exactly():
    pixels = many_colours()
    mode, shown = read(encode_png(pixels))
    assert mode == "RGB"
    assert (shown == pixels[..., :3]).all()


def test_rows_that_change_nothing_wherever_they_stand():
    for at in [0, 1, 16, 32, 99]:
        for height in [1, 2, 15, 16, 17, 33, 100]:
            pixels = canvas(height, 50)
            pixels[min(at, height - 1), 10:20, :3] = 8 * np.arange(30).reshape(10, 3)
            assert (read(encode_png(pixels))[1] == pixels[..., :3]).all(), (height, at)


@given(st.integers(1, 70), st.integers(1, 40), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_whatever_is_drawn_is_near_what_is_read(height, width, seed):
    random = np.random.default_rng(seed)
    pixels = canvas(height, width)
    for _ in range(random.integers(0, 8)):
        top, left = random.integers(0, height), random.integers(0, width)
        pixels[top : top + random.integers(1, 30), left : left + 9, :3] = random.integers(0, 256, 3)
    mode, shown = read(encode_png(pixels))
    assert np.abs(shown - pixels[..., :3]).max() <= (NEAR if mode == "P" else 0)


@pytest.mark.parametrize("pixels", [canvas(100, 30), many_colours()])
def test_the_file_holds_pixels_and_nothing_else(pixels):
    found = chunks(encode_png(pixels))
    assert [name for name, _ in found if name != b"PLTE"] == [b"IHDR", b"IDAT", b"IEND"]
    height, width = pixels.shape[:2]
    samples = 1 if any(name == b"PLTE" for name, _ in found) else 3
    # zlib checks the Adler-32 of the whole
    rows = zlib.decompress(dict(found)[b"IDAT"])
    assert len(rows) == height * (1 + samples * width)


def test_the_same_pixels_give_the_same_bytes():
    assert encode_png(many_colours()) == encode_png(many_colours())


@given(
    height=st.integers(1, 40),
    width=st.integers(1, 30),
    clear_rows=st.integers(0, 40),
    seed=st.integers(0, 2**16),
    still=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_with_alpha_every_value_is_kept(height, width, clear_rows, seed, still):
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 4), dtype=np.uint8)
    if still:
        pixels[1:] = pixels[:1]
    data = encode_png_with_alpha(pixels, clear_rows)
    assert [name for name, _ in chunks(data)] == [b"IHDR", b"IDAT", b"IEND"]
    image = Image.open(io.BytesIO(data))
    shown = np.asarray(image)
    assert (image.mode, image.info, shown.shape) == ("RGBA", {}, (clear_rows + height, width, 4))
    assert (shown[clear_rows:] == pixels).all()
    assert not shown[:clear_rows, :, 3].any()
    assert (shown[:clear_rows, :, :3] == pixels[0, 0, :3]).all()
