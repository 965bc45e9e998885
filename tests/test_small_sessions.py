"""Sessions with little in them: each builds, says in one line each what is absent, and writes nothing empty."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reviewkit.commands.cli import run

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
BENCH = '[bench]\nload = "8 ohm"\nchannels = "both"\ninput = "aux"\n'
RATED = """[[rated]]
quantity = "power"
at_least = "40 W"
load = "8 ohm"
thd = "0.05 %"
band = ["20 Hz", "20 kHz"]

[[rated]]
quantity = "damping factor"
at_least = 60
"""
NOTES = "0:00 opening: Bought with one side rough.\n0:41 front: Five knobs.\n2:05 closing: Next is its tuner.\n"

ABSENT = {
    "notes.txt": "no notes.txt: the outline holds only what the bench has to say",
    "repair.csv": "no repair.csv: no repair card and no repair sentences",
    "final.txt": "no final.txt: the description has no chapters",
    "[price]": "no [price] in session.toml: no price then and now",
    "[[rated]]": "no ratings in session.toml or ratings.txt: no verdicts and no card of rated specs",
    "[[measurement]]": "no [[measurement]] in session.toml: no measured figures",
}


# what a missing value leaves behind in a text where nobody thought of it
NOTHING_SAID = re.compile(
    r"\b(NaN|nan|None|null|undefined|inf|Infinity)\b|\{\{|\}\}|\{%|\[\]\(|\(\)|, ,|  \.|: \.|\binto \.|\bat ,"
)


def response(channels: tuple[str, ...]) -> str:
    """A made-up response: one corner at 5 Hz, one at 60 kHz; each further channel 0.1 dB lower."""
    frequencies = np.geomspace(10, 40_000, 60)
    lines = ["Frequency (Hz)," + ",".join(f"{name} (dB)" for name in channels)]
    for hz in frequencies:
        level = -10 * np.log10(1 + (5 / hz) ** 2) - 10 * np.log10(1 + (hz / 60_000) ** 2)
        lines.append(f"{hz:.3f}," + ",".join(f"{level - 0.1 * n:.3f}" for n in range(len(channels))))
    return "\n".join(lines) + "\n"


def tone(channels: tuple[str, ...]) -> str:
    """A made-up sine of 1 kHz and 6 V rms with a little third harmonic, 0.1 s at 48,000 samples a second."""
    seconds = np.arange(4800) / 48_000
    volts = 6 * np.sqrt(2) * (np.sin(2 * np.pi * 1000 * seconds) + 3e-4 * np.sin(2 * np.pi * 3000 * seconds))
    lines = ["Time (ms)," + ",".join(f"{name} (V)" for name in channels)]
    lines += [f"{1000 * t:.6f}," + ",".join([f"{v:.6f}"] * len(channels)) for t, v in zip(seconds, volts, strict=True)]
    return "\n".join(lines) + "\n"


def distortion(channels: tuple[str, ...], over: str) -> str:
    column, values = (
        ("Power (W)", np.geomspace(0.1, 55, 40))
        if over == "power"
        else ("Frequency (Hz)", np.geomspace(20, 20_000, 40))
    )
    lines = [f"{column}," + ",".join(f"THD+N {name} (%)" for name in channels)]
    for value in values:
        percent = 0.02 + (3 * (value / 55) ** 30 if over == "power" else 0.02 * value / 20_000)
        lines.append(f"{value:.3f}," + ",".join([f"{percent:.5f}"] * len(channels)))
    return "\n".join(lines) + "\n"


def crosstalk() -> str:
    lines = ["Frequency (Hz),L to R (dB)"]
    lines += [
        f"{hz:.3f},{20 * np.log10(hz / 1000) - 64 if hz > 500 else -70:.2f}" for hz in np.geomspace(20, 20_000, 40)
    ]
    return "\n".join(lines) + "\n"


def impedance(channels: tuple[str, ...]) -> str:
    lines = ["Frequency (Hz)," + ",".join(f"Impedance {name} (ohm)" for name in channels)]
    lines += [f"{hz:.3f}," + ",".join(["0.150"] * len(channels)) for hz in np.geomspace(20, 20_000, 40)]
    return "\n".join(lines) + "\n"


def measurement(kind: str, name: str, more: str = "") -> str:
    return f'\n[[measurement]]\nfile = "measurements/{name}.csv"\nkind = "{kind}"\n{more}'


FIVE_WATTS = 'drive = "5 W"\n'
ONE = ("L",)
TWO = ("L", "R")

SESSIONS: dict[str, tuple[str, dict[str, str]]] = {
    "only a unit": (UNIT, {}),
    "only notes": (UNIT, {"notes.txt": NOTES}),
    "only ratings": (UNIT + RATED, {}),
    "only measurements": (
        UNIT + BENCH + measurement("response", "response", FIVE_WATTS) + measurement("tone", "tone", FIVE_WATTS),
        {"measurements/response.csv": response(TWO), "measurements/tone.csv": tone(TWO)},
    ),
    "only one channel": (
        UNIT
        + BENCH.replace("both", "one")
        + measurement("tone", "tone", FIVE_WATTS)
        + measurement("response", "response", FIVE_WATTS)
        + measurement("distortion-frequency", "over-frequency", 'drive = "40 W"\n')
        + measurement("distortion-power", "over-power", 'frequency = "1 kHz"\n')
        + measurement("crosstalk", "crosstalk", FIVE_WATTS)
        + measurement("source-impedance", "impedance"),
        {
            "measurements/tone.csv": tone(ONE),
            "measurements/response.csv": response(ONE),
            "measurements/over-frequency.csv": distortion(ONE, "frequency"),
            "measurements/over-power.csv": distortion(ONE, "power"),
            "measurements/crosstalk.csv": crosstalk(),
            "measurements/impedance.csv": impedance(ONE),
        },
    ),
    "two kinds, ratings and notes": (
        UNIT
        + BENCH
        + RATED
        + measurement("distortion-power", "over-power", 'frequency = "1 kHz"\n')
        + measurement("source-impedance", "impedance"),
        {
            "notes.txt": NOTES,
            "measurements/over-power.csv": distortion(TWO, "power"),
            "measurements/impedance.csv": impedance(TWO),
        },
    ),
}


class _Seen(HTMLParser):
    """What a reader sees of a page, or is read to; nothing of what is drawn."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self._hidden = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden = tag in ("style", "script")
        self.text.append(dict(attrs).get("alt") or "")

    def handle_endtag(self, tag: str) -> None:
        self._hidden = False

    def handle_data(self, data: str) -> None:
        self.text.append("" if self._hidden else data)


