"""Every text of the built sample against the texts in golden/, and the same bytes however often it is built.

A text that changed is shown as a diff. Where the change is meant, renew the golden files and read their diff:

    REVIEWKIT_RENEW_GOLDEN=1 python -m pytest tests/test_golden.py -k golden_text

Pictures are not among them: what stands on a card is compared as text, its drawing only with itself.
"""

from __future__ import annotations

import difflib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from texts_on_cards import described

from reviewkit.model.episode import Episode

GOLDEN = Path(__file__).resolve().parent / "golden"
RENEW = os.environ.get("REVIEWKIT_RENEW_GOLDEN") == "1"
TEXTS = (
    *("outline.md", "description.txt", "comment.txt", "spec-table.md", "spec-table.csv"),
    *("chapters.vtt", "chapters-planned.txt"),
)

# Python runs this at its start, in the build's own process and in those that draw its cards: every attempt to open,
# resolve or use a socket is noted and refused, whoever makes it.
REFUSAL = """
import os, sys

def refuse(event, arguments):
    if event.startswith("socket."):
        with open(os.environ["SOCKETS_TRIED"], "a") as file:
            file.write(event + "\\n")
        raise RuntimeError(event + ": there is no network here")

sys.addaudithook(refuse)
with open(os.environ["SOCKETS_TRIED"], "a") as file:
    file.write("watching\\n")
"""


# ------------------------------------------------------------------ golden texts


def cards_text(episode: Episode) -> str:
    return "\n".join("\n".join(described(still)) + "\n" for still in episode.stills)


def compared(name: str, now: str) -> None:
    """A text against its golden file, line ends and all; the difference as a diff."""
    path = GOLDEN / name
    if RENEW:
        GOLDEN.mkdir(exist_ok=True)
        path.write_bytes(now.encode("utf-8"))
        return
    golden = path.read_bytes().decode("utf-8")
    if now != golden:
        diff = difflib.unified_diff(
            golden.splitlines(keepends=True), now.splitlines(keepends=True), f"golden/{name}", name, n=1
        )
        pytest.fail("".join(diff) or f"{name} differs from its golden file in line ends", pytrace=False)


@pytest.mark.parametrize("name", TEXTS)
def test_golden_text(name, sample):
    compared(name, sample.text(name))


def test_golden_texts_of_the_cards(episode):
    compared("cards.txt", cards_text(episode))


def test_golden_files_are_all_compared():
    assert {path.name for path in GOLDEN.iterdir()} == {*TEXTS, "cards.txt"}


def test_a_changed_text_is_shown_as_a_diff(sample):
    if RENEW:
        pytest.skip("the golden files are being written")
    text = sample.text("outline.md")
    with pytest.raises(pytest.fail.Exception, match=r"(?s)--- golden/outline\.md.*\n-# .*\n\+# Another title"):
        compared("outline.md", "# Another title\n" + text.split("\n", 1)[1])
    with pytest.raises(pytest.fail.Exception):
        compared("outline.md", text.replace("\n", "\r\n", 1))


# ------------------------------------------------------------------ the same bytes


def contents(out: Path) -> dict[str, bytes]:
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}


def without_network(folder: Path, checkout: Path, *arguments: object) -> list[str]:
    """Run Python without sockets, with another order of sets and another time zone; what was noted."""
    (folder / "refusal").mkdir()
    (folder / "refusal" / "sitecustomize.py").write_text(REFUSAL, encoding="utf-8")
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(map(str, (folder / "refusal", checkout))),
        "SOCKETS_TRIED": str(folder / "tried"),
        "PYTHONHASHSEED": "7",
        "TZ": "Asia/Kathmandu",
    }
    ran = subprocess.run(
        [sys.executable, *map(str, arguments)], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")
    return (folder / "tried").read_text(encoding="utf-8").split()


def test_a_second_build_by_two_processes_gives_the_same_bytes_and_opens_no_socket(sample, checkout, tmp_path):
    out = tmp_path / "again"
    tried = without_network(tmp_path, checkout, "-m", "reviewkit", "build", sample.folder, "--out", out, "--jobs", "2")
    assert set(tried) == {"watching"}
    assert len(tried) >= 2, "this process and the one that works beside it were not both watched"
    one, other = contents(out), contents(sample.out)
    assert set(one) == set(other)
    assert sum(name.startswith("cards/") for name in one) == len(list((out / "cards").iterdir())) > 10
    assert [name for name in one if one[name] != other[name]] == []


def test_an_attempt_at_the_network_would_be_noticed(checkout, tmp_path):
    attempt = "import socket\ntry: socket.create_connection(('127.0.0.1', 9))\nexcept RuntimeError: pass"
    assert any(event.startswith("socket.") for event in without_network(tmp_path, checkout, "-c", attempt))


def test_building_over_a_build_leaves_the_same_bytes(session_of, say):
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', {"notes.txt": "0:00 opening: Hello.\n"})
    assert say("build", folder).status == 0
    first = contents(folder / "out")
    (folder / "out" / "mine.txt").write_text("foreign", encoding="utf-8")
    assert say("build", folder).status == 0
    assert contents(folder / "out") == {**first, "mine.txt": b"foreign"}
