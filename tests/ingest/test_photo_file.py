"""The user's photograph as a file: what is taken, and what is refused with which remedy."""

import contextlib
import io
import os
import re
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageOps

from reviewkit.build.pipeline import prepare
from reviewkit.ingest.session.photo_file import check_photo, read_photo
from reviewkit.model.errors import InputError
from reviewkit.render.cards.photo import fill_frame


def encoded(kind, size=(64, 48), **more):
    file = io.BytesIO()
    y, x = np.mgrid[0 : size[1], 0 : size[0]]
    pixels = np.stack([x * 3 % 256, y * 5 % 256, (x + y) % 256], -1).astype(np.uint8)
    Image.fromarray(pixels).save(file, kind, **more)
    return file.getvalue()


def message(data, name="front.jpg"):
    with pytest.raises(InputError) as refused:
        check_photo(data, name)
    (fault,) = refused.value.faults
    return str(fault)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_photograph_is_read_as_it_is(kind, tmp_path):
    (tmp_path / "front.jpg").write_bytes(encoded(kind))
    assert read_photo(tmp_path, "front.jpg") == encoded(kind)


@pytest.mark.parametrize("kind", ["GIF", "BMP", "TIFF", "WEBP"])
def test_another_kind_of_picture_is_refused(kind):
    assert message(encoded(kind)) == "front.jpg: the photo is neither JPEG nor PNG; save it as a JPEG or PNG"


def test_a_text_is_refused():
    assert "neither JPEG nor PNG" in message(b"frequency,level\n20,0\n")
    assert "neither JPEG nor PNG" in message(b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("share", [0.3, 0.9])
def test_one_that_breaks_off_is_refused(kind, share):
    data = encoded(kind, (300, 200))
    said = message(data[: int(len(data) * share)])
    assert said.startswith("front.jpg: the photo cannot be opened (")
    assert said.endswith("; save it as a JPEG or PNG again")


def png_of(width, height):
    """The head of a PNG that claims a size (ISO/IEC 15948, 11.2.2), with nothing in it."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


def test_more_than_a_hundred_megapixels_are_refused_before_they_are_unpacked():
    assert message(png_of(12000, 9000)) == (
        "front.jpg: the photo has 12000 × 9000 pixels; scale it down to at most 100 megapixels"
    )
    assert "scale it down to at most 100 megapixels" in message(png_of(60000, 60000))


def test_between_pillows_own_limit_and_this_one_nothing_is_warned_of():
    # it breaks off, and is not called too large
    assert "cannot be opened" in message(png_of(11000, 9000) + bytes(30_000_000))


def progressive(passes=0, size=(640, 480)):
    """A JPEG in ten passes, and so many more: its second, a short one, again."""
    data = encoded("JPEG", size, progressive=True)
    begins = [found.start() for found in re.finditer(b"\xff\xda", data)]
    again = data[begins[1] : begins[2]]
    return data[: begins[2]] + again * passes + data[begins[2] :]


def test_one_of_thousands_of_passes_is_refused_and_one_of_ten_is_read():
    check_photo(progressive(), "front.jpg")
    assert message(progressive(2000)) == (
        "front.jpg: the photo is stored in over 100 passes; save it again as a plain JPEG"
    )


@pytest.mark.parametrize(("kind", "more"), [("PNG", {}), ("JPEG", {"progressive": True})])
def test_far_more_pixels_than_a_photograph_has_in_so_few_bytes_are_refused(kind, more):
    file = io.BytesIO()
    Image.new("RGB", (6000, 5000), (90, 60, 30)).save(file, kind, **more)
    said = message(file.getvalue())
    assert re.fullmatch(
        r"front\.jpg: the photo has 6000 × 5000 pixels in 0\.\d MB, as no photograph has; scale it down, or save it "
        "again as a plain JPEG",
        said,
    )


def test_a_plain_jpeg_may_be_large_and_of_one_colour():
    file = io.BytesIO()
    Image.new("RGB", (6000, 5000), (90, 60, 30)).save(file, "JPEG")
    check_photo(file.getvalue(), "front.jpg")


def test_more_than_a_hundred_megabytes_are_refused_unread(tmp_path):
    with (tmp_path / "front.jpg").open("wb") as file:
        os.truncate(file.fileno(), 100_000_001)
    with pytest.raises(InputError, match="the photo holds 100 MB; save it as a JPEG or PNG of at most 100 MB"):
        read_photo(tmp_path, "front.jpg")


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    (tmp_path / "front.jpg").mkdir()
    with pytest.raises(InputError, match=r"front\.jpg: the photo cannot be read: .*; correct the path"):
        read_photo(tmp_path, "front.jpg")


def session_with(folder, photo):
    (folder / "session.toml").write_text(
        '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n[episode]\nphoto = "front.jpg"\n', encoding="utf-8"
    )
    (folder / "front.jpg").write_bytes(photo)
    return folder


def test_a_session_names_it(tmp_path):
    assert prepare(session_with(tmp_path, encoded("JPEG"))).files.photo == encoded("JPEG")


def test_a_wrong_one_is_told_with_the_other_faults_of_the_session(tmp_path):
    (session_with(tmp_path, b"no picture") / "notes.txt").write_text("this is no time\n0:10 a note\n", encoding="utf-8")
    with pytest.raises(InputError) as refused:
        prepare(tmp_path)
    assert {fault.source for fault in refused.value.faults} == {"front.jpg", "notes.txt"}


def damaged_exif(kind, changes):
    """A photograph whose orientation is 6, with bytes of its EXIF changed."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x011A] = 6, "Norrvale", 72.0
    exif.get_ifd(0x8769)[0x829A] = 0.01
    data = bytearray(exif.tobytes())
    for place, value in changes:
        data[place % len(data)] = value
    return encoded(kind, exif=bytes(data))


def test_damaged_exif_is_refused_or_drawn():
    random = np.random.default_rng(7)
    drawn = 0
    for kind in ["JPEG", "PNG"] * 400:
        changes = [(int(random.integers(6, 200)), int(random.integers(256))) for _ in range(random.integers(1, 9))]
        data = damaged_exif(kind, changes)
        with contextlib.suppress(InputError):
            check_photo(data, "front.jpg")
            assert fill_frame(data, 64, 36).shape == (36, 64, 4)
            drawn += 1
    assert 0 < drawn < 800


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photograph_is_turned_as_its_camera_was_held(orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    turned = ImageOps.exif_transpose(Image.open(io.BytesIO(encoded("PNG", exif=exif.tobytes()))))
    plain = io.BytesIO()
    turned.save(plain, "PNG", exif=b"")
    assert np.array_equal(fill_frame(encoded("PNG", exif=exif.tobytes()), 64, 36), fill_frame(plain.getvalue(), 64, 36))
