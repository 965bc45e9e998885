"""Ratings under a maker's own name: each condition both ways, signs, units, and what is nearly a known name.

The one-way logic is this project's own rule; dBf is the power relative to 1 fW (IHF-T-200, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rated_and_found import found, runs_of, session, verdict_of
from test_comparison import REFERENCES, WAYS

from reviewkit.ingest.known_names import misspelled
from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding
from reviewkit.model.level import Level
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Rating
from reviewkit.verdict.compared_condition import APART, EASIER, HARDER, SAME
from reviewkit.verdict.comparison import Mains, compare
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, NO_VERDICT, SHORT, UNMEASURED, judge

NAME = "linearity_error"
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
AUDIO = (20.0, 20_000.0)


def own(called: str = "linearity error", unit: str = "%", **keys: Any) -> Rating:
    return Rating(called.lower().replace(" ", "_"), unit, called=called, **{"at_most": 0.1, **keys})


def read(value: float, name: str = NAME, unit: str = "%", channel: str = "", **at: Any) -> Finding:
    return replace(found(name, value, channel, **at), unit=unit, called=name.replace("_", " "), kind="reading")


# condition -> how it relates -> what the rating says, and what the reading is under
OWN_WAYS: dict[str, dict[str, list[tuple[dict[str, Any], dict[str, Any]]]]] = {
    **{
        condition: {
            relation: [(says, under) for says, under, _ in ways]
            for relation, ways in WAYS[condition]("noise", "noise").items()
        }
        for condition in ("load", "input", "conditions", "termination", "volume", "channels", "weighting")
    },
    "band": {
        SAME: [({"band_hz": AUDIO}, {"band": AUDIO}), ({}, {"band": AUDIO})],
        HARDER: [({"band_hz": AUDIO}, {"band": (10.0, 40_000.0)})],
        EASIER: [({"band_hz": AUDIO}, {"band": (100.0, 10_000.0)})],
        APART: [({"band_hz": AUDIO}, {"band": (100.0, 40_000.0)}), ({"band_hz": AUDIO}, {})],
    },
    "frequency": {
        SAME: [({"frequency_hz": 98e6}, {"frequency": 98e6}), ({}, {"frequency": 3150.0})],
        APART: [({"frequency_hz": 98e6}, {"frequency": 90e6}), ({"frequency_hz": 315.0}, {})],
    },
    "level": {
        SAME: [({"level": Level(65.0, "dBf")}, {"dbf": 65.0}), ({}, {"dbf": 65.0}), ({"power_w": 1.0}, {"power": 1.0})],
        APART: [
            ({"level": Level(65.0, "dBf")}, {"dbf": 45.0}),
            ({"level": Level(65.0, "dBf")}, {"flux": 250.0}),
            ({"level": Level(250.0, "nWb/m")}, {}),
            ({"power_w": 1.0}, {"power": 2.0}),
        ],
    },
    "thd": {
        SAME: [({"thd_percent": 0.1}, {"limit": 0.1}), ({}, {"limit": 1.0})],
        APART: [({"thd_percent": 0.1}, {"limit": 1.0}), ({"thd_percent": 0.1}, {})],
    },
    "reference": {
        SAME: [
            *(
                ({"reference": "printed", "reference_level": level}, {"reference_level": same})
                for level, same, _ in REFERENCES
            ),
            ({}, {"reference_level": [250.0, "nWb/m", ""]}),
        ],
        APART: [
            ({"reference": "printed", "reference_level": level}, under)
            for level, _, other in REFERENCES
            for under in ({"reference_level": other}, {})
        ],
    },
}
WORDS = {
    SAME: (MEETS, SHORT),
    HARDER: (MEETS, INCOMPARABLE),
    EASIER: (INCOMPARABLE, SHORT),
    APART: (INCOMPARABLE, INCOMPARABLE),
}


def test_every_condition_of_an_own_name_has_its_ways():
    assert {*OWN_WAYS, "sign"} == set(rule_of(own()).conditions)


@pytest.mark.parametrize(
    ("condition", "relation"), [(condition, relation) for condition, ways in OWN_WAYS.items() for relation in ways]
)
def test_each_condition_both_ways(condition, relation):
    at = rule_of(own()).conditions.index(condition)
    for says, under in OWN_WAYS[condition][relation]:
        rating = own(**says)
        compared = compare(rating, read(0.05, **under), Mains())
        assert [s.relation for s in compared] == [
            relation if place == at else SAME for place in range(len(compared))
        ], (
            says,
            under,
        )
        words = (UNMEASURED, UNMEASURED) if relation == APART and "input" in under else WORDS[relation]
        for value, word in zip((0.05, 0.2), words, strict=True):
            assert verdict_of(rating, read(value, **under)).verdict == word, (says, under)


@pytest.mark.parametrize(
    ("keys", "value", "word"),
    [
        ({"at_most": 0.5}, -0.8, SHORT),  # a deviation counts by its size
        ({"at_most": 0.5}, -0.3, MEETS),
        ({"within": (-0.5, 0.5), "at_most": None}, -0.8, SHORT),
        ({"within": (-1.0, 0.5), "at_most": None}, -0.8, MEETS),
        ({"within": (-1.0, 0.5), "at_most": None}, 0.8, SHORT),
        ({"nominal": -48.0, "tolerance": (-50.4, -45.6), "at_most": None}, -46.5, MEETS),
        ({"nominal": -48.0, "tolerance": (-50.4, -45.6), "at_most": None}, -44.0, SHORT),
        ({"nominal": 33.0, "at_most": None}, 33.4, NO_VERDICT),
        ({"at_most": 0.5, "typical": True}, 0.8, INCOMPARABLE),
    ],
)
def test_limits(keys, value, word):
    assert verdict_of(own("pitch accuracy", **keys), read(value, "pitch_accuracy")).verdict == word


@pytest.mark.parametrize(("keys", "value"), [({"at_least": 70.0, "at_most": None}, -72.0), ({"at_most": -60.0}, 62.0)])
def test_a_ratio_written_the_other_way_round_is_not_compared(keys, value):
    verdict = verdict_of(own("selectivity", "dB", **keys), read(value, "selectivity", "dB"))
    assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "signs differ")


def test_a_level_below_zero_is_simply_a_low_one():
    # −3 dBf is less than 10.3 dBf
    verdict = verdict_of(own("usable sensitivity", "dBf", at_most=10.3), read(-3.0, "usable_sensitivity", "dBf"))
    assert verdict.verdict == MEETS
    assert verdict.margin == "+13.3 dB"


@pytest.mark.parametrize(("ohms", "microvolts", "dbf"), [(75.0, 1.379472, 14.043648), (300.0, 2.758945, 14.043648)])
def test_volts_at_a_known_impedance_are_dbf(ohms, microvolts, dbf):
    """Worked figures of the handbook's quieting case: 14.0436 dBf are 1.3795 µV at 75 Ω and 2.7589 µV at 300 Ω."""
    name = "usable_sensitivity"
    for limit, word in ((dbf + 0.001, MEETS), (dbf - 0.2, SHORT)):
        rating = own("usable sensitivity", "dBf", at_most=limit)
        assert verdict_of(rating, read(microvolts * 1e-6, name, "V", load=ohms)).verdict == word
    for limit, word in ((microvolts * 1.001e-6, MEETS), (microvolts * 0.9e-6, SHORT)):
        rating = own("usable sensitivity", "V", at_most=limit)
        assert verdict_of(rating, read(dbf, name, "dBf", load=ohms)).verdict == word


