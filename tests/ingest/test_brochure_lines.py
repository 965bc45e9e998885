"""Lines as brochures word them: each is read as the tables one would write by hand, or asked about."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from brochure_lines import LINES, Asked, Read
from session_texts import UNIT

from reviewkit.ingest.session.rating_line import read_line
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.errors import InputError
from reviewkit.model.session import Rating, Session
from reviewkit.model.units import read_quantity

READ = {line: wanted for line, wanted in LINES.items() if isinstance(wanted, Read)}
ASKED = {line: wanted for line, wanted in LINES.items() if isinstance(wanted, Asked)}
NAMED = {line: line.partition(":") for line in READ if ":" in line}
POWER = '[[rated]]\nquantity = "power"\nat_least = "40 W"\nload = "8 ohm"\n'


def session(toml: str = "", brochure: str = "") -> Session:
    return parse_session(UNIT + toml, Path(), kinds={}, brochure=brochure)


def faults(toml: str = "", brochure: str = "") -> list[str]:
    with pytest.raises(InputError) as caught:
        session(toml, brochure)
    return [str(fault) for fault in caught.value.faults]


def only(line: str) -> Rating:
    (rating,) = session(brochure=line).ratings
    return rating


def printed(found: Session) -> tuple[tuple[str, str], ...]:
    return tuple((figure.name, figure.text) for figure in found.printed)


def test_there_are_sixty():
    assert len(LINES) == 60


@pytest.mark.parametrize(("line", "wanted"), READ.items(), ids=range(len(READ)))
def test_a_line_is_read_as_the_tables_written_by_hand(line, wanted):
    found = session(brochure=line + "\n")
    assert found.ratings == session(wanted.tables).ratings
    assert printed(found) == wanted.unmeasured


@pytest.mark.parametrize(("line", "wanted"), ASKED.items(), ids=range(len(ASKED)))
def test_a_line_with_two_readings_is_asked_about(line, wanted):
    (fault,) = faults(brochure=f"# copied\n{line}\n")
    assert fault.startswith("ratings.txt:2: ")
    assert [word for word in wanted.words if word not in fault] == []


@pytest.mark.parametrize("line", NAMED, ids=range(len(NAMED)))
def test_a_line_of_the_table_rated_is_read_alike(line):
    name, _, text = NAMED[line]
    found, copied = session(f"[rated]\n{json.dumps(name)} = {json.dumps(text)}\n"), session(brochure=line)
    assert (found.ratings, printed(found)) == (copied.ratings, printed(copied))


# ------------------------------------------------------------------ the two places


def test_a_key_may_have_several_lines_and_the_source_is_written_once():
    found = session(
        '[rated]\nsource = "manual, page 14"\ndamping_factor = 60\npower_bandwidth = "20 Hz to 60 kHz"\n'
        'power = ["40 W per channel into 8 ohms", "60 W per channel into 4 ohms"]\n'
        'not_measured = ["Klirrfaktor: 0,05 %"]\n'
    )
    assert [(r.quantity, r.at_least, r.order) for r in found.ratings] == [
        ("damping_factor", 60.0, 1),
        ("power", 40.0, 2),
        ("power", 60.0, 3),
    ]
    assert {rating.source for rating in found.ratings} == {"manual, page 14"}
    assert printed(found) == (("power bandwidth", "20 Hz to 60 kHz"), ("Klirrfaktor", "0,05 %"))
    assert {figure.source for figure in found.printed} == {"manual, page 14"}


def test_a_source_is_that_of_the_lines_below_it():
    lines = "DC offset: 20 mV\nSource: manual\nGain: 40 dB\n\nsource: leaflet\nWeight: 11 kg\nRise time: 2 µs\n"
    found = session(brochure=lines)
    assert [rating.source for rating in found.ratings] == ["", "manual", "leaflet"]
    assert found.printed[0].source == "leaflet"


@pytest.mark.parametrize("own", [POWER, '[rated]\npower = "40 W per channel into 8 ohms"\n'], ids=["tables", "lines"])
def test_ratings_txt_joins_either_form(own):
    found = session(own, "Damping factor: 60\nMusic power per channel: 60 W\n")
    assert [(r.quantity, r.rule, r.order) for r in found.ratings] == [
        ("power", "", 1),
        ("damping_factor", "", 2),
        ("power", "music", 3),
    ]


def test_a_reference_to_the_rated_output_knows_it_from_another_line():
    found = session(brochure="S/N: 90 dB below rated output\nPower: 40 W per channel\n")
    assert found.ratings[0].reference_w == 40.0


@pytest.mark.parametrize(
    ("toml", "brochure", "where"),
    [
        (POWER, "Power: 40 W per channel into 8 ohms\n", "ratings.txt:1"),
        (POWER, "\nPower: 42 W per channel into 8 ohms\n", "ratings.txt:2"),
        (POWER, "source: leaflet\nPower: 40 W per channel into 8 ohms\n", "ratings.txt:2"),
        ("", "DC offset: 20 mV\nDC offset: 20 mV\n", "ratings.txt:2"),
        ('[rated]\nsnr = "90 dB"\n"S/N" = "90 dB"\n', "", "session.toml:6"),
    ],
)
def test_a_rating_in_two_places_is_a_fault(toml, brochure, where):
    (fault,) = faults(toml, brochure)
    assert fault.startswith(f"{where}: ")
    assert "; keep one of them" in fault


def test_two_documents_may_print_two_figures():
    own = POWER + 'source = "manual"\n'
    assert len(session(own, "source: leaflet\nPower: 45 W per channel into 8 ohms\n").ratings) == 2


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("[rated]\nquantity = 'power'\nat_least = '40 W'\n", "session.toml:4: [rated] may appear many times"),
        ("[rated]\nsource = 5\n", "session.toml:5: [rated] source is not one line of text"),
        ("[rated]\npower = true\n", "session.toml:5: [rated] power: true is not text"),
        ("[rated]\npower = [\n 5,\n {}]\n", "session.toml:7: [rated] power: {} is not text"),
        ("[rated]\npower = ['40 W each', '60 W']\n", "session.toml:5: [rated] power: 60 W may be for each channel"),
        ("[rated]\ndampng = 60\n", "session.toml:5: [rated] dampng: this rating is not known; "),
        ("[rated]\nsnr = '90 dB\\u0007'\n", "session.toml:5: [rated] snr: "),
        ("[rated]\nhum = '-2000000000000 dB'\n", 'session.toml:5: [rated] hum: read as quantity = "hum", at_most = '),
    ],
)
def test_a_table_rated_that_is_not_understood(toml, said):
    assert any(fault.startswith(said) for fault in faults(toml))


# ------------------------------------------------------------------ how lines are read


@pytest.mark.parametrize(
    ("written", "band_hz"),
    [
        ("20 - 20,000 Hz", (20.0, 20_000.0)),  # it rises only with a mark between thousands
        ("20 to 20.000 Hz", (20.0, 20_000.0)),
        ("20–20 000 Hz", (20.0, 20_000.0)),
        ("5 Hz to 1,000,000 Hz", (5.0, 1e6)),
        ("20.5 - 35,000 Hz", (20.5, 35_000.0)),  # the other mark is the decimal one
        ("20,5 - 35.000 Hz", (20.5, 35_000.0)),
        ("20,5 Hz - 35,250 kHz", (20.5, 35_250.0)),
        ("15 to 50 Hz", (15.0, 50.0)),
        ("20 kHz - 20 Hz", (20.0, 20_000.0)),
    ],
)
def test_marks_in_numbers(written, band_hz):
    assert only(f"Response: {written}, ± 1 dB").band_hz == band_hz


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Response: 10 - 35,000 Hz ±1 dB", '"35,000" is 35000 or 35; write the one that is meant, such as 35 kHz'),
        ("Response: 10 - 35.000 Hz ±1 dB", '"35.000" is 35000 or 35'),
        ("THD: 0,05 % at 2.5 W", "has decimal commas and decimal points"),
        ("Response: 10 - 35 kHz ±1 dB", 'the lower end of "10 - 35 kHz" has no unit; write it, such as 10 Hz'),
        ("S/N: phono 86 dB, flutter 97 dB", '"flutter" is not understood'),
        ("S/N: phono 86 dB, flutter 97 dB", "(read as snr | phono | 86 dB | ?flutter? | 97 dB)"),
        ("S/N: phono 60 dB, aux 70 dB, 1 kHz", '"1 kHz" may be for one figure or for all; write it before the first'),
        ("S/N: weighted 60 dB", 'no weighting is named; write "A-weighted" or "unweighted"'),
        ("S/N: 60 dB re 2 V", '2 V may be at the input or the output; write "2 V input" or "2 V output"'),
        ("Tuner S/N: 60 dB", 'may be for the radio or for its input; begin with "FM"'),
        ("S/N (IHF): 60 dB", "IHF has more than one method"),
        ("Power (IHF): 60 W per channel", "an IHF power may be continuous or music power"),
        ("Music power: 60 W per channel continuous", "the power is music and continuous"),
        ("Power: 60 W per channel total", "60 W may be for each channel or for both"),
        ("S/N: 40 dB + 60 dB", "40 dB and 60 dB have the same conditions"),
        ("Damping factor: less than 60", '"at most" does not go with damping factor 60'),
        ("Damping factor:", "there is no figure; write it after the name"),
        ("Damping factor: high, 8 ohms", '"high" is not understood'),
        ("Damping factor at 8 ohms", "there is no figure; write it after the name"),
        ("THD: 0.1 % into 8 ohms, into 4 ohms", "load is printed twice for 0.1 %"),
        ("FM SECTION", "has no figure; if it is a heading, leave it out"),
        ("Sensitivity: 1.9 µV", '1.9 µV is printed without its input; write it, such as "aux", or "FM"'),
        ("not measured: 5 kg", 'has no name before its figures; write for example "not measured: Slew rate: 40 V/µs"'),
        (f"Finish: {'very ' * 30}black, 2 coats", "is too long for a card"),
        (f"S/N: {'90 dB ' * 80}", "has 484 characters; write at most 400"),
        ("Power: 35 W per channel into 4, 8 or 16 ohms", '"4" may be another load; give each load its own line'),
        ("Dampng factor: 60", 'did you mean "damping factor"?'),
    ],
)
def test_what_is_not_understood_says_how_it_was_read(line, said):
    (fault,) = faults(brochure=line)
    assert said in fault


@pytest.mark.parametrize(
    ("line", "keys"),
    [
        ("Phono S/N: 80 dB (IHF-A, 5 mV)", {"input": "phono", "weighting": "A", "reference": "5 mV", "at_least": 80.0}),
        ("S/N (IHF A-weighted): 90 dB", {"weighting": "A"}),
        ("S/N, un-weighted: 90 dB", {"weighting": ""}),
        ("Residual hum & noise: 1 mV", {"quantity": "noise", "at_most": 0.001}),
        ("S/N: 90 dB (aux)", {"input": "aux"}),
        ("S/N: 90 dB(A), 0.5 V input", {"weighting": "A", "reference_v": 0.5}),
        ("S/N: 90 dB below 40 watts, C-weighted", {"reference_w": 40.0, "weighting": "C"}),
        ("THD: 0.1 % or less at 1 kHz", {"at_most": 0.1, "frequency_hz": 1000.0}),
        ("Power: 40 W/ch min. RMS at 8 ohms", {"at_least": 40.0, "rule": "continuous", "total": False}),
        ("Power: 40W x 2 (1 kHz, 0.1 % THD + noise)", {"at_least": 40.0, "thd_plus_noise_percent": 0.1}),
        ("Hum: 0.5 mV", {"quantity": "hum_voltage", "at_most": 0.0005}),
        ("S/N: 60 dB a channel", {"weighting": ""}),
        ("Channel balance: within 1 dB", {"at_most": 1.0}),
        ("Response: 7 Hz to 80 kHz within 1 dB", {"within": (-1.0, 1.0)}),
        ("Output impedance: less than 0.2 ohm", {"at_most": 0.2, "nominal": None}),
        ("Damping factor: typically 60 typ.", {"at_least": 60.0, "typical": True}),
        ("Crosstalk: −45 dB at 10 kHz", {"at_most": -45.0, "frequency_hz": 10_000.0}),
        ("Rise time: 2 microseconds", {"at_most": 2e-6}),
    ],
)
def test_wordings(line, keys):
    rating = only(line)
    assert {key: getattr(rating, key) for key in keys} == keys


@pytest.mark.parametrize(
    ("listed", "hertz"),
    [
        ("31.5, 63, 125 Hz, 1, 2 and 16 kHz", [31.5, 63.0, 125.0, 1000.0, 2000.0, 16_000.0]),
        ("60/250/1000 Hz", [60.0, 250.0, 1000.0]),
        ("60 Hz, 1 kHz", [60.0, 1000.0]),
    ],
)
def test_a_list_of_frequencies_has_its_unit_at_its_end(listed, hertz):
    tables = read_line(f"Centre frequencies: {listed}").tables
    assert [read_quantity(table["nominal"], "Hz") for table in tables] == hertz


@pytest.mark.parametrize("words", ["W.PEAK", "W. Peak", "w. peak", "weighted peak"])
def test_a_peak_is_abbreviated(words):
    assert only(f"Wow and flutter: 0.05 % ({words})").weighting == "weighted peak"
