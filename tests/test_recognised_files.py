"""Files whose kind the session doesn't say: recognised right, or asked about; never wrong."""

from __future__ import annotations

import io
import math
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from reviewkit.build.pipeline import check
from reviewkit.build.session_files import read
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.recognised import Recognised
from reviewkit.model.session import Measurement
from reviewkit.signal.weighting import riaa_replay_db

SAMPLE = Path(__file__).resolve().parents[1] / "sample_session"
sys.path[:0] = [str(SAMPLE.parent / "tests" / folder) for folder in ("rebuilt", "receiver")]
import receiver_session  # noqa: E402
import third_session  # noqa: E402

# what a wrong value of would give other figures, or other conditions of them
_TELLING = ("kind", "stage", "input", "load_ohm", "driven", "equalised", "amendment", "weighting")


def measured(folder: Path) -> list[Measurement]:
    text = (folder / "session.toml").read_text(encoding="utf-8")
    return [m for m in parse_session(text, folder, kinds=KINDS).measurements if m.file]


def alone(folder: Path, m: Measurement, place: Path) -> tuple[Measurement | None, Recognised]:
    """What a session's file is recognised as where no table is left, in the folder of its stage."""
    text = (folder / "session.toml").read_text(encoding="utf-8")
    bench = text[text.index("[bench]") :].split("\n\n")[0] if "[bench]" in text else ""
    shutil.rmtree(place, ignore_errors=True)
    there = place / "measurements" / m.stage / Path(m.file).name
    there.parent.mkdir(parents=True)
    shutil.copyfile(folder / m.file, there)
    flat = "measurements/reference/response.csv"  # for contours; of no stage that contradicts
    tables = ""
    if m.kind == "contour":
        (place / "measurements" / "reference").mkdir()
        shutil.copyfile(folder / next(o.file for o in measured(folder) if o.kind == "response"), place / flat)
        tables = f'[[measurement]]\nkind = "response"\nfile = "{flat}"\nstage = "{m.stage}"\n'
        tables = tables if m.stage else tables.replace('stage = ""\n', "")
    (place / "session.toml").write_text(f'[unit]\nmaker = "A"\nmodel = "B"\n\n{bench}\n\n{tables}', encoding="utf-8")
    files = read(place)
    assert not files.faults
    found = {each.file: each for each in files.recognised}
    own = there.relative_to(place).as_posix()
    return next((each for each in files.session.measurements if each.file == own), None), found[own]


def wrong(m: Measurement, recognised: Measurement) -> list[str]:
    """What a recognised file states otherwise than its table did."""
    faults = [key for key in _TELLING if getattr(m, key) != getattr(recognised, key)]
    if recognised.frequency_hz is not None and m.frequency_hz not in (None, recognised.frequency_hz):
        faults.append("frequency")
    if m.kind == "crosstalk" and recognised.channels != "one":
        faults.append("channels")
    if recognised.window and m.window != recognised.window:
        faults.append("window")
    volts = recognised.drive_v, m.drive_v
    # a capture may be 1 dB away from the level that it was set to
    if None not in volts and abs(20 * math.log10(volts[0] / volts[1])) > 1:
        faults.append("drive")
    return faults


@pytest.fixture(scope="module")
def sessions(tmp_path_factory) -> list[Path]:
    third = third_session.write(tmp_path_factory.mktemp("third"), (*third_session.SWEEPS, *third_session.CAPTURES))
    receiver = tmp_path_factory.mktemp("receiver")
    receiver_session.write(receiver)
    return [SAMPLE, SAMPLE / "deck", SAMPLE / "loudspeakers", third, receiver]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_the_sample_is_recognised_right_or_asked_about(kind, tmp_path):
    for m in [m for m in measured(SAMPLE) if m.kind == kind]:
        found, recognised = alone(SAMPLE, m, tmp_path)
        if found is None:
            assert recognised.question, m.file
        else:
            assert wrong(m, found) == [], m.file
            assert recognised.why


