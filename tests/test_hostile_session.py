"""A session folder from a stranger: nothing outside it is read, written or cleared away, whatever it names or links to.

Outside the folder lies a file of secret words. They must not turn up in anything that is made or said.
"""

from __future__ import annotations

import json
import os
import signal
import socket

import pytest

from reviewkit.ingest.session import session_paths
from reviewkit.ingest.session.cut_file import FILE_NAME as FINAL
from reviewkit.ingest.session.notes_file import FILE_NAME as NOTES
from reviewkit.ingest.session.repair_file import FILE_NAME as REPAIR
from reviewkit.ingest.session.session_file import FILE_NAME as SESSION
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.ingest.session.timeline_file import FILE_NAME as EDITED
from reviewkit.model import places
from reviewkit.model.errors import InputError
from reviewkit.model.published import FILE_NAME as PUBLISHED
from reviewkit.render.pages.page import Pages

SECRET = "year,index\n1977,60.6\nthe words that nobody may see\n"
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
RESPONSE = "Frequency (Hz),L (dB),R (dB)\n" + "".join(f"{20 * 2**n},{-0.1 * n},{-0.1 * n}\n" for n in range(11))
pytestmark = pytest.mark.skipif(os.name == "nt", reason="makes links and pipes as only other systems have them")


class NeverComes(BaseException):
    """Something is waited for without end. No error of the system, which might be taken for an unreadable file."""


@pytest.fixture(autouse=True)
def never_waits():
    """A pipe that is opened after all would be waited for without end."""

    def stop(*_):
        raise NeverComes

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, 30, 1)
    yield
    signal.setitimer(signal.ITIMER_REAL, 0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def stranger(session_of, tmp_path):
    """A small session, beside a folder that is none of its business."""
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "a.csv").write_text(SECRET, encoding="utf-8")
    (tmp_path / "outside" / "outline.md.j2").write_text(SECRET, encoding="utf-8")
    return session_of(UNIT, {"measurements/a.csv": RESPONSE})


@pytest.fixture
def told(stranger, say):
    """What a command says of the session; the secret words are not among it, nor in any file that it made."""

    def run(command, *options):
        said = say(command, stranger, *options)
        out = stranger / "out"
        made = [path.read_bytes() for path in out.rglob("*") if not out.is_symlink() and path.is_file()]
        for text in (said.out.encode(), said.err.encode(), *made):
            assert b"nobody may see" not in text
        return said

    return run


def outside_of(folder):
    return folder.parent / "outside"


# ------------------------------------------------------------------ what is no file in the folder


def link(to):
    return lambda place: place.symlink_to(to(place))


def chain(place):
    place.with_name("another").symlink_to(outside_of(place.parents[1]) / "a.csv")
    place.symlink_to("another")


def listening(place):
    with socket.socket(socket.AF_UNIX) as here:
        at = os.open(place.parent, os.O_RDONLY)  # the path of a socket may not be long
        here.bind(f"/proc/self/fd/{at}/{place.name}")
        os.close(at)


STRANGE = {
    "a link out": link(lambda place: outside_of(place.parents[1]) / "a.csv"),
    "a link out by steps": link(lambda place: "../../outside/a.csv"),
    "a link to a link out": chain,
    "a link to nothing outside": link(lambda place: outside_of(place.parents[1]) / "none.csv"),
    "a link to a folder outside": link(lambda place: outside_of(place.parents[1])),
    "a link to itself": link(lambda place: place),
    "a link to a device without end": link(lambda place: "/dev/zero"),
    "a link to what it reads itself": link(lambda place: "/dev/stdin"),
    "a link to what is known of the process": link(lambda place: "/proc/self/environ"),
    "a pipe": os.mkfifo,
    "a socket": listening,
    "a folder": lambda place: place.mkdir(),
}


# ------------------------------------------------------------------ paths that session.toml names


