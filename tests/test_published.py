"""What was published is remembered, and what no longer holds is corrected."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rated_and_found import found

from reviewkit.errors import InputError
from reviewkit.ingest.published_file import parse_published
from reviewkit.published import Correction, Published, corrections, published, told
from reviewkit.spec_table import SpecTable, TableRow

NOW = {"Power": "42.9 W, meets", "Damping factor": "52, falls short"}


def test_nothing_published_needs_no_correction():
    assert corrections(NOW, None) == ()
    assert corrections(NOW, Published(NOW)) == ()


def test_what_changed_is_told_with_both_figures():
    before = Published({**NOW, "Power": "41.9 W, meets"})
    assert corrections(NOW, before) == (Correction("Power", "41.9 W, meets", "42.9 W, meets"),)


def test_a_new_figure_is_news_and_a_missing_one_is_told():
    before = Published({"Power": "42.9 W, meets", "Gain": "29.0 dB, meets"})
    assert corrections(NOW, before) == (Correction("Gain", "29.0 dB, meets", ""),)


def test_a_correction_stays_when_the_corrected_figures_are_published():
    first = published({**NOW, "Power": "41.9 W, meets"}, None)
    second = published(NOW, first)
    assert corrections(NOW, second) == (Correction("Power", "41.9 W, meets", "42.9 W, meets"),)
    third = published({**NOW, "Power": "43.0 W, meets"}, second)
    assert corrections({**NOW, "Power": "43.0 W, meets"}, third)[0].was == "41.9 W, meets"
    # a figure that comes back to what was first published was right all along
    assert corrections({**NOW, "Power": "41.9 W, meets"}, third) == ()


_FIGURES = st.dictionaries(st.sampled_from("abcd"), st.sampled_from(["1 W", "2 W", "3 W"]))


@given(st.lists(_FIGURES, min_size=1, max_size=5))
def test_whatever_is_published_when_the_latest_is_held_against_the_first_that_viewers_heard(history):
    before, first = None, {}
    for now in history:
        for what, figure in now.items():
            first.setdefault(what, figure)
        before = published(now, before)
    told_again = {c.what: (c.was, c.now) for c in corrections(history[-1], before)}
    expected = {w: (f, history[-1].get(w, "")) for w, f in first.items() if history[-1].get(w) != f}
    assert told_again == expected


def test_rows_and_findings_are_told_once_each():
    row = TableRow("Power into 8 Ω", "40 W", "40 W into 8 Ω", "42.9 W", "meets", "+7 %", "")
    thd = found("thd", 0.0214, "L", power=5.0, load=8.0, measurement="tone")
    said = told(SpecTable((row, row), ()), [thd, thd])
    assert len(said) == 4
    assert said["Power into 8 Ω, rated 40 W"] == "42.9 W, meets"
    assert next(figure for what, figure in said.items() if what.startswith("tone: THD, L, 5 W into 8 Ω")) == "0.021 %"


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '{"said": 1}', '{"said": {"a": 1}, "corrected": {}}', "[" * 9999])
def test_a_file_that_is_not_ours_is_refused_with_a_remedy(text):
    with pytest.raises(InputError, match=r"published\.json: this is not what reviewkit wrote there; bring back"):
        parse_published(text)


def test_what_was_written_is_read_again():
    assert parse_published('{"said": {"a": "1 W"}, "corrected": {"a": "2 W"}}') == Published({"a": "1 W"}, {"a": "2 W"})