def test_no_file_of_any_session_is_recognised_wrong(sessions, tmp_path, record_property):
    asked, right, faults = [], [], []
    for folder in sessions:
        for m in measured(folder):
            found, recognised = alone(folder, m, tmp_path)
            if found is None:
                assert recognised.question
                asked.append(f"{m.file}: {recognised.question}")
            else:
                right.append(m.file)
                faults += [f"{m.file}: {key}" for key in wrong(m, found)]
    record_property("recognised", f"{len(right)} without a question, {len(asked)} asked about")
    assert faults == []
    assert len(right) >= 5 * len(asked), asked


# ------------------------------------------------------------------ files that allow two readings

HZ = np.geomspace(10, 40_000, 80)
EVEN = np.arange(1, 2049) * 11.71875
RATE_HZ = 48_000
TIME = np.arange(RATE_HZ) / RATE_HZ
RNG = np.random.default_rng(5)
FLAT = -10 * np.log10(1 + (HZ / 90_000) ** 2)
RIAA = riaa_replay_db(HZ)
WATTS = np.geomspace(0.1, 50, 30)


def rows(head: str, *columns: object) -> bytes:
    first = np.asarray(columns[0])
    table = np.column_stack([np.broadcast_to(column, first.shape) for column in columns])
    return "\n".join((head, *(",".join(f"{value:.5f}" for value in row) for row in table))).encode()


def wav(*channels: object) -> bytes:
    made = io.BytesIO()
    samples = np.stack([np.broadcast_to(channel, TIME.shape) for channel in channels], axis=1)
    soundfile.write(made, samples, RATE_HZ, format="WAV", subtype="PCM_24")
    return made.getvalue()


def sine(hertz: float, peak: float) -> np.ndarray:
    return peak * np.sin(2 * math.pi * hertz * TIME)


