"""WAV captures. Files are written by soundfile, or byte by byte with struct, and read a second time by scipy, so that
the reader is never checked by itself. Chunk layout: RIFF (1991), RF64 (EBU Tech 3306), from memory.
"""

from __future__ import annotations

import io
import math
import struct
import time
import warnings

import numpy as np
import pytest
import soundfile
from accuracy import grid
from capture_bytes import read_bytes
from hypothesis import given
from hypothesis import strategies as st
from scipy.io import wavfile

from reviewkit.ingest.capture_file import MOST_VALUES, read_capture
from reviewkit.model.errors import InputError

RATE_HZ = 48_000
SOURCE = "measurements/tone.wav"
EXTENSIBLE_TAIL = bytes.fromhex("000000001000800000aa00389b71")  # KSDATAFORMAT_SUBTYPE, behind the format code
STEPS = {"PCM_16": 2.0**-15, "PCM_24": 2.0**-23, "PCM_32": 2.0**-31, "FLOAT": 2.0**-24, "DOUBLE": 0.0}


def sine(frequency_hz=997.0, peak=0.5, count=4800, rate_hz=RATE_HZ, phase=0.1):
    return peak * np.sin(2 * np.pi * frequency_hz / rate_hz * np.arange(count) + phase)


def written(samples, subtype="PCM_24", rate_hz=RATE_HZ, form="WAV", **how) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate_hz, subtype=subtype, format=form, **how)
    return file.getvalue()


def chunk(name: bytes, body: bytes, claimed: int | None = None, order: str = "<") -> bytes:
    size = len(body) if claimed is None else claimed
    return name + struct.pack(order + "I", size) + body + b"\0" * (len(body) % 2)


def form_of(code=1, channels=1, rate_hz=RATE_HZ, container=16, order="<", frame_bytes=None) -> bytes:
    frame = channels * container // 8 if frame_bytes is None else frame_bytes
    return struct.pack(order + "HHIIHH", code, channels, rate_hz, (rate_hz * frame) % 2**32, frame, container)


def extensible(bits: int, container: int, code=1, channels=1, mask=0) -> bytes:
    plain = form_of(0xFFFE, channels, container=container)
    return plain + struct.pack("<HHIH", 22, bits, mask, code) + EXTENSIBLE_TAIL