def texts(out: Path) -> Iterator[tuple[str, str]]:
    for path in sorted(out.rglob("*")):
        if path.suffix in (".md", ".txt", ".csv", ".vtt", ".json"):
            yield path.name, path.read_text(encoding="utf-8")
        elif path.suffix == ".html":
            seen = _Seen()
            seen.feed(path.read_text(encoding="utf-8"))
            yield path.name, " ".join(seen.text)


def values(entry: Any) -> Iterator[Any]:
    if isinstance(entry, dict | list):
        for inner in entry.values() if isinstance(entry, dict) else entry:
            yield from values(inner)
    else:
        yield entry


Build = Callable[[str], Path]


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Build:
    """Builds a session by its name, each once; gives its folder."""

    @cache
    def build(name: str) -> Path:
        folder = tmp_path_factory.mktemp("small") / "session"
        toml, files = SESSIONS[name]
        for path, text in {"session.toml": toml, **files}.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_text(text, encoding="utf-8")
        assert run(["build", str(folder)]) == 0
        return folder

    return build


def data_of(folder: Path) -> dict[str, Any]:
    data = json.loads((folder / "out" / "findings.json").read_text(encoding="utf-8"))
    assert isinstance(data, dict)
    return data


EVERY_SESSION = pytest.mark.parametrize("name", SESSIONS)


