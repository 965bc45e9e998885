"""The desk without a browser: what is next at the test points, what can be undone, what a dropped file is called."""

from __future__ import annotations

import shutil
from datetime import datetime
from types import SimpleNamespace

import pytest

pytest.importorskip("watchfiles", reason="needs watchfiles: pip install -e '.[test]'")
pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")

from reviewkit.commands.desk import points, session_edits
from reviewkit.commands.desk.build_process import BuildProcess
from reviewkit.commands.desk.dropped_files import clean_name
from reviewkit.commands.desk.inputs import MOST_CHANGES, Conflict, Inputs
from reviewkit.commands.desk.session_actions import SessionActions
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model.errors import InputError

HEAD = "point,expected,found,unit,tolerance,action,after,note\n"


def steps(*rows, done=()):
    return points.find_points(None, parse_repair(HEAD + "\n".join(rows)), (), done).steps


def test_a_point_out_of_tolerance_stops_everything_until_it_is_read_again():
    waiting = "Part,5,,V,,,,"
    (stop,) = steps('"Bias L, cold",22,21,mV,4 mV,,,', '"Bias R, cold",22,1,mV,4 mV,,,', waiting)
    assert (stop.kind, stop.text, stop.word) == (points.NO_GO, "Bias R, cold", "too low")
    rest = steps('"Bias R, cold",22,1,mV,4 mV,,,', waiting, done={stop.key})
    assert [(step.kind, step.text) for step in rest] == [(points.READING, "Part"), (points.HUNT, "Bias R, cold")]
    again = steps('"Bias R, cold",22,1,mV,4 mV,,30,', waiting, done={stop.key})
    assert [step.kind for step in again] == [points.NO_GO]  # read again, and still out
    good = steps('"Bias R, cold",22,1,mV,4 mV,,23,', waiting, done={stop.key})
    assert points.NO_GO not in [step.kind for step in good]


@pytest.mark.parametrize("found", ["open", "short", "2 V"])
def test_leakage_from_the_chassis_stops_everything_too(found):
    (stop,) = steps(f'"Leakage from the chassis, plug one way",0,{found},V,0.75 V,,,')
    assert stop.kind == points.NO_GO


def test_readings_come_cold_before_warm_and_rails_first():
    names = [step.text for step in steps()]
    assert names == [
        *("Rail, positive", "Rail, negative"),
        *("DC offset L, cold", "DC offset R, cold", "Bias L, cold", "Bias R, cold"),
        *("DC offset L, warm", "DC offset R, warm", "Bias L, warm", "Bias R, warm"),
    ]
    left = [step.text for step in steps('"Bias L, cold",22,21,mV,4 mV,,,', "Rail,38,38.2,V,5 %,,,")]
    assert "Bias L, cold" not in left
    assert "Bias R, cold" in left
    assert not any(name.startswith("Rail") for name in left)


# ------------------------------------------------------------------ what is written, and undone


@pytest.fixture
def inputs(tmp_path):
    (tmp_path / "session").mkdir()
    (tmp_path / "aside").mkdir()
    return Inputs(tmp_path / "session", tmp_path / "aside", lambda: datetime(2026, 1, 2, 23, 4))


def write(inputs, text, name="notes.txt"):
    inputs.change("note", "Note written", {name: lambda _: text})


def test_the_last_twenty_changes_are_undone_and_put_back(inputs):
    for number in range(MOST_CHANGES + 3):
        write(inputs, f"{number}\n")
    assert inputs.news == "Note written, 23:04"
    while inputs.to_undo:
        inputs.undo()
    assert inputs.text("notes.txt") == "2\n"
    while inputs.to_put_back:
        inputs.put_back()
    assert inputs.text("notes.txt") == f"{MOST_CHANGES + 2}\n"
    inputs.undo()
    write(inputs, "other\n")
    assert inputs.to_put_back == ""


def test_a_file_that_was_not_there_is_gone_again(inputs):
    write(inputs, "x\n")
    inputs.undo()
    assert list(inputs.folder.iterdir()) == []


def test_a_file_that_is_replaced_is_there_at_any_moment(inputs, tmp_path, monkeypatch):
    place, sizes = inputs.folder / "measurements/sweep.csv", []
    for text in ("old\n", "newer\n"):
        dropped = tmp_path / "dropped"
        dropped.write_text(text, encoding="utf-8")
        inputs.take_in("measurements/sweep.csv", dropped, "file", "Copied in")
    move = shutil.move

    def watched(*args):
        sizes.append(place.stat().st_size)
        return move(*args)

    monkeypatch.setattr(shutil, "move", watched)
    inputs.undo()
    assert (place.read_text(encoding="utf-8"), sizes) == ("old\n", [6])
    inputs.put_back()
    assert (place.read_text(encoding="utf-8"), sizes) == ("newer\n", [6, 4])
    monkeypatch.undo()
    inputs.undo()
    inputs.undo()
    assert list(place.parent.iterdir()) == []
    inputs.put_back()
    assert place.read_text(encoding="utf-8") == "old\n"