LR_DBV, LR_DB, LR_V = (f"Frequency (Hz),Left ({unit}),Right ({unit})" for unit in ("dBV", "dB", "V"))
CHIRP = 0.5 * np.sin(2 * math.pi * 20 * 7 / math.log(1000) * (np.exp(TIME * math.log(1000)) - 1) / 7)
DOUBTFUL = {
    # a distortion in dB under headers that don't say so
    "levels of -65 dB": ("sweep.csv", rows(LR_DB, HZ, -65 + 0.1 * FLAT, -64)),
    "a distortion's name over levels": ("thd.csv", rows(LR_DB, HZ, FLAT, FLAT)),
    "one channel dead, or one driven": ("response.csv", rows(LR_DBV, HZ, 12 + FLAT, -45 + FLAT)),
    "crosstalk whose channels are alike": ("crosstalk.csv", rows(LR_DBV, HZ, 12 + FLAT, 12 + FLAT)),
    "the other channel driven": ("right driven.csv", rows(LR_DBV, HZ, 12 + FLAT, -45 + FLAT)),
    "third octaves of noise": ("bands.csv", rows(LR_DBV, HZ, RNG.normal(-95, 2, 80), RNG.normal(-94, 2, 80))),
    "a falling curve of no name": ("b.csv", rows(LR_DBV, HZ, 12 - HZ / 2000, 12 - HZ / 2000)),
    "flat, called phono": ("phono.csv", rows(LR_DBV, HZ, FLAT, FLAT)),
    "the RIAA curve, called response": ("response.csv", rows(LR_DBV, HZ, RIAA - 16, RIAA - 16)),
    "an impedance that may be a headphone's": ("z.csv", rows("Frequency (Hz),Impedance (ohm)", HZ, 32 + HZ / 9000)),
    "a response of even spacing": ("fft.csv", rows(LR_DBV, EVEN, -((EVEN / 20_000) ** 2), -((EVEN / 20_000) ** 2))),
    "levels and distortion": ("s.csv", rows("Frequency (Hz),Level (dBV),THD (%)", HZ, 12 - HZ / 9000, 0.01 + HZ / 1e6)),
    "intermodulation by its name": ("imd sweep.csv", rows("Power (W),Distortion (%)", WATTS, 0.02 + WATTS / 1e3)),
    "noise by its name, a tone": ("noise.wav", wav(sine(1000, 0.5), sine(1000, 0.5))),
    "a tone in one channel": ("t.wav", wav(sine(1000, 0.5), RNG.normal(0, 1e-4, TIME.size))),
    "a tone far weaker in one channel": ("t.wav", wav(sine(1000, 0.5), sine(1000, 0.002))),
    "mains hum, or a tone of 60 Hz": ("t.wav", wav(sine(60, 0.5), sine(60, 0.5))),
    "loud noise": ("n.wav", wav(RNG.normal(0, 0.1, TIME.size), RNG.normal(0, 0.1, TIME.size))),
    "harmonics as strong as in a square": (
        "t.wav",
        wav(sine(1000, 0.4) + sine(3000, 0.25), sine(1000, 0.4) + sine(3000, 0.25)),
    ),
    "tones of one series": (
        "m.wav",
        wav(sum(sine(500 * n, 0.1) for n in (1, 2, 3, 4, 5)), sum(sine(500 * n, 0.1) for n in (1, 2, 3, 4, 5))),
    ),
    "before by its folder, after by its name": ("before/response after.csv", rows(LR_DBV, HZ, FLAT, FLAT)),
    "two loads": ("power 4ohm 8ohm.csv", rows("Power (W),THD (%)", WATTS, 0.02 + WATTS / 1e3)),
    "another level by its name": ("response 40w.csv", rows(LR_DBV, HZ, 9 + FLAT, 9 + FLAT)),
    "another level above its header": (
        "thd 40w.csv",
        b"Output power,4 W\n\n" + rows("Frequency (Hz),THD L (%),THD R (%)", HZ, 0.02, 0.02 + HZ / 1e7),
    ),
    "a ratio's unit left out": ("thd.csv", rows("Frequency (Hz),THD L,THD R", HZ, 0.02, 0.02)),
    "a header that says input": (
        "r.csv",
        rows("Frequency (Hz),Input level L (dBV),Input level R (dBV)", HZ, FLAT, FLAT),
    ),
    "one channel's noise residual": ("r.csv", rows("Frequency (Hz),Residual (dBV)", HZ, FLAT)),
    "three points": ("b.csv", b"Frequency (Hz),Level (dBV)\n20,0\n1000,9\n20000,0\n"),
    "no table": ("readme.txt", b"measured on a rainy day, 3 cups of tea\n"),
    "a picture": ("photo.csv", bytes(range(256)) * 4),
    "nothing": ("empty.csv", b""),
}


@pytest.mark.parametrize(("name", "content"), DOUBTFUL.values(), ids=DOUBTFUL)
def test_what_allows_two_readings_is_asked_about(name, content, tmp_path):
    (tmp_path / "session.toml").write_text('[unit]\nmaker = "A"\nmodel = "B"\n\n[bench]\nload = "8 ohm"\n')
    (tmp_path / "measurements" / name).parent.mkdir(parents=True)
    (tmp_path / "measurements" / name).write_bytes(content)
    files = read(tmp_path)
    (only,) = files.recognised
    assert only.question, only.table
    assert not files.faults
    assert files.session.measurements == ()
    assert any(line.startswith(f"measurements/{name} is left out: ") for line in files.left_out)


# what a chirp or music holds isn't any kind: it is left out when it is measured, or asked about before
@pytest.mark.parametrize(
    "signal", [CHIRP, CHIRP * sine(3, 1), np.cumsum(RNG.normal(0, 1e-3, TIME.size)) * sine(440, 1)]
)
def test_a_signal_of_no_kind_never_gives_a_figure(signal, tmp_path):
    (tmp_path / "session.toml").write_text('[unit]\nmaker = "A"\nmodel = "B"\n')
    (tmp_path / "measurements").mkdir()
    (tmp_path / "measurements" / "x.wav").write_bytes(wav(signal, signal))
    episode = check(tmp_path)
    assert episode.findings == ()
    assert any("measurements/x.wav is left out: " in line for line in episode.left_out)
