"""The sample session, broken in one place each: what is told, where, with which remedy, and that nothing is written."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

Change = Callable[[Path], None]


def instead(name: str, old: str, new: str) -> Change:
    """Puts `new` in the place of `old`, which must stand there exactly once or be the first of its kind."""

    def change(folder: Path) -> None:
        text = (folder / name).read_bytes().decode("utf-8")
        assert old in text, f"{name} has no {old!r} to break"
        (folder / name).write_bytes(text.replace(old, new, 1).encode("utf-8"))

    return change


def without_lines(name: str, start: str) -> Change:
    def change(folder: Path) -> None:
        lines = (folder / name).read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not line.startswith(start)]
        assert len(kept) < len(lines)
        (folder / name).write_text("".join(kept), encoding="utf-8")

    return change


def removed(name: str) -> Change:
    return lambda folder: (folder / name).unlink()


def written(name: str, text: str) -> Change:
    def change(folder: Path) -> None:
        (folder / name).write_text(text, encoding="utf-8")

    return change


def linked_outside(folder: Path) -> None:
    shutil.move(folder / "measurements" / "crosstalk.csv", folder.parent / "elsewhere.csv")
    (folder / "measurements" / "crosstalk.csv").symlink_to(folder.parent / "elsewhere.csv")


def in_latin_1(folder: Path) -> None:
    text = (folder / "session.toml").read_text(encoding="utf-8").replace("Norrvale", "Norrvåle")
    (folder / "session.toml").write_bytes(text.encode("latin-1"))


@dataclass(frozen=True)
class Broken:
    """One fault: how it comes about, the line of which file is named (by what stands in it), and what is said there."""

    change: Change
    file: str
    stands_in_line: str  # "" where no line can be named
    says: str
    remedy: str


MISTAKES = {
    "a value without its unit": Broken(
        instead("session.toml", 'at_least = "40 W"', 'at_least = "40"'),
        "session.toml",
        'at_least = "40"',
        '[[rated]] power: at_least = "40" has no unit',
        'write "40 W"',
    ),
    "a bare number where a unit is needed": Broken(
        instead("session.toml", 'load = "8 ohm"', "load = 8"),
        "session.toml",
        "load = 8",
        "[bench] load = 8 has no unit",
        'write "8 ohm"',
    ),
    "a unit of another kind": Broken(
        instead("session.toml", 'drive = "40 W"', 'drive = "40 Hz"'),
        "session.toml",
        'drive = "40 Hz"',
        'drive = "40 Hz" is neither a power nor a voltage',
        'for example "4 W"',
    ),
    "an unknown key": Broken(
        instead("session.toml", "channels", "chanels"),
        "session.toml",
        "chanels",
        "[bench] chanels: unknown key",
        'did you mean "channels"?',
    ),
    "a key twice in its table": Broken(
        instead("session.toml", 'input = "aux"\n', 'input = "aux"\ninput = "tape"\n'),
        "session.toml",
        'input = "tape"',
        "this key appears twice",
        "keep one",
    ),
    "an unknown rating": Broken(
        instead("session.toml", '"intermodulation"', '"intermodulaton"'),
        "session.toml",
        '"intermodulaton"',
        'quantity = "intermodulaton" is not a known rating',
        'did you mean "intermodulation"?',
    ),
    "an unknown kind": Broken(
        instead("session.toml", 'kind = "response"', 'kind = "respons"'),
        "session.toml",
        'kind = "respons"',
        'kind = "respons" is not known',
        'did you mean "response"?',
    ),
    "an id that is taken": Broken(
        instead("session.toml", 'id = "two-load"', 'id = "crosstalk"'),
        "session.toml",
        'id = "crosstalk"',
        'has the id "crosstalk" of the measurement in line ',
        'write id = "crosstalk-2"',
    ),
    "an id that the program keeps for itself": Broken(
        instead("session.toml", 'id = "two-load"', 'id = "closing"'),
        "session.toml",
        'id = "closing"',
        '"closing"',
        "write ",
    ),
    "a file that is not there": Broken(
        removed("measurements/response.csv"),
        "session.toml",
        "measurements/response.csv",
        'file = "measurements/response.csv": there is no such file',
        "put it there, or correct the path",
    ),
    "a path that leads outside the folder": Broken(
        instead("session.toml", '"measurements/crosstalk.csv"', '"../elsewhere.csv"'),
        "session.toml",
        "../elsewhere.csv",
        "leads outside the session's folder",
        "copy the file into it",
    ),
    "a link that leads outside the folder": Broken(
        linked_outside,
        "session.toml",
        "measurements/crosstalk.csv",
        "leads outside the session's folder",
        "copy the file into it",
    ),
    "no TOML": Broken(
        instead("session.toml", "year = 1977", "year = "),
        "session.toml",
        "year = \n",
        "year has no value",
        "write one after the equals sign",
    ),
    "another encoding": Broken(
        in_latin_1,
        "session.toml",
        'maker = "Norrv',
        "not UTF-8 text",
        "save the file as UTF-8",
    ),
    "something was repaired, but not one measurement says when it was made": Broken(
        without_lines("session.toml", "stage = "),
        "session.toml",
        "[[measurement]]",
        "[[measurement]] tone-before: repair.csv lists a repair; ",
        'write stage = "before" or stage = "after"',
    ),
    "a year that the table of prices lacks": Broken(
        instead("session.toml", "to = 2024", "to = 2031"),
        "session.toml",
        "[price]",
        "[price] to = 2031 is not in prices.csv, which has 1955 – 2025",
        "write one of these years, or leave it out for the latest",
    ),
    "an index that is a word": Broken(
        instead("prices.csv", "1977,60.6", "1977,sixty"),
        "prices.csv",
        "1977,sixty",
        '"sixty" is not an index',
        "write digits",
    ),
    "an index table without its index": Broken(
        instead("prices.csv", "year,index", "year,number of sunny days"),
        "prices.csv",
        "year,number",
        "index",
        "year,index",
    ),
    "a sweep that goes back": Broken(
        instead("measurements/distortion-40w.csv", "25,18;", "15,18;"),
        "measurements/distortion-40w.csv",
        "15,18;",
        "frequency goes back from 22.4 Hz to 15.2 Hz",
        "export one sweep per file",
    ),
    "text in a number cell": Broken(
        instead("measurements/crosstalk.csv", "0.0233,-68.30,", "0.0233,pretty quiet,"),
        "measurements/crosstalk.csv",
        "pretty quiet",
        '"pretty quiet" in column 2 (L to R (dB)) is not a number',
        "write the number alone",
    ),
    "a kind that the columns do not fit": Broken(
        instead("session.toml", 'kind = "distortion-frequency"', 'kind = "crosstalk"'),
        "measurements/distortion-40w.csv",
        "",
        "a crosstalk needs columns of frequency and level",
        "is it another kind, or another file?",
    ),
    "a note that goes back in time": Broken(
        instead("notes.txt", "6:12 before", "5:12 before"),
        "notes.txt",
        "5:12 before",
        "5:12 is earlier than the note above it",
        "only after a clip line",
    ),
    "a note without a time": Broken(
        instead("notes.txt", "8:30 The left", "half past eight The left"),
        "notes.txt",
        "half past eight",
        '"half past eight',
        "a note looks like 0:41 front: Five knobs.",
    ),
    "a card that is misspelt": Broken(
        instead("notes.txt", "[card spectrum-40w]", "[card spectrum-4w]"),
        "notes.txt",
        "[card spectrum-4w]",
        "[card spectrum-4w]: there is no such card",
        'did you mean "spectrum-40w"?',
    ),
    "a reading of the repair that is a word": Broken(
        instead("repair.csv", "22,21.3,mV", "22,twenty,mV"),
        "repair.csv",
        "22,twenty,mV",
        'Bias L, before: found "twenty" is not a reading',
        'a number such as 0.38, or "open" or "short"',
    ),
    "a final cut that goes back": Broken(
        written("final.txt", "0:00 opening\n2:00 front\n1:00 rear\n"),
        "final.txt",
        "1:00 rear",
        "1:00 is not later than 2:00 above it",
        "in the order of the cut",
    ),
}


def everything(folder: Path) -> dict[str, str]:
    """Every entry of a folder with a digest of what is in it."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        for path in folder.rglob("*")
    }