def riff(*chunks: bytes, name=b"RIFF", order="<", claimed: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return name + struct.pack(order + "I", len(body) if claimed is None else claimed) + body


def codes(values, bits=16) -> bytes:
    """Little-endian integers of 16, 24 or 32 bits."""
    whole = np.asarray(values, dtype="<i4")
    return b"".join(int(v).to_bytes(bits // 8, "little", signed=True) for v in whole)


def plain(values, bits=16, **claims) -> bytes:
    body = codes(values, bits)
    return riff(chunk(b"fmt ", form_of(container=bits)), chunk(b"data", body, **claims))


def message(data: bytes, **told) -> str:
    began = time.monotonic()
    with pytest.raises(InputError) as caught:
        read_bytes(data, SOURCE, **told)
    assert time.monotonic() - began < 2
    said = str(caught.value)
    assert said.startswith(SOURCE)
    return said


def levels(sheet):
    return {column.channel: column.values for column in sheet.all("level")}


# ------------------------------------------------------------------ what a capture holds


@pytest.mark.parametrize(("subtype", "form"), grid([*STEPS], ["WAV", "WAVEX", "RF64"]))
def test_samples_come_out_as_written(subtype, form):
    left, right = sine(), sine(440.0, 0.9)
    sheet = read_bytes(written(np.stack([left, right], axis=1), subtype, form=form), SOURCE, full_scale_v=10.0)
    assert list(levels(sheet)) == ["L", "R"]
    for channel, wave in (("L", left), ("R", right)):
        assert np.max(np.abs(levels(sheet)[channel] - 10 * wave)) <= 10 * STEPS[subtype] + 1e-15
    time_s = sheet.need("time").values
    assert time_s[0] == 0
    assert time_s == pytest.approx(np.arange(4800) / RATE_HZ, abs=1e-12)
    assert [column.unit for column in sheet.columns] == ["s", "V", "V"]
    assert sheet.rows == 4800
    assert not sheet.warnings
    assert not any(column.values.flags.writeable for column in sheet.columns)


@pytest.mark.parametrize(
    ("rate_hz", "subtype"),
    grid([44_100, 48_000, 88_200, 96_000, 192_000], ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]),
)
def test_a_second_reader_agrees(subtype, rate_hz):
    """scipy.io.wavfile gives integers left-justified in 16 or 32 bits; full scale is 1.0."""
    data = written(sine(rate_hz=rate_hz), subtype, rate_hz)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", wavfile.WavFileWarning)  # of chunks that it passes over
        found_hz, raw = wavfile.read(io.BytesIO(data))
    whole = raw / -float(np.iinfo(raw.dtype).min) if raw.dtype.kind == "i" else raw.astype(float)
    sheet = read_bytes(data, SOURCE)
    assert np.array_equal(levels(sheet)[""], whole)
    assert 1 / float(np.diff(sheet.need("time").values)[0]) == pytest.approx(found_hz, rel=1e-9)


@pytest.mark.parametrize(
    ("subtype", "said"),
    [("PCM_U8", "WAV 8-bit, 48 kHz"), ("PCM_16", "WAV 16-bit, 48 kHz"), ("PCM_24", "WAV 24-bit, 48 kHz"),
     ("PCM_32", "WAV 32-bit, 48 kHz"), ("FLOAT", "WAV 32-bit float, 48 kHz"), ("DOUBLE", "WAV 64-bit float, 48 kHz")],
)  # fmt: skip
def test_the_format_in_words(subtype, said):
    sheet = read_bytes(written(sine(), subtype), SOURCE)
    assert (sheet.encoding, sheet.separator, sheet.decimal) == (said, "", "")


def test_full_scale_is_a_sines_peak():
    """Code 2^22 of 24 bits is half of full scale: 5 V of 10 V."""
    values = levels(read_bytes(plain([0, 2**22, -(2**22), 100], 24), SOURCE, full_scale_v=10.0))[""]
    assert values == pytest.approx([0, 5, -5, 10 * 100 / 2**23], rel=1e-12)


def test_without_full_scale_levels_are_relative():
    sheet = read_bytes(written(sine()), SOURCE)
    assert sheet.need("level").unit == "ratio"
    assert len(sheet.warnings) == 1
    assert 'full_scale = "10 V"' in sheet.warnings[0]


def test_by_path(tmp_path):
    path = tmp_path / "tone.wav"
    path.write_bytes(written(sine()))
    assert read_capture(path, SOURCE).rows == 4800
    with pytest.raises(InputError, match=r"measurements/none\.wav: No such file"):
        read_capture(tmp_path / "none.wav", "measurements/none.wav")


# ------------------------------------------------------------------ which channels


FOUR = np.stack([sine(peak=0.1 * n) for n in (1, 2, 3, 4)], axis=1)


def test_more_than_two_channels_are_asked_about():
    assert "has 4 channels; say in session.toml which are meant, for example columns = { left = 1, right = 2 }" in (
        message(written(FOUR))
    )


@pytest.mark.parametrize(
    ("columns", "peaks"),
    [({"left": 3, "right": 1}, {"L": 0.3, "R": 0.1}), ({"right": 4}, {"R": 0.4}), ({"level": 2}, {"": 0.2})],
)
def test_channels_are_chosen_by_number(columns, peaks):
    for data in (written(FOUR), written(FOUR, form="WAVEX")):
        found = levels(read_bytes(data, SOURCE, columns=columns))
        assert {channel: round(float(np.max(values)), 3) for channel, values in found.items()} == peaks


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"left": 5}, "columns: left = 5 is not a channel of this file; this capture has 4 channels, counted from 1"),
        ({"left": 0}, "columns: left = 0 is not a channel"),
        ({"left": "Ch 1"}, 'columns: left = "Ch 1": give the number of the channel'),
        ({"left": True}, "give the number of the channel"),
        ({"frequency": 1}, 'columns names "frequency"; of a WAV capture only left, right or level can be chosen'),
        ({"left": 2, "right": 2}, "columns gives channel 2 to both left and right"),
        ({"left": 2, "level": 1}, "level means the only channel"),
    ],
)
def test_a_choice_that_does_not_fit(columns, said):
    assert said in message(written(FOUR), columns=columns)


# ------------------------------------------------------------------ odd headers, written byte by byte


