"""The real commands never replace or remove a file of the user's own, wherever they are told to write."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import one_evening
import pytest
from accuracy import grid
from one_evening import outputs, put

from reviewkit.build.own_files import MANIFEST, can_be_output

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
RATED = f'{UNIT}[[rated]]\nquantity = "damping factor"\nat_least = 60\n'
REFUSED = "outputs would replace files that may be yours: "
READ = "the session reads these files, and outputs would replace them: "


@pytest.fixture
def folder(session_of: Callable[..., Path]) -> Path:
    """A small session, never built."""
    return session_of(RATED)


def everything(folder: Path) -> dict[str, bytes]:
    """Every file of a session folder, its outputs too."""
    return outputs(folder)


# ------------------------------------------------------------------ files that no build made


@pytest.mark.parametrize(
    ("where", "name"),
    grid(["out", "elsewhere", "session"], ["outline.md", "cards/01-title.png", "timeline.otio", "findings.json"]),
)
def test_a_file_that_no_build_made_is_not_replaced(folder, say, name, where, tmp_path):
    if name == "timeline.otio":
        pytest.importorskip("opentimelineio")
    out = {"out": folder / "out", "elsewhere": tmp_path / "elsewhere", "session": folder}[where]
    put(out / name, "mine")
    before = everything(tmp_path)
    arguments = ["build", folder, *(["--out", out] if where != "out" else [])]
    said = say(*arguments)
    assert (said.status, said.out) == (2, "")
    assert said.err.startswith(f"{out}: {REFUSED}{name} (")
    assert "move them, write to another folder (build --out), or let reviewkit take them over (--adopt)\n" in said.err
    assert said.err.endswith("nothing was written\n")
    assert everything(tmp_path) == before
    assert say(*arguments, "--adopt").status == 0
    assert (out / name).read_bytes() != b"mine"
    assert say(*arguments).status == 0  # from now on it is the program's own


@pytest.mark.parametrize("name", ["plan.md", "plan.html"])
def test_plan_does_not_replace_a_file_that_no_build_made(folder, say, name):
    put(folder / "out" / name, "mine")
    before = everything(folder)
    said = say("plan", folder)
    assert (said.status, said.out) == (2, "")
    assert f"{REFUSED}{name} (" in said.err
    assert everything(folder) == before
    assert say("plan", folder, "--adopt").status == 0
    assert say("plan", folder).status == 0
    assert (folder / "out" / name).read_bytes() != b"mine"


def test_one_card_does_not_replace_a_file_that_no_build_made(folder, say):
    put(folder / "out/cards/01-title.png", "mine")
    put(folder / "out/outline.md", "mine")
    said = say("build", folder, "--only", "title")
    assert said.status == 2
    assert f"{REFUSED}cards/01-title.png (" in said.err
    assert say("build", folder, "--only", "title", "--adopt").status == 0
    assert (folder / "out/outline.md").read_bytes() == b"mine"
    assert REFUSED + "outline.md (" in say("build", folder).err


def test_of_several_sessions_none_is_written_where_one_may_not_be(session_of, say):
    first, second = session_of(RATED, name="first"), session_of(RATED, name="second")
    put(second / "out/outline.md", "mine")
    said = say("build", first, second)
    assert said.status == 2
    assert REFUSED in said.err
    assert everything(first) == {"session.toml": RATED.encode()}
    assert everything(second) == {"session.toml": RATED.encode(), "out/outline.md": b"mine"}


def test_watch_does_not_replace_a_file_that_no_build_made(folder):
    pytest.importorskip("watchfiles")
    from reviewkit.build.cache import NO_CACHE
    from reviewkit.build.pool import ALONE
    from reviewkit.commands.desk.live_session import LiveSession

    put(folder / "out/outline.md", "mine")
    bench = LiveSession(folder, ALONE, NO_CACHE)
    assert any(REFUSED in fault for fault in bench.build(()).faults)
    assert (folder / "out/outline.md").read_bytes() == b"mine"
    (folder / "out/outline.md").unlink()
    assert bench.build(()).faults == ()


def test_a_lost_list_is_noticed(folder, say):
    assert say("build", folder).status == 0
    (folder / "out" / MANIFEST).unlink()
    put(folder / "session.toml", RATED.replace("60", "70"))
    before = everything(folder)
    said = say("build", folder)
    assert said.status == 2
    assert f"{MANIFEST}, is missing" in said.err
    assert "more (" in said.err
    assert everything(folder) == before
    assert say("build", folder, "--adopt").status == 0
    assert say("build", folder).status == 0


# ------------------------------------------------------------------ files that the session reads


@pytest.mark.parametrize("adopt", [False, True])
@pytest.mark.parametrize(
    ("photo", "out", "name"),
    [
        ("out/contact-sheet.png", None, "contact-sheet.png"),
        ("out/thumbnail.png", "out", "thumbnail.png"),
        ("thumbnail.png", ".", "thumbnail.png"),
        ("cards/01-title.png", ".", "cards/01-title.png"),
    ],
)
def test_the_photo_is_not_replaced(session_of, say, photo, out, name, adopt):
    folder = session_of(f'{UNIT}[episode]\nphoto = "{photo}"\n')
    put(folder / photo, one_evening.photo(40))
    before = everything(folder)
    said = say("build", folder, *(["--out", folder / out] if out else []), *(["--adopt"] if adopt else []))
    assert said.status == 2
    assert f"{READ}{name}; move them" in said.err
    assert everything(folder) == before


@pytest.mark.parametrize("adopt", [False, True])
def test_an_output_that_became_an_input_is_not_replaced(folder, say, adopt):
    """It is in the list, and still the user's photo now."""
    assert say("build", folder).status == 0
    put(folder / "session.toml", f'{RATED}[episode]\nphoto = "out/contact-sheet.png"\n')
    before = everything(folder)
    said = say("build", folder, *(["--adopt"] if adopt else []))
    assert said.status == 2
    assert f"{READ}contact-sheet.png; move them" in said.err
    assert everything(folder) == before


