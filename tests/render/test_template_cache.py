"""Compiled templates: kept for shipped ones, never for a session's own, apart for each kind of environment."""

from __future__ import annotations

import marshal

import jinja2
import jinja2.nodes
import pytest

from reviewkit.model import places
from reviewkit.model.errors import InputError
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.template_cache import TemplateCache
from reviewkit.render.pages.template_environment import make_environment


@pytest.fixture
def session(tmp_path):
    """Where compiled files go, and the two folders of templates."""
    for name in ("own", "shipped"):
        (tmp_path / name).mkdir()
    (tmp_path / "shipped" / "a.j2").write_text("{{ word }} one", encoding="utf-8")
    (tmp_path / "shipped" / "b.j2").write_text("b", encoding="utf-8")
    return tmp_path


def filled_in(session, name="a.j2"):
    return Pages(session / "own", session / "shipped", session / "kept").text(name, word="word")


def files(session):
    return sorted(path for path in (session / "kept").rglob("*") if path.is_file())


def test_a_template_is_compiled_once(session, monkeypatch):
    assert filled_in(session) == "word one"
    assert len(files(session)) == 1
    monkeypatch.setattr("jinja2.Environment.compile", lambda *given, **named: pytest.fail("compiled again"))
    assert filled_in(session) == "word one"


def test_a_template_that_changed_is_compiled_again(session):
    filled_in(session)
    (session / "shipped" / "a.j2").write_text("{{ word }} two", encoding="utf-8")
    assert filled_in(session) == "word two"
    assert len(files(session)) == 1


def test_without_a_folder_it_is_compiled_once_in_a_process(session, monkeypatch):
    def fill_in():
        return Pages(session / "own", session / "shipped").text("a.j2", word="word")

    assert fill_in() == "word one"
    (session / "shipped" / "a.j2").write_text("{{ word }} two", encoding="utf-8")
    assert fill_in() == "word two"
    monkeypatch.setattr("jinja2.Environment.compile", lambda *given, **named: pytest.fail("compiled again"))
    assert fill_in() == "word two"
    (session / "shipped" / "a.j2").write_text("{{ word }} one", encoding="utf-8")
    assert fill_in() == "word one"
    assert not (session / "kept").exists()


def test_a_damaged_file_counts_as_absent(session):
    filled_in(session)
    (only,) = files(session)
    whole = only.read_bytes()
    damaged = [b"", b"nothing of ours", whole[:-9], whole[:40], whole[:-5] + b"\xff" * 5, whole + b"x"]
    damaged += [whole[:32] + marshal.dumps(("no", "code")), bytes(len(whole))]
    for content in damaged:
        only.write_bytes(content)
        assert filled_in(session) == "word one"
        assert only.read_bytes() == whole  # and is written again


def test_what_runs_without_a_sandbox_never_runs_in_one(session):
    """Compiled for the one it has no checks of the other."""
    source = "{{ word.__class__ }}"
    (session / "shipped" / "a.j2").write_text(source, encoding="utf-8")
    loader = jinja2.FileSystemLoader(session / "shipped")
    plain = jinja2.Environment(loader=loader, bytecode_cache=TemplateCache(session / "kept"))
    assert plain.get_template("a.j2").render(word="x") == "<class 'str'>"
    with pytest.raises(jinja2.exceptions.SecurityError):
        filled_in(session)
    assert len({path.parent for path in files(session)}) == 2


def test_a_sessions_own_template_is_never_kept_and_shipped_ones_beside_it_are(session):
    (session / "own" / "a.j2").write_text("{{ word }} mine", encoding="utf-8")
    assert filled_in(session) == "word mine"
    assert filled_in(session, "b.j2") == "b"
    assert len(files(session)) == 1
    assert list((session / "own").iterdir()) == [session / "own" / "a.j2"]
    (session / "own" / "a.j2").write_text("{{ absent }}", encoding="utf-8")
    with pytest.raises(InputError):
        filled_in(session)


def test_a_place_that_cannot_be_written_is_no_fault(session):
    (session / "kept").write_text("a file stands where the folder would", encoding="utf-8")
    assert filled_in(session) == "word one"
    assert Pages(session / "own", session / "shipped").text("a.j2", word="word") == "word one"


def test_nothing_that_is_kept_depends_on_our_filters():
    """The library applies a filter to a constant when it compiles; what is kept would then be wrong after an update."""
    made = make_environment(places.templates())
    for name in made.list_templates(("j2", "html")):
        source = made.loader.get_source(made, name)[0]
        for node in made.parse(source).find_all(jinja2.nodes.Filter):
            with pytest.raises(jinja2.nodes.Impossible):
                node.as_const()
