"""What watch does on a save, without a browser: only what changed is made, as a build makes it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from contextlib import closing

import pytest
from one_evening import HZ, roll_off, table

from reviewkit.build.build import build
from reviewkit.build.cache import open_cache
from reviewkit.build.options import Options
from reviewkit.build.pool import ALONE
from reviewkit.commands import cli

pytest.importorskip("watchfiles", reason="needs watchfiles: pip install -e '.[test]'")
pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")
from reviewkit.commands.desk.live_session import LiveSession

SESSION = """
[unit]
maker = "Norrvale"
model = "Forty"

[bench]
load = "8 ohm"
channels = "both"
level_uncertainty = "0.05 dB"

[[rated]]
quantity = "response"
within = "0.5 dB"
band = ["20 Hz", "20 kHz"]

[[measurement]]
file = "measurements/flat.csv"
kind = "response"
drive = "1 W"

[[measurement]]
file = "measurements/bass.csv"
kind = "contour"
against = "flat"
setting = "bass full up"
drive = "1 W"

[[measurement]]
file = "measurements/leak.csv"
kind = "crosstalk"
"""


def flat(corner_hz):
    level = roll_off(corner_hz)
    return table("Frequency (Hz),Left (dBV),Right (dBV)", level, level)


def files():
    raised = 10 / (1 + (HZ / 300) ** 2)
    return {
        "measurements/flat.csv": flat(70_000),
        "measurements/bass.csv": table("Frequency (Hz),Left (dBV),Right (dBV)", raised, raised),
        "measurements/leak.csv": table("Frequency (Hz),L to R (dB),R to L (dB)", -60, -62),
    }


def outputs(out):
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and not path.name.startswith(".")
    }


@pytest.fixture
def bench(session_of):
    """A session that was built once, and how it is saved and built again."""
    made = LiveSession(session_of(SESSION, files()), ALONE, open_cache())

    def save(name, text):
        place = made.folder.resolve() / name
        place.parent.mkdir(exist_ok=True)
        beside = place.with_name(".beside")
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, place)  # noqa: PTH105
        return made.build({place})

    first = made.build(set())
    assert first.faults == ()
    made.save = save
    return made


def test_a_save_draws_only_what_it_changes_and_leaves_what_a_build_leaves(bench, tmp_path):
    first = outputs(bench.out)
    rebuilt = bench.save("measurements/leak.csv", files()["measurements/leak.csv"].replace("-60.000", "-55.000"))
    now = outputs(bench.out)
    assert rebuilt.cards[:1] == ("leak",)
    assert not {"flat", "bass"} & set(rebuilt.cards)
    assert {name for name in now if name.startswith("cards/") and now[name] != first[name]} == {
        f"cards/{number:02d}-{card.id}.png"
        for number, card in enumerate(bench.shown.episode.cards, start=1)
        if card.id in rebuilt.cards
    }
    # what another measurement is held against changes that one, too: 20 kHz falls by 10 lg(1 + (20/35)²) = 1.23 dB
    rebuilt = bench.save("measurements/flat.csv", flat(35_000))
    assert {"flat", "bass"} <= set(rebuilt.cards)
    assert "leak" not in rebuilt.cards
    assert [v.verdict for v in bench.shown.episode.verdicts] == ["falls short"]
    build(bench.folder, Options(out=tmp_path / "afresh"))
    assert outputs(bench.out) == outputs(tmp_path / "afresh")


def test_a_broken_file_says_what_is_wrong_and_the_last_outputs_stay(bench):
    first = outputs(bench.out)
    rebuilt = bench.save("measurements/leak.csv", "Frequency (Hz),L to R (dB)\n20,-60\n10,-60\n15,-60\n")
    assert (rebuilt.cards, rebuilt.files) == ((), 0)
    assert [fault.split(":")[:2] for fault in bench.faults] == [["measurements/leak.csv", "3"]]
    assert outputs(bench.out) == first
    rebuilt = bench.save("measurements/leak.csv", files()["measurements/leak.csv"])
    assert (rebuilt.faults, rebuilt.cards) == ((), ())
    assert outputs(bench.out) == first


def test_outputs_that_were_taken_away_are_put_back_and_templates_of_the_sessions_own_count(bench):
    name = next(name for name in outputs(bench.out) if "leak" in name)
    (bench.out / name).unlink()
    (bench.out / "mine.txt").write_text("kept", encoding="utf-8")
    bench.save("templates/description.txt.j2", "My own.\n")
    assert name in outputs(bench.out)
    assert outputs(bench.out)["description.txt"] == b"My own.\n"
    assert outputs(bench.out)["mine.txt"] == b"kept"
    rebuilt = bench.save("templates/description.txt.j2", "{{ nobody_knows }}\n")
    assert "description.txt.j2:1" in rebuilt.faults[0]
    assert outputs(bench.out)["description.txt"] == b"My own.\n"
    (bench.folder / "measurements" / "leak.csv").unlink()  # else it is recognised without its table
    bench.save("session.toml", SESSION.split('[[measurement]]\nfile = "measurements/leak')[0])
    (bench.folder / "templates" / "description.txt.j2").unlink()
    bench.build(set())
    assert not any("leak" in name for name in outputs(bench.out))


# ------------------------------------------------------------------ the command


@pytest.mark.parametrize("library", ["watchfiles", "starlette", "uvicorn"])
@pytest.mark.parametrize("command", ["desk", "watch"])
def test_without_the_libraries_it_says_how_to_add_them(say, tmp_path, monkeypatch, command, library):
    for name in [name for name in sys.modules if name.startswith("reviewkit.commands.desk")]:
        monkeypatch.delitem(sys.modules, name)
    for name in [library, *(name for name in sys.modules if name.startswith(f"{library}."))]:
        monkeypatch.setitem(sys.modules, name, None)
    said = say(command, tmp_path / "none")  # with the libraries it would not wait for anybody either
    assert said.status == cli.WRONG_INPUT
    assert said.err.startswith(f"{command} needs the library {library}: pip install 'bench-reviewkit[desk]'")


def test_a_folder_that_is_not_there_and_a_port_that_is_taken(say, session_of, tmp_path):
    assert say("watch", tmp_path / "none").status == cli.WRONG_INPUT
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
        said = say("watch", session_of(SESSION, name="other"), "--port", port)
    assert (said.status, f"port {port}" in said.err) == (cli.UNFINISHED, True)
    assert say("watch", tmp_path, "--port", "http").status == cli.WRONG_INPUT


@pytest.mark.parametrize("command", ["desk", "watch"])
def test_ctrl_c_ends_it_cleanly_even_within_the_first_build(session_of, command):
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n')
    line = [sys.executable, "-u", "-m", "reviewkit", command, str(folder)]

    def as_on_a_terminal():
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # whoever runs the tests in the background has it ignored

    with subprocess.Popen(
        line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=as_on_a_terminal
    ) as process:
        try:
            address = process.stdout.readline()
            process.send_signal(signal.SIGINT)
            rest = process.communicate(timeout=30)
        finally:
            process.kill()  # or leaving would wait without end
    assert "127.0.0.1:" in address
    assert process.returncode == 0
    assert rest[1] == ""
    assert not list((folder / "out").glob(".incoming*"))


def test_a_build_whose_progress_is_read_is_stopped_by_ctrl_c_even_if_it_was_started_in_the_background(session_of):
    """A shell starts a background job with Ctrl-C ignored, and what that starts inherits it: a desk, its build."""
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n')
    line = [sys.executable, "-m", "reviewkit", "build", "--progress", "--no-cache", "--jobs", "1", str(folder)]

    def in_the_background():
        signal.signal(signal.SIGINT, signal.SIG_IGN)

    with subprocess.Popen(line, stderr=subprocess.PIPE, text=True, preexec_fn=in_the_background) as process:
        begun = process.stderr.readline()
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=30)
    assert re.fullmatch(r"\w+ \d+ of \d+\n", begun)
    assert process.returncode not in (0, cli.WRONG_INPUT)
    assert not (folder / "out").exists()
