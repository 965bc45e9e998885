"""Compiled templates: kept for those that travel with the program, never for a session's own."""

from __future__ import annotations

import sys

import pytest

from reviewkit.render.page import Pages


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """Where compiled files go, and the two folders of templates."""
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "kept"))
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    for name in ("own", "travelling"):
        (tmp_path / name).mkdir()
    (tmp_path / "travelling" / "a.j2").write_text("{{ word }} one", encoding="utf-8")
    return tmp_path


def said(kept):
    return Pages(kept / "own", kept / "travelling").text("a.j2", word="word")


def files(kept):
    return sorted(path for path in (kept / "kept").rglob("*") if path.is_file())


def test_a_template_is_compiled_once(kept, monkeypatch):
    assert said(kept) == "word one"
    (only,) = files(kept)
    assert only.suffix == ".jinja"
    monkeypatch.setattr("jinja2.Environment.compile", lambda *told, **named: pytest.fail("compiled again"))
    assert said(kept) == "word one"


def test_a_template_that_changed_is_compiled_again(kept):
    said(kept)
    (kept / "travelling" / "a.j2").write_text("{{ word }} two", encoding="utf-8")
    assert said(kept) == "word two"
    assert len(files(kept)) == 1


def test_a_damaged_file_is_passed_over(kept):
    said(kept)
    for damage in (b"", b"nothing of ours", files(kept)[0].read_bytes()[:-9]):
        files(kept)[0].write_bytes(damage)
        assert said(kept) == "word one"


def test_a_sessions_own_template_is_never_kept(kept):
    (kept / "own" / "a.j2").write_text("{{ word }} mine", encoding="utf-8")
    assert said(kept) == "word mine"
    assert files(kept) == []
    assert list((kept / "own").iterdir()) == [kept / "own" / "a.j2"]


def test_nothing_is_written_where_python_is_told_not_to(kept, monkeypatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert said(kept) == "word one"
    assert files(kept) == []


def test_a_place_that_cannot_be_written_is_no_fault(kept):
    (kept / "kept").write_text("a file stands where the folder would", encoding="utf-8")
    assert said(kept) == "word one"