@EVERY_SESSION
def test_check_says_in_one_line_each_what_is_absent(name, session_of, say):
    toml, files = SESSIONS[name]
    said = say("check", session_of(toml, files))
    assert (said.status, said.err) == (0, "")
    lines = [line.strip() for line in said.out.splitlines()]
    for what, line in ABSENT.items():
        assert lines.count(line) == (what not in toml and what not in files)


@EVERY_SESSION
def test_a_small_session_builds_without_an_empty_output_or_an_empty_word(name, built):
    out = built(name) / "out"
    made = [path for path in out.rglob("*") if path.is_file()]
    assert {"outline.md", "description.txt", "episode.html", "findings.json"} <= {path.name for path in made}
    assert all(path.read_bytes().strip() for path in made)
    assert [path for path in out.rglob("*") if path.is_dir() and not any(path.iterdir())] == []
    for file, text in texts(out):
        empty = NOTHING_SAID.search(text)
        assert empty is None, f"{file}: {text[max(0, empty.start() - 60) : empty.end() + 20]!r}"
        if file.endswith((".md", ".txt")):
            assert not re.search(r"^## .*\n\s*(## |\Z)", text, re.MULTILINE), f"{file} has a heading over nothing"
    assert not [value for value in values(data_of(out.parent)) if value is None]


@EVERY_SESSION
def test_what_is_not_there_leaves_its_outputs_out(name, built):
    toml, _ = SESSIONS[name]
    out = built(name) / "out"
    cards = {path.stem.split("-", 1)[1] for path in (out / "cards").glob("*.png")}
    measured = set(re.findall(r'file = "measurements/(.+)\.csv"', toml))
    assert measured <= cards
    assert ("rated" in cards) == ("[[rated]]" in toml)
    there = {(out / f"spec-table.{kind}").exists() for kind in ("md", "csv", "html")}
    assert there == {"[[rated]]" in toml or bool(measured)}
    assert not {"hunt", "fix", "repair-list"} & cards
    data = data_of(out.parent)
    assert {finding["measurement"] for finding in data["findings"]} == measured
    assert "price" not in data


def test_ratings_alone_are_all_not_measured(built):
    folder = built("only ratings")
    assert [verdict["verdict"] for verdict in data_of(folder)["verdicts"]] == ["not measured", "not measured"]
    outline = (folder / "out" / "outline.md").read_text(encoding="utf-8")
    assert "Not measured: power into 8 ohms; damping factor." in outline


def test_of_one_channel_nothing_is_said_of_the_other(built):
    folder = built("only one channel")
    assert {finding["channel"] for finding in data_of(folder)["findings"]} == {"L", "L>R"}
    for file, text in texts(folder / "out"):
        assert not re.search(r"\b(both channels|the right|right into left)\b", text), file


def test_notes_alone_are_all_in_the_outline(built):
    outline = (built("only notes") / "out" / "outline.md").read_text(encoding="utf-8")
    places = [outline.index(words) for words in ("Bought with one side rough.", "Five knobs.", "Next is its tuner.")]
    assert places == sorted(places)
    assert "The bench:" not in outline


def test_figures_are_the_made_up_ones(built):
    """Closed forms: 20 lg 0.0003 dB for the third harmonic, 8 / 0.15 for the damping factor, 6 V."""
    found = {finding["quantity"]: finding["value"] for finding in data_of(built("only one channel"))["findings"]}
    assert found["harmonic_3"] == pytest.approx(20 * np.log10(3e-4), abs=0.1)
    assert found["damping_factor"] == pytest.approx(8 / 0.15, rel=1e-3)
    assert found["level"] == pytest.approx(6, rel=1e-3)


def test_an_open_output_is_said_in_a_word(session_of, say):
    """No load is an infinity, and JSON has none."""
    toml = UNIT + measurement("response", "response", 'load = "open"\n')
    folder = session_of(toml, {"measurements/response.csv": response(("Left",))})
    assert say("build", folder).status == 0
    assert {f["at"]["load"] for f in data_of(folder)["findings"]} == {"open"}
    assert "open" in (folder / "out" / "episode.html").read_text(encoding="utf-8")
