"""`reviewkit help`: the list, one page, and what a terminal, a pipe or an unknown topic makes of it."""

from __future__ import annotations

import io
import re
import sys

import pytest
from accuracy import grid

from reviewkit.commands import cli, help_pages
from reviewkit.model import places

NAMES = sorted(path.stem for path in (places.templates() / "help").glob("*.md"))


def source(name: str) -> str:
    return (places.templates() / "help" / f"{name}.md").read_text(encoding="utf-8")


class Terminal(io.StringIO):
    """Takes what is printed, and says that it is a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_without_a_topic_every_page_has_one_line(say):
    said = say("help")
    assert (said.status, said.err) == (0, "")
    first, *lines = said.out.splitlines()
    assert "reviewkit help TOPIC" in first
    assert sorted(line.split()[0] for line in lines) == NAMES
    for line in lines:
        name, subject = line.split(maxsplit=1)
        assert source(name).startswith(f"# {subject}\n")
        assert len(line) <= 120


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_printed_as_it_is_written(name, say):
    said = say("help", name)
    assert (said.status, said.out, said.err) == (0, source(name), "")


def test_an_unknown_topic_gets_the_nearest(say):
    said = say("help", "sesion")
    assert (said.status, said.out) == (2, "")
    assert 'no page "sesion"; did you mean "session"?' in said.err


@pytest.mark.parametrize("topic", ["", "../help/session", "wholly-other", "session.md"])
def test_only_the_pages_are_printed(topic, say):
    said = say("help", topic)
    assert (said.status, said.out) == (2, "")
    assert f'no page "{topic}"' in said.err


def test_on_a_terminal_a_page_is_formatted(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setenv("COLUMNS", "100")
    assert cli.run(["help", "safety"]) == 0
    assert "|---|" not in screen.getvalue()
    assert "\x1b[" in screen.getvalue()
    assert "Mains voltage can kill" in screen.getvalue()


@pytest.mark.parametrize(("name", "width"), grid([*NAMES], [60, 80, 120]))
def test_a_formatted_page_fits_and_loses_nothing(name, width):
    shown = re.sub(r"\x1b\[[0-9;]*m|\x1b\]8;[^\x1b]*\x1b\\", "", help_pages.render_page(source(name), width))
    assert max(map(len, shown.splitlines())) <= width
    assert shown.count("…") == source(name).count("…")
    letters = set(re.findall(r"[A-Za-z]{4,9}", source(name)))
    # a long word may be broken at the edge of a narrow column; nearly all are whole
    whole = {word for word in letters if word in shown}
    assert len(whole) > 0.9 * len(letters)


def test_a_terminal_without_the_signs_gets_others(monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    assert "Ω" in source("session")
    assert cli.run(["help", "session"]) == 0
    sys.stdout.flush()
    assert b'`"8 ohm"` or `"8 ohm"`' in raw.getvalue()


def test_a_sessions_own_pages_do_not_replace_them(say, session_of, monkeypatch):
    folder = session_of('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', {"templates/help/session.md": "# Mine\n"})
    monkeypatch.chdir(folder)
    assert say("help", "session").out == source("session")
    assert say("check", folder).status == 0
