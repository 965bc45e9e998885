"""studio.toml: which one counts, what a session takes from it, and that nothing of it is typed again."""

from __future__ import annotations

import json
import os
import shutil

import one_evening
import pytest
from PIL import Image

from reviewkit.build.cache import open_cache
from reviewkit.build.last_build import read_last_build
from reviewkit.build.options import Options
from reviewkit.build.pipeline import check
from reviewkit.build.pool import ALONE
from reviewkit.build.session_files import read
from reviewkit.commands.desk.live_session import LiveSession

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\nyear = 1977\n'


@pytest.fixture
def studio(tmp_path):
    """Writes files into a studio, and returns its folder: studio({"studio.toml": text, "one/session.toml": text})."""

    def write(files):
        for name, content in files.items():
            one_evening.put(tmp_path / "studio" / name, content)
        return tmp_path / "studio"

    return write


def speed(words):
    return f"[episode]\nwords_per_minute = {words}\n"


# ------------------------------------------------------------------ which one counts


@pytest.mark.parametrize(
    ("session", "words"), [("one", 110), ("shelf/one", 120), ("cupboard/one", 110), ("cupboard/shelf/one", 150)]
)
def test_the_nearest_counts_at_most_two_levels_up(session, words, studio):
    folder = studio({"studio.toml": speed(110), "shelf/studio.toml": speed(120), f"{session}/session.toml": UNIT})
    assert read(folder / session).session.episode.words_per_minute == words


def test_it_is_ignored_if_asked(studio, say):
    folder = studio({"studio.toml": "[bench]\nlod = 5\n", "one/session.toml": UNIT})
    for command in ("plan", "check", "build"):
        assert say(command, folder / "one").status == 2
        assert say(command, folder / "one", "--no-studio").status == 0


@pytest.mark.skipif(os.name == "nt", reason="permissions of another kind")
@pytest.mark.parametrize("mode", [0o664, 0o646, 0o666, 0o622])
def test_one_that_others_can_write_is_skipped_with_a_note(mode, studio, say):
    folder = studio({"studio.toml": speed(110), "one/session.toml": UNIT})
    (folder / "studio.toml").chmod(mode)
    assert read(folder / "one").session.episode.words_per_minute == 150
    said = say("check", folder / "one")
    assert "  ../studio.toml is skipped: it can be written by others; chmod go-w studio.toml\n" in said.out
    (folder / "studio.toml").chmod(0o644)
    assert read(folder / "one").session.episode.words_per_minute == 110


@pytest.mark.skipif(os.name == "nt" or os.getuid() != 0, reason="only root can give a file away")
def test_one_of_another_user_is_skipped_with_a_note(studio):
    folder = studio({"studio.toml": speed(110), "one/session.toml": UNIT})
    os.chown(folder / "studio.toml", 12345, -1)
    files = read(folder / "one")
    assert files.session.episode.words_per_minute == 150
    assert "../studio.toml is skipped: it belongs to another user; copy it, and put the copy in its place" in (
        files.left_out
    )


def test_one_that_is_skipped_hides_those_above_it(studio):
    folder = studio({"studio.toml": speed(110), "shelf/studio.toml": speed(120), "shelf/one/session.toml": UNIT})
    (folder / "shelf" / "studio.toml").chmod(0o666)
    assert read(folder / "shelf" / "one").session.episode.words_per_minute == 150


def test_links_and_paths_out_of_its_folder_are_refused(studio, tmp_path, say):
    one_evening.put(tmp_path / "outside.toml", speed(110))
    Image.new("RGB", (200, 200), "grey").save(tmp_path / "outside.png")
    folder = studio({"one/session.toml": UNIT})
    (folder / "studio.toml").symlink_to(tmp_path / "outside.toml")
    assert "../studio.toml is skipped: it leads outside its folder; put it there" in read(folder / "one").left_out
    (folder / "studio.toml").unlink()
    for path in ("../outside.png", "link.png", str(tmp_path / "outside.png")):
        studio({"studio.toml": f'[look]\nmark = "{path}"\n'})
        if path == "link.png":
            (folder / path).symlink_to(tmp_path / "outside.png")
        files = read(folder / "one")
        note = f'../studio.toml is skipped: "{path}" leads outside its folder; copy the file there'
        assert (files.session.look.mark, files.mark, files.left_out[0]) == ("", b"", note)


def test_a_session_itself_still_reaches_nothing_above_it(studio, say):
    folder = studio(
        {"studio.toml": speed(110), "mark.png": b"", "one/session.toml": f'{UNIT}[look]\nmark = "../mark.png"'}
    )
    assert "session.toml:6: [look] mark" in say("check", folder / "one").err


