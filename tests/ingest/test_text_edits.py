"""session.toml, repair.csv and ratings.txt changed as text: one value, one row, one line; everything else stays."""

from __future__ import annotations

import re
import tomllib

import pytest

from reviewkit.ingest.session.ratings_edit import (
    add_brochure_lines,
    change_brochure_line,
    not_measured,
    read_brochure_lines,
)
from reviewkit.ingest.session.repair_edit import write_row
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.toml_edit import set_value
from reviewkit.model.errors import InputError

TOML = """# first
[unit]  # here
maker = "Norrvale" # there
model = 'Forty'

[cards]
hide = [
  "a",
  "b",
]  # behind

# above
[[measurement]]
file = "x.csv"

[[measurement]] # last
file = "y.csv"
title = \"\"\"One
 two\"\"\"
# end"""
ENDS = {"plain": lambda text: text, "windows": lambda text: text.replace("\n", "\r\n"), "marked": "\ufeff{}".format}
CHANGES = {
    "a text": (("unit", "maker"), 'A "B" \\ Ω'),
    "a list over lines": (("cards", "hide"), ["c"]),
    "a new key": (("cards", "order"), ["c", "d"]),
    "a key of one of many": (("measurement", 0, "title"), "New"),
    "a text over lines": (("measurement", 1, "title"), "New"),
    "a new table": (("files", "ignore"), ["*.tmp"]),
    "away": (("measurement", 1, "file"), None),
}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("change", CHANGES)
def test_one_value_changes_and_no_comment(change, end):
    path, value = CHANGES[change]
    text = ENDS[end](TOML)
    changed = set_value(text, "session.toml", path, value)
    intended = tomllib.loads(TOML)
    table = intended.setdefault("files", {}) if path[0] == "files" else intended[path[0]]
    table = table[path[1]] if len(path) == 3 else table
    table.pop(path[-1], None)
    if value is not None:
        table[path[-1]] = value
    assert tomllib.loads(changed.removeprefix("\ufeff")) == intended
    assert re.findall(r"#[^\r\n]*", changed) == re.findall(r"#[^\r\n]*", text)
    assert changed.startswith("\ufeff") == text.startswith("\ufeff")
    assert ("\r\n" in changed) == ("\r\n" in text)
    assert (re.search(r"[^\r]\n", changed) is None) == (end == "windows")
    old, new = text.splitlines(), changed.splitlines()
    assert len([line for line in old if line not in new]) <= 4  # of a list or text over lines, all of them


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("cards = { hide = ['a'] }", ("cards", "order")),
        ("[cards]\nhide = [ # mine\n'a']", ("cards", "hide")),
        ("[cards]\nhide = 1\nhide = 2", ("cards", "hide")),
    ],
)
def test_what_cannot_be_changed_as_text_is_left_with_what_to_write(text, path):
    with pytest.raises(InputError, match=r"write it by hand, in \[cards\]|appears twice"):
        set_value(text, "session.toml", path, ["c"])


REPAIR = '# mine\r\npoint;expected;found;unit;tolerance\r\n"Bias; R";22;;mV;"4 mV"\r\nRail;38,5;38,9;V;5 %\r\n'


def test_one_row_gets_a_reading_and_every_other_line_stays():
    text = write_row(REPAIR, {"found": "0,2"}, 3)
    assert text == REPAIR.replace('"Bias; R";22;;mV;"4 mV"', '"Bias; R";22;0,2;mV;4 mV')
    text = write_row(text, {"point": "New", "found": "open"})
    assert text.endswith("Rail;38,5;38,9;V;5 %\r\nNew;;open;;\r\n")
    assert [row.found_text for row in parse_repair(text)] == ["0.2 mV", "38.9 V", "open"]
    assert write_row("", {"point": "A", "found": "1 V"}).splitlines()[1].rstrip(",") == "A,,1 V"


@pytest.mark.parametrize(
    ("cells", "line", "message"),
    [
        ({"found": "much"}, 3, "much"),
        ({"after": "1"}, 3, 'no column "after"'),
        ({"found": "1"}, 9, "no row here"),
        ({"point": ""}, 3, "names no point"),
    ],
)
def test_a_reading_that_cannot_be_read_is_not_written(cells, line, message):
    with pytest.raises(InputError, match=message):
        write_row(REPAIR, cells, line)


def test_lines_of_a_brochure_are_kept_even_if_they_are_not_understood():
    text = add_brochure_lines(
        "# mine\n", "Damping factor: 60\n\nCandle power: 3 per fifth\nDamping factor: 60\nWeight: 9 kg"
    )
    assert text == "# mine\nDamping factor: 60\n# not read yet: Candle power: 3 per fifth\nWeight: 9 kg\n"
    damping, asked, weight = read_brochure_lines(text)
    assert (damping.state, damping.meant) == ("read", "damping factor: at least 60")
    assert (asked.state, asked.text, asked.line) == ("asked", "Candle power: 3 per fifth", 3)
    assert (weight.state, weight.meant) == ("printed", "not measured here")
    assert add_brochure_lines(text, "Weight: 9 kg\n") == text
    text = change_brochure_line(text, 3, not_measured(asked.text))
    assert [line.state for line in read_brochure_lines(text)] == ["read", "printed", "printed"]
    assert change_brochure_line(text, 2, "") == text.replace("Damping factor: 60\n", "")
    with pytest.raises(InputError, match="no line here"):
        change_brochure_line(text, 9, "x")
