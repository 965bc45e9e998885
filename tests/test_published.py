"""What was published is remembered, and what no longer holds is corrected."""

from __future__ import annotations

import json

import pytest
import receiver_session
from hypothesis import given
from hypothesis import strategies as st
from rated_and_found import found

from reviewkit.episode.published import (
    Correction,
    collect_figures,
    find_corrections,
    record_published,
    select_for_viewers,
)
from reviewkit.ingest.session.published_file import parse_published
from reviewkit.model.errors import InputError
from reviewkit.model.published import Published
from reviewkit.verdict.spec_table import SpecTable, TableRow

NOW = {"Power": "42.9 W, meets", "Damping factor": "52, falls short"}


def test_nothing_published_needs_no_correction():
    assert find_corrections(NOW, None) == ()
    assert find_corrections(NOW, Published(NOW)) == ()


def test_what_changed_is_told_with_both_figures():
    before = Published({**NOW, "Power": "41.9 W, meets"})
    assert find_corrections(NOW, before) == (Correction("Power", "41.9 W, meets", "42.9 W, meets"),)


def test_a_new_figure_is_news_and_a_missing_one_is_told():
    before = Published({"Power": "42.9 W, meets", "Gain": "29.0 dB, meets"})
    assert find_corrections(NOW, before) == (Correction("Gain", "29.0 dB, meets", ""),)


def test_a_correction_stays_when_the_corrected_figures_are_published():
    first = record_published({**NOW, "Power": "41.9 W, meets"}, None)
    second = record_published(NOW, first)
    assert find_corrections(NOW, second) == (Correction("Power", "41.9 W, meets", "42.9 W, meets"),)
    third = record_published({**NOW, "Power": "43.0 W, meets"}, second)
    assert find_corrections({**NOW, "Power": "43.0 W, meets"}, third)[0].was == "41.9 W, meets"
    # a figure that comes back to what was first published was right all along
    assert find_corrections({**NOW, "Power": "41.9 W, meets"}, third) == ()


def test_a_power_that_is_answered_otherwise_is_the_same_rating():
    """Held against its distortion this time, against its watts the last: viewers were told of one and the same."""
    missed = TableRow(
        *("Power", "0.05 % at 40 W", "40 W at 0.05 % THD", "0.080 % at 40 W", "falls short", "0.62 ×", ""),
        promised="40 W",
    )
    met = TableRow("Power", "40 W", "40 W at 0.05 % THD", "42.9 W at 1 kHz", "meets", "+7 %", "", promised="40 W")
    first, second = (collect_figures(SpecTable((row,), ()), ()) for row in (missed, met))
    assert find_corrections(second, record_published(first, None)) == (
        Correction("Power, rated 40 W", "0.080 % at 40 W, falls short", "42.9 W at 1 kHz, meets"),
    )


_FIGURES = st.dictionaries(st.sampled_from("abcd"), st.sampled_from(["1 W", "2 W", "3 W"]))


@given(st.lists(_FIGURES, min_size=1, max_size=5))
def test_whatever_is_published_when_the_latest_is_held_against_the_first_that_viewers_heard(history):
    before, first = None, {}
    for now in history:
        for what, figure in now.items():
            first.setdefault(what, figure)
        before = record_published(now, before)
    told_again = {c.what: (c.was, c.now) for c in find_corrections(history[-1], before)}
    expected = {w: (f, history[-1].get(w, "")) for w, f in first.items() if history[-1].get(w) != f}
    assert told_again == expected


def test_rows_and_findings_are_told_once_each():
    row = TableRow("Power into 8 Ω", "40 W", "40 W into 8 Ω", "42.9 W", "meets", "+7 %", "")
    thd = found("thd", 0.0214, "L", power=5.0, load=8.0, measurement="tone")
    said = collect_figures(SpecTable((row, row), ()), [thd, thd])
    assert len(said) == 4
    assert said["Power into 8 Ω, rated 40 W"] == "42.9 W, meets"
    assert next(figure for what, figure in said.items() if what.startswith("tone: THD, L, 5 W into 8 Ω")) == "0.021 %"