# ------------------------------------------------------------------ what a session takes from it

WHOLE = """
[bench]
input = "tuner"
load = "4 ohm"
mains = "230 V 50 Hz"
equipment = ["a capture interface", "two loads"]
level_uncertainty = "0.2 dB"

[price]
index = "money/prices.csv"
to = 2020

[measurement]
window = "hann"
full_scale = "10 V"

[episode]
presenter = "the bench"
words_per_minute = 140

[look]
left = "#ffd98a"
mark = "mark.png"

[files]
ignore = ["*.tmp"]
"""


def in_studio(studio, text, whole=WHOLE):
    folder = studio({"studio.toml": whole, "money/prices.csv": "year,index\n1977,60.6\n2020,250\n2024,313.7\n"})
    Image.new("RGB", (200, 200), "grey").save(folder / "mark.png")
    one_evening.put(folder / "one" / "session.toml", UNIT + text)
    return folder / "one"


def test_a_session_says_only_what_differs(studio):
    files = read(
        in_studio(studio, '[bench]\nload = "8 ohm"\nequipment = ["one load"]\n[price]\npaid = 329\ncurrency = "USD"\n')
    )
    session = files.session
    assert (session.bench.load_ohm, session.bench.input, session.bench.equipment) == (8, "tuner", ("one load",))
    assert session.price
    assert (session.price.paid, session.price.index, session.price.to) == (329, "../money/prices.csv", 2020)
    assert files.prices is not None
    assert (session.episode.presenter, session.episode.words_per_minute) == ("the bench", 140)
    assert (session.look.left, session.look.mark) == ("#ffd98a", "../mark.png")
    assert files.mark[:4] == b"\x89PNG"


@pytest.mark.parametrize(
    ("text", "table", "key", "value"),
    [
        ('[bench]\nmains = "120 V 60 Hz"', "bench", "mains", "120 V 60 Hz"),
        ("[episode]\nwords_per_minute = 160", "episode", "words_per_minute", 160),
        ('[look]\nleft = "#ffe0a0"', "look", "left", "#ffe0a0"),
        ('[price]\npaid = 1\ncurrency = "EUR"\nto = 2024', "price", "to", 2024),
    ],
)
def test_each_table_of_the_session_comes_before_the_studios(text, table, key, value, studio):
    assert getattr(getattr(read(in_studio(studio, text)).session, table), key) == value


def test_a_session_without_a_price_takes_none(studio):
    assert read(in_studio(studio, "")).session.price is None


def test_defaults_of_measurements_come_last(studio):
    """Its table first, then what its file shows, then the studio."""
    folder = in_studio(studio, '[[measurement]]\nfile = "measurements/a.csv"\nkind = "response"\nwindow = "flat top"\n')
    for name in ("a.csv", "b response.csv", "c.tmp"):
        one_evening.put(folder / "measurements" / name, one_evening.flat(60_000 + 100 * len(name)))
    one, other = read(folder).session.measurements
    assert (one.window, one.full_scale_v) == ("flat top", 10)
    assert (other.kind, other.window, other.full_scale_v, other.load_ohm) == ("response", "hann", 10, 4)


def test_what_a_file_says_comes_before_a_default(studio, checkout):
    folder = in_studio(studio, "", '[measurement]\nwindow = "flat top"\nvolume = "full"\n')
    spectrum = (checkout / "sample_session" / "measurements" / "spectrum-40w.csv").read_text(encoding="utf-8")
    one_evening.put(folder / "measurements" / "tone.csv", f"# window: blackman-harris\n{spectrum}")
    (one,) = read(folder).session.measurements
    assert (one.kind, one.window, one.volume) == ("tone", "blackman-harris", "full")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[bench]\nload = 8\n", "studio.toml:2: [bench] load = 8 has no unit"),
        ('[bench]\nlaod = "8 ohm"\n', 'studio.toml:2: [bench] laod: unknown key; did you mean "load"?'),
        ('\n[look]\nleft = "#555555"\n', "studio.toml:3: [look] left"),
        ('[look]\nmark = "mrak.png"\n', 'studio.toml:2: [look] mark = "mrak.png": there is no such file'),
        ("[unit]\nyear = 1977\n", "studio.toml:1: [unit] is not a table of studio.toml; known: bench, episode"),
        ("[[bench]]\n", "studio.toml:1: bench is a single table; write [bench]"),
        ("words = 5\n", "studio.toml:1: words: "),
        ('[measurement]\ndrive = "4 W"\n', "studio.toml:2: [measurement] drive: unknown key; known: full_scale"),
        ("[measurement]\nfull_scale = 10\n", "studio.toml:2: [measurement] full_scale = 10 has no unit"),
        ("[bench\n", "studio.toml:1: "),
    ],
)
def test_a_fault_names_the_studio_and_its_line(text, told, studio, say):
    said = say("check", in_studio(studio, "", text))
    assert said.status == 2
    assert told in said.err
    assert said.err.count("\n") == 2