def test_an_input_among_the_outputs_is_read_and_left_there(session_of, say):
    folder = session_of(f'{UNIT}[episode]\nphoto = "out/front.png"\n')
    put(folder / "out/front.png", one_evening.photo(40))
    assert say("build", folder).status == 0
    assert say("build", folder, "--size", "2160").status == 0
    assert (folder / "out/front.png").read_bytes() == one_evening.photo(40)


def test_outputs_into_the_session_folder_leave_all_else_there(tmp_path, say):
    """Built, then built with less, so that something is removed, too."""
    folder = one_evening.write(tmp_path / "session")
    before = everything(folder)
    assert say("build", folder, "--out", folder, "--overlay").status == 0
    assert (folder / "overlays").is_dir()
    assert everything(folder).items() >= before.items()
    assert say("build", folder, "--out", folder).status == 0
    assert not (folder / "overlays").exists()
    after = everything(folder)
    assert after.items() >= before.items()
    assert {name for name in set(after) - set(before) if not can_be_output(name)} == {MANIFEST}


@pytest.mark.parametrize("deeper", ["", "deeper"])
def test_outputs_that_would_be_read_as_templates_are_refused(folder, say, deeper):
    before = everything(folder)
    said = say("build", folder, "--out", folder / "templates" / deeper)
    assert said.status == 2
    assert "is in the session's templates/; outputs there would be read as templates" in said.err
    assert everything(folder) == before
    assert not (folder / "templates").exists()
    (folder / "templates").mkdir()
    assert say("build", folder, "--out", folder / "templates").status == 2


# ------------------------------------------------------------------ a list from a stranger


def test_a_strangers_list_removes_nothing_that_no_build_makes(session_of, say):
    files = {
        "out/sub/mine.txt": "mine",
        "out/mine.txt": "mine",
        "notes.txt": "0:00 opening: Hello.\n",
        "cards/03-mine.png": one_evening.photo(9).decode("latin-1"),
    }
    folder = session_of(f'{UNIT}[episode]\nphoto = "cards/03-mine.png"\n', files)
    put(folder / "cards/03-mine.png", one_evening.photo(9))
    before = everything(folder)
    put(folder / "out" / MANIFEST, json.dumps(["sub/mine.txt", "mine.txt"]))
    put(folder / MANIFEST, json.dumps([*before, "session.toml", "notes.txt", "out/mine.txt", "cards/03-mine.png"]))
    assert say("build", folder).status == 0
    assert say("build", folder, "--out", folder).status == 0
    assert everything(folder).items() >= before.items()


def test_what_is_no_longer_made_is_removed_by_name(folder, say):
    assert say("build", folder, "--overlay").status == 0
    assert (folder / "out/overlays/01-title.png").is_file()
    put(folder / "out/overlays/notes.txt", "mine")
    assert say("build", folder).status == 0
    assert [path.name for path in (folder / "out/overlays").iterdir()] == ["notes.txt"]


# ------------------------------------------------------------------ the command line


@pytest.mark.parametrize(
    "arguments",
    [
        ["build", "", "--out", "x"],
        ["build", "SESSION", "--out", ""],
        ["build", "SESSION", "--out="],
        ["build", "SESSION", ""],
        ["plan", ""],
        ["check", ""],
        ["watch", ""],
        ["read", ""],
        ["new", ""],
    ],
)
def test_an_empty_path_is_refused(folder, say, arguments, monkeypatch, tmp_path):
    """Else it would be the current folder."""
    here = Path(shutil.copytree(folder, tmp_path / "here"))
    monkeypatch.chdir(here)
    said = say(*(str(folder) if word == "SESSION" else word for word in arguments))
    assert (said.status, said.out) == (2, "")
    assert '"" names nothing; write a path, or . for the current folder' in said.err
    assert everything(here) == everything(folder) == {"session.toml": RATED.encode()}


@pytest.mark.parametrize("command", ["build", "plan"])
def test_the_help_says_whose_files_are_replaced(say, command):
    told = " ".join(say(command, "--help").out.split())
    assert "Never a file that the session reads" in told
    if command == "build":
        assert "change templates and not outputs" in told
