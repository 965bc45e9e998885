"""Everything that can be built, built by the real command in the session's own folder, without a network: none is asked
for, nothing that lies there is run, and nothing of what is made tells where, when, by whom or on which machine.
"""

from __future__ import annotations

import os
import shutil
import socket
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import pytest
from PIL import Image

from reviewkit.build.own_files import FIXED, MANIFEST, can_be_output, own_files
from reviewkit.model.card_files import KINDS, card_path

pytestmark = pytest.mark.long

SESSION = """
[unit]
maker = "Norrvale"
model = "Forty"
[price]
paid = 329.00
currency = "USD"
year = 1977
index = "prices.csv"
[bench]
load = "8 ohm"
[episode]
frame_rate = 24
card_seconds = 1
photo = "front.jpg"
[[rated]]
quantity = "response"
within = "0.5 dB"
[[measurement]]
file = "measurements/flat.csv"
kind = "response"
"""
FILES = {
    "session.toml": SESSION,
    "prices.csv": "year,index\n1977,60.6\n2024,313.7\n",
    "notes.txt": "clip bench-1.mp4 for 1:00\n0:00 opening: Hello. [card flat]\n",
    "repair.csv": "point,found,unit\n",
    "measurements/flat.csv": "Frequency (Hz),L (dB),R (dB)\n"
    + "".join(f"{20 * 2**n},{-0.1 * n:.1f},{-0.1 * n:.1f}\n" for n in range(11)),
}
# names that are nowhere else
PERSON, MACHINE, PLACE, OF_THE_PHOTO = "olvindur", "trudheim-bench", "behind-the-brewery", "seen-by-nobody-else"
# Every process of ours says that it is watched, and what it tries.
REFUSAL = """
import os, sys

def note(text):
    with open(os.environ["SOCKETS_TRIED"], "a") as file:
        file.write(text + "\\n")

def refuse(event, arguments):
    if event.startswith("socket.") and event != "socket.gethostname":
        note(event)
        raise RuntimeError(event + ": there is no network here")

sys.addaudithook(refuse)
note("watching")
"""


# What a stranger could put beside session.toml, to be taken for what the program is made of.
PROGRAMS = ("ffmpeg", "ffmpeg.exe", "python", "git")
MODULES = """
    os io json pickle struct signal threading traceback faulthandler sitecustomize usercustomize reviewkit numpy pandas
    matplotlib PIL jinja2 markdown nh3 pydantic soundfile filelock imageio_ffmpeg opentimelineio
    multiprocessing concurrent platformdirs tempfile
""".split()


@dataclass(frozen=True)
class Everything:
    folder: Path
    tried: list[str]
    names: tuple[str, ...]  # what must not be told

    def files(self) -> dict[str, Path]:
        made = [path for path in (self.folder / "out").rglob("*") if path.is_file()]
        return {path.relative_to(self.folder).as_posix(): path for path in (*made, self.folder / "published.json")}


def apart() -> list[str]:
    """What runs a command with no network at all, on a machine of another name, where that is allowed here."""
    script = f'hostname {MACHINE} && exec "$@"'
    command = ["unshare", "--map-root-user", "--net", "--uts", "sh", "-c", script, "sh"]
    if shutil.which("unshare") and subprocess.run([*command, "true"], capture_output=True, check=False).returncode == 0:
        return command
    return []


@pytest.fixture(scope="module")
def everything(tmp_path_factory, checkout):
    pytest.importorskip("imageio_ffmpeg", reason="needs an ffmpeg: pip install -e '.[test]'")
    root = tmp_path_factory.mktemp("apart") / PLACE
    folder = root / "session"
    for name, text in FILES.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    photo = Image.new("RGB", (640, 360), (90, 80, 70))
    told = photo.getexif()
    told[0x010E] = told[0x013B] = OF_THE_PHOTO  # its description, its artist
    photo.save(folder / "front.jpg", exif=told, comment=OF_THE_PHOTO.encode())
    for name in PROGRAMS:
        (folder / name).write_text(f"#!/bin/sh\ntouch '{root}/ran-{name}'\n", encoding="utf-8")
        (folder / name).chmod(0o755)
    for name in MODULES:
        (folder / f"{name}.py").write_text(f"open({str(root / 'ran')!r} + {name!r}, 'w')", encoding="utf-8")
    home = root / "home" / PERSON
    home.mkdir(parents=True)
    (home / "sitecustomize.py").write_text(REFUSAL, encoding="utf-8")
    environment = {
        **os.environ,
        **dict.fromkeys(("USER", "LOGNAME", "USERNAME"), PERSON),
        "HOME": str(home),
        "HOSTNAME": MACHINE,
        "PATH": os.pathsep.join((".", os.environ["PATH"])),  # as on systems that look where the command is run first
        "PYTHONPATH": os.pathsep.join(map(str, (home, checkout))),
        "SOCKETS_TRIED": str(root / "tried"),
    }
    # as pip installs it
    (home / "reviewkit").write_text("from reviewkit.__main__ import main\nmain()\n", encoding="utf-8")
    command = [*apart(), sys.executable, str(home / "reviewkit"), "build", ".", "--overlay", "--motion", "--published"]
    command += ["--shape", "wide", "tall", "square"]
    ran = subprocess.run(
        [*command, "--jobs", "2"], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")
    host = MACHINE if apart() else socket.gethostname()
    names = (PERSON, PLACE, OF_THE_PHOTO, host, str(checkout), str(Path.home()) + os.sep, sys.prefix)
    return Everything(folder, (root / "tried").read_text(encoding="utf-8").split("\n")[:-1], names)


def test_everything_was_built(everything):
    kinds = {path.suffix for path in everything.files().values()}
    assert {".png", ".mp4", ".mov", ".otio", ".html", ".md", ".txt", ".csv", ".json", ".vtt"} <= kinds
    assert {"out/cards/03-flat.png", "out/overlays/03-flat.png", "out/clips/03-flat.mov"} <= set(everything.files())


def test_every_output_is_known_as_the_programs_own(everything):
    """Those of all options: by its name, and by the list."""
    out = everything.folder / "out"
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()} - {MANIFEST}
    assert {name for name in names if not can_be_output(name)} == set()
    assert own_files(out).names == names
    # (a pair is shown only where something was measured before and after it; the chosen one has no name of its own)
    assert set(FIXED) - {"thumbnail-pair.png", "thumbnail-figure.png"} <= names, "names that no build makes"
    assert {PurePosixPath(place).parts[0] for place in (card_path(kind, "01-a") for kind in KINDS)} <= {
        PurePosixPath(n).parts[0] for n in names
    }


