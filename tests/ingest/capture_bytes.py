"""The readers of captures and recordings, for bytes that are no file yet."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from reviewkit.ingest.capture_file import read_capture
from reviewkit.ingest.sound_file import Passage, read_passage
from reviewkit.model.sheet import Sheet


def read_bytes(data: bytes, source: str, **stated: Any) -> Sheet:
    with tempfile.TemporaryDirectory(prefix="capture-") as folder:
        place = Path(folder, "capture.wav")
        place.write_bytes(data)
        return read_capture(place, source, **stated)


def parse_passage(data: bytes, source: str, start_s: float, end_s: float | None, columns: dict[str, Any]) -> Passage:
    with tempfile.TemporaryDirectory(prefix="sound-") as folder:
        place = Path(folder, "sound.wav")
        place.write_bytes(data)
        return read_passage(place, source, start_s, end_s, columns)
