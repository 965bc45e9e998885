"""findings.json, key by key, and the table that a spreadsheet opens."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit import __version__
from reviewkit.model.change import Change
from reviewkit.model.episode import Episode
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Bench, Measurement, Rating, Session, Unit
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.tables import defuse_formula, format_findings_json, format_spec_csv
from reviewkit.verdict.spec_table import SpecTable, TableRow

AT = {"frequency": 1000.02, "power": 5.01, "load": 8.0, "harmonics": 9, "band": (20, 20_000)}
THD = Finding("thd", "L", 0.021_300_000_000_000_001, "%", AT, "tone-5w", "tone", "after", "measurements/tone-5w.csv")
RATING = Rating(
    "power",
    "W",
    at_least=40.0,
    load_ohm=8.0,
    thd_percent=0.05,
    band_hz=(20.0, 20_000.0),
    channels="both",
    source="manual, page 14",
    order=14,
)
RATED = "40 W into 8 Ω at 0.05 % THD, 20 Hz – 20 kHz, both channels"
VERDICT = Verdict(
    RATING,
    "Power into 8 Ω",
    RATED,
    "40 W",
    "43.1 W",
    "meets",
    margin="+8 %",
    measurements=("power-sweep", "distortion-40w"),
)
PRICE = PriceLine(329.0, "USD", 1977, 2024, 5.176386138613862, 1703.0310396039604, "$329", "$1,700", "$329 in 1977 …")
REPAIR = RepairRow("R14", 1000.0, "1000 Ω", 1480.5, "1480.5 Ω", "Ω", 50.0, "5 %", "replaced", "", 3)


def episode(findings=(THD,), **keys):
    session = Session(
        Path("s"),
        keys.pop("unit", Unit("Norrvale", "Forty", "integrated amplifier", 1977)),
        ratings=keys.pop("ratings", ()),
    )
    run = Run(Conditions(Measurement("tone-5w", "tone"), Bench()), tuple(findings))
    return Episode(session, (run,), keys.pop("verdicts", ()), (), (), (), (), False, **keys)


def data(*args, **keys):
    return json.loads(format_findings_json(episode(*args, **keys)))


def no_null(value):
    if isinstance(value, dict):
        return all(no_null(v) for v in value.values())
    if isinstance(value, list):
        return all(no_null(v) for v in value)
    return value is not None


def test_the_shape_of_the_whole():
    full = data(
        verdicts=(VERDICT,),
        ratings=(RATING,),
        repair=(REPAIR,),
        changes=(Change(replace(THD, value=1.4), THD),),
        price=PRICE,
    )
    assert list(full) == ["reviewkit", "unit", "findings", "verdicts", "ratings", "repair", "changes", "price"]
    assert full["reviewkit"] == __version__
    assert full["unit"] == {"maker": "Norrvale", "model": "Forty", "what": "integrated amplifier", "year": 1977}
    assert no_null(full)


def test_a_finding():
    assert data()["findings"] == [
        {
            "quantity": "thd",
            "channel": "L",
            "value": 0.021_300_000_000_000_001,
            "unit": "%",
            "at": {"frequency": 1000.02, "power": 5.01, "load": 8.0, "harmonics": 9, "band": [20, 20_000]},
            "measurement": "tone-5w",
            "kind": "tone",
            "stage": "after",
            "source": "measurements/tone-5w.csv",
        }
    ]


def test_uncertainty_and_bound_are_there_only_where_they_are_known():
    plain, known = data([THD, replace(THD, uncertainty=0.001, bound="at most")])["findings"]
    assert "uncertainty" not in plain
    assert "bound" not in plain
    assert known["uncertainty"] == 0.001
    assert known["bound"] == "at most"


def test_numbers_are_never_rounded():
    values = [math.pi * 10.0**e for e in range(-9, 6)]
    written = data([replace(THD, value=v) for v in values])["findings"]
    assert [f["value"] for f in written] == values


def test_a_figure_that_is_no_number_is_a_fault_of_ours():
    with pytest.raises(ValueError):
        format_findings_json(episode([replace(THD, value=math.nan)]))


def test_a_verdict():
    assert data(verdicts=(VERDICT,))["verdicts"] == [
        {
            "quantity": "power",
            "rated": RATED,
            "measured": "43.1 W",
            "verdict": "meets",
            "margin": "+8 %",
            "why": "",
            "measurements": ["power-sweep", "distortion-40w"],
        }
    ]
    assert data(verdicts=(replace(VERDICT, assumed="aux input"),))["verdicts"][0]["assumed"] == "aux input"


def test_a_rating_says_what_the_maker_said_and_no_more():
    assert data(ratings=(RATING, Rating("flatness", "dB", within=(-1.0, 0.0), total=False)))["ratings"] == [
        {
            "quantity": "power",
            "unit": "W",
            "at_least": 40.0,
            "load": 8.0,
            "channels": "both",
            "band": [20.0, 20_000.0],
            "thd": 0.05,
            "source": "manual, page 14",
        },
        {"quantity": "flatness", "unit": "dB", "within": [-1.0, 0.0]},
    ]
    (zero,) = data(ratings=(Rating("gain", "dB", at_least=0.0),))["ratings"]
    assert zero["at_least"] == 0.0


def test_price_then_and_now():
    assert data(price=PRICE)["price"] == {
        "paid": 329.0,
        "currency": "USD",
        "from": "1977",
        "to": "2024",
        "factor": 5.176386138613862,
        "now": 1703.0310396039604,
        "line": "$329 in 1977 …",
    }
    assert "price" not in data()


def test_repair_and_changes():
    full = data(
        repair=(REPAIR, replace(REPAIR, found=None, found_text="open", note="burnt")),
        changes=(Change(replace(THD, value=1.4), THD),),
    )
    first, second = full["repair"]
    assert first == {
        "point": "R14",
        "expected": 1000.0,
        "found": 1480.5,
        "unit": "Ω",
        "tolerance": 50.0,
        "action": "replaced",
        "verdict": "out of tolerance",
    }
    assert (second["found"], second["verdict"], second["note"]) == ("open", "open", "burnt")
    assert full["changes"] == [
        {
            "quantity": "thd",
            "channel": "L",
            "unit": "%",
            "before": 1.4,
            "after": THD.value,
            "measurements": ["tone-5w", "tone-5w"],
        }
    ]


def test_little_known_is_little_said():
    bare = data([], unit=Unit("Norrvale", "Forty"))
    assert bare["unit"] == {"maker": "Norrvale", "model": "Forty"}
    assert bare["findings"] == bare["verdicts"] == bare["ratings"] == bare["repair"] == bare["changes"] == []
    assert data(left_out=("tone: no hum",))["left_out"] == ["tone: no hum"]


def test_the_file_is_plain_text_with_a_last_line_end():
    text = format_findings_json(episode(verdicts=(VERDICT,)))
    assert text.endswith("}\n")
    assert "Ω" in text


# ------------------------------------------------------------------ the spreadsheet's table


# what spreadsheets take for the start of a formula: the OWASP list for CSV injection, with its full-width forms
# (from memory)
DANGEROUS = ["=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20"]


@pytest.mark.parametrize("sign", DANGEROUS)
def test_no_cell_is_a_formula(sign):
    for cell in (f'{sign}HYPERLINK("http://example.org")', f" {sign}1", f"   {sign}1"):
        assert defuse_formula(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["", "43.1 W", "−8 %", "±0.28 dB", "1 = 1", "a-b", "'=1", "≤ 0.0010 %"])
def test_other_cells_stand_as_they_are(cell):
    assert defuse_formula(cell) == cell


def test_the_table_is_read_back_by_any_reader_of_csv():
    row = TableRow('Power, "music"', "40 W", "40 W, both", "43.1 W", "meets", "+8 %", "two\nlines", 0.1)
    danger = TableRow("=1+1", "x", "@x", "-1", "+2", "\t3", "\uff1d4")
    text = format_spec_csv(SpecTable((row, danger), ("a foot",)))
    assert text.count("\r\n") == 3
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert rows == [
        ["what", "rated", "measured", "verdict", "margin", "note"],
        ['Power, "music"', "40 W, both", "43.1 W", "meets", "'+8 %", "two\nlines"],
        ["'=1+1", "'@x", "'-1", "'+2", "'\t3", "'\uff1d4"],
    ]
