"""New [[measurement]] tables in a session.toml: read as intended, with every other byte as it was."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reviewkit.ingest.session.toml_edit import insert_keys, insert_measurements
from reviewkit.model.errors import InputError

CHECKOUT = Path(__file__).resolve().parents[2]
NEW = {"file": 'measurements/a "b".csv', "kind": "tone", "columns": {"left": 2, "left into right": "L > R"}}
HEAD = '[unit]\nmaker = "A"\nmodel = "B"\n'
TWO = f"""# at the top
{HEAD}
# ---- measurements

[[measurement]]
kind = "tone"  # its end
file = "a.csv"
# drive = "4 W"

[[measurement]]
kind = "response"
columns = {{ left = 1 }}
equipment = [
  "#",  # a comment in a list

  "]",
]
#stage = "after"
# its own, too

# ---- the episode

# of the episode
[episode]
title = "x"
"""


def outside(text: str, table: str) -> str:
    """The text without the new table."""
    assert text.count(table) == 1
    return text.replace(table, "")


def inserted(text: str, table: dict[str, object]) -> str:
    new = insert_measurements(text, "session.toml", [table])
    before, after = (tomllib.loads(each.removeprefix("\ufeff").replace("\r\n", "\n")) for each in (text, new))
    assert after == {**before, "measurement": [*before.get("measurement", []), table]}
    return new


def test_it_comes_after_the_last_measurement_and_before_the_next_tables_comments():
    new = inserted(TWO, NEW)
    table = """
[[measurement]]
file = "measurements/a \\"b\\".csv"
kind = "tone"
columns = { left = 2, "left into right" = "L > R" }
"""
    assert outside(new, table) == TWO
    above, below = new.split(table)
    assert above.endswith("# its own, too\n")
    assert below.startswith("\n# ---- the episode\n\n# of the episode\n[episode]")


@pytest.mark.parametrize("lead", ["", "\ufeff"], ids=["plain", "with a byte order mark"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"], ids=["LF", "CR LF"])
@pytest.mark.parametrize("text", [TWO, HEAD, HEAD.rstrip("\n"), f"{HEAD}# the end", TWO[: TWO.index("# ---- the ep")]])
def test_every_line_end_and_every_other_byte_stays(text, ending, lead):
    text = lead + text.replace("\n", ending)
    new = inserted(text, NEW)
    table = re.search(r"(?:\r?\n)?\[\[measurement\]\]\r?\nfile = \"measurements/a[^\0]*?R\" \}\r?\n", new)
    assert table is not None
    assert new.replace(table[0], "").rstrip("\r\n") == text.rstrip("\r\n")
    assert len(re.findall(r"(?<!\r)\n", new)) == (0 if ending == "\r\n" else new.count("\n"))


@pytest.mark.parametrize("name", ["sample_session/session.toml", "templates/new/session.toml"])
def test_in_a_session_as_it_is_written(name):
    text = (CHECKOUT / name).read_text(encoding="utf-8")
    new = inserted(text, NEW)
    assert [line for line in new.splitlines() if line.startswith("#")] == [
        line for line in text.splitlines() if line.startswith("#")
    ]
    # each comment is before the table that it was before
    following = lambda every: re.findall(r"(#[^\n]*)\n+(\[+[\w.]+\]+)", every)  # noqa: E731
    assert [pair for pair in following(new) if pair in following(text)] == following(text)


@pytest.mark.parametrize("ending", ["\n", "\r\n"], ids=["LF", "CR LF"])
def test_keys_come_under_the_line_of_the_file(ending):
    text = TWO.replace("\n", ending)
    new = insert_keys(text, "session.toml", 0, {"stage": "after", "drive": "4 W"})
    lines = f'stage = "after"{ending}drive = "4 W"{ending}'
    assert new.replace(lines, "") == text
    assert f'file = "a.csv"{ending}{lines}# drive = "4 W"{ending}' in new
    assert tomllib.loads(new)["measurement"][0] == {"kind": "tone", "file": "a.csv", "stage": "after", "drive": "4 W"}
    assert insert_keys('[[measurement]]\nfile = "a"', "s", 0, {"stage": "after"}).endswith('\nstage = "after"\n')


def test_keys_of_a_table_on_one_line_are_left_to_the_user():
    with pytest.raises(InputError, match='laid out so that no key can be added; write there: stage = "after"'):
        insert_keys('measurement = [{ file = "a" }]\n' + HEAD, "session.toml", 0, {"stage": "after"})


@given(
    st.dictionaries(
        st.sampled_from(("kind", "setting", "drive", "title", "id")),
        st.text(st.characters(exclude_categories=("Cs",)), max_size=20),
        min_size=1,
    )
)
def test_whatever_a_value_is_it_reads_as_it_was(table):
    inserted(TWO, {"file": "a.csv", **table})


@pytest.mark.parametrize(
    "text",
    ['measurement = [{ kind = "tone" }]\n' + HEAD, f'{HEAD}[measurement]\nkind = "tone"\n'],
    ids=["a list", "a single table"],
)
def test_a_file_laid_out_otherwise_is_left_alone(text):
    with pytest.raises(InputError, match=r"write each of them as a table of its own, \[\[measurement\]\], and add"):
        insert_measurements(text, "session.toml", [NEW])
