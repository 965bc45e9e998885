"""What commands print, wherever it is printed: encodings without Ω, control characters, files that never end."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from reviewkit.commands.cli import run
from reviewkit.ingest.plain_text import decode
from reviewkit.model.errors import InputError, printable
from reviewkit.model.spoken import words

CHECKOUT = Path(__file__).resolve().parents[1]
IMPEDANCE = CHECKOUT / "sample_session" / "measurements" / "source-impedance.csv"
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'


def printed(encoding: str, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    """What a process of its own prints in an encoding."""
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(CHECKOUT), "PYTHONUTF8": "0"}
    command = [sys.executable, "-m", "reviewkit", *arguments]
    return subprocess.run(command, env=environment, capture_output=True, check=False, timeout=60)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_signs_that_an_encoding_lacks_are_spelled(encoding):
    done = printed(encoding, "read", str(IMPEDANCE))
    assert (done.returncode, done.stderr) == (0, b"")
    assert "impedance L in ohm, from" in done.stdout.decode(encoding)


def test_json_is_whole_in_every_encoding():
    plain, full = (printed(name, "read", "--json", str(IMPEDANCE)).stdout for name in ("ascii", "utf-8"))
    assert json.loads(plain.decode("ascii")) == json.loads(full.decode("utf-8"))


def test_messages_in_ascii(tmp_path):
    (tmp_path / "x.csv").write_text("Frequency (Hz),THD (%)\n20,-0.1\n40,0.1\n", encoding="utf-8")
    done = printed("ascii", "read", str(tmp_path / "x.csv"))
    assert done.returncode == 2
    assert b"x.csv:2: -0.1 in column 2 (THD (%)) cannot be a distortion" in done.stderr


def test_no_header_steers_the_terminal(tmp_path, capsys):
    header = "Frequency (Hz),Level \u202e(dBV) \x85\u2066left\n"
    (tmp_path / "x.csv").write_text(header + "20,1\n40,2\n", encoding="utf-8")
    assert run(["read", str(tmp_path / "x.csv")]) in (0, 2)
    said = capsys.readouterr()
    assert all(line.isprintable() for line in (said.out + said.err).splitlines())


@pytest.mark.parametrize("sign", ["\x07", "\x1b", "\u202e", "\u2066", "\u200f"])
def test_no_title_turns_its_line(tmp_path, capsys, sign):
    escape = f"\\u{ord(sign):04x}"
    (tmp_path / "session.toml").write_text(f'{UNIT}[episode]\ntitle = "A{escape}b"\n', encoding="utf-8")
    assert run(["check", str(tmp_path)]) == 2
    assert "session.toml:5: " in capsys.readouterr().err
    with pytest.raises(InputError, match=rf"notes.txt:2: holds the invisible character U\+{ord(sign):04X}; delete it"):
        decode(f"0:00 front: Five\n0:10 front: kn{sign}obs\n".encode(), "notes.txt")


def test_what_is_printable_stays():
    assert printable("8 Ω, 0.1 % – “x”") == "8 Ω, 0.1 % – “x”"
    assert printable("a\u202eb\x1b") == "a\\u202eb\\x1b"


@pytest.mark.parametrize("name", ["pipe.csv", "pipe.wav"])
def test_a_pipe_is_not_read(tmp_path, capsys, name):
    os.mkfifo(tmp_path / name)
    assert run(["read", str(tmp_path / name)]) == 2
    assert f"{name}: is a pipe or a device, which may never end; put a file in its place" in capsys.readouterr().err


def test_a_device_is_not_read(capsys):
    assert run(["read", "/dev/zero"]) == 2
    assert "zero: is a pipe or a device" in capsys.readouterr().err


@pytest.mark.parametrize(
    "text", ["1." * 40_000, "1," * 40_000, "1,111" * 16_000, "9" * 80_000, "12AX" * 20_000, "0." + "9" * 40_000]
)
def test_a_long_note_is_counted_at_once(text):
    assert words(text) > 0  # in seconds; minutes before its patterns were bounded


def test_a_long_note_is_checked(tmp_path, capsys):
    (tmp_path / "session.toml").write_text(UNIT, encoding="utf-8")
    (tmp_path / "notes.txt").write_text(f"0:00 front: {'1.' * 4000} and {'9' * 4300}.\n", encoding="utf-8")
    assert run(["check", str(tmp_path)]) in (0, 2)
    capsys.readouterr()


def test_a_card_stands_for_minutes_at_most(tmp_path, capsys):
    (tmp_path / "x.csv").write_text("Frequency (Hz),Level (dBV)\n20,1\n40,2\n", encoding="utf-8")
    table = f'{UNIT}[[measurement]]\nkind = "response"\nfile = "x.csv"\nhold = "1e9 s"\n'
    (tmp_path / "session.toml").write_text(table, encoding="utf-8")
    assert run(["check", str(tmp_path)]) == 2
    assert 'hold = "1e9 s" is longer than a card may stay on screen; write at most "600 s"' in capsys.readouterr().err


def test_a_text_that_no_card_holds_is_wrong_input(tmp_path, capsys):
    rated = '[[rated]]\nquantity = "THD"\nat_most = "0.1 %"\ninput = "' + "very long words " * 60 + '"\n'
    (tmp_path / "session.toml").write_text(UNIT + rated, encoding="utf-8")
    assert run(["check", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert said.startswith('session.toml: card "')
    assert "nothing was written" in said
