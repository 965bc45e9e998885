"""Sounds of whole sessions: their levels by meters outside the project, their files, and where they are played.

Loudness and true peak are read by the encoder's own meter (ebur128, after EBU R 128) from the files that were written,
tones by a transform of whole periods.
"""

from __future__ import annotations

import base64
import io
import json
import math
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import firwin, lfilter

from reviewkit.build.own_files import can_be_output
from reviewkit.model import places
from reviewkit.model.errors import InputError
from reviewkit.model.sound import PAUSE_S
from reviewkit.render.footage import ffmpeg
from reviewkit.render.pages import page_policy

RATE_HZ = 48_000
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
SOUND = '[[sound]]\nid = "it"\nbefore = "r/before.wav"\nafter = "r/after.flac"\n'
AT = np.arange(2 * RATE_HZ) / RATE_HZ


@pytest.fixture(scope="session")
def meter() -> Callable[[Path], tuple[float, float]]:
    """The encoder's meter: integrated loudness in LUFS and true peak in dBTP of a file."""
    try:
        program = ffmpeg.find_encoder().ffmpeg
    except InputError:
        pytest.skip("no ffmpeg here: neither on the path nor by imageio-ffmpeg")

    def read(path: Path) -> tuple[float, float]:
        command = [program, "-hide_banner", "-nostats", "-i", str(path), "-af", "ebur128=peak=true", "-f", "null", "-"]
        printed = subprocess.run(command, capture_output=True, text=True, check=True).stderr
        summary = printed.rpartition("Summary:")[2]
        loudness, peak = re.search(r"I:\s+(\S+) LUFS", summary), re.search(r"Peak:\s+(\S+) dBFS", summary)
        assert loudness, printed
        assert peak, printed
        return float(loudness[1]), float(peak[1])

    return read


def noise(level: float, seed: int = 1) -> np.ndarray:
    """Noise up to 18 kHz, as a converter records it: above, meters of true peak differ."""
    white = np.random.default_rng(seed).normal(0, level, (AT.size, 2))
    return lfilter(firwin(101, 18_000, fs=RATE_HZ), 1, white, axis=0)


def tone(peak: float, third: float = 0.0, hertz: float = 1000.0) -> np.ndarray:
    wave = peak * (np.sin(2 * np.pi * hertz * AT) + third * np.sin(2 * np.pi * 3 * hertz * AT))
    return np.stack([wave, wave], axis=1)


def put(folder: Path, before: np.ndarray, after: np.ndarray, rate_hz: int = RATE_HZ) -> Path:
    (folder / "r").mkdir(exist_ok=True)
    soundfile.write(folder / "r/before.wav", before, rate_hz, subtype="PCM_24")
    soundfile.write(folder / "r/after.flac", after, rate_hz, subtype="PCM_24")
    return folder


def played(folder: Path, name: str) -> np.ndarray:
    samples, rate_hz = soundfile.read(folder / "out/sounds" / name, dtype="int32")
    assert rate_hz == RATE_HZ
    return samples / 2**31


def facts(folder: Path) -> dict:
    (one,) = json.loads((folder / "out/findings.json").read_text(encoding="utf-8"))["sounds"]
    return one


# ------------------------------------------------------------------ levels


