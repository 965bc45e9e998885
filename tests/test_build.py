"""A build makes only what is not as it was, and what it leaves is what a build from nothing leaves, byte for byte."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import one_evening
import pytest
from one_evening import outputs, put

import reviewkit.build.build
from reviewkit.build import drawing, file_results, plain_data, program_digest
from reviewkit.build.build import make
from reviewkit.build.cache import Cache, open_cache
from reviewkit.build.last_build import read_last_build
from reviewkit.build.options import Options
from reviewkit.build.pool import ALONE
from reviewkit.build.write_outputs import MANIFEST
from reviewkit.model.errors import CannotFinish
from reviewkit.render.footage import clip
from reviewkit.render.footage.ffmpeg import find_encoder

HEAVY = "numpy pandas matplotlib jinja2 pydantic scipy PIL rich".split()


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """The session, built once, next to the cache that was filled by it. Not to be changed."""
    folder = one_evening.write(tmp_path_factory.mktemp("evening") / "session")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("REVIEWKIT_CACHE", str(folder.parent / "cache"))
        build(folder, Options())
    return folder


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch) -> Path:
    """A cache of its own for each test."""
    monkeypatch.setenv("REVIEWKIT_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def folder(whole, cache, tmp_path) -> Path:
    """A session as it is after its first build, and its cache."""
    shutil.copytree(whole.parent / "cache", cache)
    folder = Path(shutil.copytree(whole, tmp_path / "session"))
    build(folder, Options())  # the cache knows the last build of a folder by its place
    return folder


def build(folder: Path, options: Options, *, cached: bool = True) -> None:
    """Build as the command does, in this process."""
    encoder = find_encoder() if options.motion else None
    reviewkit.build.build.build(folder, options, ALONE, open_cache() if cached else Cache(), encoder)


def is_current(folder: Path, options: Options = Options()) -> bool:  # noqa: B008 - frozen
    encoder = find_encoder().digest if options.motion else ""
    last = read_last_build(folder, options, encoder, open_cache())
    return last is not None and last.is_current(folder, options.out_of(folder))


def times(folder: Path) -> dict[str, tuple[int, int]]:
    """When each file of a folder was written, and its number."""
    return {str(path): (path.stat().st_mtime_ns, path.stat().st_ino) for path in folder.rglob("*")}


# ------------------------------------------------------------------ nothing changed


def test_where_nothing_changed_nothing_is_loaded_made_or_written(folder, checkout):
    before = times(folder)
    program = (
        "import sys; from reviewkit.commands.cli import run; status = run(sys.argv[1:])\n"
        f"print(status, *(name for name in {HEAVY!r} if name in sys.modules))"
    )
    arguments = [sys.executable, "-c", program, "build", str(folder), "--jobs", "2"]
    ran = subprocess.run(arguments, cwd=checkout, capture_output=True, text=True, check=True)
    assert (ran.stdout, ran.stderr) == ("0\n", "")
    assert times(folder) == before


def test_files_that_were_only_touched_are_no_change(folder):
    for path in folder.rglob("*"):
        os.utime(path)
    assert is_current(folder)
    before = outputs(folder / "out")
    build(folder, Options())
    assert outputs(folder / "out") == before


# ------------------------------------------------------------------ something did


def shifted(folder: Path) -> None:
    put(folder / "session.toml", "# one line more\n" + one_evening.SESSION)


def edited(old: str, new: str, name: str = "session.toml"):
    def edit(folder: Path) -> None:
        text = (folder / name).read_text(encoding="utf-8")
        assert old in text
        put(folder / name, text.replace(old, new))

    return edit


def written(name: str, content: str | bytes):
    return lambda folder: put(folder / name, content)


def removed(name: str):
    return lambda folder: (folder / name).unlink()


CHANGES = {
    "a sweep": written("measurements/flat.csv", one_evening.flat(30_000)),
    "one digit, the size as it was": edited("-64.000", "-63.000", "measurements/leak.csv"),
    "a note": edited("Flat again.", "Flat again, both.", "notes.txt"),
    "a line more in session.toml": shifted,
    "a rating": edited('at_least = "60 dB"', 'at_least = "66 dB"'),
    "a rating less": edited('[[rated]]\nquantity = "separation"\nat_least = "60 dB"\n', ""),
    "a setting": edited("bass full up", "bass at three o'clock"),
    "a measurement less": edited(
        '[[measurement]]\nfile = "measurements/leak.csv"\nkind = "crosstalk"\nstage = "after"', ""
    ),
    "the bench": edited('load = "8 ohm"', 'load = "4 ohm"'),
    "the look": edited('presenter = "the bench"', 'presenter = "the bench"\nlook = "brochure"'),
    "a colour": edited("[episode]", '[look]\nleft = "#ffd27f"\n\n[episode]'),
    "the photograph": written("front.png", one_evening.photo(90)),
    "the index": edited("313.7", "320.0", "prices.csv"),
    "no repair": removed("repair.csv"),
    "the final cut": written("final.txt", "0:00 opening\n0:40 after\n1:30 closing\n"),
    "a template of one's own": written("templates/words/crosstalk.j2", "{# nothing to say #}\n"),
}


# the others are also among those of tests/rebuilt/
IN_EVERY_RUN = {"a sweep", "a note"}


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(change, id=name, marks=[] if name in IN_EVERY_RUN else [pytest.mark.long])
        for name, change in CHANGES.items()
    ],
)
def test_what_changed_is_made_again_as_a_build_from_nothing_makes_it(folder, tmp_path, change):
    change(folder)
    assert not is_current(folder)
    build(folder, Options())
    build(folder, Options(out=tmp_path / "afresh"), cached=False)
    again, afresh = outputs(folder / "out"), outputs(tmp_path / "afresh")
    assert set(again) == set(afresh)
    assert [name for name in again if again[name] != afresh[name]] == []
    assert is_current(folder)


@pytest.mark.long
def test_other_options_are_another_build(folder, tmp_path):
    for options in (Options(width=3840), Options(overlay=True)):
        assert not is_current(folder, options)
        build(folder, options)
        assert is_current(folder, options)
        build(folder, replace(options, out=tmp_path / "afresh"), cached=False)
        assert outputs(folder / "out") == outputs(tmp_path / "afresh")
    build(folder, Options())
    assert not list((folder / "out").glob("overlays"))


def test_only_one_card_leaves_the_others_and_the_record(folder):
    before = outputs(folder / "out")
    build(folder, Options(only="flat"))
    assert outputs(folder / "out") == before
    assert is_current(folder)
    put(folder / "measurements/flat.csv", one_evening.flat(30_000))
    build(folder, Options(only="flat"))
    changed = {name for name, content in outputs(folder / "out").items() if before[name] != content}
    assert changed == {"cards/04-flat.png", "strips/04-flat.png"}
    assert not is_current(folder)


@pytest.mark.long
def test_clips_of_charts_that_did_not_change_are_taken_over(folder, tmp_path, monkeypatch):
    edited("[episode]", "[episode]\ncard_seconds = 2\nframe_rate = 24")(folder)
    build(folder, Options(motion=True))
    encoded, encode = [], clip.write_opaque_clip

    def write(layers, steps, scale, place, *rest):
        encoded.append(place.stem)
        return encode(layers, steps, scale, place, *rest)

    monkeypatch.setattr(clip, "write_opaque_clip", write)
    put(folder / "measurements/leak.csv", one_evening.leak(-66))
    build(folder, Options(motion=True))
    assert encoded == ["leak", "score"]  # it is rated, so its figure is among the verdicts, too
    (folder / "repair.csv").unlink()  # no clip, but a card before others: they have other numbers now
    edited('kind = "contour"', 'kind = "contour"\nid = "low"')(folder)
    build(folder, Options(motion=True))
    assert encoded == ["leak", "score", "ending"]
    build(folder, Options(motion=True, out=tmp_path / "afresh"), cached=False)
    assert outputs(folder / "out") == outputs(tmp_path / "afresh")
    assert is_current(folder, Options(motion=True))


def test_a_sweep_that_changed_is_read_and_drawn_alone(folder, monkeypatch):
    read, drawn, pictures, parse = [], [], drawing.draw_pictures, file_results.read_measurement
    monkeypatch.setattr(drawing, "draw_pictures", lambda card, order: drawn.append(card.id) or pictures(card, order))

    def parsed(folder, m, needs):
        read.append(Path(m.file).name)
        return parse(folder, m, needs)

    monkeypatch.setattr(file_results, "read_measurement", parsed)
    put(folder / "measurements/leak.csv", one_evening.leak(-66))
    build(folder, Options())
    assert read == ["leak.csv"]
    assert set(drawn) == {"leak", "score"}  # which sums up
    # what another is held against changes that one, too
    read.clear()
    drawn.clear()
    put(folder / "measurements/flat.csv", one_evening.flat(35_000))
    build(folder, Options())
    assert set(read) == {"bass.csv", "flat.csv"}  # the reference, for itself and for what is compared with it
    assert {"flat", "bass"} <= set(drawn)
    assert "leak" not in drawn
    read.clear()
    put(folder / "notes.txt", "0:00 opening: Another word.\n")
    build(folder, Options())
    assert read == []


def test_the_number_of_processes_never_changes_bytes(folder, tmp_path, say):
    put(folder / "measurements/flat.csv", one_evening.flat(30_000))
    for jobs in ("1", "2", "3"):
        out = tmp_path / f"by-{jobs}"
        shutil.copytree(folder / "out", out)
        assert say("build", folder, "--out", out, "--jobs", jobs).status == 0
    assert outputs(tmp_path / "by-1") == outputs(tmp_path / "by-2") == outputs(tmp_path / "by-3")


# ------------------------------------------------------------------ an output that is not as it was


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-1])


def flipped(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    with path.open("r+b") as file:  # in place: the file's size and number stay
        file.write(content)
    os.utime(path, ns=(0, path.stat().st_mtime_ns))


def another_file(path: Path) -> None:
    put(path.with_suffix(".new"), "an older file of the user's")
    os.utime(path.with_suffix(".new"), (0, 0))
    os.replace(path.with_suffix(".new"), path)  # noqa: PTH105


DAMAGE = {"gone": Path.unlink, "cut": cut, "one bit": flipped, "another": another_file}
EACH_DAMAGE = [
    pytest.param(cut, id="cut"),
    *(pytest.param(DAMAGE[k], id=k, marks=pytest.mark.long) for k in ("gone", "one bit", "another")),
]


@pytest.mark.parametrize("damage", EACH_DAMAGE)
def test_any_output_that_is_lost_or_damaged_comes_back(folder, damage):
    before = outputs(folder / "out")
    assert is_current(folder)
    for name in before:
        content = before[name]
        damage(folder / "out" / name)
        assert is_current(folder) == (name == MANIFEST), name  # it is only asked for what may be removed
        put(folder / "out" / name, content)
    build(folder, Options())
    for name in set(before) - {MANIFEST}:  # without the list none of them is known to be the program's own
        damage(folder / "out" / name)
    put(folder / "out" / "mine.txt", "a file of the user's")
    build(folder, Options())
    assert outputs(folder / "out") == {**before, "mine.txt": b"a file of the user's"}


def test_the_whole_folder_of_outputs_may_be_deleted(folder):
    before = outputs(folder / "out")
    shutil.rmtree(folder / "out")
    build(folder, Options())
    assert outputs(folder / "out") == before


# ------------------------------------------------------------------ the cache


def test_another_program_makes_everything_itself(folder, monkeypatch):
    drawn, pictures = [], drawing.draw_pictures
    monkeypatch.setattr(drawing, "draw_pictures", lambda card, order: drawn.append(card.id) or pictures(card, order))
    for module in ("measuring", "drawing", "last_build"):
        monkeypatch.setattr(f"reviewkit.build.{module}.program_digest", lambda: "another")
    before = outputs(folder / "out")
    assert not is_current(folder)
    build(folder, Options())
    assert {"flat", "bass", "leak", "title"} <= set(drawn)
    assert outputs(folder / "out") == before


@pytest.mark.parametrize("part", ["reviewkit/model/units.py", "templates/outline.md.j2", "a font", "a package"])
def test_the_program_is_known_by_its_bytes_and_what_is_installed(part, tmp_path, monkeypatch, checkout):
    program_digest.program_digest.cache_clear()
    before = program_digest.program_digest()
    if part == "a package":
        (tmp_path / "some_library-9.9.dist-info").mkdir()
        monkeypatch.setattr(sys, "path", [*sys.path, str(tmp_path)])
    else:
        real = program_digest.file_digest
        name = "SourceSansPro-Bold.ttf" if part == "a font" else Path(part).name
        monkeypatch.setattr(program_digest, "file_digest", lambda path: "other" if path.name == name else real(path))
    program_digest.program_digest.cache_clear()
    assert program_digest.program_digest() != before
    monkeypatch.undo()
    program_digest.program_digest.cache_clear()
    assert program_digest.program_digest() == before


@pytest.mark.parametrize("damage", EACH_DAMAGE)
def test_a_damaged_cache_changes_nothing(folder, cache, damage, monkeypatch):
    before = outputs(folder / "out")
    for entry in [path for path in cache.rglob("*") if path.is_file()]:
        damage(entry)
    shutil.rmtree(folder / "out")
    build(folder, Options())
    assert outputs(folder / "out") == before


# ------------------------------------------------------------------ files that change meanwhile


def test_a_file_that_is_written_to_while_it_is_read_is_told_and_nothing_is_moved(folder, monkeypatch):
    before, parse = outputs(folder / "out"), file_results.read_measurement
    put(folder / "measurements/leak.csv", one_evening.leak(-66))

    def read(*given):
        found = parse(*given)
        put(folder / "measurements/leak.csv", one_evening.leak(-62))
        return found

    monkeypatch.setattr(file_results, "read_measurement", read)
    with pytest.raises(CannotFinish, match=r"leak\.csv was written to while it was read; nothing in out/ was changed"):
        build(folder, Options())
    assert outputs(folder / "out") == before
    monkeypatch.undo()
    build(folder, Options())
    assert is_current(folder)


def test_a_file_replaced_after_it_was_read_is_seen_by_the_next_build(folder, tmp_path, monkeypatch):
    draw, old = drawing.draw_pictures, one_evening.leak(-66)
    put(folder / "measurements/leak.csv", old)

    def drawn(card, order):
        put(folder / "measurements/leak.csv", one_evening.leak(-62))
        return draw(card, order)

    monkeypatch.setattr(drawing, "draw_pictures", drawn)
    build(folder, Options())
    monkeypatch.undo()
    shutil.copytree(folder, tmp_path / "old", ignore=shutil.ignore_patterns("out"))
    put(tmp_path / "old/measurements/leak.csv", old)
    build(tmp_path / "old", Options())
    assert outputs(folder / "out")["findings.json"] == outputs(tmp_path / "old/out")["findings.json"]
    assert not is_current(folder)


# ------------------------------------------------------------------ several sessions


def test_several_sessions_are_built_as_each_alone_is(whole, tmp_path, say):
    folders = [one_evening.write(tmp_path / name) for name in ("one", "two", "three")]
    put(folders[1] / "measurements/leak.csv", one_evening.leak(-50))
    assert say("build", *folders, "--jobs", "2").status == 0
    assert outputs(folders[0] / "out") == outputs(folders[2] / "out") == outputs(whole / "out")
    build(folders[1], Options(out=tmp_path / "afresh"), cached=False)
    assert outputs(folders[1] / "out") == outputs(tmp_path / "afresh")


@pytest.mark.parametrize("jobs", ["1", pytest.param("2", marks=pytest.mark.long)])
def test_one_session_that_is_wrong_leaves_all_as_they_were(whole, tmp_path, say, jobs):
    folders = [one_evening.write(tmp_path / name) for name in ("one", "two")]
    put(folders[1] / "measurements/leak.csv", "nothing")
    said = say("build", *folders, "--jobs", jobs)
    assert said.status == 2
    assert "measurements/leak.csv" in said.err
    assert not any((folder / "out").exists() for folder in folders)


# ------------------------------------------------------------------ data as text


def test_every_card_and_figure_comes_back_as_it_was(folder):
    prepared = make(folder, Options(out=folder / "elsewhere")).composed
    for value in (*prepared.episode.cards, *(f for run in prepared.episode.runs for f in run.findings)):
        again = plain_data.from_text(plain_data.to_text(value))
        assert type(again) is type(value)
        assert plain_data.to_text(again) == plain_data.to_text(value)


@pytest.mark.parametrize(
    "value",
    [
        None,
        True,
        1,
        1.5,
        float("inf"),
        "é\u2028\x00",
        (),
        (1, (2,)),
        [1, [2]],
        {"a": (1,), 2: None},
        b"\x00\xff",
        Fraction(30000, 1001),
        Path("a/b"),
    ],
    ids=repr,
)
def test_data_is_the_same_after_it_was_text(value):
    again = plain_data.from_text(plain_data.to_text(value))
    assert again == value
    assert type(again) is type(value)


@pytest.mark.parametrize(
    "text",
    ['["data","Path"]', '["data","Callable",1]', '["eval","1"]', "[]", '["data","Unit"]', "{", '["array","O",[1],""]'],
)
def test_a_text_that_is_no_data_is_refused(text):
    with pytest.raises(ValueError):
        plain_data.from_text(text)