def test_viewers_are_told_of_what_they_saw_in_words_of_theirs():
    found_again = [
        Correction("THD at 62 W, rated 0.03 %", "0.027 %, meets", "0.028 %, meets"),
        Correction("thd-62W: distortion, R, 1 kHz, 62 W into 8 Ω", "0.010 %", "0.0098 %"),
        Correction("thd-62W: worst distortion, L>R, 20 kHz", "0.027 %", "0.028 %"),
        Correction("thd-62W: harmonic 7, R", "−90.1 dB", "0.98 %"),
        Correction("thd-62W: gain", "29 dB", ""),
        Correction("Gain, rated 29 dB", "29 dB, meets", ""),
    ]
    cards = {"thd-62W": ("THD over frequency", "1 kHz: 0.0098 % R. Worst, 20 kHz: 0.028 % R. 10.98 %")}
    assert [(c.what, c.was) for c in select_for_viewers(found_again, cards)] == [
        ("THD at 62 W, rated 0.03 %", "0.027 %, meets"),
        ("THD over frequency: distortion, right, 1 kHz, 62 W into 8 Ω", "0.010 %"),
        ("THD over frequency: worst distortion, left into right, 20 kHz", "0.027 %"),
        ("Gain, rated 29 dB", "29 dB, meets"),
    ]


def test_a_figure_on_a_card_that_changed_is_corrected_under_the_cards_title(receiver, say):
    assert say("build", receiver, "--published").status == 0
    record = json.loads((receiver / "published.json").read_text(encoding="utf-8"))
    bench = [what for what in record["said"] if what.startswith("fm-separation: ")]
    record["said"] |= dict.fromkeys(bench, "99 dB")
    (receiver / "published.json").write_text(json.dumps(record), encoding="utf-8")
    assert say("build", receiver).status == 0
    (line,) = (line for line in comment(receiver).splitlines() if line.startswith("Corrected since this was"))
    assert 0 < line.count("it said 99 dB") < len(bench)  # not every figure of it stands on its card
    assert "On FM, less separation than rated: separation, left into right, 1 kHz" in line


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '{"said": 1}', '{"said": {"a": 1}, "corrected": {}}', "[" * 9999])
def test_a_file_that_is_not_ours_is_refused_with_a_remedy(text):
    with pytest.raises(InputError, match=r"published\.json: this is not what reviewkit wrote there; bring back"):
        parse_published(text)


def test_what_was_written_is_read_again():
    assert parse_published('{"said": {"a": "1 W"}, "corrected": {"a": "2 W"}}') == Published({"a": "1 W"}, {"a": "2 W"})


# ------------------------------------------------------------------ by the real command


@pytest.fixture
def receiver(tmp_path):
    return receiver_session.write(tmp_path / "receiver")


def comment(folder):
    return (folder / "out/comment.txt").read_text(encoding="utf-8")


def test_a_figure_that_changed_since_it_was_published_is_corrected_in_the_comment(receiver, say):
    inputs = {path for path in receiver.rglob("*") if path.is_file()}
    assert say("build", receiver).status == 0
    assert not (receiver / "published.json").exists()
    assert say("build", receiver, "--published").status == 0
    kept = {path for path in receiver.rglob("*") if path.is_file() and "out" not in path.parts}
    assert kept == inputs | {receiver / "published.json"}
    assert "Corrected" not in comment(receiver)

    text = (receiver / "session.toml").read_text(encoding="utf-8")
    (receiver / "session.toml").write_text(text.replace('at_least = "45 dB"', 'at_least = "40 dB"'), encoding="utf-8")
    record = (receiver / "published.json").read_bytes()
    assert say("build", receiver).status == 0
    assert (receiver / "published.json").read_bytes() == record  # a build that is not published leaves it alone
    said = comment(receiver)
    assert "Corrected since this was first published" in said
    assert "no longer given; it said 40.9 dB, falls short" in said


def test_published_is_of_a_whole_build(receiver, say):
    done = say("build", receiver, "--published", "--only", "power")
    assert (done.status, done.out) == (2, "")
    assert "leave out --only" in done.err
    assert not (receiver / "out").exists()


def test_a_damaged_record_stops_the_build_and_is_left_as_it_is(receiver, say):
    (receiver / "published.json").write_text("{", encoding="utf-8")
    done = say("build", receiver)
    assert done.status == 2
    assert "published.json: this is not what reviewkit wrote there" in done.err
    assert (receiver / "published.json").read_text(encoding="utf-8") == "{"


def test_the_comment_names_the_miss_and_not_the_whole_table(receiver, say):
    assert say("build", receiver).status == 0
    lines = comment(receiver).splitlines()
    assert lines[0].startswith("This 1984 Quellmark R-84 falls short on separation: 40.9 dB, rated 45 dB. ")
    assert lines[1] == "Missed: Separation, 1 kHz, FM: rated 45 dB, measured 40.9 dB (−4.1 dB)"
    assert 3 <= len(lines) <= 5
    assert "not measured" not in comment(receiver)