@pytest.mark.parametrize("weighting", ["r.m.s.", "WRMS", "weighted peak"])
def test_a_reading_of_flutter_or_jitter_that_does_not_say_how_it_was_read(weighting):
    verdict = verdict_of(own("jitter", "s", weighting=weighting), read(0.05, "jitter", "s"))
    assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "weighting not stated")
    assert (
        verdict_of(own("jitter", "s", weighting=weighting), read(0.05, "jitter", "s", weighting=weighting)).verdict
        == MEETS
    )


def test_another_unit_is_not_compared_and_the_row_says_so():
    verdict = verdict_of(own(), read(-60.0, unit="dB"))
    assert (verdict.verdict, verdict.remark) == (UNMEASURED, "read in dB, rated in %")
    # volts at an impedance that nobody wrote down may be any dBf
    in_volts = verdict_of(own("usable sensitivity", "dBf"), read(2e-6, "usable_sensitivity", "V"))
    assert in_volts.verdict == UNMEASURED


def test_a_reading_of_nearly_the_rated_name_is_pointed_out_and_not_used():
    rating = own("wow and flutter of the left motor")
    near = verdict_of(rating, read(0.05, "wow_and_flutter_of_left_motor"))
    assert near.verdict == UNMEASURED
    assert near.remark.startswith('a reading is called "wow and flutter of left motor"')
    assert verdict_of(rating, read(0.05, "rewind_time", "s")).remark == ""
    # it answers a rating of its own
    both = judge(session(rating, own("motor noise")), runs_of(read(0.05, "motor_noise")))
    assert both[0].remark == ""


