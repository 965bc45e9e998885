"""What several tests of the readers start from."""

import pytest


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "measurements").mkdir()
    for name in ("measurements/tone.csv", "measurements/loudness.wav", "prices.csv", "front.jpg"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    return tmp_path
