"""[[sound]] tables: their recordings looked up, and what is refused in which words."""

from __future__ import annotations

from pathlib import Path

import pytest

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.session import Recording

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
MEASURED = """[[measurement]]
file = "m/tone-before.wav"
kind = "tone"
stage = "before"
[[measurement]]
file = "m/tone-after.wav"
kind = "tone"
stage = "after"
columns = { left = 3, right = 4 }
[[measurement]]
file = "m/idle.wav"
kind = "noise"
stage = "after"
[[measurement]]
file = "m/sweep.csv"
kind = "crosstalk"
stage = "after"
[[measurement]]
file = "m/many.wav"
kind = "multitone"
stage = "after"
"""
FILES = ("m/tone-before.wav", "m/tone-after.wav", "m/idle.wav", "m/sweep.csv", "m/many.wav", "a.wav", "b.flac")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "m").mkdir()
    for name in FILES:
        (tmp_path / name).write_bytes(b"x")
    return tmp_path


def sound(more: str = "", before: str = "a.wav", after: str = "b.flac", name: str = "music") -> str:
    return f'[[sound]]\nid = "{name}"\nbefore = "{before}"\nafter = "{after}"\n{more}\n'


def messages(text: str, folder: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_session(UNIT + MEASURED + text, folder, kinds=KINDS)
    return [fault.message for fault in caught.value.faults]


def read(text: str, folder: Path):
    return parse_session(UNIT + MEASURED + text, folder, kinds=KINDS).sounds


def test_two_files(folder):
    (one,) = read(sound(), folder)
    assert one.recordings == (Recording("a.wav"), Recording("b.flac"))
    assert (one.target_lufs, one.match, one.fade_s, one.from_s, one.to_s) == (-23.0, False, 0.02, (0.0, 0.0), None)


def test_two_measurements_with_their_channels_and_what_they_are_of(folder):
    (one,) = read(sound("match = true", "tone-before", "tone-after"), folder)
    assert one.recordings == (
        Recording("m/tone-before.wav"),
        Recording("m/tone-after.wav", {"left": 3, "right": 4}),
    )
    assert one.of == "tone"


def test_one_time_for_both_or_one_each(folder):
    (one,) = read(sound('from = "2.5 s"\nto = ["4 s", "5500 ms"]'), folder)
    assert one.from_s == (2.5, 2.5)
    assert one.to_s == (4.0, 5.5)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (sound(before="c.wav"), '[[sound]] music: before = "c.wav": there is no such file; put it there'),
        (sound(before="../a.wav"), 'before = "../a.wav" leads outside the session'),
        (sound(before="tone-after"), 'is a measurement of stage = "after"; name one of stage = "before"'),
        (sound(after="crosstalk-x"), 'after = "crosstalk-x": there is no such file'),
        (sound(after="sweep"), 'is a measurement that holds "m/sweep.csv", which can\'t be played; name a WAV or'),
        (sound("match = true"), 'because for some sounds the level is the point; write of = "music"'),
        (sound("match = true", "tone-before", "many"), ""),
        (sound("match = true", after="many"), "needs to know what is heard"),
        (sound('match = true\nof = "music"', after="idle"), "for noise, the level is the point; leave match out"),
        *(
            (sound(f'match = true\nof = "{of}"'), f"for {of}, the level is the point; leave match out")
            for of in ("hum", "noise", "balance", "response")
        ),
        (sound('of = "song"'), 'of = "song" is not known; write "music", "speech", "tone", "hum", "noise"'),
        (sound('target = "-20 LUFS"'), 'target = "-20 LUFS" is not known; write "-23 LUFS" or "-14 LUFS"'),
        (sound('from = "3 s"\nto = "3 s"'), 'to = "3 s" is not after from; write a later time'),
        (sound('from = ["1 s", "5 s"]\nto = "3 s"'), "is not after from"),
        (sound("from = 3"), 'from = 3 has no unit; write "3 s"'),
        (sound('from = "-1 s"'), 'is not a time in a recording; write for example "2.5 s"'),
        (sound('from = ["1 s"]'), "is not a pair of times; write the one before and the one after"),
        (sound('fade = "0 s"'), "is not above zero"),
        (sound(name="my music"), 'is not a file name that is safe everywhere: letters a to z'),
        (sound() + sound(name="MUSIC"), 'id = "MUSIC" is that of the sound in line'),
        ('[[sound]]\nid = "music"\nafter = "b.flac"\n', 'has no before; write for example before = "recordings'),
        ('[[sound]]\nbefore = "a.wav"\nafter = "b.flac"\n', 'has no id; write for example id = "music"'),
        ('[sound]\nid = "music"\n', "[sound] may appear many times; write [[sound]]"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_what_to_write(text, message, folder):
    if not message:
        assert read(text, folder)[0].match
        return
    found = messages(text, folder)
    assert len(found) == 1, found
    assert message in found[0]
