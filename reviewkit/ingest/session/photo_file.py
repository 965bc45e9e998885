"""The user's own photograph for the title card: a JPEG or PNG that can be opened, is complete, and has a sane size."""

from __future__ import annotations

import io
import struct
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from reviewkit.model.errors import refusal, shortened

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 100_000_000
MOST_PIXELS = 100_000_000
MOST_PASSES = 100  # of a progressive JPEG: each takes as long as a picture, and there may be thousands in a small file
# An unpacked picture takes at least four bytes a pixel. A photograph's file is about a byte a pixel, in a PNG more.
_PLAIN_PIXELS = 20_000_000
_PIXELS_A_BYTE = 3
# for a file that is truncated or wrong, and for metadata that no camera writes
_WHAT_PILLOW_RAISES = (OSError, SyntaxError, ValueError, TypeError, ArithmeticError, LookupError, struct.error)
_ORIENTATION = 0x0112  # of EXIF
_START_OF_PASS = b"\xff\xda"
_REMEDY = "save it as a JPEG or PNG"


def read_photo(folder: Path, name: str) -> bytes:
    """Return a photograph's bytes, after reading it as a picture.

    Parameters
    ----------
    folder : Path
        The session folder.
    name : str
        The file's path in it.

    Raises
    ------
    InputError
        The file cannot be opened, is cut short, or holds more than 100 MB or 100 megapixels.
    """
    path = folder / name
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise refusal(name, f"the photo holds {size / 1e6:.0f} MB; {_REMEDY} of at most 100 MB")
        data = path.read_bytes()
    except OSError as error:
        raise refusal(name, f"the photo cannot be read: {error.strerror or error}; correct the path") from error
    check_photo(data, name)
    return data


def check_photo(data: bytes, name: str) -> None:
    """Check that bytes are a whole photograph.

    Parameters
    ----------
    data : bytes
        The content of the file.
    name : str
        Its path in the session folder.

    Raises
    ------
    InputError
        They are not a whole JPEG or PNG of at most 100 megapixels.
    """
    from PIL import Image as pictures
    from PIL import UnidentifiedImageError

    with warnings.catch_warnings():
        # the limit here is this project's own, reported with a remedy; of EXIF only the rotation is used
        warnings.simplefilter("ignore")
        try:
            with pictures.open(io.BytesIO(data), formats=("JPEG", "PNG")) as photo:
                message = _find_flaw(photo, data)
                if not message:
                    photo.draft(
                        "RGB", (photo.width // 8, photo.height // 8)
                    )  # a JPEG is read in full, but hardly decoded
                    photo.load()
                    photo.getexif().get(_ORIENTATION)  # by which a card rotates it
                    return
        except UnidentifiedImageError:
            message = f"the photo is neither JPEG nor PNG; {_REMEDY}"
        except pictures.DecompressionBombError:
            message = "the photo has far more pixels than can be used; scale it down to at most 100 megapixels"
        except _WHAT_PILLOW_RAISES as error:
            message = f"the photo cannot be opened ({shortened(str(error), 80)}); {_REMEDY} again"
    raise refusal(name, message)


def _find_flaw(photo: Image, data: bytes) -> str:
    """Return what is wrong with a photo before it is unpacked; "" for nothing."""
    pixels, size = photo.width * photo.height, f"{photo.width} × {photo.height} pixels"
    if pixels > MOST_PIXELS:
        return f"the photo has {size}; scale it down to at most 100 megapixels"
    if photo.format != "PNG" and data.count(_START_OF_PASS) > MOST_PASSES:
        return f"the photo is stored in over {MOST_PASSES} passes; save it again as a plain JPEG"
    # a plain JPEG is decoded small, a strip at a time
    at_once = photo.format == "PNG" or "progressive" in photo.info
    if at_once and pixels > _PLAIN_PIXELS + _PIXELS_A_BYTE * len(data):
        extent = f"{size} in {len(data) / 1e6:.1f} MB, as no photograph has"
        return f"the photo has {extent}; scale it down, or save it again as a plain JPEG"
    return ""
