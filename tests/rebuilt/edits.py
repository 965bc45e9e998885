"""The edits after which a build over the last outputs must equal a build from nothing: one row each.

What an edit covers (which keys of session.toml, which files, which kinds of measurement) is not stated here: it is
found by comparing the session before and after, so that no row can claim what it does not do.
"""

from __future__ import annotations

import itertools
import math
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import third_session
from third_session import CAPTURES, SWEEPS

from reviewkit.measure.kinds import KINDS

Change = Callable[[Path], None]
Options = tuple[str, ...]


@dataclass(frozen=True)
class Edit:
    """One edit of one session. `change`: what is done to its folder; `before`: builds before it, by their options;
    `between`: builds after it that are not compared; `options`: of the build that is compared; `alters`: whether the
    outputs must differ from those of the first build; `breaks`: whether the session must be refused; `undo`: whether
    the edit is then taken back and the first outputs must come back; `again`: whether it is then made a second time;
    `needs`: a package without which there is nothing to try.
    """

    name: str
    session: str
    change: Change
    before: tuple[Options, ...] = ()
    between: tuple[Options, ...] = ()
    options: Options = ()
    alters: bool = True
    breaks: bool = False
    undo: bool = False
    again: bool = False
    needs: str = ""


# ------------------------------------------------------------------ what can be done to a folder


def text(name: str, *pairs: tuple[str, str]) -> Change:
    """Replace each first text, which must be there, by the second."""

    def change(folder: Path) -> None:
        found = (folder / name).read_text(encoding="utf-8")
        for old, new in pairs:
            assert old in found, f"{name} has no {old!r}"
            found = found.replace(old, new, 1)
        (folder / name).write_text(found, encoding="utf-8")

    return change


def toml(old: str, new: str) -> Change:
    return text("session.toml", (old, new))


def within(first: str, old: str, new: str) -> Change:
    """Replace a text of session.toml that stands after another one."""

    def change(folder: Path) -> None:
        head, mark, rest = (folder / "session.toml").read_text(encoding="utf-8").partition(first)
        assert mark, f"session.toml has no {first!r}"
        assert old in rest, f"session.toml has no {old!r} after {first!r}"
        (folder / "session.toml").write_text(head + mark + rest.replace(old, new, 1), encoding="utf-8")

    return change


def add(name: str, content: str | bytes) -> Change:
    """Write a whole file."""

    def change(folder: Path) -> None:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())

    return change


def append(name: str, line: str) -> Change:
    def change(folder: Path) -> None:
        (folder / name).write_text((folder / name).read_text(encoding="utf-8") + line, encoding="utf-8")

    return change


def remove(name: str) -> Change:
    return lambda folder: (folder / name).unlink()


