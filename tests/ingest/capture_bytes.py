"""The reader of WAV captures, for bytes that are no file yet."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from reviewkit.ingest.capture_file import read_capture
from reviewkit.model.sheet import Sheet


def read_bytes(data: bytes, source: str, **stated: Any) -> Sheet:
    with tempfile.TemporaryDirectory(prefix="capture-") as folder:
        place = Path(folder, "capture.wav")
        place.write_bytes(data)
        return read_capture(place, source, **stated)