def test_faults_of_both_files_are_reported_together(studio, say):
    said = say("check", in_studio(studio, '[bench]\nload = "8 volts"\n', "[bench]\nload = 4\nmains = 5\n"))
    assert [line.split(" ")[0] for line in said.err.splitlines()] == ["session.toml:6:", "studio.toml:3:", "nothing"]


def test_its_values_are_explained(studio, say):
    folder = in_studio(
        studio, '[bench]\nload = "8 ohm"\n[[measurement]]\nfile = "measurements/a.csv"\nkind = "response"\n'
    )
    one_evening.put(folder / "measurements" / "a.csv", one_evening.flat(60_000))
    one_evening.put(folder / "measurements" / "flat response.csv", one_evening.flat(70_000))
    explained = {
        "bench.load": ['bench.load = "8 ohm"  session.toml:6'],
        "mains": [
            "unit.mains: not said in session.toml or studio.toml",
            'bench.mains = "230 V 50 Hz"  ../studio.toml:5',
        ],
        "measurement.load": ['a: load = "8 ohm"  session.toml:6', 'flat-response: load = "8 ohm"  session.toml:6'],
        "measurement.window": [f'{name}: window = "hann"  ../studio.toml:14' for name in ("a", "flat-response")],
        "card_seconds": ["episode.card_seconds: not said in session.toml or studio.toml"],
    }
    for key, lines in explained.items():
        assert say("check", folder, "--explain", key).out.splitlines() == lines
    kinds = say("check", folder, "--explain", "kind").out.splitlines()
    assert kinds[0] == 'a: kind = "response"  session.toml:9'
    assert kinds[1].startswith('flat-response: kind = "response"  measurements/flat response.csv (')
    assert "did you mean" in say("check", folder, "--explain", "bench.laod").err
    assert say("check", folder, "--no-studio", "--explain", "presenter").out.splitlines() == [
        "episode.presenter: not said in session.toml",
        "look.presenter: not said in session.toml",
    ]


# ------------------------------------------------------------------ the bench on one input, or in one of its ranges


@pytest.mark.long
@pytest.mark.parametrize("key", ['input = "phono"', 'range = "Phono"'])
@pytest.mark.parametrize("where", ["session", "studio"])
def test_a_range_of_the_bench_counts_for_its_measurements_alone(key, where, sample_copy, episode, say):
    toml = (sample_copy / "session.toml").read_text(encoding="utf-8")
    place = sample_copy / "session.toml" if where == "session" else sample_copy.parent / "studio.toml"
    changed = toml.replace('file = "measurements/idle.wav"', f'file = "measurements/idle.wav"\n{key}')
    (sample_copy / "session.toml").write_text(changed, encoding="utf-8")
    with place.open("a", encoding="utf-8") as file:
        file.write('\n[bench.phono]\nlevel_uncertainty = "0.5 dB"\n')
    now = check(sample_copy)
    before, after = (
        {
            name: [f.uncertainty for f in each.findings if f.measurement == name and f.quantity != "snr"]
            for name in names
        }
        for names in [{f.measurement for f in episode.findings}]
        for each in (episode, now)
    )
    assert len(before) > 15
    assert {name for name in before if before[name] != after[name]} == {"idle"}
    assert all(4 < new / old < 6 for old, new in zip(before["idle"], after["idle"], strict=True))
    said = say("build", sample_copy)
    assert (said.status, said.err) == (0, "")
    table = (sample_copy / "out" / "spec-table.md").read_text(encoding="utf-8")
    assert "; phono: level uncertainty 0.5 dB (k = 2)" in table


