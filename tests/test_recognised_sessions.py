"""Sessions with files that no table names: what they are called, what tables add, what is left out."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.build import recognising
from reviewkit.build.cache import VARIABLE, open_cache
from reviewkit.build.pipeline import check
from reviewkit.build.recognising import recognise_file
from reviewkit.build.session_files import SessionFiles, read
from reviewkit.ingest.file_name import read_name
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError

sys.path.insert(0, str(Path(__file__).parent / "ingest"))
from every_reader import every_reader
from wild_files import wild

HEAD = '[unit]\nmaker = "A"\nmodel = "B"\n\n[bench]\nload = "8 ohm"\n'
READERS = every_reader()

WORDS = {name: kind.file_words for name, kind in KINDS.items()}


def sweep(level_dbv: float = 0.0, droop: float = 0.0) -> str:
    hertz = np.geomspace(10, 40_000, 60)
    level = level_dbv - droop * hertz / 10_000
    lines = (f"{hz:.3f},{db:.4f},{db - 0.1:.4f}" for hz, db in zip(hertz, level, strict=True))
    return "\n".join(("Frequency (Hz),Left (dBV),Right (dBV)", *lines)) + "\n"


def tone(seconds: float = 0.2) -> np.ndarray:
    time = np.arange(round(48_000 * seconds)) / 48_000
    return 0.5 * np.sin(2 * np.pi * 1000 * time) + np.random.default_rng(1).normal(0, 1e-5, time.size)


@pytest.fixture
def folder(tmp_path) -> Path:
    (tmp_path / "measurements").mkdir()
    return tmp_path


def write(folder: Path, toml: str = "", **files: str) -> SessionFiles:
    """The session read; files by their names, in which __ stands for a slash."""
    (folder / "session.toml").write_text(HEAD + toml, encoding="utf-8")
    for name, content in files.items():
        stem, _, ending = name.replace("__", "/").rpartition("_")
        place = folder / "measurements" / f"{stem}.{ending}"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(content, encoding="utf-8")
    return read(folder)


def ids(files: SessionFiles) -> dict[str, str]:
    return {m.file.removeprefix("measurements/"): m.id for m in files.session.measurements}


def question(files: SessionFiles, name: str) -> str:
    return next(each.question for each in files.recognised if each.file == f"measurements/{name}")


# ------------------------------------------------------------------ ids


def test_ids_come_from_the_path_where_stems_repeat(folder):
    files = write(folder, before__response_csv=sweep(), after__response_csv=sweep(1), after__other_csv=sweep(2))
    assert ids(files) == {
        "after/other.csv": "other",
        "after/response.csv": "after-response",
        "before/response.csv": "before-response",
    }
    cards = {card.first for card in check(folder).cards}
    assert {"response", "other"} <= cards


def test_tables_of_two_files_with_one_stem_have_ids_too(folder):
    table = '\n[[measurement]]\nkind = "response"\nfile = "measurements/{}/r.csv"\nstage = "{}"\n'
    toml = table.format("x", "before") + table.format("y", "after")
    assert ids(write(folder, toml, x__r_csv=sweep(), y__r_csv=sweep(1))) == {"x/r.csv": "x-r", "y/r.csv": "y-r"}


def test_a_file_without_a_table_takes_no_id_away_from_one_with(folder):
    table = '\n[[measurement]]\nkind = "response"\nfile = "measurements/r.csv"\n'
    files = write(folder, table, r_csv=sweep(), more__r_csv=sweep(1), table_csv=sweep(2))
    # "table" is the name of another card
    assert ids(files) == {"r.csv": "r", "more/r.csv": "more-r", "table.csv": "table-csv"}


def test_a_name_that_is_not_safe_everywhere_gives_a_safe_id(folder):
    (folder / "session.toml").write_text(HEAD, encoding="utf-8")
    (folder / "measurements" / "Höhe (2).csv").write_text(sweep(), encoding="utf-8")
    assert ids(read(folder)) == {"Höhe (2).csv": "Hohe-2"}


# ------------------------------------------------------------------ what tables add


def test_a_table_without_a_kind_says_what_differs(folder):
    toml = '\n[[measurement]]\nfile = "measurements/response 1W.csv"\nsetting = "direct"\nload = "4 ohm"\n'
    (folder / "measurements" / "response 1W.csv").write_text(sweep(6.02), encoding="utf-8")
    (only,) = write(folder, toml).session.measurements
    assert (only.kind, only.setting, only.load_ohm, only.drive_w, only.id) == (
        "response",
        "direct",
        4,
        1,
        "response-1W",
    )


def test_a_table_with_a_kind_is_taken_as_it_is_written(folder):
    toml = '\n[[measurement]]\nkind = "response"\nfile = "measurements/before/response.csv"\n'
    (only,) = write(folder, toml, before__response_csv=sweep()).session.measurements
    assert (only.stage, only.drive_v) == ("", None)


def test_a_table_whose_file_is_unclear_is_at_fault(folder):
    toml = '\n[[measurement]]\nfile = "measurements/b.csv"\n'
    with pytest.raises(InputError) as raised:
        write(folder, toml, b_csv=sweep(droop=5))
    assert str(raised.value) == (
        "session.toml:9: [[measurement]] b: no kind is given, and measurements/b.csv doesn't show it: levels over "
        'frequency, 4.4 dB off those at 1 kHz: response or contour?; write kind = "response" or kind = "contour"'
    )


def test_of_a_table_whose_file_is_absent_that_is_all_that_is_said(folder):
    """Nothing can be asked of its kind, and the other files are not to blame."""
    toml = '\n[[measurement]]\nfile = "measurements/after/phono.csv"\nload = "open"\n'
    with pytest.raises(InputError) as raised:
        write(folder, toml, after__response_csv=sweep(), before__response_csv=sweep(1))
    (fault,) = raised.value.faults
    assert (fault.line, fault.message.partition(": ")[2][:50]) == (
        9,
        'file = "measurements/after/phono.csv": there is no',
    )


def test_one_table_for_many_files(folder):
    toml = '\n[[measurement]]\nfiles = "measurements/x/*.csv"\nstage = "after"\nsetting = "direct"\n'
    files = write(folder, toml, x__a_csv=sweep(), x__b_csv=sweep(1), y__c_csv=sweep(2), x__d_csv=sweep(droop=5))
    assert {m.id: (m.kind, m.stage, m.setting) for m in files.session.measurements} == {
        "a": ("response", "after", "direct"),
        "b": ("response", "after", "direct"),
    }
    assert "was it made before the repair or after it?" in question(files, "y/c.csv")
    assert "response or contour?" in question(files, "x/d.csv")


def test_a_pattern_may_be_the_path_of_one_file(folder):
    table = '\n[[measurement]]\nfiles = "measurements/after/a 4 W.csv"\nsetting = "own"\n'
    (folder / "measurements" / "after").mkdir(parents=True)
    (folder / "measurements" / "after" / "a 4 W.csv").write_text(sweep(), encoding="utf-8")
    files = write(folder, table, after__b_csv=sweep(1))
    assert {m.id: m.setting for m in files.session.measurements} == {"a-4-W": "own", "b": ""}


def test_a_file_with_its_own_table_is_none_of_the_many(folder):
    many = '\n[[measurement]]\nfiles = "measurements/*.csv"\nkind = "response"\nsetting = "many"\n'
    own = '\n[[measurement]]\nfile = "measurements/a.csv"\nkind = "response"\nsetting = "own"\n'
    files = write(folder, many + own, a_csv=sweep(), b_csv=sweep(1))
    assert {m.id: m.setting for m in files.session.measurements} == {"a": "own", "b": "many"}


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ('files = "measurements/*.txt"', r'files = "measurements/\*\.txt" fits no file that no table names; correct'),
        ('files = "measurements/*.csv"\nid = "x"', r'files = "measurements/\*\.csv" and id exclude each other; leave'),
        ('files = "measurements/*.csv"\nfile = "measurements/a.csv"', r"and file exclude each other"),
        ("files = 5", r"files = 5 is not text"),
    ],
)
def test_a_pattern_that_is_wrong(keys, message, folder):
    with pytest.raises(InputError, match=rf"session\.toml:\d+: \[\[measurement\]\] .*{message}"):
        write(folder, f'\n[[measurement]]\nkind = "response"\n{keys}\n', a_csv=sweep())


# ------------------------------------------------------------------ what is left out


def test_what_is_ignored_hidden_or_named_elsewhere_is_not_looked_at(folder):
    toml = '\n[files]\nignore = ["*.tmp", "measurements/old/*"]\n\n[episode]\nphoto = "measurements/front.png"\n'
    from PIL import Image

    Image.new("RGB", (64, 36)).save(folder / "measurements" / "front.png")
    (folder / "measurements" / ".hidden.csv").write_text(sweep(), encoding="utf-8")
    (folder / "measurements" / "copy.csv~").write_text(sweep(), encoding="utf-8")
    files = write(folder, toml, a_tmp=sweep(), old__b_csv=sweep(1), old__c_tmp=sweep(2), d_csv=sweep(3))
    assert [each.file for each in files.recognised] == ["measurements/d.csv"]


def test_ignore_outside_its_table_leads_there(folder):
    (folder / "session.toml").write_text(f'ignore = ["*.tmp"]\n{HEAD}', encoding="utf-8")
    with pytest.raises(InputError, match=r"is outside any table; put it under one, such as \[files\]"):
        read(folder)


def test_a_twin_of_another_file_is_left_out(folder):
    table = '\n[[measurement]]\nkind = "response"\nfile = "measurements/r.csv"\n'
    files = write(folder, table, r_csv=sweep(), copy_csv=sweep(), x_csv=sweep(1), y_csv=sweep(1))
    assert question(files, "copy.csv") == "it has the same content as measurements/r.csv"
    assert question(files, "y.csv") == "it has the same content as measurements/x.csv"
    assert set(ids(files)) == {"r.csv", "x.csv"}


def test_an_old_session_with_a_stray_file_is_not_at_fault(folder):
    """Its tables have no stage, and the folder of the stray one says one."""
    table = '\n[[measurement]]\nkind = "response"\nfile = "measurements/r.csv"\n'
    files = write(folder, table, r_csv=sweep(), before__old_csv=sweep(1), readme_txt="not a table\n")
    assert not files.faults
    assert list(ids(files)) == ["r.csv"]
    why = 'its path says "before", but the [[measurement]] measurements/r.csv has no stage; write one there'
    assert question(files, "before/old.csv") == why
    assert check(folder).findings


def test_a_stage_is_asked_for_where_something_was_repaired(folder):
    (folder / "repair.csv").write_text("point,action\nRelay,cleaned\n", encoding="utf-8")
    files = write(folder, r_csv=sweep(), after__s_csv=sweep(1))
    assert "was it made before the repair or after it?" in question(files, "r.csv")
    assert list(ids(files)) == ["after/s.csv"]


def test_a_control_needs_the_one_response_of_its_stage(folder):
    files = write(folder, bass_csv=sweep(droop=-2))
    assert "which response is it compared with? Of its stage there is none" in question(files, "bass.csv")
    files = write(folder, bass_csv=sweep(droop=-2), r_csv=sweep(1), s_csv=sweep(2))
    (asked,) = [each for each in files.recognised if each.question]
    assert asked.choices == ({"against": "r"}, {"against": "s"})
    (folder / "measurements" / "s.csv").unlink()
    bass, response = read(folder).session.measurements
    assert (bass.against, response.id) == ("r", "r")


def test_a_recognised_file_that_cannot_be_measured_is_left_out(folder):
    write(folder, r_csv=sweep())
    six_cycles = np.sin(2 * np.pi * 70 * np.arange(4114) / 48_000)
    soundfile.write(folder / "measurements" / "t.wav", 0.5 * six_cycles, 48_000, subtype="FLOAT")
    episode = check(folder)
    assert {run.conditions.measurement.id for run in episode.runs} == {"r"}
    assert any(line.startswith("measurements/t.wav is left out: ") for line in episode.left_out)


def test_a_recognised_capture_can_be_heard(folder):
    (folder / "measurements" / "before").mkdir()
    (folder / "measurements" / "after").mkdir()
    for place, samples in (("before", 0.5 * tone(0.6)), ("after", tone(0.6))):
        soundfile.write(folder / "measurements" / place / "tone.wav", samples, 48_000)
    files = write(folder, '\n[[sound]]\nid = "tone"\nbefore = "before-tone"\nafter = "after-tone"\n')
    assert [sound.of for sound in files.session.sounds] == ["tone"]
    assert check(folder).sounds


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_link_that_leads_outside_is_not_read(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "secret.csv"
    outside.write_text(sweep(), encoding="utf-8")
    (folder / "measurements" / "r.csv").symlink_to(outside)
    files = write(folder)
    assert question(files, "r.csv").startswith("leads outside the session's folder")
    assert files.session.measurements == ()
    assert "measurements/r.csv" not in files.digests


def test_more_files_than_any_session_has(folder, monkeypatch):
    monkeypatch.setattr(recognising, "MOST_FILES", 2)
    files = write(folder, a_csv=sweep(), b_csv=sweep(1), c_csv=sweep(2))
    assert list(ids(files)) == ["a.csv", "b.csv"]
    assert question(files, "c.csv") == "at most 2 such files are read"


# ------------------------------------------------------------------ whatever the files are


@settings(max_examples=60)
@given(data=st.one_of(wild(READERS["sheet"]), wild(READERS["capture"])), name=st.sampled_from(("x.csv", "noise.wav")))
def test_whatever_a_file_holds_it_is_recognised_or_asked_about(tmp_path_factory, data, name):
    folder = tmp_path_factory.mktemp("wild")
    (folder / name).write_bytes(data)
    assert "Recognised" in recognise_file(folder, name, {})


@given(st.text(max_size=60))
def test_whatever_a_name_is_it_can_be_read(name):
    assert read_name(f"measurements/{name}", WORDS).kinds <= set(KINDS)


@pytest.mark.parametrize(
    ("name", "table", "kinds"),
    [
        ("before/tone_8ohm-1W.csv", {"stage": "before", "load": "8 ohm", "drive": "1 W"}, {"tone"}),
        ("THD vs Power 4 Ohms.csv", {"load": "4 ohm"}, {"tone", "distortion-frequency", "distortion-power"}),
        ("resp 2.83V.csv", {"drive": "2.83 V"}, {"response"}),
        ("freq-resp_2,83V.csv", {"drive": "2.83 V"}, {"response"}),
        ("sweep 20Hz-20kHz.csv", {}, set()),
        ("as found/x.csv", {"stage": "before"}, set()),
        ("preamp.csv", {}, set()),
        ("tuner noise A-weighted.wav", {"input": "tuner", "weighting": "A"}, {"noise"}),
        ("phono tape out.csv", {"setting": "at the tape output", "load": "open"}, {"phono"}),
        ("tone controls flat.csv", {}, set()),  # what the controls are compared with
        ("eq flat.csv", {}, set()),
        ("flattop bass.csv", {}, {"contour"}),
        ("am tone.wav", {"input": "AM"}, {"tone"}),
        ("tone 10 am.wav", {}, {"tone"}),
        ("fm tone 65dBf.wav", {"input": "FM", "drive": "65 dBf"}, {"tone"}),
        ("phase.wav", {}, {"between-channels"}),
        ("low filter.csv", {}, {"contour"}),
        ("workbench.csv", {}, set()),
        ("loopback.csv", {"stage": "bench"}, set()),
        ("run 1 v 2.csv", {}, set()),
        ("L into R.csv", {}, {"crosstalk"}),
        ("direct.csv", {"setting": "direct"}, set()),
        ("tone 997Hz -60 dBFS.wav", {"frequency": "997 Hz", "drive": "-60 dBFS"}, {"tone"}),
        ("tone_0dBFS.wav", {"drive": "0 dBFS"}, {"tone"}),
        ("tone -20 dBFS -60dBFS.wav", {}, {"tone"}),
    ],
)
def test_what_a_name_says(name, table, kinds):
    read_ = read_name(f"measurements/{name}", WORDS)
    assert (dict(read_.table), set(read_.kinds)) == (table, kinds)


def test_what_a_file_that_was_written_to_meanwhile_is_recognised_as_is_not_kept(folder, tmp_path, monkeypatch):
    write(folder, after__response_csv=sweep())
    place, examine = folder / "measurements/after/response.csv", recognising.recognise_file
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))

    def written_to(*given):
        place.write_text("no table\n", encoding="utf-8")
        return examine(*given)

    monkeypatch.setattr(recognising, "recognise_file", written_to)
    assert question(read(folder, cache=open_cache()), "after/response.csv")
    monkeypatch.undo()
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))
    place.write_text(sweep(), encoding="utf-8")
    assert not question(read(folder, cache=open_cache()), "after/response.csv")
