"""Files whose kind the session doesn't say: recognised right, or asked about; never wrong."""

from __future__ import annotations

import math
import shutil
import sys
from pathlib import Path

import pytest

from reviewkit.build.session_files import read
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure import KINDS
from reviewkit.model.recognised import Recognised
from reviewkit.model.session import Measurement

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
    bench = text[text.index("[bench]") :].split("\n\n")[0]
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
    return [SAMPLE, third, receiver]


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
