"""The command line as a user meets it: exit statuses, help, what is said where, and what is never said."""

from __future__ import annotations

import argparse
import json
import os
import pty
import re
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from reviewkit import __version__
from reviewkit.commands import argument_parser

ONLY_UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
SWEEP = """Frequency (kHz);Left (dBV);Right (dBV)
0,02;1,50;1,40
0,2;1,60;1,50
1;1,61;1,52
5;1,60;1,50
20;1,20;1,10
"""


def commands() -> dict[str, argparse.ArgumentParser]:
    for action in argument_parser.make_parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    raise AssertionError("no commands")


def size_of(png: Path) -> tuple[int, int]:
    """Width and height from a PNG's header (W3C PNG, IHDR, from memory: big-endian, behind the first chunk's name)."""
    head = png.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", head[16:24])
    return width, height


# ------------------------------------------------------------------ help


def test_the_commands_are_the_promised_ones():
    assert {"new", "read", "check", "build"} <= set(commands())


@pytest.mark.parametrize("command", sorted(commands()))
def test_the_help_of_every_command_teaches(command, say):
    said = say(command, "--help")
    assert (said.status, said.err) == (0, "")
    parser = commands()[command]
    assert parser.description
    assert len(parser.description.split()) >= 8
    for action in parser._actions:
        # every option and every argument says what it does, in more than its own name
        assert action.help, f"{command} {action.metavar or action.dest}: no help"
        assert len(action.help.split()) >= 3, f"{command} {action.metavar or action.dest}: {action.help}"
        assert " ".join(action.help.split()[:3]) in " ".join(said.out.split())
        for option in action.option_strings:
            assert option in said.out


def test_the_first_help_names_every_command_the_first_steps_and_the_exit_statuses(say):
    said = say("--help")
    assert (said.status, said.err) == (0, "")
    for command in commands():
        assert re.search(rf"^ +{command} +\w", said.out, re.MULTILINE)
    assert "reviewkit new " in said.out
    assert "reviewkit build " in said.out
    statuses = " ".join(said.out.split("exit status")[1].split())
    for status in ("0 done", "2 the input or the command line is wrong", "1 it could not finish"):
        assert status in statuses