def test_a_reading_answers_the_nearer_of_two_nominal_values():
    ratings = [own("speed", "rpm", nominal=speed, at_most=None) for speed in (100 / 3, 45.0)]
    slow, fast = judge(session(*ratings), runs_of(read(33.41, "speed", "rpm"), read(45.06, "speed", "rpm")))
    # 33.41 is 0.23 % over 33 1/3, 45.06 is 0.13 % over 45
    assert slow.measured.endswith("+0.2 %")
    assert fast.measured.endswith("+0.1 %")


def test_close_to_the_limit_is_too_close_to_call():
    assert verdict_of(own(), replace(read(0.098), uncertainty=0.005)).verdict == CLOSE


@pytest.mark.parametrize("name", ["B+ voltage", "rail voltage", "wow and flutter", "IF rejection", "MOL", "Qtc"])
def test_a_name_of_its_own_is_no_misspelling(name):
    assert misspelled(name) is None


@pytest.mark.parametrize(
    ("name", "meant"),
    [("wow and fluter", "wow and flutter"), ("selectivty", "selectivity"), ("inptu sensitivity", "input sensitivity")],
)
def test_nearly_a_known_name_is_asked_about(name, meant):
    assert misspelled(name) == meant
    with pytest.raises(InputError, match=f'did you mean "{meant}"'):
        parse_session(f'{UNIT}[[rated]]\nquantity = "{name}"\nat_most = "1 %"\n', Path(), kinds=())


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('quantity = "flutter rate"', "has no limit; write for example at_most"),
        ('quantity = "flutter rate"\nat_most = "1 furlong"', 'the unit "furlong" is not known'),
        ('quantity = "flutter rate"\nat_most = "much"', "is not a number with a unit"),
        ('quantity = "flutter rate"\nwithin = ["1 %", "2 %"]', "does not hold zero between its limits"),
        ('quantity = "flutter rate"\nwithin = ["-1 %", "2 dB"]', "has limits in two units"),
        ('quantity = "flutter rate"\nnominal = "1 V"\ntolerance = "0 %"', "is not above zero"),
        ('quantity = "flutter rate"\nnominal = "1 V"\ntolerance = "1 A"', "nor in its unit"),
        ('quantity = "flutter rate"\nnominal = "6 %"\ntolerance = "1 %"', "nor in its unit"),
        ('quantity = "12"\nat_most = "1 %"', "does not say what is rated"),
        ('quantity = "sinad"\nat_least = "60 dB"', "is not what makers rate"),
        ('quantity = "flutter rate"\nat_most = "1 %"\nconditions = { tape = "" }', "is not text"),
        ('quantity = "flutter rate"\nat_most = "1 %"\nconditions = { load = "8" }', "is a key of its own"),
        ('quantity = "flutter rate"\nat_most = "1 %"\nconditions = "chrome"', "is not a table in braces"),
        ('quantity = "flutter rate"\nat_most = "1 %"\nlevel = "65 dB"', "is relative to nothing"),
    ],
)
def test_what_cannot_be_read_is_asked_about(table, said):
    with pytest.raises(InputError, match=said):
        parse_session(f"{UNIT}[[rated]]\n{table}\n", Path(), kinds=())
