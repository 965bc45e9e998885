"""The user's own photograph for the title card: a JPEG or PNG that can be opened, whole, and no larger than is sane."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

from reviewkit.errors import Fault, InputError

MOST_BYTES = 100_000_000
MOST_PIXELS = 100_000_000
_REMEDY = "save it as a JPEG or PNG"


def read_photo(folder: Path, name: str) -> bytes:
    """The file's bytes, after a look at all of it. Raises InputError where it cannot be opened, is cut short, or holds
    more than 100 MB or 100 megapixels.
    """
    path = folder / name
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise _refused(name, f"the photo holds {size / 1e6:.0f} MB; {_REMEDY} of at most 100 MB")
        data = path.read_bytes()
    except OSError as error:
        raise _refused(name, f"the photo cannot be read: {error.strerror or error}; correct the path") from error
    check_photo(data, name)
    return data


def check_photo(data: bytes, name: str) -> None:
    """Raise InputError for what is no whole JPEG or PNG of at most 100 megapixels."""
    from PIL import Image, UnidentifiedImageError

    with warnings.catch_warnings():
        # the limit here is this project's own, told with a remedy
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        try:
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as photo:
                width, height = photo.size
                if width * height <= MOST_PIXELS:
                    photo.draft("RGB", (width // 8, height // 8))  # of a JPEG all is read, and little worked out
                    photo.load()
                    return
                message = f"the photo has {width} × {height} pixels; scale it down to at most 100 megapixels"
        except UnidentifiedImageError:
            message = f"the photo is neither JPEG nor PNG; {_REMEDY}"
        except Image.DecompressionBombError:
            message = "the photo has far more pixels than can be used; scale it down to at most 100 megapixels"
        except (OSError, SyntaxError, ValueError) as error:  # what Pillow raises for a file that breaks off or is wrong
            message = f"the photo cannot be opened ({error}); {_REMEDY} again"
    raise _refused(name, message)


def _refused(name: str, message: str) -> InputError:
    return InputError(Fault(name, 0, message))