NAMED = """
[unit]
maker = "Norrvale"
model = "Forty"
[price]
paid = 329.00
currency = "USD"
year = 1977
index = {path}
[episode]
photo = {path}
[look]
font = {path}
bold_font = {path}
[[measurement]]
id = "a"
kind = "response"
file = {path}
"""
KEYS = ("index", "photo", "font", "bold_font", "file")
WAYS_OUT = [
    "/etc/hostname",
    "//etc/hostname",
    "/proc/self/environ",
    "/dev/zero",
    "~/a.csv",
    "~root/a.csv",
    "../outside/a.csv",
    "./../outside/a.csv",
    "measurements/../../outside/a.csv",
    "measurements/a.csv/../../../outside/a.csv",
    "none/../../outside/a.csv",
    "away/a.csv",
    "away/../outside/a.csv",
    "around/../session/away/a.csv",
    "..",
    ".",
    "measurements",
    "measurements/",
    "C:/a.csv",
    "c:a.csv",
    "C:\\a.csv",
    "\\\\server\\share\\a.csv",
    "//server/share/a.csv",
    "\\\\?\\C:\\a.csv",
    "..\\outside\\a.csv",
    "measurements\\a.csv",
    "measurements/..\\..\\outside\\a.csv",
    "measurements/a.csv\0",
    "a\0/../../outside/a.csv",
    "file:/etc/hostname",
    "measurements/" + "a" * 300,
    "measurements/a\u202ecsv",
]


@pytest.mark.parametrize("path", WAYS_OUT, ids=lambda path: ascii(path[:40]))
def test_no_path_leads_out(stranger, told, path):
    (stranger / "away").symlink_to(outside_of(stranger))
    (stranger / "around").symlink_to(stranger)
    (stranger / SESSION).write_text(NAMED.format(path=json.dumps(path)), encoding="utf-8")
    said = told("check")
    assert (said.status, said.out) == (2, "")
    lines = said.err.splitlines()
    for key in KEYS:
        (line,) = [line for line in lines if f" {key} = " in line or f" {key}: " in line]
        assert line.startswith("session.toml:")
        assert any(remedy in line for remedy in (";", "write "))
    assert not (stranger / "out").exists()


@pytest.mark.parametrize("what", STRANGE)
def test_what_a_path_names_is_a_file_in_the_folder(stranger, told, what):
    STRANGE[what](stranger / "measurements" / "b.csv")
    (stranger / SESSION).write_text(NAMED.format(path='"measurements/b.csv"'), encoding="utf-8")
    said = told("check")
    assert (said.status, said.out) == (2, "")
    for key in KEYS:
        (line,) = [line for line in said.err.splitlines() if f' {key} = "measurements/b.csv"' in line]
        assert "none.csv" not in line
        assert any(remedy in line for remedy in ("; copy ", "; name a file", "; write the path of a file"))


@pytest.mark.parametrize(
    "path",
    ["measurements/a.csv", "./measurements/../measurements/a.csv", "linked.csv", "linked-again.csv", "linked/a.csv"],
)
def test_links_within_the_folder_are_followed(stranger, told, path):
    (stranger / "linked.csv").symlink_to(stranger / "measurements" / "a.csv")
    (stranger / "linked-again.csv").symlink_to("linked.csv")
    (stranger / "linked").symlink_to("measurements")
    toml = f'{UNIT}[[measurement]]\nid = "a"\nkind = "response"\nfile = "{path}"\n'
    (stranger / SESSION).write_text(toml, encoding="utf-8")
    assert told("check").status == 0


def test_a_path_that_is_longer_than_the_system_takes_is_told(stranger, told):
    path = "/".join(["measurements/.."] * 3000) + "/measurements/a.csv"
    (stranger / SESSION).write_text(NAMED.format(path=json.dumps(path)), encoding="utf-8")
    assert told("check").status == 2


def test_a_folder_of_measurements_that_is_elsewhere_is_refused(stranger, told):
    (stranger / "measurements" / "a.csv").unlink()
    (stranger / "measurements").rmdir()
    (stranger / "measurements").symlink_to(outside_of(stranger))
    toml = f'{UNIT}[[measurement]]\nkind = "response"\nfile = "measurements/a.csv"\n'
    (stranger / SESSION).write_text(toml, encoding="utf-8")
    said = told("check")
    assert said.status == 2
    assert "leads outside the session's folder; copy the file into it" in said.err


def test_a_session_that_is_reached_by_a_link_is_as_any_other(stranger, say, tmp_path):
    (tmp_path / "by-a-link").symlink_to(stranger)
    assert say("check", tmp_path / "by-a-link").status == 0


# ------------------------------------------------------------------ files that are known by their names


def test_every_file_that_is_known_by_its_name_is_looked_at():
    assert set(session_paths.FIXED) == {SESSION, RATINGS, NOTES, REPAIR, FINAL, EDITED, PUBLISHED}