def test_both_have_one_gain_and_the_louder_meets_the_target(session_of, say, meter, accuracy):
    folder = put(session_of(f'{UNIT}{SOUND}target = "-14 LUFS"\n'), noise(0.004), noise(0.013, 2))
    assert say("build", folder).status == 0
    before, after = (facts(folder)[side] for side in ("before", "after"))
    assert before["gain_db"] == after["gain_db"]
    out = folder / "out/sounds"
    louder, quieter = meter(out / "it-after.wav"), meter(out / "it-before.wav")
    accuracy("loudness", louder[0] + 14)
    accuracy("loudness", quieter[0] - before["loudness_lufs"])
    accuracy("true peak", louder[1] - after["peak_dbtp"])
    # the recordings differ by as much as what is played
    kept = slice(RATE_HZ // 10, -RATE_HZ // 10)
    gains = [
        np.std(played(folder, f"it-{side}.wav")[kept]) / np.std(recorded[kept])
        for side, recorded in (("before", noise(0.004)), ("after", noise(0.013, 2)))
    ]
    assert 20 * math.log10(gains[0] / gains[1]) == pytest.approx(0, abs=1e-3)
    assert 20 * math.log10(gains[0]) == pytest.approx(before["gain_db"], abs=1e-3)


def test_no_peak_passes_the_ceiling_and_the_user_hears_of_it(session_of, say, meter):
    """Clicks: a peak far above the loudness. Nothing is limited: both files keep their shape."""
    clicks = noise(0.001)
    clicks[::4801] = 0.5
    folder = put(session_of(UNIT + SOUND + 'target = "-14 LUFS"\n'), clicks, clicks / 2)
    assert say("build", folder).status == 0
    loud, peak = meter(folder / "out/sounds/it-before.wav")
    assert loud < -15
    assert -1.4 < peak <= -1.0
    assert 20 * math.log10(np.abs(played(folder, "it-after.wav")).max()) == pytest.approx(peak - 6.02, abs=0.3)
    told = re.search(
        r"sounds/it: (\d+\.\d) dB below −14 LUFS, so that no peak passes −1 dBTP", say("check", folder).out
    )
    assert told
    assert float(told[1]) == pytest.approx(-14 - loud, abs=0.15)


def test_matched_by_loudness(session_of, say, meter, accuracy):
    folder = put(session_of(f'{UNIT}{SOUND}match = true\nof = "music"\n'), noise(0.004), noise(0.05, 2))
    assert say("build", folder).status == 0
    levels = [meter(folder / f"out/sounds/it-{side}.wav")[0] for side in ("before", "after")]
    accuracy("matched levels", levels[0] - levels[1])
    accuracy("loudness", levels[0] + 23)
    assert facts(folder)["matched_by"] == "loudness"


def test_matched_by_a_tone_whatever_is_beside_it(session_of, say, accuracy):
    """The third harmonic makes the one louder, and does not count."""
    folder = put(session_of(f'{UNIT}{SOUND}match = true\nof = "tone"\n'), tone(0.02, 0.7), tone(0.3))
    assert say("build", folder).status == 0
    kept = slice(RATE_HZ // 2, RATE_HZ + RATE_HZ // 2)  # a second: line 1000 is 1 kHz
    lines = [np.abs(np.fft.rfft(played(folder, f"it-{side}.wav")[kept, 0]))[1000] for side in ("before", "after")]
    accuracy("matched levels", 20 * math.log10(lines[0] / lines[1]))
    found = facts(folder)
    assert found["matched_by"] == "tone"
    assert found["tone_hz"] == pytest.approx(1000, rel=1e-5)
    assert found["before"]["loudness_lufs"] > found["after"]["loudness_lufs"] + 1
    outline = (folder / "out/outline.md").read_text(encoding="utf-8")
    assert "set to one level, by the tone at 1 kHz" in outline


@pytest.mark.parametrize(
    ("more", "before", "after", "message"),
    [
        ("", np.zeros_like(AT), np.zeros_like(AT), "[[sound]] it: holds nothing louder than -70 LUFS; record it"),
        ('match = true\nof = "music"', noise(0.01), 0 * noise(1), "match = true, but one of the two is silent"),
        ('match = true\nof = "tone"', tone(0.1), tone(0.1, hertz=420), "at 1000 Hz before and at 420 Hz after"),
        ('match = true\nof = "tone"', tone(0.1), noise(0.1), "no tone to match levels by"),
        ('fade = "1.1 s"', noise(0.1), noise(0.1), "fade is longer than half of 2 s; write a shorter one"),
        ("", np.clip(tone(1.5), -1, 1), noise(0.1), "is clipped, or too close to full scale to tell"),
        ('to = "2.5 s"', noise(0.1), noise(0.1), "r/before.wav: lasts 2 s, and the passage would end at 2.5 s"),
    ],
)
def test_what_cannot_be_played_is_refused(more, before, after, message, session_of, say):
    folder = put(session_of(f"{UNIT}{SOUND}{more}\n"), before, after)
    said = say("build", folder)
    assert said.status == 2
    assert message in said.err
    assert not (folder / "out").exists()


def test_two_rates_are_refused(session_of, say):
    folder = put(session_of(UNIT + SOUND), noise(0.1), noise(0.1))
    soundfile.write(folder / "r/before.wav", noise(0.1), 44_100)
    assert "is sampled at 44.1 kHz before and 48 kHz after; save both at the same rate" in say("check", folder).err


def test_a_dead_side_before_the_repair_is_played_as_it_is(session_of, say):
    folder = put(session_of(UNIT + SOUND), 0 * noise(1), noise(0.01))
    assert say("build", folder).status == 0
    assert not played(folder, "it-before.wav").any()
    assert facts(folder)["before"].keys() == {"source", "gain_db"}


def test_faults_of_sounds_and_of_measurements_are_listed_together(session_of, say):
    measured = '[[measurement]]\nkind = "response"\nfile = "x.csv"\n'
    folder = put(session_of(f"{UNIT}{SOUND}{measured}", {"x.csv": "no table\n"}), noise(0.1), noise(0.1)[:100])
    said = say("check", folder).err
    assert "r/after.flac: the passage lasts" in said
    assert "x.csv" in said


# ------------------------------------------------------------------ files


def test_the_files_hold_what_they_should(session_of, say):
    folder = put(session_of(f'{UNIT}{SOUND}from = ["0.5 s", "1 s"]\nto = ["1.5 s", "1.75 s"]\nfade = "10 ms"\n'),
                 noise(0.01), noise(0.01, 2))  # fmt: skip
    assert say("build", folder).status == 0
    before, after, both = (played(folder, f"it-{part}.wav") for part in ("before", "after", "both"))
    assert (len(before), len(after)) == (RATE_HZ, RATE_HZ * 3 // 4)
    pause = round(PAUSE_S * RATE_HZ)
    assert np.array_equal(both, np.concatenate([before, np.zeros((pause, 2)), after]))
    gain = 10 ** (facts(folder)["before"]["gain_db"] / 20)
    # 10 ms at either end are faded, and nothing else is
    kept = noise(0.01)[RATE_HZ // 2 : RATE_HZ * 3 // 2] * gain
    assert np.abs(before - kept)[480:-480].max() < 2**-20
    assert np.abs(before[0]).max() < 1e-3 * np.abs(kept).max()
    for part in ("before", "after", "both"):
        info = soundfile.info(folder / f"out/sounds/it-{part}.wav")
        assert (info.subtype, info.channels) == ("PCM_24", 2)


def test_the_bytes_are_the_same_each_time_and_hold_no_time(session_of, say, tmp_path):
    folder = put(session_of(UNIT + SOUND), noise(0.01), noise(0.01, 2))
    assert say("build", folder).status == 0
    assert say("build", folder, "--out", tmp_path / "again", "--no-cache").status == 0
    for path in (folder / "out/sounds").iterdir():
        content = path.read_bytes()
        assert content == (tmp_path / "again/sounds" / path.name).read_bytes()
        # RIFF: a format of 16 bytes and the samples, no other part that could hold a date
        assert content[12:20] == b"fmt \x10\0\0\0"
        assert content[36:40] == b"data"
        assert int.from_bytes(content[40:44], "little") + 44 == len(content)
    page = (folder / "out/episode.html").read_bytes()
    assert page == (tmp_path / "again/episode.html").read_bytes()


def test_only_the_programs_own_names_are_replaced(session_of, say):
    folder = put(session_of(UNIT + SOUND), noise(0.01), noise(0.01, 2))
    (folder / "out/sounds").mkdir(parents=True)
    (folder / "out/sounds/it-both.wav").write_bytes(b"mine")
    assert "outputs would replace files that may be yours: sounds/it-both.wav" in say("build", folder).err
    assert say("build", folder, "--adopt").status == 0
    (folder / "session.toml").write_text(UNIT, encoding="utf-8")
    assert say("build", folder).status == 0
    assert not (folder / "out/sounds").exists()
    assert not can_be_output("sounds/it.wav")
    assert not can_be_output("sounds/a/it-both.wav")


# ------------------------------------------------------------------ where they are played

NOTES = "0:00 opening: Hello.\n1:00 before: {before}\n2:00 repair: One part.\n3:00 listening: {listening}\n"


def outline(folder: Path, say) -> str:
    said = say("build", folder)
    assert (said.status, said.err) == (0, "")
    return (folder / "out/outline.md").read_text(encoding="utf-8")


def segments(text: str) -> dict[str, str]:
    """The outline's segments by their headings."""
    parts = re.split(r"^## \S+ (.*?) \(.*\)$", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("called", ["", " [sound it]"])
def test_as_found_before_the_repair_and_both_after_it(called, session_of, say):
    notes = NOTES.format(before=f"Hear this.{called}", listening=f"And now.{called}")
    folder = put(session_of(UNIT + SOUND, {"notes.txt": notes}), noise(0.01), noise(0.01, 2))
    found = segments(outline(folder, say))
    before, after = found["What's wrong with it?"], found["How does it sound?"]
    assert "Play **sounds/it-before.wav**: as found (2.0 s)." in before
    assert "it-both" not in before
    assert "Start low" in before
    assert "Play **sounds/it-both.wav**: as found, a pause, as repaired (5.0 s). Both have the same gain" in after
    assert "Start low" not in after  # the caution stands where it is first needed
    prompter = (folder / "out/prompter.html").read_text(encoding="utf-8")
    assert "play sounds/it-both.wav: as found, a pause, as repaired" in prompter
    assert "Start low" in (folder / "out/description.txt").read_text(encoding="utf-8")


def test_one_file_can_be_called_for_by_its_name(session_of, say):
    notes = NOTES.format(before="Hear this.", listening="Now. [sound it-after]")
    folder = put(session_of(UNIT + SOUND, {"notes.txt": notes}), noise(0.01), noise(0.01, 2))
    text = outline(folder, say)
    assert re.findall(r"sounds/\S+\.wav", text) == ["sounds/it-after.wav"]


def test_the_running_time_counts_what_is_played(session_of, say):
    """Two words and a caution of eighteen at 150 a minute, then 20 s, a pause of one, and 20 s."""
    long = np.tile(noise(0.01), (2, 1))[: 20 * 8000]
    folder = put(session_of(UNIT + SOUND, {"notes.txt": "0:00 listening: And now. [sound it]\n"}), long, long, 8000)
    assert "## 0:15 How does it sound? (0:49)" in outline(folder, say)


def test_a_sound_that_is_not_there(session_of, say):
    folder = put(session_of(UNIT + SOUND, {"notes.txt": "0:00 listening: Now. [sound its]\n"}), noise(0.1), noise(0.1))
    assert 'notes.txt:1: [sound its]: there is no such sound; did you mean "it"?' in say("check", folder).err
    (folder / "session.toml").write_text(UNIT, encoding="utf-8")
    assert "there is no such sound; write a [[sound]] into session.toml" in say("check", folder).err


# ------------------------------------------------------------------ the page


def players(page: str) -> list[bytes]:
    return [base64.b64decode(data) for data in re.findall(r'<audio [^>]*src="data:audio/mpeg;base64,([^"]+)"', page)]


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_the_page_plays_compressed_copies(rate_hz, session_of, say):
    """Decoded again, they hold the tone that was recorded, at its level; the coder's noise is some 30 dB lower."""
    at = np.arange(2 * rate_hz) / rate_hz
    wave = np.stack([0.1 * np.sin(2 * np.pi * 1000 * at)] * 2, axis=1)
    folder = put(session_of(UNIT + SOUND), wave, wave / 2, rate_hz)
    assert say("build", folder).status == 0
    page = (folder / "out/episode.html").read_text(encoding="utf-8")
    assert "Start low" in page
    assert "media-src data:" in page
    heard = []
    for content in players(page):
        samples, rate = soundfile.read(io.BytesIO(content))
        assert rate == min(rate_hz, 48_000)
        lines = np.abs(np.fft.rfft(samples[rate // 2 : rate // 2 + rate, 0]))
        assert int(np.argmax(lines)) == 1000
        heard.append(lines[1000])
    assert len(heard) == 2
    assert 20 * math.log10(heard[0] / heard[1]) == pytest.approx(6.02, abs=0.1)


def test_without_mp3_the_page_has_no_players_and_says_so(session_of, say, monkeypatch):
    monkeypatch.setattr(soundfile, "available_formats", lambda: {"WAV": "WAV"})
    folder = put(session_of(UNIT + SOUND), noise(0.01), noise(0.01, 2))
    assert (
        "episode.html: without its sounds, because the sound library here can't write MP3" in say("check", folder).out
    )
    assert say("build", folder, "--no-cache").status == 0
    assert "<audio" not in (folder / "out/episode.html").read_text(encoding="utf-8")
    assert (folder / "out/sounds/it-both.wav").is_file()


@pytest.mark.parametrize(
    ("tag", "why"),
    [
        ('<audio autoplay controls src="data:audio/mpeg;base64,AAAA"></audio>', "<audio> with autoplay"),
        ('<audio controls src="data:text/html,x"></audio>', "<audio> whose src holds something to run"),
        ('<audio controls src="https:x.mp3"></audio>', "<audio> that loads something from another place"),
        ('<video controls src="data:video/mp4;base64,AAAA"></video>', "<video> whose src holds something to run"),
        ('<audio controls><source src="x.mp3"></audio>', "<source> that loads something from another place"),
    ],
)
def test_a_page_of_ones_own_plays_nothing_by_itself_and_nothing_from_elsewhere(tag, why):
    shipped = places.templates()
    assert page_policy.find_forbidden(page_policy.guard(f"<p>{tag}</p>", shipped), shipped) == why


def test_a_template_of_ones_own_may_leave_words_out(session_of, say):
    folder = put(session_of(UNIT + SOUND, {"templates/words/sound.j2": "said: Mine.\n"}), noise(0.01), noise(0.01))
    assert "sounds/it-both.wav**: both (5.0 s). Mine." in outline(folder, say)