def test_what_another_program_has_written_is_never_undone_or_replaced(inputs):
    write(inputs, "mine\n")
    (inputs.folder / "notes.txt").write_text("theirs\n", encoding="utf-8")
    inputs.note_saves(["notes.txt"])
    assert inputs.news == "Notes.txt changed on disk, 23:04"
    with pytest.raises(Conflict):
        inputs.undo()

    def while_it_is_edited(text):
        (inputs.folder / "notes.txt").write_text("theirs, later\n", encoding="utf-8")
        return text + "mine\n"

    with pytest.raises(Conflict):
        inputs.change("note", "", {"notes.txt": while_it_is_edited})
    assert (inputs.folder / "notes.txt").read_text(encoding="utf-8") == "theirs, later\n"


def test_of_two_files_none_is_written_if_one_edit_fails(inputs):
    def fail(_):
        raise InputError(())

    with pytest.raises(InputError):
        inputs.change("both", "", {"notes.txt": lambda _: "x", "session.toml": fail})
    assert list(inputs.folder.iterdir()) == []


def test_a_file_that_is_no_text_or_leads_elsewhere_is_left_alone(inputs, tmp_path):
    (inputs.folder / "notes.txt").write_bytes(b"\xff")
    with pytest.raises(InputError, match="UTF-8"):
        write(inputs, "x")
    (tmp_path / "outside.txt").write_text("theirs", encoding="utf-8")
    (inputs.folder / "repair.csv").symlink_to(tmp_path / "outside.txt")
    with pytest.raises(InputError, match="leads outside"):
        write(inputs, "x", "repair.csv")
    assert (tmp_path / "outside.txt").read_text(encoding="utf-8") == "theirs"


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../x.csv", "x.csv"),
        ("a\\b\\x.csv", "x.csv"),
        (".hidden", "hidden"),
        ("x.csv.", "x.csv"),
        ("CON.csv", "_CON.csv"),
        ("a<b>|\x00\u202e.csv", "a_b____.csv"),
        ("Mesure n° 2 (après).csv", "Mesure n_ 2 (après).csv"),
        ("a" * 500 + ".csv", "a" * 120 + ".csv"),
    ],
)
def test_a_dropped_file_gets_a_name_that_any_system_keeps(name, kept):
    assert clean_name(name) == kept


@pytest.mark.parametrize("name", ["", "/", "..", "...", "-"])
def test_a_dropped_file_without_a_name_is_refused(name):
    with pytest.raises(InputError, match="rename it"):
        clean_name(name)


# ------------------------------------------------------------------ what holds for every measurement


def test_the_bench_is_written_key_by_key_and_comments_stay():
    text = '[unit]\nmaker = "Norrvale"\n\n# the bench in the shed\n[bench]\nload = "8 ohm"  # halved for 4\n'
    written = session_edits.describe_bench(text, {"load": "4 ohm", "input": "aux"})
    assert "# the bench in the shed" in written
    assert 'load = "4 ohm"  # halved for 4' in written
    assert session_edits.bench_values(written) == dict.fromkeys(session_edits.BENCH_KEYS, "") | {
        "load": "4 ohm",
        "input": "aux",
    }
    assert session_edits.bench_values(session_edits.describe_bench(written, {"load": "4 ohm"}))["input"] == ""
    assert session_edits.describe_bench(written, session_edits.bench_values(written)) == written


def test_a_bench_that_cannot_be_read_is_refused_before_it_is_written(tmp_path):
    # the kind of such a measurement is recognised from its file
    measured = '\n[[measurement]]\nfile = "measurements/x.csv"\nstage = "after"\n'
    text = f'[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n{measured}'
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    session = SimpleNamespace(folder=tmp_path, faults=(), shown=None)
    inputs = Inputs(tmp_path, tmp_path / "aside")
    act = SessionActions(session, inputs).by_name()["bench"]
    with pytest.raises(InputError, match="load"):
        act({"load": "a big one"})
    assert "bench" not in inputs.text("session.toml")
    act({"load": "8 ohm", "channels": "both"})
    assert '[bench]\nload = "8 ohm"\nchannels = "both"\n' in inputs.text("session.toml")


def test_a_second_stop_interrupts_no_more_than_the_first(tmp_path):
    sent = []
    slow = SimpleNamespace(poll=lambda: None, send_signal=sent.append, wait=lambda seconds=0: 0)
    build = BuildProcess(tmp_path, lambda: None, in_studio=False)
    build._process = slow
    build.stop()
    build.stop()
    assert len(sent) == 1