@pytest.mark.parametrize("what", STRANGE)
def test_what_is_known_by_its_name_is_a_file_in_the_folder(stranger, told, what):
    for name in session_paths.FIXED:
        (stranger / name).unlink(missing_ok=True)
        inner = stranger / "x" / name  # as deep as a measurement's file
        inner.parent.mkdir(exist_ok=True)
        STRANGE[what](inner)
        if inner.is_symlink() and not os.path.isabs(os.readlink(inner)):  # noqa: PTH115, PTH117
            (stranger / name).symlink_to(inner)
        else:
            inner.rename(stranger / name)
        for left in inner.parent.glob("another"):
            left.unlink()
    for command in ("check", "plan", "build"):
        said = told(command)
        assert (said.status, said.out) == (2, "")
        found = {line.split(": ")[0].split(":")[0] for line in said.err.splitlines()[:-1]}
        assert found == set(session_paths.FIXED)
    assert not (stranger / "out").exists()


def test_files_that_are_linked_within_the_folder_are_read(stranger, told):
    (stranger / "all").mkdir()
    (stranger / SESSION).rename(stranger / "all" / SESSION)
    (stranger / SESSION).symlink_to("all/session.toml")
    (stranger / "all" / NOTES).write_text("0:00 opening: Hello.\n", encoding="utf-8")
    (stranger / NOTES).symlink_to(stranger / "all" / NOTES)
    said = told("check")
    assert said.status == 0
    assert "no notes.txt" not in said.out


# ------------------------------------------------------------------ templates


@pytest.mark.parametrize("to", ["../outside", "/proc", "..", "none", "templates"])
def test_a_folder_of_templates_that_is_elsewhere_is_refused_before_it_is_looked_through(stranger, told, to):
    (stranger / "templates").symlink_to(to)
    if to == "none":
        assert told("check").status == 0  # there is no such folder, so there are no templates
        return
    for command in ("check", "plan", "build"):
        said = told(command)
        assert (said.status, said.out) == (2, "")
        assert said.err.startswith("templates: leads outside the session's folder; copy the folder into it\n")


@pytest.fixture(scope="module")
def templates(tmp_path_factory):
    """Templates of a session's own, filled in by one process for all that is put in their places."""
    root = tmp_path_factory.mktemp("templates")
    (root / "outside").mkdir()
    for name in ("a.csv", "outline.md.j2"):
        (root / "outside" / name).write_text(SECRET, encoding="utf-8")
    folder = root / "session" / "templates"
    folder.mkdir(parents=True)
    (folder / "away").symlink_to(root / "outside")
    (folder / "a-link.j2").symlink_to(root / "outside" / "outline.md.j2")
    for name in ("plan.html", *FORMS):
        (folder / name).write_text("mine", encoding="utf-8")
    return folder, Pages(folder, places.templates())


@pytest.mark.parametrize("what", [what for what in STRANGE if what != "a folder"])
def test_a_template_is_a_file_in_the_folder(templates, what):
    folder, pages = templates
    (folder / "plan.html").unlink()
    STRANGE[what](folder / "plan.html")
    with pytest.raises(InputError) as raised:
        pages.text("plan.html")
    (fault,) = raised.value.faults
    assert fault.source == "templates/plan.html"
    assert fault.message.endswith(("; copy the file into it", "; put a file in its place, or remove it"))


@pytest.mark.parametrize("what", ["a link out", "a pipe"])
def test_a_command_says_which_template_is_no_file(stranger, told, what):
    (stranger / "templates").mkdir()
    STRANGE[what](stranger / "templates" / "plan.html")
    said = told("plan")
    assert (said.status, said.out) == (2, "")
    assert said.err.startswith("templates/plan.html: ")
    assert any(remedy in said.err for remedy in ("; copy the file into it", "; put a file in its place"))


INCLUDES = [
    "../outside/outline.md.j2",
    "../../outside/outline.md.j2",
    "words/../../outside/outline.md.j2",
    "away/outline.md.j2",
    "a-link.j2",
    "/etc/hostname",
    "//etc/hostname",
    "C:/Windows/win.ini",
    "C:\\\\Windows\\\\win.ini",
    "..\\\\outside\\\\outline.md.j2",
    "file:/etc/hostname",
    "../session.toml",
    "a\0b",
    "x" * 5000,
]


FORMS = {
    "plan.md.j2": '{{% include "{}" %}}',
    "outline.md.j2": '{{% import "{}" as x %}}',
    "comment.txt.j2": '{{% from "{}" import x %}}',
    "description.txt.j2": '{{% extends "{}" %}}',
}


