"""The desk and a session's files, without a browser: answers, changes, cards and boxes as they are written.

Levels are a closed form: a first-order fall, 10 lg(1 + (f/fc)²) dB.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

pytest.importorskip("watchfiles", reason="needs watchfiles: pip install -e '.[test]'")
pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")

from reviewkit.build.cache import NO_CACHE, Cache
from reviewkit.build.options import Options
from reviewkit.build.pipeline import prepare
from reviewkit.build.pool import ALONE
from reviewkit.commands.desk import session_edits
from reviewkit.commands.desk.desk import Desk
from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.file_actions import FileActions
from reviewkit.commands.desk.file_facts import file_facts
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.model.errors import InputError

HZ = np.geomspace(10, 40_000, 60)
UNIT = '# mine\n[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n\n[bench]\nload = "8 ohm"\n'


def sweep(corner_hz):
    level = -10 * np.log10(1 + (HZ / corner_hz) ** 2)
    rows = (f"{hz:.3f},{db:.4f},{db:.4f}" for hz, db in zip(HZ, level, strict=True))
    return "\n".join(("Frequency (Hz),Left (dBV),Right (dBV)", *rows)) + "\n"


class AtTheDesk:
    """A session folder with its actions."""

    def __init__(self, folder: Path, files: dict[str, str]) -> None:
        (folder / "session" / "measurements").mkdir(parents=True)
        (folder / "aside").mkdir()
        self.folder = folder / "session"
        (self.folder / "session.toml").write_text(UNIT, encoding="utf-8")
        for name, text in files.items():
            (self.folder / "measurements" / name).write_text(text, encoding="utf-8")
        self.session = LiveSession(self.folder, ALONE, NO_CACHE, Options(out=folder / "aside" / "out"))
        self.state = DeskState()
        self.inputs = Inputs(self.folder, folder / "aside")
        self.actions = FileActions(self.session, self.inputs, self.state).by_name()
        self.build()

    def build(self):
        """Everything of a build but its pictures."""
        self.session.shown = prepare(self.folder)

    def act(self, name, **words):
        self.actions[name](words)
        self.build()

    @property
    def text(self):
        return (self.folder / "session.toml").read_text(encoding="utf-8")

    @property
    def tables(self):
        return {table["file"]: table for table in tomllib.loads(self.text).get("measurement", [])}

    @property
    def files(self):
        return file_facts(self.session, self.state)


UNCLEAR = sweep(5000)  # 12.3 dB down at 20 kHz: a response, or a tone control's


@pytest.fixture
def desk(tmp_path):
    return AtTheDesk(tmp_path, {"after Sweep 7.csv": UNCLEAR, "before response.csv": sweep(70_000)})


def test_an_answer_with_a_kind_is_written_with_all_that_the_name_says(desk):
    (question,) = desk.files["questions"]
    number = next(n for n, choice in enumerate(question["choices"]) if choice["word"] == "Response")
    figure = question["choices"][number]["figure"]
    assert "dB" in figure  # each answer shows what it makes of the file
    desk.act("answer", file=question["file"], choice=number)
    table = desk.tables["measurements/after Sweep 7.csv"]
    # its name has spaces, which no id may have
    assert (table["kind"], table["stage"], table["id"]) == ("response", "after", "after-Sweep-7")
    # 10 lg(1 + (20/5)²) dB below the level at 0 Hz at 20 kHz, 10 lg(1 + (1/5)²) dB at 1 kHz
    assert figure.endswith(f"±{10 * np.log10((1 + 16) / (1 + 0.04)):.1f} dB")
    heroes = [card.hero for card in desk.session.shown.episode.stills if card.first == "after-Sweep-7" and card.hero]
    assert f"{heroes[0].caption}: {heroes[0].figure}" == figure  # what was promised
    assert desk.text.startswith("# mine\n")


def test_a_kind_is_not_written_before_its_stage_is_known(tmp_path):
    desk = AtTheDesk(tmp_path, {"Sweep 7.csv": UNCLEAR, "before response.csv": sweep(70_000)})
    (question,) = desk.files["questions"]
    desk.act("answer", file=question["file"], choice=0)
    assert desk.text == UNIT  # such a table would have to say the stage
    (further,) = desk.files["questions"]
    assert [choice["word"] for choice in further["choices"]] == ["After", "Before", "Bench"]
    desk.act("answer", file=further["file"], choice=0)
    assert desk.files["questions"] == []
    assert desk.tables["measurements/Sweep 7.csv"]["stage"] == "after"
    assert desk.tables["measurements/Sweep 7.csv"]["kind"] == "response"


def test_one_button_after_the_other_says_what_microvolts_are(tmp_path):
    rows = "".join(f"{2**n},{20 + 6 * n},{21 + 6 * n}\n" for n in range(8))
    desk = AtTheDesk(tmp_path, {"quieting.csv": f"Antenna (µV),S/N L (dB),S/N R (dB)\n{rows}"})
    for words in (["Aerial 75 ohm", "Aerial 300 ohm"], ["Microvolts terminated", "Microvolts e.m.f."]):
        (question,) = desk.files["questions"]
        assert [choice["word"] for choice in question["choices"]] == words
        desk.act("answer", file=question["file"], choice=1)
    assert desk.files["questions"] == []
    assert desk.tables["measurements/quieting.csv"] == {
        "file": "measurements/quieting.csv",
        "aerial": "300 ohm",
        "microvolts": "e.m.f.",
    }
    assert {f.quantity for f in desk.session.shown.episode.findings} == {"50_db_quieting_sensitivity"}


def test_the_buttons_of_a_tape_are_the_usual_fluxes(tmp_path):
    rows = "-6,0.3\n-3,0.7\n0,1.2\n3,2.4\n6,4.5\n"
    desk = AtTheDesk(tmp_path, {"mol.csv": f"Rec level (dB),3rd harmonic L (%)\n{rows}"})
    (question,) = desk.files["questions"]
    words = [f"Reference level {flux} nWb/m" for flux in (250, 200, 185, 320)]
    assert [choice["word"] for choice in question["choices"]] == words
    desk.act("answer", file=question["file"], choice=1)
    assert desk.tables["measurements/mol.csv"]["reference_level"] == "200 nWb/m"
    assert desk.files["questions"] == []


def test_a_file_that_was_recognised_can_be_something_else(desk):
    file = "measurements/before response.csv"
    desk.act("change-file", file=file)
    groups = desk.files["changing"]["groups"]
    assert [(each["name"], each["on"]) for each in groups["Made"][1]] == [
        ("before", True),
        ("after", False),
        ("bench", False),
    ]
    kinds = {each["name"] for each in groups["Kind"][1]}
    assert {"response", "crosstalk"} & kinds == {"response"}  # both channels together hold no crosstalk
    assert "distortion-power" not in kinds
    desk.act("file-is", file=file, key="stage", value="after")
    assert desk.files["changing"] is None
    assert desk.tables[file] == {"file": file, "stage": "after"}
    desk.act("file-has", file=file, load="4 ohm", setting="tone controls bypassed")
    assert desk.tables[file] == {
        "file": file,
        "stage": "after",
        "load": "4 ohm",
        "setting": "tone controls bypassed",
    }
    before = desk.text
    with pytest.raises(InputError, match="load"):
        desk.act("file-has", file=file, load="a big one", setting="tone controls bypassed")
    with pytest.raises(InputError, match="no such answer"):
        desk.act("file-is", file=file, key="file", value="/etc/passwd")
    assert desk.text == before
    desk.act("file-has", file=file, load="4 Ω", setting="")
    assert "setting" not in desk.tables[file]


def test_a_change_of_kind_takes_the_other_kinds_keys_away(desk):
    file = "measurements/before response.csv"
    table = f'\n[[measurement]]\nfile = "{file}"\nid = "flat"\nkind = "response"\nstage = "before"\ndrive = "2 V"\n'
    (desk.folder / "session.toml").write_text(UNIT + table, encoding="utf-8")
    desk.build()
    desk.act("file-is", file=file, key="kind", value="noise")
    assert desk.tables[file]["kind"] == "noise"
    assert "drive" not in desk.tables[file]
    assert desk.tables[file]["stage"] == "before"
    desk.inputs.undo()
    assert desk.text == UNIT + table


def test_a_file_is_left_out_whether_it_is_asked_about_or_not(desk):
    desk.act("leave-out", file="measurements/before response.csv")
    assert tomllib.loads(desk.text)["files"] == {"ignore": ["measurements/before response.csv"]}
    with pytest.raises(InputError, match="no such file"):
        desk.act("leave-out", file="../session.toml")


# ------------------------------------------------------------------ the order of cards


def shown_with(parts, called=()):
    """A film of cards: their ids by part."""
    cards, segments, start = [], {}, 0
    for part, ids in parts.items():
        for name in ids:
            cards.append(SimpleNamespace(id=name, repaired=None))
            segments[name] = (start, part)
            start += 5
    notes = [SimpleNamespace(cut=False, cards=called, line=7)]
    return SimpleNamespace(
        episode=SimpleNamespace(cards=cards, stills=cards, notes=SimpleNamespace(notes=notes))
    ), segments


@pytest.mark.parametrize(
    ("name", "to", "order"),
    [
        ("c", -1, ["a", "c", "b"]),
        ("a", 1, ["b", "a", "c"]),
        ("a", "c", ["b", "c", "a"]),
        ("c", "a", ["c", "a", "b"]),
    ],
)
def test_a_card_moves_by_one_place_or_to_where_another_is(monkeypatch, name, to, order):
    shown, times = shown_with({"power": ["a", "b", "c"], "quiet": ["d", "e"]})
    monkeypatch.setattr(session_edits, "card_times", lambda _: times)
    written = tomllib.loads(session_edits.move_card(UNIT, shown, name, to))["cards"]["order"]
    whole = [*order, "d", "e"]
    assert [each for each in whole if each in written] == written  # the others keep their places
    places = iter(written)
    assert [next(places) if each in written else each for each in ["a", "b", "c", "d", "e"]] == whole


@pytest.mark.parametrize(("name", "to"), [("a", -1), ("c", 1), ("a", "d"), ("x", 1)])
def test_a_card_stays_in_its_part_of_the_film(monkeypatch, name, to):
    shown, times = shown_with({"power": ["a", "b", "c"], "quiet": ["d", "e"]})
    monkeypatch.setattr(session_edits, "card_times", lambda _: times)
    with pytest.raises(InputError, match="no other card"):
        session_edits.move_card(UNIT, shown, name, to)


def test_a_card_that_a_note_calls_for_comes_with_the_note(monkeypatch):
    shown, times = shown_with({"power": ["a", "b", "c"]}, called=("b",))
    monkeypatch.setattr(session_edits, "card_times", lambda _: times)
    with pytest.raises(InputError, match="note in line 7"):
        session_edits.move_card(UNIT, shown, "b", 1)


# ------------------------------------------------------------------ boxes


def test_the_boxes_of_the_plan_are_kept_but_not_what_was_safe(tmp_path):
    (tmp_path / "aside").mkdir()
    (tmp_path / "cache").mkdir()
    session = LiveSession(tmp_path, ALONE, Cache(tmp_path / "cache"), Options(out=tmp_path / "out"))
    desk = Desk(session, tmp_path / "aside", editing=True)
    actions = desk.served().actions
    for box in ("box: Photograph front", "box: Twice", "box: Twice", "gate: No loudspeaker connected"):
        actions["tick"]({"box": box})
    actions["step-done"]({"key": "caution 0"})
    assert Desk(session, tmp_path / "aside", editing=True).state.done == {"box: Photograph front"}
