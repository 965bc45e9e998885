"""A small session that has every sort of input, for tests of whole builds: an invented unit, closed-form curves."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

HZ = np.geomspace(10, 40_000, 60)
SESSION = """
[unit]
maker = "Norrvale"
model = "Forty"
what = "integrated amplifier"
year = 1977

[price]
paid = 329.00
currency = "USD"
index = "prices.csv"

[bench]
load = "8 ohm"
channels = "both"
level_uncertainty = "0.05 dB"
equipment = ["a two-channel capture interface"]

[[rated]]
quantity = "response"
within = "0.5 dB"
band = ["20 Hz", "20 kHz"]

[[rated]]
quantity = "separation"
at_least = "60 dB"

[[measurement]]
file = "measurements/flat.csv"
kind = "response"
drive = "1 W"
stage = "after"

[[measurement]]
file = "measurements/bass.csv"
kind = "contour"
against = "flat"
setting = "bass full up"
drive = "1 W"
stage = "after"

[[measurement]]
file = "measurements/leak.csv"
kind = "crosstalk"
stage = "after"

[episode]
presenter = "the bench"
photo = "front.png"
"""


def table(head: str, *columns: object) -> str:
    """Delimited text over HZ."""
    rows = zip(HZ, *(np.broadcast_to(column, HZ.shape) for column in columns), strict=True)
    return "\n".join((head, *(",".join(f"{value:.3f}" for value in row) for row in rows))) + "\n"


def roll_off(corner_hz: float) -> np.ndarray:
    """One pole, in dB."""
    return -10 * np.log10(1 + (HZ / corner_hz) ** 2)


def flat(corner_hz: float) -> str:
    return table("Frequency (Hz),Left (dB),Right (dB)", roll_off(corner_hz), roll_off(corner_hz) - 0.02)


def leak(db: float) -> str:
    return table("Frequency (Hz),L to R (dB),R to L (dB)", db, db + 1)


def photo(shade: int) -> bytes:
    kept = io.BytesIO()
    Image.new("RGB", (320, 180), (shade, 90, 60)).save(kept, "PNG")
    return kept.getvalue()


def files() -> dict[str, str | bytes]:
    """Every file of the session, by path."""
    return {
        "session.toml": SESSION,
        "notes.txt": "0:00 opening: One side was rough.\n1:10 after: Flat again. [card flat]\n2:00 closing: Done.\n",
        "prices.csv": "year,index\n1977,60.6\n2024,313.7\n",
        "repair.csv": "point,expected,found,unit,tolerance,action,note\nQ5 emitter,0.5,3.1,V,0.1 V,replaced,\n",
        "front.png": photo(40),
        "measurements/flat.csv": flat(120_000),
        "measurements/bass.csv": table("Frequency (Hz),Left (dB)", roll_off(120_000) + 8 / (1 + (HZ / 200) ** 2)),
        "measurements/leak.csv": leak(-64),
    }


def write(folder: Path) -> Path:
    """The session in a folder."""
    for name, content in files().items():
        put(folder / name, content)
    return folder


def put(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


def outputs(out: Path) -> dict[str, bytes]:
    """Every file in a folder of outputs."""
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
