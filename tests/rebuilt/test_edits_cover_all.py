"""No key, no kind of measurement and no sort of input file is without an edit."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import rebuilding
from edits import KIND_EDITS, LONG_EDITS, WITHOUT_EFFECT, Edit
from rebuilding import CHECKOUT, inputs, write_session
from third_session import sample_files

from reviewkit.ingest.session import session_file, session_schema
from reviewkit.measure.kinds import KINDS

EDITS = (*KIND_EDITS, *LONG_EDITS)
_MANY = ("rated", "measurement", "sound")  # tables that stand more than once


@pytest.fixture(scope="module")
def changed(tmp_path_factory) -> dict[Edit, tuple[dict[str, Any], dict[str, Any], set[str]]]:
    """Of each edit, session.toml before and after it (as it can be read), and the files that it changes."""
    root, found = tmp_path_factory.mktemp("covered"), {}
    first: dict[str, tuple[dict[str, Any], dict[str, str], dict[str, bytes]]] = {}
    for edit in EDITS:
        folder = root / edit.session
        if edit.session not in first:
            write_session(edit.session, folder)
            content = {name: (folder / name).read_bytes() for name in inputs(folder)}
            first[edit.session] = (_toml(folder), inputs(folder), content)
        toml, digests, content = first[edit.session]
        edit.change(folder)
        now = inputs(folder)
        files = {name for name in digests.keys() | now.keys() if digests.get(name) != now.get(name)}
        found[edit] = (toml, _toml(folder) if "session.toml" in files else toml, files)
        for name in files:  # back to what it was
            (folder / name).write_bytes(content[name]) if name in content else (folder / name).unlink()
    return found


def _toml(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "session.toml").read_text(encoding="utf-8"))


def _keys_between(before: dict[str, Any], after: dict[str, Any]) -> set[str]:
    """Every `table.key` whose value is not the same."""
    found = set()
    for table in before.keys() | after.keys():
        one, other = (
            [part] if isinstance(part, dict) else part for part in (before.get(table, {}), after.get(table, {}))
        )
        if len(one) == len(other):  # a table more or less is an edit of the list
            for old, new in zip(one, other, strict=True):
                found |= {f"{table}.{key}" for key in old.keys() | new.keys() if old.get(key) != new.get(key)}
    return found


def _file_kind(name: str, toml: dict[str, Any]) -> str:
    """What a file of a session is to the program."""
    if name.startswith("templates/"):
        return "templates/"
    for table in session_file.TABLES:
        entries = toml.get(table, {})
        for entry in entries if table in _MANY else [entries]:
            for key, value in entry.items():
                if value == name:
                    return f"{table}.{key}{Path(name).suffix if table == 'measurement' else ''}"
    return name


def _paths() -> set[str]:
    """The keys of session.toml that name a file."""
    return {
        f"{table}.{key}"
        for table, model in session_file.TABLES.items()
        for key, mark in session_schema.marks_of(model).items()
        if mark in (*session_schema.FILES, "recording")
    }


def test_every_key_of_session_toml(changed):
    known = {
        f"{table}.{key}"
        for table, model in session_file.TABLES.items()
        for key in session_schema.schema_of(model).examples()
    }
    edited = set().union(*(_keys_between(before, after) for before, after, _ in changed.values()))
    assert set(WITHOUT_EFFECT) <= known
    assert all(WITHOUT_EFFECT.values())
    assert known - edited - set(WITHOUT_EFFECT) == set()


@pytest.mark.parametrize("edits", [KIND_EDITS, LONG_EDITS], ids=["for every run", "that take long"])
def test_every_kind_of_measurement(changed, edits):
    """Its file or its table, in a session that holds one."""
    edited = set()
    for edit in edits:
        before, after, files = changed[edit]
        old, new = before.get("measurement", []), after.get("measurement", [])
        pairs = zip(old, new, strict=True) if len(old) == len(new) else [(one, one) for one in old]
        edited |= {one["kind"] for one, other in pairs if one != other or one.get("file") in files}
        if edit.session.startswith("sample"):  # also files that no table names
            edited |= {kind for kind in KINDS if files & {*sample_files(kind)}}
    assert set(KINDS) - edited == set()


def test_every_sort_of_input_file(changed):
    """Those of the help page's picture of a session folder, those that a key names, and published.json."""
    page = (CHECKOUT / "templates" / "help" / "session.md").read_text(encoding="utf-8")
    _, _, rest = page.partition("my-session/\n")
    picture, _, _ = rest.partition("```")
    sorts = {line.split()[0] for line in picture.splitlines()} - {
        "out/",
        "measurements/",
        "recordings/",
        "session.toml",
    }
    assert len(sorts) >= 6
    edited = {_file_kind(name, before) for before, _, files in changed.values() for name in files}
    edited |= {"prices.csv"} & {name for _, _, files in changed.values() for name in files}
    named = {sort if sort != "measurement.file" else "measurement.file.csv" for sort in _paths()}
    wanted = {*sorts, *named, "published.json", "measurement.file.wav", "measurement.file.txt"}
    assert wanted - edited == set()


def test_every_option_that_changes_what_is_made():
    """Of `build --help`, all but where outputs go and how much is printed."""
    help_text = (CHECKOUT / "reviewkit" / "commands" / "argument_parser.py").read_text(encoding="utf-8")
    _, _, build = help_text.partition('"build",')
    build, _, _ = build.partition('"desk",')
    known = set(re.findall(r'"(--[a-z-]+)"', build)) - {"--out", "--quiet", "--progress", "--no-cache", "--adopt"}
    used = {word for edit in EDITS for options in (edit.options, *edit.before, *edit.between) for word in options}
    assert known - used == set()


def test_no_two_edits_have_one_name():
    assert [name for name, count in Counter((edit.session, edit.name) for edit in EDITS).items() if count > 1] == []


def test_a_difference_is_seen(tmp_path):
    """What the comparison says of a file too many, one missing and one that is another."""
    for name, text in {"out/a.txt": "1", "out/b.txt": "2", "out/.kept/c": "3"}.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    found = rebuilding.outputs(tmp_path)
    assert set(found) == {"out/a.txt", "out/b.txt"}
    well = rebuilding.Ended(0, "")
    said = rebuilding.differences("now", well, found, rebuilding.Ended(2, ""), {"out/a.txt": b"0", "out/d.txt": b""})
    assert said == [
        "now: exit status 0, not 2: ",
        "now: too many ['out/b.txt'], missing ['out/d.txt']",
        "now: out/a.txt differs: b'1', not b'0'",
    ]
    assert rebuilding.differences("now", well, found, well, found) == []
