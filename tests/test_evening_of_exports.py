"""An evening's exports, dropped into a session: how many are recognised without a question, and none wrong."""

from __future__ import annotations

from pathlib import Path

import evening_exports
import pytest
from evening_exports import SESSION, exports

from reviewkit.build.cache import NO_CACHE
from reviewkit.build.pipeline import check
from reviewkit.commands.add import Added, add_files
from reviewkit.model.episode import Episode
from reviewkit.model.recognised import toml_lines

LEAST = 18  # of 22
# what follows from other files or is only shown; all other keys must be those that are true
_NOT_COMPARED = ("kind", "setting", "against")


@pytest.fixture(scope="module")
def session(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("evening")
    (folder / "session.toml").write_text(SESSION, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def added(session, tmp_path_factory) -> Added:
    return add_files(session, [evening_exports.write(tmp_path_factory.mktemp("exports"))], NO_CACHE, None)


@pytest.fixture(scope="module")
def episode(session, added) -> Episode:
    """The session with what was added."""
    return check(session)


def test_they_are_twenty_two_in_ten_layouts():
    assert len(exports()) == 22
    assert len({each.layout for each in exports()}) == 10
    assert len({each.content for each in exports()}) == 22


def test_nearly_all_are_recognised_without_a_question_and_none_wrong(added, record_property):
    found = {each.file: each for each in added.recognised}
    clear, wrong = 0, []
    for each in exports():
        recognised = found[f"measurements/{each.name}"]
        if recognised.question:
            assert not each.clear, f"{each.name}: {recognised.question}"
            assert recognised.choices
            continue
        clear += 1
        stated = {key: value for key, value in recognised.table.items() if key not in _NOT_COMPARED}
        if recognised.table["kind"] != each.kind or stated != each.truth:
            wrong.append(f"{each.name}: {recognised.table}")
    record_property("exports recognised", f"{clear} of {len(found)} without a question, {len(wrong)} wrong")
    assert wrong == []
    assert clear >= LEAST


def test_the_session_needs_no_table_for_them(session, added, episode):
    assert added.tables == ()
    assert (session / "session.toml").read_text(encoding="utf-8") == SESSION
    assert {run.conditions.measurement.kind for run in episode.runs} >= {each.kind for each in exports() if each.clear}


def test_a_session_that_names_them_all_finds_the_same(session, added, episode, tmp_path):
    """With each table written out, as what was recognised has it."""
    tables = [
        ["\n[[measurement]]", f'file = "{each.file}"', *toml_lines(each.table)]
        for each in added.recognised
        if not each.question
    ]
    ids = {run.conditions.measurement.file: run.conditions.measurement.id for run in episode.runs}
    text = SESSION + "\n".join(line for table in tables for line in table)
    for file, name in ids.items():
        text = text.replace(f'file = "{file}"\n', f'file = "{file}"\nid = "{name}"\n')
    folder = tmp_path / "named"
    folder.mkdir()
    for each in added.recognised:
        if not each.question:
            (folder / each.file).parent.mkdir(parents=True, exist_ok=True)
            (folder / each.file).write_bytes((session / each.file).read_bytes())
    (folder / "session.toml").write_text(text, encoding="utf-8")
    one, other = (
        {(f.measurement, f.quantity, f.channel, f.value, str(f.at)) for f in each.findings}
        for each in (episode, check(folder))
    )
    assert one == other
