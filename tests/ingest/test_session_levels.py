"""Levels that are neither watts nor volts, nominal values and their tolerances, as session.toml has them."""

import pytest
from session_texts import KINDS, UNIT, faults_of

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.level import Level

MEASUREMENT = '[[measurement]]\nfile = "measurements/tone.csv"\nkind = "tone"\n'
RATED = '[[rated]]\nquantity = "thd plus noise"\nat_most = "0.01 %"\n'
SENSITIVITY = '[[rated]]\nquantity = "input sensitivity"\n'


@pytest.mark.parametrize(
    ("drive", "level"),
    [
        ("-60 dBFS", Level(-60.0, "dBFS")),
        ("0 dBFS", Level(0.0, "dBFS")),
        ("-20 dB re 250 nWb/m", Level(-20.0, "dB", reference="250 nWb/m")),
    ],
)
def test_a_level_in_decibels(folder, drive, level):
    one = parse_session(f'{UNIT}{MEASUREMENT}drive = "{drive}"\nload = "8 ohm"\n', folder, kinds=KINDS).measurements[0]
    assert (one.level, one.drive_w, one.drive_v) == (level, None, None)
    (rating,) = parse_session(f'{UNIT}{RATED}level = "{drive}"\n', folder, kinds=KINDS).ratings
    assert (rating.level, rating.power_w) == (level, None)


def test_a_level_in_watts_is_a_power(folder):
    (rating,) = parse_session(f'{UNIT}{RATED}level = "40 W"\n', folder, kinds=KINDS).ratings
    assert (rating.level, rating.power_w) == (None, 40.0)
    (rating,) = parse_session(f'{UNIT}{RATED}level = "2 V"\n', folder, kinds=KINDS).ratings
    assert (rating.level, rating.power_w) == (Level(2.0, "V"), None)


# 150 mV less and more 10 %; 10^(±1/20) = 0.8913, 1.1220
@pytest.mark.parametrize(
    ("tolerance", "low", "high"), [("10 %", 0.135, 0.165), ("±10 %", 0.135, 0.165), ("1 dB", 0.133688, 0.168303)]
)
def test_a_nominal_value_and_its_tolerance(folder, tolerance, low, high):
    text = f'{UNIT}{SENSITIVITY}nominal = "150 mV"\ntolerance = "{tolerance}"\n'
    (rating,) = parse_session(text, folder, kinds=KINDS).ratings
    assert rating.nominal == pytest.approx(0.15)
    assert rating.tolerance == pytest.approx((low, high), rel=1e-5)


def test_a_nominal_gain_and_what_a_rating_may_name_besides(folder):
    text = (
        f'{UNIT}[[rated]]\nquantity = "gain"\nnominal = "29 dB"\ntolerance = "1 dB"\ntypical = true\n'
        'termination = "1 kohm"\nvolume = "full"\n'
    )
    (rating,) = parse_session(text, folder, kinds=KINDS).ratings
    assert (rating.nominal, rating.tolerance) == (29.0, (28.0, 30.0))
    assert (rating.typical, rating.termination, rating.volume) == (True, "1 kohm", "full")
    one = parse_session(f'{UNIT}{MEASUREMENT}termination = "shorted"\nvolume = "half"\n', folder, kinds=KINDS)
    assert (one.measurements[0].termination, one.measurements[0].volume) == ("shorted", "half")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (MEASUREMENT + 'drive = "3 dBFS"', "is above full scale"),
        (MEASUREMENT + 'drive = "-20 dB"', 'is relative to nothing; write for example "-20 dB re 250 nWb/m"'),
        (MEASUREMENT + 'drive = "5 W re 1 W"', "is neither a power nor a voltage"),
        (RATED + 'level = "2 V"\npower = "40 W"', "has a power and a level; write the one that the maker names"),
        (SENSITIVITY + 'at_most = "150 mV"\ntolerance = "10 %"', "tolerance goes with a nominal value only"),
        (SENSITIVITY + 'nominal = "150 mV"\ntolerance = "10"', 'write for example "10 %" or "1 dB"'),
        (SENSITIVITY + 'nominal = "150 mV"\ntolerance = "100 %"', "allows everything"),
        (SENSITIVITY + 'nominal = "150 mV"\ntolerance = "-10 %"', "is not a tolerance"),
        ('[[rated]]\nquantity = "gain"\nnominal = "29 dB"\ntolerance = "5 %"', 'write for example "1 dB"'),
        (
            '[[rated]]\nquantity = "snr"\nat_least = "90 dB"\nreference = "-3 dB"',
            "is not what a ratio can be relative to",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused(folder, text, message):
    (fault,) = faults_of(f"{UNIT}{text}\n", folder)
    assert message in fault