def test_a_file_recognised_as_phono_takes_the_load_of_its_input(studio, checkout):
    """Without one, it is asked whether it was measured at the tape output."""
    phono = '[bench]\nload = "8 ohm"\n\n[bench.phono]\nload = "47 kohm"\n'
    curve = (checkout / "sample_session" / "measurements" / "phono.csv").read_text(encoding="utf-8")
    for whole, loads in {phono: [47_000], '[bench]\nload = "8 ohm"\n': []}.items():
        folder = in_studio(studio, "", whole)
        one_evening.put(folder / "measurements" / "phono.csv", curve)
        assert [m.load_ohm for m in read(folder).session.measurements] == loads


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[bench.phono]\nlevel_uncertainty = 0.3\n", "[bench.phono] level_uncertainty = 0.3 has no unit"),
        ('[bench.phono]\nequipment = ["x"]\n', "[bench.phono] equipment: unknown key"),
        ("[bench.load]\nx = 1\n", "[bench] load = { x = 1 }"),
        ('[bench]\ndistortion_floor = { L = "1 %" }\n', "[bench] distortion_floor = "),
        ("[bench]\nphono = 5\n", "[bench] phono: unknown key"),
    ],
)
def test_a_fault_in_a_range_is_reported_at_its_line(text, told, studio, say):
    said = say("check", in_studio(studio, text, ""))
    line = 5 if "[bench.load]" in text else 6
    assert said.err.startswith(f"session.toml:{line}: {told}")
    said = say("check", in_studio(studio, "", text))
    assert said.err.startswith(f"studio.toml:{line - 4}: {told}")


def test_a_range_that_the_bench_lacks_is_a_fault(studio, say):
    text = '[[measurement]]\nkind = "response"\nfile = "measurements/a.csv"\nrange = "lwo"\n'
    folder = in_studio(studio, text, '[bench.low]\nlevel_uncertainty = "0.3 dB"\n')
    one_evening.put(folder / "measurements" / "a.csv", one_evening.flat(60_000))
    assert 'session.toml:8: [[measurement]] a: range = "lwo" names no table of [bench]; did you mean "low"?' in (
        say("check", folder).err
    )


# ------------------------------------------------------------------ building


def test_a_change_of_the_studio_rebuilds_every_session_and_an_unchanged_one_none(studio, say):
    first = in_studio(studio, "")
    one_evening.put(first.parent / "two" / "session.toml", UNIT.replace("Forty", "Fifty"))
    sessions = (first, first.parent / "two")
    assert say("build", *sessions).status == 0

    def current():
        found = []
        for each in sessions:
            last = read_last_build(each, Options(), "", open_cache())
            found.append(last is not None and last.is_current(each, each / "out"))
        return found

    assert current() == [True, True]
    text = (first.parent / "studio.toml").read_text(encoding="utf-8")
    (first.parent / "studio.toml").write_text(text.replace("the bench", "the cellar"), encoding="utf-8")
    assert current() == [False, False]
    assert say("build", *sessions).status == 0
    assert current() == [True, True]
    Image.new("RGB", (200, 200), "red").save(first.parent / "mark.png")
    assert current() == [False, False]
    assert say("build", *sessions).status == 0
    (first / "studio.toml").write_text("not above it", encoding="utf-8")
    assert current() == [True, True]
    one_evening.put(first.parent.parent / "studio.toml", speed(100))  # a farther one
    assert current() == [True, True]
    assert say("build", first, "--no-studio").status == 0
    assert read_last_build(first, Options(studio=False), "", open_cache()).is_current(first, first / "out")


def test_watch_notices_it(studio):
    folder = in_studio(studio, "")
    live = LiveSession(folder, ALONE, open_cache())
    assert live.build(()).faults == ()
    assert not live.is_studio_changed()
    Image.new("RGB", (210, 200), "red").save(folder.parent / "mark.png")
    assert live.is_studio_changed()
    assert live.build(()).cards
    (folder.parent / "studio.toml").write_text("[look]\nleft = 5\n", encoding="utf-8")
    assert live.is_studio_changed()
    assert live.build(()).faults[0].startswith("studio.toml:2: ")
    assert not live.is_studio_changed()
    (folder.parent / "studio.toml").unlink()
    assert live.is_studio_changed()


# ------------------------------------------------------------------ the next session


def test_new_in_a_studio_asks_for_the_unit_and_repeats_nothing(studio, say, monkeypatch):
    in_studio(studio, "")
    folder = studio({}) / "two"
    asked = []

    def answer(question):
        asked.append(question)
        return {"maker: ": 'Tarn "fell"', "model: ": "Thirty", "year: ": "1975"}[question]

    monkeypatch.setattr("builtins.input", answer)
    for stream in ("stdin", "stdout"):
        monkeypatch.setattr(f"sys.{stream}.isatty", lambda: True)
    assert say("new", folder, "--model", "Thirty").status == 0
    assert asked == ["maker: ", "year: "]
    assert {path.name for path in folder.iterdir()} == {
        "session.toml", "ratings.txt", "notes.txt", "repair.csv", "measurements"
    }  # fmt: skip
    unit = read(folder).session.unit
    assert (unit.maker, unit.model, unit.year) == ('Tarn "fell"', "Thirty", 1975)
    assert say("check", folder).status == 0