def shorten(name: str) -> Change:
    """Keep the first half of a file."""

    def change(folder: Path) -> None:
        content = (folder / name).read_bytes()
        (folder / name).write_bytes(content[: len(content) // 2])

    return change


def swap(one: str, other: str) -> Change:
    """Give each of two files the content of the other."""

    def change(folder: Path) -> None:
        held = (folder / one).read_bytes()
        (folder / one).write_bytes((folder / other).read_bytes())
        (folder / other).write_bytes(held)

    return change


def digit(name: str, *, keep_times: bool = False) -> Change:
    """Change one digit in the middle of an export, or one sample of a capture; the size stays."""

    def change(folder: Path) -> None:
        path, times = folder / name, (folder / name).stat()
        content = bytearray(path.read_bytes())
        if path.suffix == ".wav":
            place = len(content) // 2 // 12 * 12 + 44
            content[place] ^= 0x15
        else:
            # the last digit but one of the last number of a line
            middle = content.index(b"\n", len(content) // 2) + 1
            line = bytes(content[middle : content.index(b"\n", middle)])
            place = middle + [found.start() for found in re.finditer(rb"[0-9]", _numbers(line))][-2]
            content[place] = ord("0") + (content[place] - ord("0") + 3) % 10
        path.write_bytes(content)
        if keep_times:
            os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))

    return change


def edge(name: str) -> Change:
    """Change a digit of a waveform's steepest sample, which its card draws."""

    def change(folder: Path) -> None:
        lines = (folder / name).read_text(encoding="utf-8").split("\n")
        levels = [float(line.split(",")[1]) if re.match(r"[-0-9.]+,", line) else math.nan for line in lines]
        steps = [abs(b - a) if a == a and b == b else 0.0 for a, b in itertools.pairwise(levels)]
        at = steps.index(max(steps)) + 1
        cells = lines[at].split(",")
        cells[1] = re.sub(r"(\.\d)(\d)", lambda match: f"{match[1]}{(int(match[2]) + 3) % 10}", cells[1], count=1)
        lines[at] = ",".join(cells)
        (folder / name).write_text("\n".join(lines), encoding="utf-8")

    return change


def _numbers(line: bytes) -> bytes:
    """A line of an export; of a reading by meter, what stands before its unit."""
    return re.split(rb",(?:mV|V|dB|%|W)?,", line)[0] if re.match(rb"[A-Za-z]", line) else line


def all_of(*changes: Change) -> Change:
    def change(folder: Path) -> None:
        for each in changes:
            each(folder)

    return change


def spoil_outputs(folder: Path) -> None:
    """Damage one output and delete another."""
    cards = sorted((folder / "out" / "cards").glob("*.png"))
    if cards:  # there are none in a folder that was never built
        cards[0].write_bytes(cards[0].read_bytes()[:-20])
        cards[1].unlink()
        (folder / "out" / "findings.json").write_text("{}", encoding="utf-8")


def remove_outputs(folder: Path) -> None:
    for path in sorted((folder / "out").rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()


def spoil_cache(folder: Path) -> None:
    """Overwrite every file of the cache beside the session's folder."""
    for path in (folder.parent / "cache").rglob("*"):
        if path.is_file():
            path.write_bytes(b"\0 none of this was written by a build")


def empty_cache(folder: Path) -> None:
    for path in (folder.parent / "cache").rglob("*"):
        if path.is_file():
            path.unlink()


def nothing(folder: Path) -> None:
    """Leave the folder as it is."""


# ------------------------------------------------------------------ one edit of each kind, for every run of the suite

_OF_KIND: dict[str, Change] = {
    "tone": digit("measurements/tone-after.wav"),
    "response": digit("measurements/flat right.csv"),
    "contour": digit("measurements/bass.csv"),
    "distortion-frequency": digit("measurements/thd-looped.csv"),  # the bench's own
    "distortion-power": within('"measurements/power.csv"', 'frequency = "1 kHz"', 'frequency = "1.1 kHz"'),
    "source-impedance": toml('R = ["6.398 V"', 'R = ["6.399 V"'),
    "load-impedance": digit("measurements/woofer.csv"),
    "level-sweep": toml('microvolts = "terminated"', 'microvolts = "e.m.f."'),
    "lines": digit("measurements/rumble.wav"),
    "flutter": digit("measurements/flutter.wav"),
    "between-channels": digit("measurements/both.wav"),
    "multitone": digit("measurements/multitone.wav"),
    "square": edge("measurements/square.csv"),
    "noise": digit("measurements/idle.wav"),
    "intermodulation": digit("measurements/two-tones.wav"),
    "phono": toml("amendment = false", "amendment = true"),
}
FAIR = toml("fair = 190", "fair = 210")  # no measurement depends on it: every result can be taken over


def of_kinds() -> Iterator[Edit]:
    """A session with one kind alone: an edit of its measurement, then taken back."""
    for kind in KINDS:
        if kind in _OF_KIND:
            yield Edit(f"{kind}: a change of its own", f"only {kind}", _OF_KIND[kind], undo=True)
        for file in third_session.sample_files(kind)[:1] if kind not in _OF_KIND else ():
            yield Edit(f"{kind}: a digit of its file", f"sample {kind}", digit(file), undo=True)


# ------------------------------------------------------------------ the keys of session.toml

_SWEEPS_KEYS: dict[str, Change] = {
    "unit.maker": toml('maker = "Tarnfell"', 'maker = "Tarnfall"'),
    "unit.model": toml('model = "Thirty"', 'model = "Thirty B"'),
    "unit.short": toml('model = "Thirty"', 'model = "Thirty"\nshort = "T 30"'),
    "unit.what": toml('what = "integrated amplifier"', 'what = "amplifier"'),
    "unit.type": toml('model = "Thirty"', 'model = "Thirty"\ntype = "preamplifier"'),
    "unit.year": toml("year = 1975\nmains", "year = 1974\nmains"),
    "unit.mains": toml('year = 1975\nmains = "230 V 50 Hz"', 'year = 1975\nmains = "120 V 60 Hz"'),
    "price.paid": toml("paid = 248.00", "paid = 258.00"),
    "price.index": all_of(
        add("other.csv", third_session.PRICES.replace("53.8", "50.1")), toml('"prices.csv"', '"other.csv"')
    ),
    "price.year": toml("year = 1975\nto", "year = 1976\nto"),
    "price.to": toml("to = 2024", "to = 2023"),
    "price.fair": FAIR,
    "bench.input": toml('input = "tuner"', 'input = "aux"'),
    "bench.load": toml('load = "8 ohm"', 'load = "4 ohm"'),
    "bench.channels": toml('channels = "both"', 'channels = "one"'),
    "bench.mains": toml('channels = "both"\nmains = "230 V 50 Hz"', 'channels = "both"\nmains = "229 V 50 Hz"'),
    "bench.equipment": toml("16-bit capture", "24-bit capture"),
    "bench.level_uncertainty": toml('"0.1 dB"', '"0.2 dB"'),
    "measurement.range": all_of(
        within('"measurements/power.csv"', 'frequency = "1 kHz"', 'frequency = "1 kHz"\nrange = "low"'),
        append("session.toml", '\n[bench.low]\nlevel_uncertainty = "0.4 dB"\n'),
    ),
    "bench.load_tolerance": toml('"1 %"', '"2 %"'),
    "rated.quantity": toml('quantity = "distortion"', 'quantity = "thd plus noise"'),
    "rated.at_least": toml('at_least = "30 W"', 'at_least = "29 W"'),
    "rated.at_most": toml('at_most = "0.2 %"', 'at_most = "0.3 %"'),
    "rated.typical": toml('at_most = "0.2 %"', 'at_most = "0.2 %"\ntypical = true'),
    "rated.level": toml('within = "1 dB"', 'within = "1 dB"\nlevel = "2 V"'),
    "rated.within": toml('within = "1 dB"', 'within = ["-1 dB", "+0.5 dB"]'),
    "rated.load": within("[[rated]]", 'load = "8 ohm"', 'load = "4 ohm"'),
    "rated.channels": within("[[rated]]", 'channels = "both"', 'channels = "one"'),
    "rated.band": toml('band = ["20 Hz", "20 kHz"]', 'band = ["30 Hz", "20 kHz"]'),
    "rated.frequency": within("[[rated]]", 'frequency = "1 kHz"', 'frequency = "2 kHz"'),
    "rated.thd": toml('thd = "0.3 %"', 'thd = "0.4 %"'),
    "rated.thd_plus_noise": toml('thd_plus_noise = "0.5 %"', 'thd_plus_noise = "0.6 %"'),
    "rated.power": toml('power = "3 W"', 'power = "4 W"'),
    "rated.input": within("[[rated]]", 'input = "tuner"', 'input = "aux"'),
    "rated.rule": toml('rule = "continuous"', 'rule = "music"'),
    "rated.total": toml("total = false", "total = true"),
    "rated.source": toml('source = "data sheet, page 3"', 'source = "data sheet, page 4"'),
    "measurement.kind": within(
        '"measurements/treble.csv"', 'kind = "contour"\ncard = "controls"\nagainst = "flat-left"', 'kind = "response"'
    ),
    "measurement.file": toml('file = "measurements/flat right.csv"', 'file = "measurements/flat left.csv"'),
    "measurement.title": toml('title = "The controls"', 'title = "Bass and treble"'),
    "measurement.relative_to": within(
        '"measurements/flat left.csv"', 'drive = "1 W"', 'drive = "1 W"\nrelative_to = "315 Hz"'
    ),
    "measurement.target": toml('target = "measurements/wish.csv"', 'target = "flat"'),
    "measurement.centre": within('"measurements/bass.csv"', 'drive = "1 W"', 'drive = "1 W"\ncentre = "63 Hz"'),
    "measurement.setting": toml('setting = "bass full up"', 'setting = "bass at most"'),
    "measurement.stage": within('"measurements/power-before.csv"', 'stage = "before"', 'stage = "after"'),
    "measurement.card": within('"measurements/treble.csv"', 'card = "controls"', 'card = "treble-knob"'),
    "measurement.input": toml('input = "phono"', 'input = "phono 2"'),
    "measurement.load": toml('load = "open"', 'load = "8 ohm"'),
    "measurement.channels": within('input = "phono"', 'channels = "one"', 'channels = "both"'),
    "measurement.drive": within('"measurements/thd-sweep.csv"', 'drive = "3 W"', 'drive = "4 W"'),
    "measurement.frequency": within('id = "two-load"', 'frequency = "1 kHz"', 'frequency = "800 Hz"'),
    "measurement.readings": toml('hold = "7 s"', 'hold = "7 s"\nreadings = ["distortion at 20 kHz"]'),
    "measurement.hold": toml('hold = "7 s"', 'hold = "8 s"'),
    "measurement.driven": all_of(
        text("session.toml", ('driven = "L"', 'driven = "?"'), ('driven = "R"', 'driven = "L"'), ('"?"', '"R"')),
        swap("measurements/left-driven.csv", "measurements/right-driven.csv"),
    ),
    "measurement.against": within('"measurements/treble.csv"', '"flat-left"', '"flat-before"'),
    "measurement.loads": toml('loads = ["open", "8 ohm"]', 'loads = ["open", "4 ohm"]'),
    "measurement.volts": toml('L = ["6.412 V"', 'L = ["6.413 V"'),
    "measurement.columns": within('id = "flat-right"', "{ frequency = 1, right = 2 }", "{ frequency = 1, left = 2 }"),
    "measurement.units": toml('{ impedance = "mohm" }', '{ impedance = "ohm" }'),
    "measurement.amendment": toml("amendment = false", "amendment = true"),
    "measurement.enclosure": toml('enclosure = "closed"', 'enclosure = "none"'),
    "measurement.dc_resistance": toml('dc_resistance = "5.6 ohm"', 'dc_resistance = "5.9 ohm"'),
    "measurement.aerial": toml('aerial = "75 ohm"', 'aerial = "300 ohm"'),
    "measurement.microvolts": toml('microvolts = "terminated"', 'microvolts = "e.m.f."'),
    "measurement.equalised": all_of(
        toml("equalised = false", "equalised = true"),
        add("measurements/phono.csv", third_session.phono(equalised=True)),
    ),
    "episode.title": toml("one side quieter", "one side louder"),
    "episode.presenter": toml('"the bench by the window"', '"the bench by the door"'),
    "episode.words_per_minute": toml("words_per_minute = 150", "words_per_minute = 120"),
    "episode.frame_rate": toml("frame_rate = 25", "frame_rate = 29.97"),
    "episode.card_seconds": toml("card_seconds = 5", "card_seconds = 6"),
    "episode.page": toml("example.org/thirty", "example.org/the-thirty"),
    "episode.film": toml("frame_rate = 25", 'frame_rate = 25\nfilm = "https://example.org/film"'),
    "episode.rating": toml("frame_rate = 25", "frame_rate = 25\nrating = 4.5"),
    "episode.photo": all_of(add("back.png", third_session.photo(120)), toml('"front.png"', '"back.png"')),
    "episode.thumbnail": toml("frame_rate = 25", 'frame_rate = 25\nthumbnail = "photo"'),
    "episode.shapes": toml("frame_rate = 25", 'frame_rate = 25\nshapes = ["square", "tall"]'),
    "cards.hide": append("session.toml", '\n[cards]\nhide = ["controls"]\n'),
    "cards.order": append("session.toml", '\n[cards]\norder = ["output", "leak"]\n'),
    "cards.only_page": append("session.toml", '\n[cards]\nonly_page = ["thd-sweep"]\n'),
    "look.mark": all_of(add("sign.png", third_session.photo(160)), toml('"mark.png"', '"sign.png"')),
    "look.ground": toml('ground = "#10202a"', 'ground = "#10202b"'),
    "look.ink": toml('ink = "#fff4dd"', 'ink = "#fff4de"'),
    "look.soft": toml('soft = "#b0bcc4"', 'soft = "#b0bcc5"'),
    "look.rule": toml('rule = "#31424e"', 'rule = "#31424f"'),
    "look.left": toml('left = "#ffb870"', 'left = "#ffb871"'),
    "look.right": toml('right = "#4fa3d8"', 'right = "#4fa3d9"'),
    "look.meets": toml('meets = "#8fd18f"', 'meets = "#8fd190"'),
    "look.font": toml('"type/plain.ttf"', '"type/bold.ttf"'),
    "look.bold_font": toml('bold_font = "type/bold.ttf"', 'bold_font = "type/plain.ttf"'),
    "look.presenter": toml('"measured by the window"', '"measured by the door"'),
}
_CAPTURES_KEYS: dict[str, Change] = {
    "price.currency": toml('currency = "USD"', 'currency = "EUR"'),
    "bench.coupling": toml('coupling = "ac"', 'coupling = "dc"'),
    "bench.distortion_floor": toml('"0.002 %"', '"0.02 %"'),
    "bench.mains": toml('channels = "both"\nmains = "230 V 50 Hz"', 'channels = "both"\nmains = "230 V 60 Hz"'),
    "bench.load": toml('load = "8 ohm"', 'load = "4 ohm"'),
    "bench.level_uncertainty": toml('"0.1 dB"', '"0.3 dB"'),
    "unit.mains": toml('year = 1975\nmains = "230 V 50 Hz"', 'year = 1975\nmains = "120 V 60 Hz"'),
    "look.falls_short": toml('falls_short = "#ff9a8a"', 'falls_short = "#ff9a8b"'),
    "price.fair": FAIR,
    "rated.weighting": toml('weighting = "A"\nreference', 'weighting = ""\nreference'),
    "rated.reference": toml('reference = "rated output"', 'reference = "5 mV"'),
    "rated.reference, a power": toml('reference = "rated output"', 'reference = "10 W"'),
    "rated.nominal": toml('nominal = "150 mV"', 'nominal = "160 mV"'),
    "rated.tolerance": toml('tolerance = "5 %"', 'tolerance = "4 %"'),
    "rated.conditions": toml(
        'weighting = "A"\nreference', 'weighting = "A"\nconditions = { tape = "chrome" }\nreference'
    ),
    "rated.termination": toml('weighting = "A"\nreference', 'weighting = "A"\ntermination = "1 kΩ"\nreference'),
    "rated.volume": toml('weighting = "A"\nreference', 'weighting = "A"\nvolume = "half"\nreference'),
    "rated.tones": toml('tones = ["19 kHz", "20 kHz"]', 'tones = ["60 Hz", "7 kHz"]'),
    "rated.power": toml('at_least = "30 W"', 'at_least = "25 W"'),
    "measurement.frequency": within('"measurements/tone-after.wav"', 'frequency = "1 kHz"', 'frequency = "3 kHz"'),
    "measurement.without": within('"measurements/tone-after.wav"', "without = []", 'without = ["19 kHz", "38 kHz"]'),
    "measurement.full_scale": within('"measurements/idle.wav"', '"20 mV"', '"25 mV"'),
    "measurement.lines": toml('lines = { rumble = ["10 Hz", "315 Hz"] }', 'lines = { motor = "25 Hz" }'),
    "measurement.reference_level": toml('reference_level = "200 mV"', 'reference_level = "210 mV"'),
    "measurement.tape_speed": toml('"19.05 cm/s"', '"9.525 cm/s"'),
    "measurement.track_spacing": toml('"2.75 mm"', '"2.5 mm"'),
    "measurement.rates": toml('rates = { capstan = "5 Hz" }', 'rates = { capstan = "4 Hz" }'),
    "measurement.input_level": within('"measurements/tone-after.wav"', '"90 mV"', '"95 mV"'),
    "measurement.conditions": within('"measurements/idle.wav"', '"20 mV"', '"20 mV"\nconditions = { tape = "chrome" }'),
    "measurement.termination": within('"measurements/idle.wav"', '"20 mV"', '"20 mV"\ntermination = "shorted"'),
    "measurement.volume": within('"measurements/idle.wav"', '"20 mV"', '"20 mV"\nvolume = "half"'),
    "measurement.window": toml('window = "hann"', 'window = "hamming"'),
    "measurement.weighting": within('"measurements/idle-lines.csv"', 'weighting = ""', 'weighting = "A"'),
    "measurement.stage": within('"measurements/idle-lines.csv"', 'stage = "before"', 'stage = "after"'),
    "sound.id": all_of(toml('id = "chord"', 'id = "chords"'), text("notes.txt", ("[sound chord]", "[sound chords]"))),
    "sound.title": toml('title = "A chord"', 'title = "Two notes"'),
    "sound.of": toml('of = "music"', 'of = "speech"'),
    "sound.before": toml('before = "recordings/before.wav"', 'before = "recordings/after.wav"'),
    "sound.after": toml('after = "recordings/after.wav"', 'after = "recordings/before.wav"'),
    "sound.from": toml('from = "0.05 s"', 'from = ["0.05 s", "0.06 s"]'),
    "sound.to": toml('to = "0.65 s"', 'to = "0.6 s"'),
    "sound.fade": toml('fade = "30 ms"', 'fade = "20 ms"'),
    "sound.match": toml("match = false", "match = true"),
    "sound.target": toml('"-23 LUFS"', '"-14 LUFS"'),
    "measurement.id": toml('file = "measurements/idle.wav"', 'id = "quiet"\nfile = "measurements/idle.wav"'),
}
# keys of session.toml that change no output by themselves, and why
WITHOUT_EFFECT: dict[str, str] = {}


def of_keys() -> Iterator[Edit]:
    for name, change in _SWEEPS_KEYS.items():
        anywhere = name.split(".")[0] in ("unit", "price", "episode", "look")  # then fewer cards do
        yield Edit(f"key {name}", "short" if anywhere else "sweeps", change)
    for name, change in _CAPTURES_KEYS.items():
        yield Edit(f"key {name}", "captures", change)


# ------------------------------------------------------------------ everything else

_REFERENCE_RENAMED = text(
    "session.toml", ('id = "flat-left"', 'id = "flat-l"'), *[('against = "flat-left"', 'against = "flat-l"')] * 2
)
_NO_ROWS = "point,expected,found,unit,tolerance,action,note\n"
_NEW_SWEEP = """
[[measurement]]
id = "flat-again"
kind = "response"
file = "measurements/flat before.csv"
stage = "after"
"""


def of_files() -> Iterator[Edit]:
    """One digit of every measurement file."""
    for session, kinds in (("sweeps", SWEEPS), ("captures", CAPTURES)):
        for name in third_session.files(kinds):
            if name.startswith(("measurements/", "recordings/")):
                change = edge(name) if Path(name).stem == "square" else digit(name)
                yield Edit(f"one digit of {Path(name).name}", session, change, undo=True)


def of_the_third() -> Iterator[Edit]:
    """Notes, repair, prices, templates, pictures, type, and the list of measurements."""
    own = "templates/comment.txt.j2"
    on = partial(Edit, session="short")
    yield from (
        on("a comment at the top", change=toml("\n[unit]", "# a comment\n\n[unit]"), alters=False, undo=True),
        on("a note", change=text("notes.txt", ("as it came in", "as it arrived")), undo=True),
        on("a note's card", change=text("notes.txt", ("[card flat]", "[card leak]"))),
        on("a note's time", change=text("notes.txt", ("1:30 before", "1:35 before"))),
        on("a repair row", change=text("repair.csv", ("1.9,ohm", "1.8,ohm"))),
        on("a repair row more", change=append("repair.csv", "Relay,,,,,cleaned,\n")),
        on("a rated figure of the brochure", change=text("ratings.txt", ("20 %", "30 %")), undo=True),
        on("a figure that is only printed", change=text("ratings.txt", ("12 V/µs", "14 V/µs"))),
        on("the brochure's name", change=text("ratings.txt", ("leaflet", "owner's manual"))),
        on("a line more of the brochure", change=append("ratings.txt", "Weight: 9 kg\n")),
        on("no brochure", change=remove("ratings.txt"), undo=True),
        on("a price row", change=text("prices.csv", ("53.8", "53.9"))),
        on("the cut", change=text("final.txt", ("3:30 after", "3:31 after"))),
        on("no cut", change=remove("final.txt"), undo=True),
        on("what was published", change=text("published.json", ("32.0 W", "33.0 W"))),
        on("nothing published", change=remove("published.json")),
        on("a template", change=text(own, ("all of it", "the whole table"))),
        on("a template less", change=remove(own), undo=True),
        on("a template more", change=add("templates/outline.md.j2", "# {{ title }}\n{{ segments | length }}\n")),
        on("sentences of its own", change=add("templates/words/response.j2", "It is flat enough.\n")),
        on("the photo's file", change=add("front.png", third_session.photo(61))),
        on("the mark's file", change=add("mark.png", third_session.photo(201))),
        on("the font's file", change=add("type/plain.ttf", third_session.font("DejaVuSerif.ttf"))),
        on("the bold font's file", change=add("type/bold.ttf", third_session.font("DejaVuSerif-Bold.ttf"))),
        on("a measurement more", change=append("session.toml", _NEW_SWEEP), undo=True),
        on("a measurement less", session="sweeps", change=_without("measurements/phono.csv"), undo=True),
        on("a bench measurement less", session="sweeps", change=_without("measurements/thd-looped.csv")),
        on(
            "a measurement renamed",
            change=toml('file = "measurements/output.csv"', 'id = "ohms"\nfile = "measurements/output.csv"'),
        ),
        on("a reference renamed", session="sweeps", change=_REFERENCE_RENAMED, undo=True),
        on(
            "two measurements in the other order",
            session="sweeps",
            change=_swapped("measurements/bass.csv", "measurements/treble.csv"),
        ),
        on(
            "two files swapped",
            change=swap("measurements/flat left.csv", "measurements/flat right.csv"),
            again=True,
            undo=True,
        ),
        on(
            "two stages' files swapped",
            session="sweeps",
            change=swap("measurements/power.csv", "measurements/power-before.csv"),
        ),
        on("one digit, with the old times", change=digit("measurements/left-driven.csv", keep_times=True)),
        on("a file that is no table", change=add("measurements/left-driven.csv", "no table\n"), breaks=True, undo=True),
        on("an unknown key", change=toml("fair = 190", "fare = 190"), breaks=True, undo=True),
        on("a file less", change=remove("measurements/output.csv"), breaks=True, undo=True),
        on("nothing", change=nothing, alters=False),
        on("outputs damaged", change=spoil_outputs, alters=False),
        on("outputs removed", change=remove_outputs, alters=False),
        on("outputs removed, and an edit", change=all_of(remove_outputs, FAIR)),
        on("the cache damaged", change=all_of(spoil_cache, FAIR)),
        on("the cache removed", change=all_of(empty_cache, FAIR)),
        on("with --size 2160", change=nothing, options=("--size", "2160"), undo=True),
        on("with --shape", change=nothing, options=("--shape", "tall", "wide"), undo=True),
        on("with --overlay", change=nothing, options=("--overlay",), again=True),
        on("with --jobs 2, and an edit", change=digit("measurements/flat left.csv"), options=("--jobs", "2")),
        on("--only, then the whole", change=digit("measurements/flat left.csv"), between=(("--only", "flat"),)),
        on(
            "--only of another card, then the whole",
            change=digit("measurements/left-driven.csv"),
            between=(("--only", "flat"),),
        ),
        on(
            "--only at another size, then the whole",
            change=digit("measurements/left-driven.csv"),
            between=(("--only", "leak", "--size", "2160"),),
        ),
        on("with --published", change=digit("measurements/left-driven.csv"), options=("--published",)),
        on("after --published", change=toml('within = "1 dB"', 'within = "0.9 dB"'), before=(("--published",),)),
        on(
            "under --overlay", change=toml("fair = 190", "fair = 195"), before=(("--overlay",),), options=("--overlay",)
        ),
    )
    on = partial(Edit, session="captures")
    yield from (
        on("a note", change=text("notes.txt", ("as it came in", "as it arrived"))),
        on("a repair row", change=text("repair.csv", ("1.9,ohm", "1.8,ohm"))),
        on("the edited timeline", change=add("final.otio", third_session.edited_timeline(91)), needs="opentimelineio"),
        on("a cut in the place of a timeline", change=add("final.txt", third_session.CUT)),
        on("captures swapped", change=swap("measurements/tone-before.wav", "measurements/tone-after.wav")),
        on("a row of readings less", change=text("measurements/meter.csv", ("DC offset,L,12.0,mV,warm,\n", ""))),
        on("a sound in another place", change=text("notes.txt", ("What it was. [sound chord]", "What it was."))),
        on("no sound", change=_without("recordings/before.wav"), undo=True, breaks=True),
        on("half a recording", change=shorten("recordings/after.wav"), breaks=True, undo=True),
        on("half a capture", change=shorten("measurements/two-tones.wav"), breaks=True, undo=True),
    )


def _table(found: str, file: str) -> str:
    """The table of session.toml that names a file."""
    (table,) = [each for each in re.split(r"(?=^\[)", found, flags=re.MULTILINE) if f'"{file}"' in each]
    return table


def _without(file: str) -> Change:
    def change(folder: Path) -> None:
        found = (folder / "session.toml").read_text(encoding="utf-8")
        (folder / "session.toml").write_text(found.replace(_table(found, file), ""), encoding="utf-8")

    return change


def _swapped(one: str, other: str) -> Change:
    """Put the tables of two measurements in each other's place."""

    def change(folder: Path) -> None:
        found = (folder / "session.toml").read_text(encoding="utf-8")
        first, second = _table(found, one), _table(found, other)
        found = found.replace(first, "\0").replace(second, first).replace("\0", second)
        (folder / "session.toml").write_text(found, encoding="utf-8")

    return change


def of_dropped() -> Iterator[Edit]:
    """Files that no table names: dropped in, renamed, removed, changed, named, ignored."""
    on = partial(Edit, session="dropped")
    sweep = third_session.files(SWEEPS)["measurements/thd-sweep.csv"]
    table = '\n[[measurement]]\nfile = "measurements/after/power.csv"\nkind = "distortion-power"\nfrequency = "1 kHz"\n'
    yield from (
        on("a file dropped in", change=add("measurements/after/thd 3w.csv", sweep), undo=True, again=True),
        on("an unclear file dropped in", change=add("measurements/what.csv", "a,b\n1,2\n3,4\n"), undo=True),
        on("a file to ignore dropped in", change=add("measurements/new.tmp", "a,b\n1,2\n"), alters=False, undo=True),
        on("a file to ignore changed", change=add("measurements/half.tmp", "written"), alters=False),
        on("a twin dropped in", change=_copied("measurements/after/power.csv", "measurements/after/power again.csv")),
        on(
            "a dropped file renamed",
            change=_moved("measurements/after/left-driven.csv", "measurements/before/left-driven.csv"),
            undo=True,
        ),
        on("a dropped file removed", change=remove("measurements/before/power.csv"), undo=True),
        on("one digit of a dropped file", change=digit("measurements/after/power.csv"), undo=True),
        on("one digit of a dropped capture", change=digit("measurements/tone after.wav"), undo=True),
        on("an unclear file changed", change=add("measurements/odd.csv", sweep)),
        on("a dropped file named", change=append("session.toml", f'{table}stage = "after"\n'), undo=True),
        on("a dropped file named in part", change=append("session.toml", _PARTLY), undo=True),
        on(
            "a file of many dropped in", change=_copied("measurements/controls/bass.csv", "measurements/controls/b.csv")
        ),
        on("key files.ignore", change=toml('ignore = ["*.tmp"]', 'ignore = ["*.tmp", "odd.csv"]')),
        on(
            "key measurement.planned",
            change=toml('controls/*.csv"', 'controls/*.csv"\nplanned = true'),
            alters=False,
        ),
        on("key measurement.files", change=toml("controls/*.csv", "controls/b*.csv")),
    )


_PARTLY = """
[[measurement]]
file = "measurements/tone after.wav"
full_scale = "12 V"
"""


def _copied(one: str, other: str) -> Change:
    return lambda folder: (folder / other).write_bytes((folder / one).read_bytes() + b"\n")


def _moved(one: str, other: str) -> Change:
    return lambda folder: (folder / one).rename(folder / other)


def of_studio() -> Iterator[Edit]:
    """What is above a session: its studio, the file that this names, and what keeps it from being used."""
    on = partial(Edit, session="studio")
    shapes = '[episode]\nshapes = ["tall"]\n'
    yield on("a studio changed", change=text("../studio.toml", ("by the window", "in the cellar")))
    yield on("a file of the studio changed", change=add("../mark.png", third_session.mark(90)))
    yield on("the studio removed", change=remove("../studio.toml"))
    yield on("the studio writable by others", change=lambda folder: (folder.parent / "studio.toml").chmod(0o666))
    yield on("the studio ignored", change=nothing, options=("--no-studio",))
    yield on("a fault in the studio", change=append("../studio.toml", "cellar = 5\n"), breaks=True)
    yield Edit("a studio put above", "only reading", change=add("../studio.toml", shapes))


def of_clips() -> Iterator[Edit]:
    """Moving clips take long, so they are made of one chart."""
    on = partial(Edit, session="only crosstalk", options=("--motion",), needs="imageio_ffmpeg")
    with_clips = (("--motion",),)
    yield on("with --motion", change=nothing, again=True)
    yield on("under --motion, a digit", change=digit("measurements/left-driven.csv"), before=with_clips)
    yield on(
        "under --motion, a recording", session="only tone", change=digit("recordings/after.wav"), before=with_clips
    )
    yield on("under --motion, card_seconds", change=toml("card_seconds = 5", "card_seconds = 4"), before=with_clips)


def of_receiver() -> Iterator[Edit]:
    for name in ("fm-response", "fm-separation", "power", "loads", "tape-response"):
        yield Edit(f"one digit of {name}.csv", "receiver", digit(f"measurements/{name}.csv"))
    yield Edit("a comment at the top", "receiver", toml("[unit]", "# a comment\n[unit]"), alters=False)
    yield Edit("price.fair", "receiver", toml("to = 2024", "to = 2024\nfair = 300"))
    yield Edit("bench.input", "receiver", toml('input = "tape"', 'input = "aux"'))
    yield Edit("rated.within", "receiver", toml('["-1.5 dB", "0.5 dB"]', '"1.5 dB"'))
    yield Edit(
        "a first stage", "receiver", within("measurements/loads.csv", "\n\n", '\nstage = "after"\n\n'), breaks=True
    )
    yield Edit("a repair", "receiver", add("repair.csv", "point,action\nRelay,cleaned\n"), breaks=True, undo=True)
    yield Edit("a repair table without rows", "receiver", add("repair.csv", _NO_ROWS))
    yield Edit("no notes", "receiver", remove("notes.txt"))
    yield Edit("a cut", "receiver", add("final.txt", "0:00 opening\n1:00 tuner\n4:00 verdict\n"))
    yield Edit("the other look", "receiver", toml('look = "brochure"', 'look = "lamplight"'))
    yield Edit("FM files swapped", "receiver", swap("measurements/fm-response.csv", "measurements/tape-response.csv"))


def of_sample() -> Iterator[Edit]:
    yield Edit("price.fair", "sample", toml("fair = 260", "fair = 270"))
    yield Edit("a note", "sample", text("notes.txt", ("camera position", "camera angle")))
    yield Edit("a comment at the top", "sample", toml("# An example", "# Still an example"), alters=False)
    for name in (
        "tone-after.txt",
        "spectrum-40w.csv",
        "response.csv",
        "bench-looped.csv",
        "multitone.wav",
        "idle.wav",
        "intermodulation.csv",
        "phono.csv",
    ):
        # the digit of the exported pair is in the noise, which nothing but its pictures' lowest lines could show
        yield Edit(
            f"one digit of {name}",
            "sample",
            digit(f"measurements/{name}"),
            undo=name == "response.csv",
            alters=name != "intermodulation.csv",
        )
    for kind in KINDS:
        for file in third_session.sample_files(kind)[:1] if kind not in _OF_KIND else ():
            yield Edit(f"one digit of {kind}", "sample", digit(file))
    yield Edit("bench.mains", "sample", within("[bench]", '"120 V 60 Hz"', '"119 V 60 Hz"'))
    yield Edit("bench.level_uncertainty", "sample", toml('"0.1 dB"', '"0.2 dB"'))
    yield Edit("window of a spectrum", "sample", within("intermodulation.csv", "blackman-harris", "nuttall"))
    yield Edit("a reference renamed", "sample", _renamed("response", "direct"))


def _renamed(old: str, new: str) -> Change:
    """Give the measurement of that file an id, and name it so wherever a contour refers to it."""

    def change(folder: Path) -> None:
        found = (folder / "session.toml").read_text(encoding="utf-8")
        found = found.replace(f'file = "measurements/{old}.csv"', f'id = "{new}"\nfile = "measurements/{old}.csv"')
        (folder / "session.toml").write_text(
            found.replace(f'against = "{old}"', f'against = "{new}"'), encoding="utf-8"
        )
        notes = (folder / "notes.txt").read_text(encoding="utf-8")
        (folder / "notes.txt").write_text(notes.replace(f"[card {old}]", f"[card {new}]"), encoding="utf-8")

    return change


KIND_EDITS: tuple[Edit, ...] = tuple(of_kinds())
LONG_EDITS: tuple[Edit, ...] = (
    *of_keys(),
    *of_files(),
    *of_the_third(),
    *of_dropped(),
    *of_clips(),
    *of_receiver(),
    *of_sample(),
)


STUDIO_EDITS: tuple[Edit, ...] = tuple(of_studio())


def of(*sessions: str, keys: bool | None = None) -> list[Edit]:
    """The edits of these sessions that take long. `keys`: only those of keys, or only the others."""
    return [
        edit
        for edit in LONG_EDITS
        if edit.session.split()[0] in sessions and keys in (None, edit.name.startswith("key "))
    ]