@pytest.mark.parametrize("name", INCLUDES, ids=lambda name: ascii(name[:30]))
def test_a_template_includes_nothing_from_elsewhere(templates, name):
    folder, pages = templates
    for own, form in FORMS.items():
        (folder / own).write_text(form.format(name), encoding="utf-8")
        with pytest.raises(InputError) as raised:
            pages.text(own)
        (fault,) = raised.value.faults
        assert fault.source.startswith("templates")
        assert "is not there; a template can include only" in fault.message or "leads outside" in fault.message
        assert "nobody may see" not in fault.message


def test_a_folder_within_the_templates_is_no_link(stranger, told):
    """Whether such templates have changed would not be seen."""
    (stranger / "templates").mkdir()
    (stranger / "mine").mkdir()
    (stranger / "mine" / "cautions.j2").write_text("all: Mine.\n", encoding="utf-8")
    (stranger / "templates" / "words").symlink_to("../mine")
    said = told("check")
    assert said.status == 2
    assert said.err.startswith("templates/words/cautions.j2: lies in a folder that is a link; put the folder itself")
    (stranger / "templates" / "words").unlink()
    (stranger / "mine").rename(stranger / "templates" / "words")
    assert told("check").status == 0


def test_the_desk_shows_a_page_of_its_own_whatever_templates_there_are(stranger):
    pytest.importorskip("watchfiles")
    pytest.importorskip("starlette")
    from reviewkit.build.cache import NO_CACHE
    from reviewkit.build.pool import ALONE
    from reviewkit.commands.desk.desk import Desk
    from reviewkit.commands.desk.live_session import LiveSession

    (outside_of(stranger) / "desk").mkdir()
    (outside_of(stranger) / "desk" / "desk.html").write_text(SECRET, encoding="utf-8")
    (stranger / "templates").symlink_to(outside_of(stranger))
    session = LiveSession(stranger, ALONE, NO_CACHE)
    session.build(())
    for editing in (False, True):
        page, policy = Desk(session, outside_of(stranger) / "aside", editing=editing).page("http://127.0.0.1:1/x/")
        assert "templates: leads outside" in page
        assert "nobody may see" not in page
        assert "unsafe" not in policy


@pytest.mark.parametrize("command", ["desk", "watch"])
def test_the_desk_does_not_begin_where_links_lead_elsewhere(stranger, told, command):
    pytest.importorskip("watchfiles")
    pytest.importorskip("starlette")
    (stranger / "measurements" / "more").mkdir()
    (stranger / "measurements" / "more" / "away").symlink_to(outside_of(stranger))
    said = told(command)
    assert (said.status, said.out) == (2, "")
    assert said.err.startswith("measurements/more/away: leads outside the session's folder; ")


# ------------------------------------------------------------------ what is written and cleared away


def left_as_it_was(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b"" for path in folder.rglob("*")
    }


@pytest.fixture
def untouched(stranger):
    """What lies outside is the same in the end, and so are the session's own files."""
    (outside_of(stranger) / "findings.json").write_text("mine", encoding="utf-8")
    (outside_of(stranger) / "01-title.png").write_text("mine", encoding="utf-8")
    before = left_as_it_was(outside_of(stranger)), (stranger / SESSION).read_bytes()
    yield
    assert (left_as_it_was(outside_of(stranger)), (stranger / SESSION).read_bytes()) == before


@pytest.mark.parametrize("to", ["../outside", "..", ".", "measurements", "../nowhere"])
@pytest.mark.parametrize("command", ["build", "plan"])
@pytest.mark.usefixtures("untouched")
def test_out_is_no_link(stranger, told, to, command):
    (stranger / "out").symlink_to(to)
    said = told(command)
    assert (said.status, said.out) == (2, "")
    assert said.err.startswith("out: is a link; remove it, or name the folder that it leads to with --out\n")
    assert not (stranger.parent / "nowhere").exists()


@pytest.mark.usefixtures("untouched")
def test_a_folder_that_is_asked_for_may_be_anywhere(stranger, say, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "linked").symlink_to(tmp_path / "elsewhere")
    (stranger / "out").symlink_to(outside_of(stranger))
    assert say("build", stranger, "--out", tmp_path / "linked").status == 0
    assert (tmp_path / "elsewhere" / "findings.json").is_file()


@pytest.mark.parametrize("folder", ["cards", "strips"])
@pytest.mark.usefixtures("untouched")
def test_nothing_is_written_or_cleared_through_a_folder_that_is_a_link(stranger, told, folder):
    (stranger / "out").mkdir()
    made = [f"{folder}/{name}" for name in ("01-title.png", "findings.json", "a.csv")]
    (stranger / "out" / ".made-by-reviewkit.json").write_text(json.dumps(made), encoding="utf-8")
    (stranger / "out" / folder).symlink_to(outside_of(stranger))
    said = told("build")
    assert said.status in (1, 2)
    assert f"{folder}" in said.err
    assert "is a link" in said.err