def test_no_network_is_asked_for(everything):
    assert set(everything.tried) == {"watching"}
    assert len(everything.tried) >= 2, "this process and the one that draws beside it were not both watched"


def test_nothing_is_run_that_lies_in_the_folder(everything):
    assert [path.name for path in everything.folder.parent.glob("ran*")] == []
    planted = everything.folder / "numpy.py"
    subprocess.run([sys.executable, planted], check=True)  # it would have been noticed
    assert [path.name for path in everything.folder.parent.glob("ran*")] == ["rannumpy"]


def test_settings_of_the_drawing_library_are_not_taken_from_where_it_is_run(tmp_path, checkout):
    (tmp_path / "session.toml").write_text('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', encoding="utf-8")
    (tmp_path / "matplotlibrc").write_text("axes.prop_cycle: cycler('color', [print('run')])\n", encoding="utf-8")
    for command in (["build", ".", "--jobs", "2"], ["check", "."]):
        ran = subprocess.run(
            [sys.executable, "-m", "reviewkit", *command],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(checkout)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert (ran.returncode, ran.stdout) == (2, "")
        assert ran.stderr.startswith("matplotlibrc: has settings that the drawing library would read from here; ")
        assert ran.stderr.count("\n") == 2


def test_nothing_is_told_of_person_place_or_machine(everything):
    for name, path in everything.files().items():
        content = path.read_bytes()
        for word in everything.names:
            for encoding in ("utf-8", "utf-16-le"):
                assert word.encode(encoding) not in content, f"{name} tells {word}"
            assert word not in name


def test_such_words_would_be_found(everything):
    assert everything.names[1] in str(everything.folder)
    assert OF_THE_PHOTO.encode() in (everything.folder / "front.jpg").read_bytes()
    assert all(len(word) > 3 for word in everything.names)


def chunks(content):
    """The names of a PNG's chunks (ISO/IEC 15948:2004, section 5.3)."""
    at = 8
    while at < len(content):
        (length,) = struct.unpack_from(">I", content, at)
        yield content[at + 4 : at + 8].decode("ascii")
        at += 12 + length


def test_pictures_hold_pixels_alone(everything):
    pictures = {name: path.read_bytes() for name, path in everything.files().items() if path.suffix == ".png"}
    assert len(pictures) > 10
    for name, content in pictures.items():
        assert content.startswith(b"\x89PNG\r\n\x1a\n")
        assert set(chunks(content)) <= {"IHDR", "PLTE", "IDAT", "IEND"}, name


_WITHIN = ("moov", "trak", "mdia", "minf", "stbl", "edts", "dinf")


def boxes(content, start=0, end=None):
    """(name, content) of each box of a film (ISO/IEC 14496-12, section 4.2), those within it too."""
    at, end = start, len(content) if end is None else end
    while at < end:
        length, name = struct.unpack_from(">I4s", content, at)
        name = name.decode("latin-1")
        header = 8
        if length == 1:
            (length,), header = struct.unpack_from(">Q", content, at + 8), 16
        length = length or end - at
        yield name, content[at + header : at + length]
        if name in _WITHIN:
            yield from boxes(content, at + header, at + length)
        at += length


def test_films_hold_frames_alone_and_no_time_of_day(everything):
    films = {name: path.read_bytes() for name, path in everything.files().items() if path.suffix in (".mp4", ".mov")}
    assert len(films) >= 8
    for name, content in films.items():
        found = list(boxes(content))
        assert {"moov", "mvhd", "tkhd", "mdhd", "stsd"} <= {box for box, _ in found}
        assert not {"meta", "uuid", "XMP_"} & {box for box, _ in found}, name
        for box, inner in found:
            if box == "udta":  # what there is to tell of the film: an empty list
                assert inner.endswith(b"\0\0\0\x08ilst"), name
            if box in ("mvhd", "tkhd", "mdhd"):  # version and flags, then when it was made and changed
                assert inner[4 : 20 if inner[0] else 12].strip(b"\0") == b"", f"{name}: {box} tells a time"
