"""The command `add`: files copied in, what isn't clear asked, the tables that are needed written; nothing replaced."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import evening_exports
import pytest
from evening_exports import SESSION

from reviewkit.build import atomic_files
from reviewkit.build.cache import open_cache
from reviewkit.build.pipeline import check
from reviewkit.commands import add, cli
from reviewkit.commands.add import add_files
from reviewkit.model.errors import CannotFinish, InputError

HEAD = f"# by hand\r\n{SESSION}# the end".replace("\n", "\r\n").replace("\r\r", "\r")
BY_NAME = {each.name: each.content for each in evening_exports.exports()}


@pytest.fixture
def session(tmp_path) -> Path:
    folder = tmp_path / "session"
    folder.mkdir()
    (folder / "session.toml").write_bytes(HEAD.encode())
    return folder


@pytest.fixture
def exports(tmp_path) -> Path:
    return evening_exports.write(tmp_path / "exports")


def files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def answering(*answers: str) -> tuple[list[str], add.Ask]:
    """The questions that were asked, and who answers them in this order."""
    asked: list[str] = []

    def ask(question: str) -> str:
        asked.append(question)
        assert len(asked) <= len(answers), question
        return answers[len(asked) - 1]

    return asked, ask


def tables(folder: Path) -> list[dict[str, object]]:
    return tomllib.loads((folder / "session.toml").read_text(encoding="utf-8")).get("measurement", [])


def test_a_folder_is_copied_as_it_is_and_nothing_is_asked(session, exports):
    added = add_files(session, [exports], open_cache(), None)
    assert files(session) == {"session.toml": HEAD.encode()} | {
        f"measurements/{name}": content for name, content in BY_NAME.items()
    }
    assert len(added.copied) == 22
    assert [each.file for each in added.recognised if each.question] == [
        "measurements/after/Sweep 7.csv",
        "measurements/after/phono.csv",
    ]


def test_only_what_is_unclear_is_asked_and_enter_takes_the_first(session, exports):
    asked, ask = answering("2", "1", "")
    added = add_files(session, [exports], open_cache(), ask)
    assert ["Sweep 7" in question or "phono" in question for question in asked] == [True] * len(asked)
    assert len(asked) == 2
    assert "1  response" in asked[0]
    assert "2  contour" in asked[0]
    assert tables(session) == [
        {
            "file": "measurements/after/Sweep 7.csv",
            "id": "Sweep-7",
            "kind": "contour",
            "stage": "after",
            "setting": "sweep",
            "drive": "3.79 V",
            "against": "after-response",
        },
        {"file": "measurements/after/phono.csv", "load": "open"},
    ]
    text = (session / "session.toml").read_bytes().decode()
    assert text.startswith(HEAD)
    assert "\n" not in text.replace("\r\n", "")
    assert len(added.tables) == 2
    assert {run.conditions.measurement.kind for run in check(session).runs} >= {"contour", "phono"}


def test_what_is_answered_with_a_dash_stays_out(session, exports):
    asked, ask = answering("what?", "-", "-")
    added = add_files(session, [exports], open_cache(), ask)
    assert asked[0] == asked[1]
    assert (session / "session.toml").read_bytes() == HEAD.encode()
    assert (len(added.tables), sum(bool(each.question) for each in added.recognised)) == (0, 2)


def test_the_stage_of_many_is_asked_once(session, tmp_path):
    loose = tmp_path / "loose"
    for name in ("after/output.csv", "after/crosstalk.csv", "after/multitone.wav"):
        (loose / name).parent.mkdir(parents=True, exist_ok=True)
        (loose / Path(name).name).write_bytes(BY_NAME[name])
    (loose / "tone before.csv").write_bytes(BY_NAME["before/tone-1khz.csv"])
    asked, ask = answering("")
    add_files(session, sorted(loose.glob("*.*")), open_cache(), ask)
    assert len(asked) == 1
    assert asked[0].startswith("measurements/crosstalk.csv, measurements/multitone.wav, measurements/output.csv\n")
    assert tables(session) == [
        {"file": f"measurements/{name}", "stage": "after"} for name in ("crosstalk.csv", "multitone.wav", "output.csv")
    ]


def test_what_a_table_leaves_open_is_written_into_it(session, exports):
    """Into that of the file itself; a table of many files stays as it is, and the file gets one of its own."""
    own = '\r\n[[measurement]]\r\nfile = "measurements/after/phono.csv"  # at the back\r\nsetting = "rumble off"\r\n'
    many = '\r\n[[measurement]]\r\nfiles = "measurements/after/Sweep*.csv"\r\nsetting = "treble down"\r\n'
    (session / "session.toml").write_bytes((HEAD + "\r\n" + own + many).encode())
    _, ask = answering("1", "2")
    added = add_files(session, [exports], open_cache(), ask)
    phono, sweeps, sweep = tables(session)
    assert phono == {"file": "measurements/after/phono.csv", "load": "open", "setting": "rumble off"}
    assert sweeps == {"files": "measurements/after/Sweep*.csv", "setting": "treble down"}
    assert (sweep["file"], sweep["kind"], sweep["setting"]) == (
        "measurements/after/Sweep 7.csv",
        "contour",
        "treble down",
    )
    assert (len(added.tables), added.keys) == (1, 1)
    assert b'# at the back\r\nload = "open"\r\nsetting' in (session / "session.toml").read_bytes()


QUIETING = "Antenna (µV),S/N L (dB),S/N R (dB)\n" + "".join(f"{2**n},{20 + 6 * n},{21 + 6 * n}\n" for n in range(8))
TAPE = "Rec level (dB),3rd harmonic L (%)\n-6,0.3\n-3,0.7\n0,1.2\n3,2.4\n6,4.5\n"
DISTORTION = "Frequency (Hz),THD L,THD R\n" + "".join(f"{hz},{{}},{{}}\n" for hz in (20, 100, 1000, 10_000, 20_000))


@pytest.mark.parametrize(
    ("content", "answers", "keys"),
    [
        (QUIETING, ("", ""), {"aerial": "75 ohm", "microvolts": "terminated"}),
        (QUIETING, ("2", "2"), {"aerial": "300 ohm", "microvolts": "e.m.f."}),
        (TAPE, ("3",), {"reference_level": "185 nWb/m"}),
        (DISTORTION.format(*[-80] * 10), ("",), {"units": {"left": "dB", "right": "dB"}}),  # below zero, it is no other
        (DISTORTION.format(*[0.02] * 10), ("",), {"units": {"left": "%", "right": "%"}}),
        (DISTORTION.format(*[0.02] * 10), ("2",), {"units": {"left": "ratio", "right": "ratio"}}),
    ],
)
def test_what_a_column_means_is_asked_and_written(content, answers, keys, session, tmp_path):
    (tmp_path / "export.csv").write_text(content, encoding="utf-8")
    asked, ask = answering(*answers)
    add_files(session, [tmp_path / "export.csv"], open_cache(), ask)
    assert len(asked) == len(answers)
    assert tables(session) == [{"file": "measurements/export.csv", **keys}]
    assert check(session).findings


@pytest.mark.parametrize("header", ["Rec level (dB re 200 nWb/m),H3 (%)", "Antenna (dBf),THD+N (%)"])
def test_what_a_header_says_is_not_asked(header, session, tmp_path):
    (tmp_path / "export.csv").write_text(header + TAPE[TAPE.index("\n") :], encoding="utf-8")
    add_files(session, [tmp_path / "export.csv"], open_cache(), answering()[1])
    assert tables(session) == []


def test_a_file_from_a_folder_of_a_stage_keeps_it(session, exports):
    added = add_files(session, [exports / "before" / "response.txt"], open_cache(), None)
    assert added.copied == ("measurements/before/response.txt",)


def test_files_that_are_there_already_are_only_asked_about(session, exports):
    add_files(session, [exports], open_cache(), None)
    asked, ask = answering("2", "-")
    again = add_files(session, [session / "measurements"], open_cache(), ask)
    assert again.copied == ()
    assert len(asked) == 2
    assert tables(session)[0]["kind"] == "contour"
    assert add_files(session, [exports], open_cache(), None).others == ("measurements/after/Sweep 7.csv",)


# ------------------------------------------------------------------ what is refused, with nothing written


def refused(session: Path, *sources: Path) -> str:
    before = files(session)
    with pytest.raises(InputError) as raised:
        add_files(session, sources, open_cache(), None)
    assert files(session) == before
    return str(raised.value)


def test_no_file_is_replaced(session, exports):
    add_files(session, [exports / "after"], open_cache(), None)
    (exports / "after" / "output.csv").write_bytes(b"other\n")
    assert "measurements/after/output.csv: is there already, with other content" in refused(session, exports)


def test_two_files_of_one_name_are_refused(session, exports):
    other = exports / "elsewhere"
    other.mkdir()
    (other / "x.csv").write_bytes(b"1\n")
    (exports / "x.csv").write_bytes(b"2\n")
    assert "two of these files would be measurements/x.csv" in refused(session, other / "x.csv", exports / "x.csv")


def test_what_is_no_file_and_what_is_no_session(session, exports, tmp_path):
    assert "there is no such file" in refused(session, exports / "gone.csv")
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "there is no file in this folder" in refused(session, empty)
    with pytest.raises(InputError, match="there is none in"):
        add_files(empty, [exports], open_cache(), None)
    assert list(empty.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
def test_a_name_that_no_path_can_have(session, exports):
    (exports / "a\\b.csv").write_bytes(b"1\n")
    assert "its name has characters that a path in a session can't have; rename it" in refused(session, exports)


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_measurements_folder_that_leads_outside(session, exports, tmp_path):
    (tmp_path / "outside").mkdir()
    (session / "measurements").symlink_to(tmp_path / "outside")
    assert "leads outside the session's folder" in refused(session, exports)
    assert list((tmp_path / "outside").iterdir()) == []


def test_a_copy_that_fails_takes_the_others_with_it(session, exports, monkeypatch):
    written = atomic_files.write_flushed

    def fails(place: Path, content: bytes) -> None:
        if "power" in place.name:
            raise OSError(28, "No space left on device")
        written(place, content)

    monkeypatch.setattr(add, "write_flushed", fails)
    with pytest.raises(CannotFinish, match="No space left on device; no file was added"):
        add_files(session, [exports], open_cache(), None)
    assert files(session) == {"session.toml": HEAD.encode()}


def test_a_session_toml_that_changed_meanwhile_is_left_alone(session, exports):
    def ask(question: str) -> str:
        (session / "session.toml").write_bytes(b"# edited\n" + HEAD.encode())
        return ""

    with pytest.raises(CannotFinish, match="was changed meanwhile"):
        add_files(session, [exports], open_cache(), ask)
    assert (session / "session.toml").read_bytes() == b"# edited\n" + HEAD.encode()


# ------------------------------------------------------------------ the command


def test_the_command_says_what_it_did(session, exports, capsys):
    assert cli.run(["add", str(session), str(exports), "--yes"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "copied: measurements/before/response.txt" in lines
    assert "measurements/after/THD 40W.csv: distortion-power" not in lines
    assert (
        "measurements/after/THD 40W.csv: distortion-frequency, stage after, drive 40 W (distortion over frequency)"
        in lines
    )
    place = lines.index('    file = "measurements/after/phono.csv"')
    assert lines[place - 1 : place + 2] == [
        "    [[measurement]]",
        '    file = "measurements/after/phono.csv"',
        '    load = "open"  # or "8 ohm"',
    ]
    assert lines[-1] == f"next: reviewkit check {session}"


def test_without_a_terminal_it_asks_nothing(session, exports, monkeypatch):
    monkeypatch.setattr("builtins.input", lambda prompt: pytest.fail(prompt))
    assert cli.run(["add", str(session), str(exports)]) == 0