@pytest.mark.parametrize(("bits", "container"), [(16, 16), (20, 24), (24, 24), (24, 32), (32, 32)])
def test_an_extended_header(bits, container):
    """Valid bits are the upper ones of their container."""
    wave = sine()
    whole = np.round(wave * 2.0 ** (bits - 1)).astype(np.int64) << (container - bits)
    data = riff(chunk(b"fmt ", extensible(bits, container)), chunk(b"data", codes(whole, container)))
    sheet = read_bytes(data, SOURCE)
    assert np.max(np.abs(levels(sheet)[""] - wave)) <= 2.0**-bits
    assert sheet.encoding == f"WAV {bits}-bit, 48 kHz"


def test_extended_floats():
    body = sine().astype("<f4").tobytes()
    sheet = read_bytes(riff(chunk(b"fmt ", extensible(32, 32, code=3)), chunk(b"data", body)), SOURCE)
    assert np.max(np.abs(levels(sheet)[""] - sine())) <= 2.0**-25
    assert sheet.encoding == "WAV 32-bit float, 48 kHz"


def test_other_chunks_are_passed_over():
    """Before and behind the samples, of odd length too; the samples may lack their last padding byte."""
    data = riff(
        chunk(b"bext", b"x" * 603),
        chunk(b"fmt ", form_of()),
        chunk(b"LIST", b"INFOISFT"),
        chunk(b"data", codes([1, 2, 3])),
        chunk(b"id3 ", b"y" * 11),
    )
    assert levels(read_bytes(data, SOURCE))[""] == pytest.approx(np.array([1, 2, 3]) / 2**15)
    lone = riff(chunk(b"fmt ", form_of(container=8)), chunk(b"data", bytes([128, 192, 64])))[:-1]
    assert levels(read_bytes(lone, SOURCE))[""] == pytest.approx([0, 0.5, -0.5])


def test_the_length_over_all_may_be_wrong_where_the_samples_are_whole():
    data = riff(chunk(b"fmt ", form_of()), chunk(b"data", codes([1, 2, 3, 4])), claimed=4)
    assert read_bytes(data, SOURCE).rows == 4


def test_big_endian():
    body = np.array([1, -2, 300], dtype=">i2").tobytes()
    form = chunk(b"fmt ", form_of(order=">"), order=">")
    data = riff(form, chunk(b"data", body, order=">"), name=b"RIFX", order=">")
    assert levels(read_bytes(data, SOURCE))[""] == pytest.approx(np.array([1, -2, 300]) / 2**15)


def test_lengths_of_64_bits():
    body = codes(range(100), 24)
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 0, len(body), 100, 0))
    parts = (ds64, chunk(b"fmt ", form_of(container=24)), chunk(b"data", body, claimed=0xFFFFFFFF))
    data = riff(*parts, name=b"RF64", claimed=0xFFFFFFFF)
    assert levels(read_bytes(data, SOURCE))[""] == pytest.approx(np.arange(100) / 2**23)
    lying = data.replace(struct.pack("<Q", len(body)), struct.pack("<Q", 2**50), 1)
    assert "the capture breaks off" in message(lying)


# ------------------------------------------------------------------ files that are not whole, or not captures

