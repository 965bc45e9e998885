"""What a message suggests to write under a [[measurement]], once its file is read: pasted there, it leads on.

Each case is a measurement whose file can't be measured as its table is, or not wholly. Every alternative that its
messages name is written into the table, as a reader would.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from awkward_cases import AUDIO, UNIT, Content, capture, noise, sine, table, tone
from ingest.remedies import alternatives, remedy_of, unseen
from known_noise import exported, phono_db

from reviewkit.build.cache import NO_CACHE
from reviewkit.build.measuring import measure
from reviewkit.build.pool import ALONE
from reviewkit.build.session_files import read
from reviewkit.ingest import capture_file, measurement_file
from reviewkit.measure import (
    captures,
    contour,
    crosstalk,
    distortion_power,
    idle_output,
    phono,
    source_impedance,
    tone_sheets,
)
from reviewkit.measure import noise as noise_kind
from reviewkit.measure import tone as tone_kind
from reviewkit.model.errors import InputError

Keys = dict[str, str]
MOST_PASTED = 4
FULL = {"full_scale": '"10 V"'}
FLAT = {"kind": '"response"', "file": '"m/flat.csv"'}


def _spectrum() -> str:
    hertz, volts = exported(1e-12, 1.0, 20_000, "hann", {1000.0: 1.0, 2000.0: 1e-3})
    return table("Frequency (Hz),Level (dBV)", hertz[1:], 20 * np.log10(volts[1:]))


def _hiss() -> str:
    hertz, volts = exported(1e-12, 2.0, 20_000, "hann")
    return table("Frequency (Hz),Level (dBV)", hertz[1:], 20 * np.log10(volts[1:]))


def _wavering() -> bytes:
    """3150 Hz that wavers by 0.3 % eight times a second."""
    time = np.arange(10 * 16_000) / 16_000
    phase = 2 * math.pi * 3150 * time + 3150 * 0.003 / 8 * np.sin(2 * math.pi * 8 * time)
    return capture(np.sin(phase), rate_hz=16_000)


def _modulated() -> str:
    """3150 Hz with a pair of sidebands 8 Hz away."""
    hertz, volts = exported(1e-12, 1.0, 20_000, "hann", {3142.0: 0.1, 3150.0: 1.0, 3158.0: 0.1})
    return table("Frequency (Hz),Level (dBV)", hertz[1:], 20 * np.log10(volts[1:]))


def _resonant() -> str:
    """Six ohms and a resonance of thirty more at 60 Hz."""
    hertz = np.geomspace(20, 20_000, 120)
    ohms = np.abs(6 + 30 / (1 + 5j * (hertz / 60 - 60 / hertz)))
    return table("Frequency (Hz),Impedance (ohm)", hertz, ohms)


def _pilot() -> bytes:
    return capture(tone({2: -60}, 997.3, 1.0) + sine(19_000, 48_000, 0.01))


FILES: dict[str, Content] = {
    "flat.csv": table("Frequency (Hz),Left (dBV),Right (dBV)", AUDIO, 0, 0),
    "bass.csv": table("Frequency (Hz),Level (dBV)", AUDIO, np.linspace(8, 0, len(AUDIO))),
    "nameless.csv": table("Frequency (Hz),Level (dBV)", AUDIO, 1).split("\n", 1)[1],
    "both.csv": table("Frequency (Hz),Left (dBV),Right (dBV)", AUDIO, 0, -60),
    "ohms.csv": table("Frequency (Hz),Left (ohm)", AUDIO, 0.1),
    "watts.csv": table("Power L (W),THD L (%),THD R (%)", (1, 5, 10, 20, 40), (0.01, 0.01, 0.01, 0.02, 2), 0.01),
    "volts.csv": table("Output (V),THD (%)", (1, 5, 10, 20, 40), (0.01, 0.01, 0.01, 0.02, 2)),
    "scale.csv": table("Output (dBFS),THD (%)", (-40, -30, -20, -10, 0), (0.01, 0.01, 0.01, 0.02, 2)),
    "named.csv": table("Frequency (Hz),Noise level (dBV)", AUDIO, 0),
    "decibels.csv": table("Frequency (Hz),Level (dB)", AUDIO, -60),
    "riaa.csv": table("Frequency (Hz),Level (dBV)", AUDIO, phono_db(np.array(AUDIO))),
    "tone.csv": table("Time (s),CH1 (V)", np.arange(4800) / 48_000, tone({2: -60}, 997.3, 0.1)),
    "spectrum.csv": _spectrum,
    "hiss.csv": _hiss,
    "pilot.wav": _pilot,
    "wavering.wav": _wavering,
    "resonant.csv": _resonant,
    "modulated.csv": _modulated,
    "tone.wav": lambda: capture(tone({2: -60}, 997.3, 1.0, math.sqrt(80))),
    "uneven.wav": lambda: capture(tone({2: -60}, 997.3, 1.0, math.sqrt(80)), tone({2: -60}, 997.3, 1.0, 1.0)),
    "three.wav": lambda: capture(*(tone({2: -60}, 997.3, 1.0, peak) for peak in (3.0, 2.0, 1.0))),
    "half.wav": lambda: capture(tone({2: -60}, 997.3, 1.0), np.zeros(48_000)),
    "idle.wav": lambda: capture(noise(1e-3, 48_000), full_v=1.0),
    "half-idle.wav": lambda: capture(np.zeros(48_000), noise(1e-3, 48_000), full_v=1.0),
}


def of(kind: str, file: str = "", **keys: str) -> Keys:
    return {"kind": f'"{kind}"', **({"file": f'"m/{file}"'} if file else {}), **keys}


# the measurement, and what [bench] says
CASES: dict[str, tuple[Keys, str]] = {
    "a tone that wavers": (of("tone", "wavering.wav", frequency='"3150 Hz"', **FULL), 'load = "8 ohm"'),
    "an output with a resonance": (of("source-impedance", "resonant.csv"), ""),
    "a spectrum without its window": (of("tone", "spectrum.csv"), ""),
    "a spectrum of a tone that wavers": (of("tone", "modulated.csv", window='"hann"'), ""),
    "noise lines without their window": (of("noise", "hiss.csv"), 'load = "8 ohm"'),
    "noise without a load": (of("noise", "idle.wav", **FULL), ""),
    "noise without full scale": (of("noise", "idle.wav"), 'load = "8 ohm"'),
    "a tone without full scale": (of("tone", "tone.wav"), 'load = "8 ohm"'),
    "a contour of nothing": (of("contour", "bass.csv", columns="{ left = 2 }"), ""),
    "a contour without a channel": (of("contour", "bass.csv", against='"flat"'), ""),
    "a contour without a header": (
        of("contour", "nameless.csv", against='"flat"', columns="{ frequency = 1, level = 2 }",
           units='{ frequency = "Hz", level = "dBV" }'), "",
    ),
    "crosstalk of an unknown channel": (of("crosstalk", "both.csv"), ""),
    "one channel's power": (of("distortion-power", "watts.csv"), ""),
    "volts without a load": (of("distortion-power", "volts.csv"), ""),
    "levels without full scale": (of("distortion-power", "scale.csv"), 'load = "8 ohm"'),
    "a response of noise": (of("response", "named.csv"), ""),
    "a response of noise, its frequency named": (of("response", "named.csv", columns="{ frequency = 1 }"), ""),
    "a distortion called a level": (of("distortion-frequency", "decibels.csv"), ""),
    "an impedance without a load": (of("source-impedance", "ohms.csv"), ""),
    "a flat phono response": (of("phono", "flat.csv"), ""),
    "an equalised phono response": (of("phono", "riaa.csv", equalised="true"), ""),
    "a pilot tone": (of("tone", "pilot.wav", **FULL), ""),
    "a drive that isn't held": (of("tone", "tone.wav", **FULL, drive='"1 W"'), 'load = "8 ohm"'),
    "a drive that an export doesn't hold": (of("tone", "tone.csv", drive='"5 W"'), 'load = "8 ohm"'),
    "a drive in volts that isn't held": (of("tone", "tone.wav", **FULL, drive='"1 V"'), ""),
    "a drive that one channel holds": (of("tone", "uneven.wav", **FULL, drive='"5 W"'), 'load = "8 ohm"'),
    "three channels": (of("tone", "three.wav", **FULL), ""),
    "a level beside a left channel": (of("tone", "three.wav", **FULL, columns="{ level = 1, left = 2 }"), ""),
    "a silent channel": (of("tone", "half.wav", **FULL), ""),
    "a silent idle channel": (of("noise", "half-idle.wav", full_scale='"1 V"'), 'load = "8 ohm"'),
}  # fmt: skip


def messages_of(keys: Keys, bench: str, folder: Path) -> tuple[list[str], list[str]]:
    """What is refused, and what is withheld."""
    lines = [UNIT, "[bench]", bench, "[[measurement]]", *(f"{key} = {value}" for key, value in FLAT.items())]
    if keys["file"] == FLAT["file"]:
        lines = lines[:3]
    lines += ["[[measurement]]", *(f"{key} = {value}" for key, value in keys.items())]
    (folder / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    try:
        _, runs = measure(read(folder), ALONE, NO_CACHE)
    except InputError as error:
        return [str(fault) for fault in error.faults], []
    return [], [why for run in runs for why in run.withheld]


def pasted(keys: Keys, message: str) -> Iterator[Keys]:
    """The table with each alternative that a message names."""
    for way in alternatives(remedy_of(message).partition(", or export")[0]):
        if way[0][0]:
            yield keys | dict(way)
        elif "against = " in message:  # the id of the measurement to compare with
            yield keys | {"against": way[0][1]}
    if held := re.search(r"holds ([\d.]+ m?[VW]); write that", message):
        yield keys | {"drive": f'"{held[1]}"'}
    if full_scale := re.search(r'correct full_scale: with ("[^"]*") in place of', message):
        yield keys | {"full_scale": full_scale[1]}
    for out in re.findall(r"leave (\w+) out|remove (\w+) = true", message):
        if set(out) & set(keys):
            yield {key: value for key, value in keys.items() if key not in out}
    if "with two write left and right" in message:
        yield keys | {"columns": "{ left = 1, right = 2 }"}


# what is suggested in words alone: there is nothing to paste
IN_WORDS = re.compile(
    "export it in V|which full scale|reach 1 kHz|which channel was driven|is it another kind, or another file"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("session")
    (made / "m").mkdir()
    for name, content in FILES.items():
        content = content() if callable(content) else content
        (made / "m" / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return made


SEEN: list[str] = []


@pytest.mark.parametrize("name", CASES)
def test_what_is_suggested_leads_on(name: str, folder: Path):
    first, bench = copy.deepcopy(CASES[name])
    ways = [(first, 0, "")]
    tried = 0
    while ways:
        keys, count, came = ways.pop()
        refused, withheld = messages_of(keys, bench, folder)
        SEEN.extend(refused + withheld)
        assert came not in refused + withheld, keys
        assert count <= MOST_PASTED
        asked = refused[:1] or [why for why in withheld if alternatives(remedy_of(why))][:1]
        for message in asked:
            more = [(changed, count + 1, message) for changed in pasted(keys, message)]
            assert more or IN_WORDS.search(message), message
            ways += more
            tried += len(more)
    assert tried


def test_every_suggestion_was_pasted(folder: Path):
    modules = (
        capture_file, measurement_file, captures, contour, crosstalk, distortion_power, idle_output, noise_kind, phono,
        source_impedance, tone_kind, tone_sheets,
    )  # fmt: skip
    if len(SEEN) < len(CASES):
        pytest.skip("the cases above were not run")
    assert unseen(modules, SEEN) == [
        # the first is what `read` prints of a capture alone, the second is of a file that can't be opened
        "levels are fractions of full scale; for volts add the peak voltage of a full-scale sine, for example "
        'full_scale = "10 V"',
        ".*; write the file's name as it is in the session folder",
    ]