def line_with(path: Path, words: str) -> int:
    lines = path.read_bytes().decode("utf-8", "replace").splitlines(keepends=True)
    return next(number for number, line in enumerate(lines, start=1) if words in line)


@pytest.mark.parametrize("name", MISTAKES)
def test_one_mistake_is_told_with_its_place_and_its_remedy(name, sample_copy, say):
    broken = MISTAKES[name]
    broken.change(sample_copy)
    before = everything(sample_copy)
    checked = say("check", sample_copy)

    place = broken.file
    if broken.stands_in_line:
        place += f":{line_with(sample_copy / broken.file, broken.stands_in_line)}"
    assert checked.err.endswith("nothing was written\n")
    told = [line for line in checked.err.splitlines() if line.startswith(f"{place}: ")]
    assert told, f"nothing is said of {place}:\n{checked.err}"
    assert broken.says in told[0]
    assert broken.remedy in told[0]
    assert (checked.status, checked.out) == (2, "")

    if list(MISTAKES).index(name) % 3 == 0:  # both commands read and measure by the same call
        built = say("build", sample_copy)
        assert (built.status, built.out, built.err) == (2, "", checked.err)
    assert not (sample_copy / "out").exists()
    assert everything(sample_copy) == before


def test_there_are_mistakes_in_every_file_of_a_session():
    assert len(MISTAKES) >= 12
    files = {broken.file.split("/")[0] for broken in MISTAKES.values()}
    assert files == {"session.toml", "notes.txt", "prices.csv", "repair.csv", "measurements", "final.txt"}


def test_the_sample_itself_has_none_of_them(sample, say):
    assert say("check", sample.folder).status == 0


def test_the_faults_of_all_files_are_told_together(sample_copy, say):
    for name in ("a sweep that goes back", "text in a number cell", "an index that is a word", "a note without a time"):
        MISTAKES[name].change(sample_copy)
    said = say("check", sample_copy)
    assert said.status == 2
    for name in ("measurements/distortion-40w.csv:", "measurements/crosstalk.csv:", "prices.csv:", "notes.txt:"):
        assert sum(line.startswith(name) for line in said.err.splitlines()) == 1


def test_of_many_faults_in_a_file_twenty_are_shown_and_the_rest_counted(sample_copy, say):
    path = sample_copy / "measurements" / "crosstalk.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    spoilt = [
        line if number < 5 or number >= 35 else line.replace(",", ",oops ", 1) for number, line in enumerate(lines)
    ]
    path.write_text("\n".join(spoilt) + "\n", encoding="utf-8")
    said = say("check", sample_copy)
    assert said.status == 2
    told = [line for line in said.err.splitlines() if line.startswith("measurements/crosstalk.csv")]
    assert len(told) == 21
    assert told[-1] == "measurements/crosstalk.csv: and 10 more"


def test_a_broken_session_leaves_the_last_build_as_it_was(session_of, say):
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n')
    assert say("build", folder).status == 0
    before = everything(folder / "out")
    (folder / "session.toml").write_text('[unit]\nmaker = "Norrvale"\nmodel = 40\n', encoding="utf-8")
    assert say("build", folder).status == 2
    assert everything(folder / "out") == before