WHOLE = written(sine())
BROKEN = {
    "empty": (b"", "the file is empty; capture the measurement again"),
    "text": (b"Time (s),Level (V)\n0,0\n", "this is not a WAV file, whatever its name says"),
    "FLAC": (written(sine(), form="FLAC"), "this is a FLAC file, not WAV"),
    "AIFF": (written(sine(), form="AIFF"), "this is an AIFF file, not WAV"),
    "MP3": (b"ID3\x04" + b"\0" * 200, "this is an MP3 file, not WAV"),
    "another RIFF": (b"RIFF\x10\0\0\0AVI " + b"\0" * 50, "this is not a WAV file"),
    "broken header": (WHOLE[:7], "breaks off in its header"),
    "header alone": (WHOLE[:36], "no samples in this WAV file, it breaks off before them"),
    "no format": (riff(chunk(b"data", codes([1, 2]))), "the header does not say how the samples are written"),
    "short format": (riff(chunk(b"fmt ", b"\1\0\1\0"), chunk(b"data", b"\0\0")), "the format part of the header"),
    "no samples": (riff(chunk(b"fmt ", form_of()), chunk(b"data", b"")), "the capture holds no samples"),
    "half": (WHOLE[: len(WHOLE) // 2], "the header promises 0.1 s, the file holds 0.0"),
    "one byte short": (WHOLE[:-1], "the capture breaks off: the header promises 0.1 s, the file holds 0.0999792 s"),
    "inside a sample": (plain([1, 2, 3], claimed=5), "the samples break off inside the last one"),
    "length left open": (plain([1, 2, 3], claimed=0xFFFFFFFF), "the header leaves the length open"),
    "far too long": (plain([1, 2, 3], claimed=0xFFFFFFF0), "the header promises 44739.2 s, the file holds 6.25e-05 s"),
    "a chunk too long": (
        riff(chunk(b"LIST", b"INFO", claimed=0xFFFFFF00), chunk(b"fmt ", form_of()), chunk(b"data", codes([1]))),
        "no format in this WAV file",
    ),
    "compressed": (written(sine(), "IMA_ADPCM"), "compressed or in a format that is not read, code 17 (ADPCM)"),
    "µ-law": (written(sine(), "ULAW"), "code 7 (µ-law); save it as WAV, 24-bit PCM or 32-bit float"),
    "odd code": (riff(chunk(b"fmt ", form_of(0x1234)), chunk(b"data", b"\0\0")), "code 4660; save it as WAV"),
    "odd subformat": (
        riff(chunk(b"fmt ", extensible(16, 16)[:-1] + b"\0"), chunk(b"data", b"\0\0")),
        "the extended header names a format that is not known",
    ),
    "odd bits": (
        riff(chunk(b"fmt ", form_of(container=40)), chunk(b"data", b"\0" * 10)),
        "the samples take 40 bits, 40 of them used, which is not read",
    ),
    "no channels": (
        riff(chunk(b"fmt ", form_of(channels=0, frame_bytes=2)), chunk(b"data", b"\0\0")),
        "the header contradicts itself: 0 channels of 16 bits in 2 bytes",
    ),
    "a frame of another size": (
        riff(chunk(b"fmt ", form_of(frame_bytes=7)), chunk(b"data", b"\0" * 14)),
        "the header contradicts itself: 1 channels of 16 bits in 7 bytes",
    ),
    "rate 0": (
        riff(chunk(b"fmt ", form_of(rate_hz=0)), chunk(b"data", b"\0\0")),
        "the header gives a sample rate of 0 Hz",
    ),
    "rate of gigahertz": (
        riff(chunk(b"fmt ", form_of(rate_hz=4_000_000_000)), chunk(b"data", b"\0\0")),
        "the header gives a sample rate of 4000000000 Hz",
    ),
    "65535 channels": (
        riff(chunk(b"fmt ", form_of(channels=32_767)), chunk(b"data", b"\0" * 65_534)),
        "has 32767 channels; say in session.toml which are meant",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_a_file_that_is_no_whole_capture(name):
    data, said = BROKEN[name]
    assert said in message(data)


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_samples_that_are_no_numbers(wrong):
    samples = np.stack([sine(), sine()], axis=1)
    samples[2400, 1] = wrong
    assert "channel 2 has samples that aren't numbers, the first at 0.05 s" in message(written(samples, "FLOAT"))


def test_floats_on_an_integers_scale():
    assert "full scale is 1.0 in a float WAV file" in message(written(20_000 * sine(), "FLOAT"))


def test_a_capture_too_long_to_hold(tmp_path):
    """The samples are there, as a hole in the file; nothing of them is read."""
    path = tmp_path / "long.wav"
    size = 4 * (MOST_VALUES + 2)
    with path.open("wb") as file:
        head = riff(chunk(b"fmt ", form_of(container=32)), chunk(b"data", b"", claimed=size))
        file.write(head)
        file.truncate(len(head) + size)
    with pytest.raises(InputError, match=r"the capture is 833\.3 s long; cut it to 833 s or less"):
        read_capture(path, SOURCE)


@given(st.binary(max_size=200), st.integers(0, 60), st.binary(min_size=1, max_size=8))
def test_any_bytes_are_read_or_refused(rest, place, put):
    """Whatever stands in the header: a sheet of samples that are there, or a message."""
    whole = plain(range(-20, 20))
    for data in (b"RIFF" + rest, riff(rest), whole[:place] + put + whole[place + len(put) :], whole[: place + 20]):
        try:
            assert read_bytes(data, SOURCE, columns={"left": 1}).rows <= len(data)
        except InputError as refused:
            assert str(refused).startswith(SOURCE)  # noqa: PT017


# ------------------------------------------------------------------ clipping


def quantised(samples, bits, dither=None):
    """Codes of a converter that clips at its largest and smallest; with triangular dither of ±1 step where asked."""
    whole = samples * 2.0 ** (bits - 1)
    if dither is not None:
        whole = whole + dither.uniform(-0.5, 0.5, len(samples)) + dither.uniform(-0.5, 0.5, len(samples))
    return np.clip(np.round(whole), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1).astype(np.int64)


CAPTURE_S = 1


@pytest.mark.parametrize(("dithered", "bits", "frequency_hz"), grid([False, True], [16, 24], [20.3, 997.0, 9_973.0]))
def test_a_sine_at_and_over_the_ceiling(frequency_hz, bits, dithered):
    """Just below and just touching: legal, also where a slow crest stays on the largest code for many samples.
    Cut by 0.02 dB, where runs on the code are short, and by 1 dB: refused, with the first place at the code.
    """
    largest = 1 - 2.0 ** (1 - bits)
    for over_db, legal in ((-0.5, True), (-0.001, True), (0.0, True), (0.02, False), (1.0, False)):
        dither = np.random.default_rng(bits) if dithered else None
        wave = sine(frequency_hz, largest * 10 ** (over_db / 20), CAPTURE_S * RATE_HZ)
        held = quantised(wave, bits, dither)
        if legal:
            assert read_bytes(plain(held, bits), SOURCE).rows == len(wave)
            continue
        said = message(plain(held, bits))
        assert "the capture is clipped, or too close to full scale to tell, first at " in said
        assert "lower the capture level" in said
        first = np.flatnonzero((held == held.max()) | (held == held.min()))[0] / RATE_HZ
        assert float(said.split("first at ")[1].split(" s;")[0]) == pytest.approx(first, rel=1e-5)


def test_one_channel_of_two_that_clips():
    samples = np.stack([sine(), np.clip(1.3 * sine(peak=1.0), -1, 1)], axis=1)
    said = message(written(samples))
    assert f"{SOURCE}: channel 2 is clipped" in said
    assert "channel 1" not in said
    assert read_bytes(written(samples), SOURCE, columns={"left": 1}).rows == 4800


def test_one_plop_that_clips():
    """Three samples in a second; one alone at the code is no proof."""
    wave = quantised(sine(count=RATE_HZ), 24)
    wave[9600] = 2**23 - 1
    assert read_bytes(plain(wave, 24), SOURCE).rows == RATE_HZ
    wave[24_000:24_003] = -(2**23)
    assert "first at 0.5 s" in message(plain(wave, 24))


def test_a_converter_of_24_bits_in_a_file_of_32():
    """The largest code is then 256 short of the file's own."""
    codes_24 = quantised(1.1 * sine(peak=1.0), 24)
    assert "is clipped" in message(plain(codes_24 << 8, 32))
    assert "is clipped" in message(written(np.clip(1.1 * sine(peak=1.0), -1, 1 - 2.0**-23), "FLOAT"))


def test_floats_may_pass_full_scale():
    """Floats hold more than 1.0; flat tops there are cut off all the same."""
    loud = sine(peak=1.7, count=RATE_HZ)
    assert np.max(levels(read_bytes(written(loud, "FLOAT"), SOURCE))[""]) == pytest.approx(1.7, rel=1e-3)
    for ceiling in (1.0, 1.5):
        assert "is clipped" in message(written(np.clip(loud, -ceiling, ceiling), "FLOAT"))
    # 1 kHz at 48 kHz stands on the same 48 values in every cycle, two of them side by side at the crest
    locked = sine(1000.0, 1.5, RATE_HZ, phase=math.pi / 48)
    assert read_bytes(written(locked, "FLOAT"), SOURCE).rows == RATE_HZ


# ------------------------------------------------------------------ long captures


def test_twenty_seconds_of_stereo_at_192_khz(tmp_path):
    """Three columns of doubles and little more: time and both levels are 92 MB. (tracemalloc sees numpy's arrays.)"""
    import tracemalloc

    count = 20 * 192_000
    path = tmp_path / "long.wav"
    one = sine(count=count, rate_hz=192_000).astype(np.float32)
    soundfile.write(path, np.stack([one, one], axis=1), 192_000, subtype="PCM_24")
    tracemalloc.start()
    try:
        sheet = read_capture(path, SOURCE, full_scale_v=10.0)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert sheet.rows == count
    assert most < 3 * 8 * count * 1.25
