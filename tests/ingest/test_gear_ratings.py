"""Ratings of all the gear on a bench: each line is read as the tables written by hand, and each is judged."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from gear_ratings import GEAR, Line
from session_texts import UNIT

from reviewkit.ingest.reading_conditions import conditions_of
from reviewkit.ingest.reading_file import parse_readings
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.session import Bench, Measurement, Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict import MEETS, NO_VERDICT, SHORT, judge

LINES = [line for lines in GEAR.values() for line in lines]
JUDGED = [line for line in LINES if line.tables]
LIMITED = [line for line in JUDGED if line.outside]
NOT = [line for line in LINES if not line.tables]
HEADER = "name,channel,value,unit,at,note\n"
# of them, those that have two readings, so that they aren't printed either
ASKED = (
    "Frequency response at 0 dB: 30 Hz to 8 kHz ±3 dB, metal tape",
    "Total harmonic distortion: 0.003 % (1 kHz, 0 dB)",
)
# what only a kind of measurement gives, written like readings in the list
OF_KINDS = ("crosstalk", "flatness", "deviation_low", "worst_distortion", "riaa_deviation")


def session(toml: str = "", brochure: str = "") -> Session:
    return parse_session(UNIT + toml, Path(), kinds=(), brochure=brochure)


def findings_of(row: str) -> tuple[Finding, ...]:
    """The finding of a row; of the lower side of a response, with the upper one beside it."""
    (cells,) = csv.reader([row])
    name = cells[0].replace(" ", "_")
    conditions = Conditions(Measurement("readings", "reading", file="measurements/readings.csv"), Bench())
    if name not in OF_KINDS:
        sheet = parse_readings(f"{HEADER}{row},\n", "measurements/readings.csv")
        return KINDS["reading"].findings(sheet, conditions).findings
    at = conditions_of(cells[4], str, pytest.fail)
    at |= {"figure": "THD"} if name == "worst_distortion" else {}
    found = Finding(
        name, cells[1], float(cells[2]), QUANTITIES[name].unit, at, "readings", "response", "", "measurements/m.csv"
    )
    high = Finding("deviation_high", cells[1], 0.0, "dB", at, "readings", "response", "", "measurements/m.csv")
    return (found, high) if name == "deviation_low" else (found,)


def verdicts(line: Line, rows: tuple[str, ...]) -> tuple[Verdict, ...]:
    """The verdict on each table of a line, from all its rows together."""
    measurement = Measurement("readings", "reading", file="measurements/readings.csv")
    run = Run(Conditions(measurement, Bench()), tuple(f for row in rows for f in findings_of(row)))
    return judge(session("".join(line.tables)), [run])


def test_the_list_is_whole():
    assert len(LINES) >= 130
    assert len(GEAR) == 8
    assert all(line.why for line in NOT)


def test_a_hundred_and_fifteen_or_more_can_be_judged():
    assert len(JUDGED) >= 115


def test_a_line_is_read_as_the_tables_written_by_hand():
    for line in JUDGED:
        found, written = session(brochure=line.text + "\n"), session("".join(line.tables))
        assert [(r.quantity, r.unit) for r in found.ratings] == [(r.quantity, r.unit) for r in written.ratings], (
            line.text
        )
        assert found.ratings == written.ratings, line.text


def test_what_is_inside_meets_it():
    for line in JUDGED:
        for verdict in verdicts(line, line.inside):
            nominal = verdict.rating.nominal is not None and verdict.rating.tolerance is None
            assert (verdict.verdict, verdict.why) == (NO_VERDICT if nominal else MEETS, ""), line.text
            assert verdict.measured, line.text


def test_what_is_outside_misses_it():
    for line in LIMITED:
        assert [verdict.verdict for verdict in verdicts(line, line.outside)] == [SHORT] * len(line.tables), line.text


@pytest.mark.parametrize("line", NOT, ids=lambda line: line.text)
def test_what_cannot_be_judged_is_printed_or_asked_about(line):
    if line.text in ASKED:
        with pytest.raises(InputError, match=r"write|leave it out"):
            session(brochure=line.text + "\n")
        return
    found = session(brochure=line.text + "\n")
    assert (found.ratings, len(found.printed)) == ((), 1)