@pytest.mark.usefixtures("untouched")
def test_a_link_in_an_outputs_place_is_moved_over(stranger, told):
    (stranger / "out" / "cards").mkdir(parents=True)
    (stranger / "out" / "findings.json").symlink_to(outside_of(stranger) / "findings.json")
    (stranger / "out" / "cards" / "01-title.png").symlink_to(outside_of(stranger) / "01-title.png")
    (stranger / "out" / "outline.md").symlink_to("/dev/null")
    assert told("build").status == 0
    for name in ("findings.json", "cards/01-title.png", "outline.md"):
        assert not (stranger / "out" / name).is_symlink()
        assert (stranger / "out" / name).stat().st_size > 100


@pytest.mark.usefixtures("untouched")
def test_a_list_of_what_was_made_reaches_nothing_else(stranger, told):
    (stranger / "out").mkdir()
    (stranger / "out" / "gone.md").symlink_to(outside_of(stranger) / "findings.json")
    outside = outside_of(stranger).as_posix()
    listed = [
        "../session.toml",
        f"{outside}/a.csv",
        "../../outside/findings.json",
        "gone.md",
        "",
        ".",
        "..",
        "/",
    ]
    (stranger / "out" / ".made-by-reviewkit.json").write_text(json.dumps(listed), encoding="utf-8")
    assert told("build").status == 0
    assert (stranger / "out" / "gone.md").is_symlink()  # no build makes a file of this name


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a": 1}', '["a\\u0000/b", "a\\u0000"]', "1" * 5000, "\0", ""])
def test_a_list_of_what_was_made_may_be_anything(stranger, told, text):
    (stranger / "out").mkdir()
    (stranger / "out" / ".made-by-reviewkit.json").write_text(text, encoding="utf-8")
    assert told("plan").status == 0


# what a build keeps beside its outputs, and where it puts what it will move in
DEAD = ".incoming-999999999"  # no process has this number
KEPT = [".made-by-reviewkit.json", ".incoming-OURS"]
BESIDE = [f".incoming-OURS-{name}" for name in ("record", "published.json")]


@pytest.mark.long
@pytest.mark.parametrize("name", [*KEPT, *BESIDE])
@pytest.mark.parametrize("to", ["findings.json", ".", "nothing-yet"])
@pytest.mark.usefixtures("untouched")
def test_nothing_is_written_through_what_lies_there_already(stranger, told, name, to):
    name = name.replace("OURS", str(os.getpid()))
    for folder in (stranger / "out", stranger):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).symlink_to(outside_of(stranger) / to)
    assert told("build", "--published").status in (0, 1, 2)


@pytest.mark.long
@pytest.mark.parametrize("name", [*KEPT, DEAD, f"{DEAD}-findings.json"])
def test_nothing_is_waited_for_that_lies_there_already(stranger, told, name):
    name = name.replace("OURS", str(os.getpid()))
    for folder in (stranger / "out", stranger):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        os.mkfifo(folder / name)
    assert told("build", "--published").status in (0, 1, 2)


MOVING = f'{UNIT}[episode]\ncard_seconds = 1\n[[measurement]]\nkind = "response"\nfile = "measurements/a.csv"\n'


@pytest.mark.long
def test_no_clip_is_made_through_what_lies_there_already(stranger, told):
    pytest.importorskip("imageio_ffmpeg", reason="needs an ffmpeg: pip install -e '.[test]'")
    (stranger / SESSION).write_text(MOVING, encoding="utf-8")
    (stranger / "out").mkdir()
    (stranger / "out" / f".incoming-{os.getpid()}").symlink_to(outside_of(stranger))
    before = left_as_it_was(outside_of(stranger))
    assert told("build", "--motion").status in (0, 1, 2)
    assert left_as_it_was(outside_of(stranger)) == before


@pytest.mark.long
def test_a_folder_that_is_called_as_an_address_is_a_folder(stranger, say, monkeypatch):
    pytest.importorskip("imageio_ffmpeg", reason="needs an ffmpeg: pip install -e '.[test]'")
    folder = stranger.rename(stranger.with_name("tcp:127.0.0.1"))
    (folder / SESSION).write_text(MOVING, encoding="utf-8")
    monkeypatch.chdir(folder.parent)
    assert say("build", folder.name, "--motion").status == 0
    assert len(list((folder / "out" / "clips").iterdir())) == 1