def test_new_outside_a_studio_asks_nothing(say, tmp_path, monkeypatch):
    monkeypatch.setattr("builtins.input", lambda question: pytest.fail(question))
    for stream in ("stdin", "stdout"):
        monkeypatch.setattr(f"sys.{stream}.isatty", lambda: True)
    assert say("new", tmp_path / "one", "--maker", "Tarnfell").status == 0
    assert read(tmp_path / "one").session.unit.maker == "Tarnfell"
    assert (tmp_path / "one" / "prices.csv").is_file()


def test_a_value_that_no_unit_has_makes_no_folder(say, tmp_path):
    said = say("new", tmp_path / "one", "--year", "last")
    assert (said.status, (tmp_path / "one").exists()) == (2, False)
    assert 'year = "last" is not a whole number' in said.err


def test_like_plans_the_same_measurements(say, tmp_path, sample):
    folder = tmp_path / "next"
    assert say("new", folder, "--maker", "Tarnfell", "--model", "Thirty", "--like", sample.folder).status == 0
    theirs = [each for each in read(sample.folder).session.measurements if each.file or each.loads_ohm]
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    assert said.out.count(" is planned, and not there yet: ") == len(theirs) >= 20
    assert say("plan", folder).status == 0
    listed = (folder / "out" / "plan.md").read_text(encoding="utf-8").partition("## Planned in session.toml")[2]
    assert listed.count("\n- [ ] ") == len(theirs)  # the plan has a box for each
    assert (folder / "out" / "plan.html").read_text(encoding="utf-8").count(f"<strong>{theirs[0].file}</strong>") == 1
    text = (folder / "session.toml").read_text(encoding="utf-8")
    assert "volts = {" not in text.split("[[measurement]]\nfile", 1)[1].replace("#volts = {", "")
    # as soon as the files are there, they are used as they were
    shutil.copytree(sample.folder / "measurements", folder / "measurements", dirs_exist_ok=True)
    bench = '\n[bench]\nload = "8 ohm"\nchannels = "both"\n'
    (folder / "session.toml").write_text(text + bench, encoding="utf-8")
    used = {each.id: each for each in read(folder).session.measurements}
    files = {each.id: each for each in theirs if each.file}
    assert used.keys() == files.keys()
    for name, each in files.items():
        same = ("kind", "file", "stage", "drive", "window", "full_scale_v", "setting", "card", "against")
        assert [getattr(used[name], key) for key in same] == [getattr(each, key) for key in same]
        assert used[name].title == ""
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    assert said.out.count(" is planned, and not there yet: ") == 1  # the readings of a voltmeter are typed
    missing = say("new", tmp_path / "third", "--like", tmp_path / "nowhere")
    assert (missing.status, (tmp_path / "third").exists()) == (2, False)


def test_a_second_episode_types_nothing_again(studio, say):
    """Two evenings at one bench: the second session.toml is its unit, three lines, and everything else is there."""
    first = in_studio(studio, "", WHOLE.replace('load = "4 ohm"', 'load = "8 ohm"\nchannels = "both"'))
    exports = {
        "response 1w.csv": one_evening.flat(60_000),
        "crosstalk.csv": one_evening.leak(-64),
    }
    for name, text in exports.items():
        one_evening.put(first / "measurements" / name, text)
    assert say("build", first).status == 0
    second = first.parent / "two"
    assert say("new", second, "--maker", "Tarnfell", "--model", "Thirty", "--year", "1975").status == 0
    sources = first.parent / "exports"
    for name, text in exports.items():
        one_evening.put(sources / name, text.replace("0.0", "0.1"))
    assert say("add", second, sources).status == 0
    assert say("build", second).status == 0
    lines = [
        line for line in (second / "session.toml").read_text(encoding="utf-8").splitlines() if line and line[0] != "#"
    ]
    assert lines == ["[unit]", 'maker = "Tarnfell"', 'model = "Thirty"', "year = 1975"]
    typed = set(lines) & set((first / "session.toml").read_text(encoding="utf-8").splitlines())
    assert typed == {"[unit]"}
    one, other = (json.loads((each / "out" / "findings.json").read_text(encoding="utf-8")) for each in (first, second))
    assert {f["kind"] for f in other["findings"]} == {f["kind"] for f in one["findings"]} == {"response", "crosstalk"}
    assert read(second).session.bench == read(first).session.bench
    assert "the bench" in (second / "out" / "episode.html").read_text(encoding="utf-8")