def test_the_version(say):
    assert say("--version").out.strip() == f"reviewkit {__version__}"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "command"),
        (["make", "x"], "make"),
        (["build"], "SESSION"),
        (["build", "x", "--size", "720"], "720"),
        (["build", "x", "--jobs", "0"], '"0" is not a number of processes; write 1 to 64'),
        (["build", "x", "--jobs", "many"], '"many" is not a number of processes; write 1 to 64'),
        (["build", "x", "--colour"], "--colour"),
        (["check", "x", "y"], "y"),
        (["build", "x", "y", "--out", "z"], "--out takes one session"),
    ],
)
def test_a_wrong_command_line_is_status_2_and_says_what_is_wrong(arguments, told, say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    said = say(*arguments)
    assert said.status == 2
    assert said.out == ""
    assert told in said.err
    assert list(tmp_path.iterdir()) == []


# ------------------------------------------------------------------ read


def test_read_says_in_words_how_a_file_is_understood(say, tmp_path):
    (tmp_path / "sweep.csv").write_text(SWEEP, encoding="utf-8")
    said = say("read", tmp_path / "sweep.csv")
    assert (said.status, said.err) == (0, "")
    first, *columns = said.out.splitlines()
    assert first == "sweep.csv: 5 rows, utf-8, separated by semicolon, decimal comma"
    assert columns == [
        "  the header is line 1: Frequency (kHz);Left (dBV);Right (dBV)",
        "  the readings begin in line 2",
        '  frequency in Hz, from "Frequency (kHz)": 20 to 20000',
        '  level L in dBV, from "Left (dBV)": 1.2 to 1.61',
        '  level R in dBV, from "Right (dBV)": 1.1 to 1.52',
        "  recognised as: response (levels over frequency)",
    ]


def test_read_takes_a_folder(say, tmp_path):
    for name in ("before/response.csv", "odd.txt", ".hidden"):
        (tmp_path / "bench" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "bench" / name).write_text(SWEEP if name.endswith("csv") else "no table\n", encoding="utf-8")
    said = say("read", tmp_path / "bench" / "before")
    assert said.out.splitlines()[-1] == "  recognised as: response, stage before (levels over frequency)"
    lines = say("read", tmp_path / "bench").out.splitlines()
    assert lines[0] == "before/response.csv: 5 rows, utf-8, separated by semicolon, decimal comma"
    assert lines[-2] == ""
    assert lines[-1].startswith("odd.txt:1: no row holds two numbers or more")
    assert not any("hidden" in line for line in lines)
    assert list(json.loads(say("read", tmp_path / "bench", "--json").out)) == ["before/response.csv"]
    (tmp_path / "empty").mkdir()
    assert say("read", tmp_path / "empty").status == 2


def test_check_says_what_files_were_recognised_as_and_asks(say, tmp_path):
    (tmp_path / "measurements").mkdir()
    (tmp_path / "session.toml").write_text('[unit]\nmaker = "A"\nmodel = "B"\n', encoding="utf-8")
    (tmp_path / "measurements" / "response.csv").write_text(SWEEP, encoding="utf-8")
    (tmp_path / "measurements" / "odd.csv").write_text("Frequency (Hz),Level (dBV)\n20,0\n1000,9\n20000,0\n")
    lines = say("check", tmp_path).out.splitlines()
    assert lines[1] == "  measurements/response.csv: response, drive 1.2 V (levels over frequency)"
    ask = "measurements/odd.csv is left out: levels over frequency, of too few points to tell: response or contour?"
    assert f"  {ask}" in lines
    assert lines[-3:] == ["[[measurement]]", 'file = "measurements/odd.csv"', 'kind = "response"  # or "contour"']


def test_read_as_json_has_the_promised_shape(say, tmp_path):
    (tmp_path / "sweep.csv").write_text(SWEEP, encoding="utf-8")
    said = say("read", tmp_path / "sweep.csv", "--json")
    assert (said.status, said.err) == (0, "")
    told = json.loads(said.out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert set(told) == {"columns", "rows", "encoding", "separator", "decimal", "skipped", "warnings"}
    assert [(c["role"], c["channel"], c["unit"]) for c in told["columns"]] == [
        ("frequency", "", "Hz"),
        ("level", "L", "dBV"),
        ("level", "R", "dBV"),
    ]
    assert all(set(c) == {"role", "channel", "unit", "values"} for c in told["columns"])
    assert told["columns"][0]["values"] == pytest.approx([20, 200, 1000, 5000, 20000], rel=1e-12)
    assert told["columns"][1]["values"] == [1.5, 1.6, 1.61, 1.6, 1.2]
    assert (told["rows"], told["encoding"], told["separator"], told["decimal"]) == (5, "utf-8", ";", ",")
    assert told["skipped"] == []
    assert told["warnings"] == []


def test_read_converts_each_column_to_the_unit_it_names(say, tmp_path):
    text = "Time (ms),Left (mV),Right (mV)\n0.0,10,-20\n0.5,1000,2000\n1.0,-10,20\n1.5,12,-3\n"
    (tmp_path / "wave.csv").write_text(text, encoding="utf-8")
    told = json.loads(say("read", tmp_path / "wave.csv", "--json").out)
    by_name = {(c["role"], c["channel"]): (c["unit"], c["values"]) for c in told["columns"]}
    assert by_name["time", ""] == ("s", pytest.approx([0, 0.0005, 0.001, 0.0015]))
    assert by_name["level", "L"] == ("V", pytest.approx([0.01, 1.0, -0.01, 0.012]))
    assert by_name["level", "R"] == ("V", pytest.approx([-0.02, 2.0, 0.02, -0.003]))


@pytest.mark.parametrize("name", ["response.csv", "tone-after.txt", "distortion-40w.csv", "power-4ohm.txt"])
def test_read_reads_the_samples_own_files(name, say, checkout):
    said = say("read", checkout / "sample_session" / "measurements" / name)
    assert (said.status, said.err) == (0, "")
    rows = int(re.search(r"(\d+) rows", said.out)[1])
    assert rows > 20
    assert said.out.count(' from "') == 3


def test_read_says_which_rows_it_left_out_and_why(say, tmp_path):
    rows = "".join(f"{100 * n},0.{n:02d},{'--' if n == 7 else '-0.1'}\n" for n in range(1, 21))
    (tmp_path / "sweep.csv").write_text("Frequency (Hz),Left (dB),Right (dB)\n" + rows, encoding="utf-8")
    told = json.loads(say("read", tmp_path / "sweep.csv", "--json").out)
    assert [entry["line"] for entry in told["skipped"]] == [8]
    assert told["skipped"][0]["why"]
    assert told["rows"] == 19
    assert f"line 8 skipped: {told['skipped'][0]['why']}" in say("read", tmp_path / "sweep.csv").out


def test_read_names_the_line_that_it_cannot_read(say, tmp_path):
    (tmp_path / "sweep.csv").write_text(SWEEP + "end of data\n", encoding="utf-8")
    said = say("read", tmp_path / "sweep.csv")
    assert (said.status, said.out) == (2, "")
    assert re.search(r'^sweep\.csv:7: "end of data" .*; .*#', said.err, re.MULTILINE)


# ------------------------------------------------------------------ paths that cannot be read


@pytest.mark.parametrize("command", ["read", "check", "build"])
@pytest.mark.parametrize("kind", ["missing", "folder or file", "loop", "binary"])
def test_a_path_that_cannot_be_read_is_status_2_and_named(command, kind, say, tmp_path):
    place = tmp_path / "thing"
    if kind == "folder or file":
        place.mkdir() if command == "read" else place.write_text("x", encoding="utf-8")
    elif kind == "loop":
        place.symlink_to(place)
    elif kind == "binary":
        if command == "read":
            place.write_bytes(bytes(range(256)) * 20)
        else:
            place.mkdir()
            (place / "session.toml").write_bytes(bytes(range(256)) * 20)
    said = say(command, place)
    assert said.status == 2
    assert said.out == ""
    assert re.search(r"thing|session\.toml", said.err)
    assert "nothing was written" in said.err
    assert not (place / "out").exists()


# ------------------------------------------------------------------ check and build


def test_check_says_that_nothing_is_wrong_and_writes_nothing(say, session_of):
    folder = session_of(ONLY_UNIT)
    before = sorted(folder.rglob("*"))
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    assert said.out.startswith(f"{folder}: nothing wrong; 0 figures, 1 card\n")
    assert sorted(folder.rglob("*")) == before


def test_check_of_the_sample_counts_what_it_has(say, sample, episode):
    said = say("check", sample.folder)
    assert (said.status, said.err) == (0, "")
    assert f"nothing wrong; {len(episode.findings)} figures, {len(episode.cards)} cards" in said.out
    assert "no final.txt: the description has no chapters" in said.out


def test_build_is_quiet_where_nobody_looks(say, session_of):
    folder = session_of(ONLY_UNIT)
    said = say("build", folder)
    assert (said.status, said.out, said.err) == (0, "", "")
    assert (folder / "out" / "findings.json").is_file()
    assert size_of(folder / "out" / "cards" / "01-title.png") == (1920, 1080)


def test_build_to_another_folder_at_twice_the_size(say, session_of, tmp_path):
    folder = session_of(ONLY_UNIT)
    said = say("build", folder, "--out", tmp_path / "elsewhere", "--size", "2160", "--quiet")
    assert (said.status, said.out, said.err) == (0, "", "")
    assert size_of(tmp_path / "elsewhere" / "cards" / "01-title.png") == (3840, 2160)
    assert not (folder / "out").exists()


def test_only_redraws_one_card_and_touches_nothing_else(say, session_of):
    folder = session_of(ONLY_UNIT + '[[rated]]\nquantity = "damping factor"\nat_least = 60\n')
    assert say("build", folder).status == 0
    there = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    (folder / "out" / "cards" / "02-rated.png").write_bytes(b"spoilt")
    (folder / "out" / "findings.json").write_bytes(b"mine")
    assert say("build", folder, "--only", "rated").status == 0
    there[folder / "out" / "findings.json"] = b"mine"
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == there


def test_only_names_the_nearest_card(say, session_of):
    folder = session_of(ONLY_UNIT)
    said = say("build", folder, "--only", "titel")
    assert said.status == 2
    assert said.err.startswith('--only: no card "titel"; did you mean "title"?')
    assert not (folder / "out").exists()


def test_several_sessions_each_get_their_own_out(say, session_of):
    one, other = session_of(ONLY_UNIT, name="one"), session_of(ONLY_UNIT.replace("Forty", "Sixty"), name="other")
    said = say("build", one, other, "--jobs", "2")
    assert (said.status, said.out, said.err) == (0, "", "")
    assert "Norrvale Forty" in (one / "out" / "outline.md").read_text(encoding="utf-8")
    assert "Norrvale Sixty" in (other / "out" / "outline.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("order", [1, -1])
def test_of_several_sessions_one_wrong_leaves_all_unwritten(order, say, session_of):
    good, bad = session_of(ONLY_UNIT, name="good"), session_of("[unit]\nmaker = 3\n", name="bad")
    said = say("build", *[good, bad][::order])
    assert said.status == 2
    assert "nothing was written" in said.err
    assert not (good / "out").exists()
    assert not (bad / "out").exists()


def test_a_rating_that_is_not_met_is_news_and_no_error(sample, episode):
    # the sample's damping factor falls short of its rating, and its build ended well
    assert "falls short" in {verdict.verdict for verdict in episode.verdicts}
    assert (sample.out / "findings.json").is_file()


def test_a_full_disk_is_status_1_and_leaves_the_last_build(say, session_of, monkeypatch):
    folder = session_of(ONLY_UNIT)
    assert say("build", folder).status == 0
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    (folder / "session.toml").write_text(ONLY_UNIT.replace("Forty", "Sixty"), encoding="utf-8")
    before[folder / "session.toml"] = (folder / "session.toml").read_bytes()

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    said = say("build", folder)
    assert said.status == 1
    assert said.out == ""
    assert said.err.startswith("reviewkit: could not finish: ")
    assert "No space left on device" in said.err
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_a_new_folder_that_cannot_be_made_is_status_1(say, tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    said = say("new", tmp_path / "file" / "session")
    assert said.status == 1
    assert str(tmp_path / "file" / "session") in said.err


# ------------------------------------------------------------------ as a process of its own


def on_a_terminal(arguments: list[str], folder: Path) -> tuple[int, str]:
    """Run the command with its output on a pseudo-terminal; exit status and what stood there."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "PYTHONPATH": str(folder)}
    try:
        process = subprocess.Popen(
            [sys.executable, "-m", "reviewkit", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=theirs,
            stderr=theirs,
            env=environment,
        )
    finally:
        os.close(theirs)
    seen = b""
    while True:
        try:
            more = os.read(ours, 65536)
        except OSError:  # Linux says so where the other end is closed
            break
        if not more:
            break
        seen += more
    os.close(ours)
    return process.wait(), seen.decode("utf-8", "replace")


def test_on_a_terminal_a_build_ends_with_a_summary(checkout, session_of, tmp_path):
    folder = session_of(ONLY_UNIT + '[[rated]]\nquantity = "damping factor"\nat_least = 60\n')
    out = tmp_path / "elsewhere"
    status, seen = on_a_terminal(["build", str(folder), "--only", "title", "--out", str(out)], checkout)
    assert status == 0
    assert f"{out}: 1 file written" in seen
    assert "  not measured: Damping factor" in seen
    assert "  no final.txt: the description has no chapters" in seen
    assert [path.name for path in (out / "cards").iterdir()] == ["01-title.png"]


def test_on_a_terminal_quiet_is_quiet(checkout, session_of):
    status, seen = on_a_terminal(["build", str(session_of(ONLY_UNIT)), "--quiet", "--only", "title"], checkout)
    assert (status, seen) == (0, "")


def test_the_process_exits_with_the_commands_status(checkout, session_of):
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodell = "Forty"\n')
    ran = subprocess.run(
        [sys.executable, "-m", "reviewkit", "check", folder], cwd=checkout, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "session.toml:3: " in ran.stderr
    assert "Traceback" not in ran.stderr


# ------------------------------------------------------------------ read: what it says of each sort of file


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("response.csv", ["the header is line 1: Frequency (Hz),Left (dBV)", "in falling order: reversed"]),
        ("power-4ohm.txt", ["separated by tab", "the units are in a row of their own: V"]),
        ("spectrum-40w.csv", ["lines 1 to 4 skipped", "the readings begin in line 6"]),
        ("source-impedance.csv", ["line 63 skipped: column 2 (Impedance L (mΩ)) has"]),
        ("idle.wav", ["24-bit", "48 kHz", 'full_scale = "10 V"']),
        ("readings.csv", ["dc offset L: 0.011 V", "input sensitivity"]),
    ],
)
def test_read_says_how_a_file_was_understood(name, said, say, checkout):
    printed = say("read", checkout / "sample_session" / "measurements" / name)
    assert (printed.status, printed.err) == (0, "")
    for part in said:
        assert part in printed.out


def test_read_gives_single_readings_as_json(say, checkout):
    data = json.loads(say("read", checkout / "sample_session" / "measurements" / "readings.csv", "--json").out)
    assert data["columns"] == []
    assert {"name": "dc_offset", "channel": "L", "value": 0.011, "unit": "V"}.items() <= data["readings"][0].items()
