"""Passages of recordings: what is read of a WAV or a FLAC, and what is refused."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
import soundfile
from capture_bytes import parse_passage

from reviewkit.ingest.sound_file import LEAST_S, MOST_S, read_passage
from reviewkit.model.errors import InputError

RATE_HZ = 8000


def ramp(channels: int = 2, seconds: float = 2.0, top: float = 0.5) -> np.ndarray:
    """Every sample is its place in time, so that a passage says where it was cut."""
    count = round(seconds * RATE_HZ)
    return np.outer(np.arange(count) / count * top, 1 / np.arange(1, channels + 1))


def recording(samples: np.ndarray, kind: str = "WAV", bits: str = "PCM_24", rate_hz: int = RATE_HZ) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate_hz, format=kind, subtype=bits)
    return file.getvalue()


def refusal(data: bytes, start_s: float = 0.0, end_s: float | None = None, columns=None) -> str:
    with pytest.raises(InputError) as caught:
        parse_passage(data, "recordings/a.flac", start_s, end_s, columns or {})
    (fault,) = caught.value.faults
    assert fault.source == "recordings/a.flac"
    return fault.message


@pytest.mark.parametrize(
    ("kind", "bits"),
    [
        ("WAV", "PCM_16"),
        ("WAV", "PCM_24"),
        ("WAV", "FLOAT"),
        ("WAVEX", "PCM_24"),
        ("FLAC", "PCM_16"),
        ("FLAC", "PCM_24"),
    ],
)
def test_a_passage_is_cut_where_it_is_asked_for(kind, bits):
    whole = ramp()
    passage = parse_passage(recording(whole, kind, bits), "a", 0.5, 1.25, {})
    assert passage.rate_hz == RATE_HZ
    assert passage.samples.shape == (6000, 2)
    assert np.abs(passage.samples - whole[4000:10_000]).max() < 2**-15


def test_without_times_it_is_the_whole_file():
    assert parse_passage(recording(ramp(), "FLAC"), "a", 0.0, None, {}).samples.shape == (16_000, 2)


def test_one_channel_is_played_on_both_sides():
    samples = parse_passage(recording(ramp(1)), "a", 0.0, None, {}).samples
    assert np.array_equal(samples[:, 0], samples[:, 1])


def test_of_more_channels_two_are_chosen():
    samples = parse_passage(recording(ramp(4)), "a", 0.0, None, {"left": 4, "right": 2}).samples
    assert samples[-1] == pytest.approx(ramp(4)[-1, [3, 1]], abs=1e-6)
    assert "has 4 channels; say in session.toml which" in refusal(recording(ramp(4)))


@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
@pytest.mark.parametrize(
    ("start_s", "end_s", "message"),
    [
        (0.0, 2.01, r'lasts 2 s, and the passage would end at 2\.01 s; correct "to" in its \[\[sound\]\]'),
        (1.7, None, rf'the passage lasts 0\.3 s, and may last {LEAST_S:g} s to {MOST_S:g} s; write "from" and "to"'),
        (3.0, None, r"the passage lasts 0 s"),
    ],
)
def test_a_passage_that_is_not_there(kind, start_s, end_s, message):
    assert re.search(message, refusal(recording(ramp(), kind), start_s, end_s))


def test_a_long_recording_needs_from_and_to():
    """Three hours of silence in a third of a megabyte: refused unread, and played in part."""
    hours = io.BytesIO()
    with soundfile.SoundFile(hours, "w", RATE_HZ, 1, "PCM_16", format="FLAC") as file:
        for _ in range(300):
            file.write(np.zeros(36 * RATE_HZ, dtype=np.int16))
    assert "the passage lasts 1.08e+04 s" in refusal(hours.getvalue())
    assert parse_passage(hours.getvalue(), "a", 10_000.0, 10_001.0, {}).samples.shape == (RATE_HZ, 2)


@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_a_passage_that_clipped_is_refused_with_its_time(kind):
    loud = np.clip(3 * np.sin(np.arange(16_000) / 5)[:, np.newaxis], -1, 1 - 2**-15)
    loud[:8000] /= 4
    data = recording(loud, kind, "PCM_16")
    assert re.search(r"is clipped, or too close to full scale .* first at 1(\.0\d*)? s; lower", refusal(data, 0.5, 1.5))
    assert parse_passage(data, "a", 0.0, 0.9, {}).samples.size


@pytest.mark.parametrize("rate_hz", [7999, 192_001])
def test_a_rate_that_nothing_plays(rate_hz):
    assert f"has {rate_hz} samples a second" in refusal(recording(ramp(), rate_hz=rate_hz))


def test_a_recording_that_breaks_off():
    assert "breaks off" in refusal(recording(ramp())[:-100])
    noise = np.random.default_rng(1).normal(0, 0.1, (16_000, 2))
    assert re.search(r"breaks off|cannot be read", refusal(recording(noise, "FLAC")[:-20_000]))


def test_what_is_neither_is_refused_whatever_its_name_says(tmp_path):
    assert "an Ogg file, not WAV" in refusal(b"OggS" + bytes(100))
    assert "the FLAC file cannot be read" in refusal(b"fLaC" + bytes(100))
    with pytest.raises(InputError, match="is empty"):
        read_passage(_written(tmp_path, b""), "a.wav", 0.0, None, {})
    assert read_passage(_written(tmp_path, recording(ramp())), "a.wav", 0.0, None, {}).samples.size


def _written(folder, data):
    (folder / "a.wav").write_bytes(data)
    return folder / "a.wav"
