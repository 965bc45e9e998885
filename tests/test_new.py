"""A new session folder: every file explained by its comments, good as it is, and never over something that is there."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from PIL import Image

from reviewkit.measure.kinds import KINDS
from reviewkit.model.gear import TYPES, gear_of


@pytest.fixture
def made(say, tmp_path):
    """A new folder, and what was said."""
    folder = tmp_path / "my-session"
    said = say("new", folder)
    assert (said.status, said.err) == (0, "")
    return folder, said


def test_it_has_every_file_of_a_session_and_says_so(made):
    folder, said = made
    names = {path.name for path in folder.iterdir()}
    assert {"session.toml", "ratings.txt", "notes.txt", "prices.csv", "repair.csv", "measurements"} <= names
    for name in names:
        assert f"{folder / name}\n" in said.out
    assert said.out.splitlines()[-1] == (f"next: fill in {folder / 'session.toml'}, then: reviewkit plan {folder}")


def test_every_file_is_explained_by_comments(made):
    folder, _ = made
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert len(files) >= 4
    explained = "".join(
        line for path in files for line in path.read_text(encoding="utf-8").splitlines(True) if line.startswith("#")
    )
    for path in files:
        text = path.read_text(encoding="utf-8")
        own = [line for line in text.splitlines() if line.startswith("#")]
        # a file whose format knows no comments is explained in another's
        assert own or path.name in explained, f"{path.name} is not explained"
        assert sum(len(line.split()) for line in own) >= 5 or path.name in explained


def test_its_session_names_every_table_and_every_kind(made):
    folder, _ = made
    text = (folder / "session.toml").read_text(encoding="utf-8")
    assert set(tomllib.loads(text)) == {"unit"}
    with_all = tomllib.loads(switched_on(text))
    assert set(with_all) == {"unit", "price", "bench", "rated", "measurement", "sound", "episode", "look", "cards"}
    # the others' examples are in the help
    kinds = {measurement["kind"] for measurement in with_all["measurement"]}
    assert len(kinds) > 10
    assert kinds <= set(KINDS)
    assert "`reviewkit help kinds`" in text


def test_check_and_build_accept_it_as_it_is(made, say):
    folder, _ = made
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    checked = say("check", folder)
    assert (checked.status, checked.err) == (0, "")
    assert "nothing wrong" in checked.out
    built = say("build", folder)
    assert (built.status, built.out, built.err) == (0, "", "")
    assert json.loads((folder / "out" / "findings.json").read_text(encoding="utf-8"))["unit"]["maker"]
    assert (folder / "out" / "cards" / "01-title.png").is_file()
    assert {path: path.read_bytes() for path in before} == before


def switched_on(text: str) -> str:
    """The file with every setting switched on: "#" and no space is a setting, "# " is an explanation."""
    return re.sub(r"^#(?=\S)", "", text, flags=re.MULTILINE)


def test_every_setting_that_is_switched_off_is_one_that_check_accepts(made, say, checkout):
    folder, _ = made
    path = folder / "session.toml"
    path.write_text(switched_on(path.read_text(encoding="utf-8")), encoding="utf-8")
    brochure = folder / "ratings.txt"
    brochure.write_text(switched_on(brochure.read_text(encoding="utf-8")), encoding="utf-8")
    wanted = {m["file"] for m in tomllib.loads(path.read_text(encoding="utf-8"))["measurement"] if "file" in m}
    samples = checkout / "sample_session"
    own = samples / "measurements"
    others = {
        "loudspeaker-impedance.csv": samples / "loudspeakers" / "measurements" / "impedance.csv",
        "rumble.wav": samples / "turntable" / "measurements" / "rumble-after.wav",
        "azimuth.wav": samples / "deck" / "measurements" / "azimuth-after.wav",
        "quieting.csv": samples / "tuner" / "measurements" / "quieting-mono.csv",
        "flutter.wav": samples / "deck" / "measurements" / "flutter-after.wav",
    }
    for file in wanted:
        name = file.removeprefix("measurements/")
        name = {"tone.csv": "tone-after.txt", "bass-full.csv": "bass-up.txt", "square.csv": "square-1khz.csv"}.get(
            name, name
        )
        (folder / file).write_bytes(others.get(name, own / name).read_bytes())
    (folder / "recordings").mkdir()
    for side in ("before", "after"):
        recorded = (own / f"chord-{side}.flac").read_bytes()
        (folder / f"recordings/{side}.wav").write_bytes(recorded)  # what it holds counts, whatever its name says
    Image.new("RGB", (1600, 900), (90, 80, 70)).save(folder / "front.jpg")
    Image.new("RGB", (200, 200), (200, 180, 140)).save(folder / "mark.png")
    with (folder / "prices.csv").open("a", encoding="utf-8") as file:
        file.write("1977,60.6\n2024,313.7\n")
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    assert re.search(r"nothing wrong; [1-9]\d+ figures, [12]\d cards", said.out)


def test_it_goes_into_an_empty_folder(say, tmp_path):
    (tmp_path / "empty").mkdir()
    assert say("new", tmp_path / "empty").status == 0
    assert (tmp_path / "empty" / "session.toml").is_file()


@pytest.mark.parametrize("kind", ["folder", "hidden file", "file", "session"])
def test_what_is_there_already_is_left_alone(kind, say, tmp_path):
    place = tmp_path / "there"
    if kind == "file":
        place.write_text("mine", encoding="utf-8")
    else:
        place.mkdir()
        name = {"folder": "deeper", "hidden file": ".hidden", "session": "session.toml"}[kind]
        (place / name).mkdir() if kind == "folder" else (place / name).write_text("mine", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    said = say("new", place)
    assert (said.status, said.out) == (2, "")
    assert said.err.startswith(f"{place}: ")
    assert "name a folder that is not there yet" in said.err
    assert sorted(tmp_path.rglob("*")) == before


def test_two_new_folders_are_alike(say, tmp_path):
    for name in ("one", "other"):
        assert say("new", tmp_path / name).status == 0
    one, other = (
        {
            path.relative_to(tmp_path / name): path.read_bytes()
            for path in (tmp_path / name).rglob("*")
            if path.is_file()
        }
        for name in ("one", "other")
    )
    assert one == other


# ------------------------------------------------------------------ a type of gear

TYPED = {"deck": "deck", "loudspeaker": "loudspeakers", "turntable": "turntable", "tuner": "tuner"}


def test_every_small_session_is_of_a_type(checkout):
    found = {}
    for path in (checkout / "sample_session").glob("*/session.toml"):
        found[tomllib.loads(path.read_text(encoding="utf-8"))["unit"]["type"]] = path.parent.name
        assert (path.parent / "ratings.txt").is_file()
        assert (path.parent / "notes.txt").is_file()
    assert found == TYPED


@pytest.mark.parametrize("gear", ["deck", "loudspeaker", "turntable", "tuner", "player", "valve amplifier"])
def test_its_type_is_set_and_it_builds(gear, say, tmp_path):
    """Nothing of an invented unit is in what it makes: the examples are switched off."""
    folder = tmp_path / "mine"
    assert say("new", folder, "--type", gear).status == 0
    toml = (folder / "session.toml").read_text(encoding="utf-8")
    assert tomllib.loads(toml) == {"unit": {"maker": "Maker", "model": "Model", "type": gear}}
    said = say("build", folder)
    assert (said.status, said.out, said.err) == (0, "", "")
    found = json.loads((folder / "out" / "findings.json").read_text(encoding="utf-8"))
    assert not found["verdicts"]
    assert not [path for path in folder.rglob("*.md") if "Norrvale" in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("gear", TYPED)
def test_its_examples_are_a_session_of_that_gear(gear, say, tmp_path, checkout):
    """Switched on, and with that session's files, ratings and measurements give the figures that it has."""
    sample = checkout / "sample_session" / TYPED[gear]
    folder = tmp_path / "mine"
    assert say("new", folder, "--type", gear, "--maker", "Tarnfell", "--model", "Nine").status == 0
    for name in ("ratings.txt", "notes.txt"):
        path = folder / name
        path.write_text(switched_on(path.read_text(encoding="utf-8")), encoding="utf-8")
    toml = switched_on((folder / "session.toml").read_text(encoding="utf-8"))
    tables = [table for table in re.split(r"(?m)^(?=\[)", toml) if re.match(r"\[+(unit|measurement)", table)]
    (folder / "session.toml").write_text("".join(tables), encoding="utf-8")
    wanted = tomllib.loads((sample / "session.toml").read_text(encoding="utf-8"))
    assert tomllib.loads("".join(tables))["measurement"] == wanted["measurement"]
    for path in (sample / "measurements").iterdir():
        (folder / "measurements" / path.name).write_bytes(path.read_bytes())
    said = say("check", folder)
    assert (said.status, said.err) == (0, "")
    assert re.search(r"nothing wrong; [1-9]\d* figures", said.out)
    for name in ("ratings.txt", "notes.txt"):
        assert (folder / name).read_text(encoding="utf-8").endswith((sample / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("gear", [each for each in TYPES if each not in TYPED])
def test_its_ratings_are_such_as_that_gear_has(gear, say, tmp_path):
    """Switched on, each line is read, and its plan asks for nothing that this gear lacks."""
    folder = tmp_path / "mine"
    assert say("new", folder, "--type", gear).status == 0
    path = folder / "ratings.txt"
    switched = switched_on(path.read_text(encoding="utf-8"))
    assert sum(line[:1] not in ("#", "") for line in switched.splitlines()) >= 8
    path.write_text(switched, encoding="utf-8")
    said = say("plan", folder)
    assert (said.status, said.err) == (0, "")
    assert re.search(r"\d+ ratings: \d+ not measured", said.out)
    assert ("loudspeaker" in said.out) == (gear in ("amplifier", "valve amplifier"))
    assert ("dummy load" in said.out) == bool(gear_of([gear]).loads)


def test_a_type_that_is_none_is_refused(say, tmp_path):
    said = say("new", tmp_path / "mine", "--type", "gramophone")
    assert said.status == 2
    assert not (tmp_path / "mine").exists()


def test_a_type_below_a_studio(say, tmp_path):
    (tmp_path / "studio.toml").write_text('[bench]\nload = "8 ohm"\n', encoding="utf-8")
    folder = tmp_path / "mine"
    assert say("new", folder, "--type", "deck").status == 0
    text = (folder / "session.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["unit"]["type"] == "deck"
    assert '#kind = "flutter"' in text
    assert say("check", folder).status == 0
