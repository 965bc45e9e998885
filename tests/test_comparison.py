"""Every cell of the table of ratings: each rated name, figure that answers it, condition, and way in which it compares.

The cases are made from RULES itself, so a rated name, a figure or a condition that is added there without a case here
fails. The one-way logic is this project's own rule; nothing outside it states it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from rated_and_found import found, rated, verdict_of

from reviewkit.model.level import Level
from reviewkit.model.mains import mains_of
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.ratings import EQUAL, HARD, RULES
from reviewkit.model.session import Rating
from reviewkit.verdict.comparison import (
    APART,
    EASIER,
    HARDER,
    SAME,
    ComparedCondition,
    Mains,
    compare,
    compare_mains,
    overall,
)
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, SHORT, UNMEASURED

SWEPT = {name for name, quantity in QUANTITIES.items() if quantity.swept}
BAND = (20.0, 20_000.0)
WANTS = "120 V 60 Hz"

# rated name -> its limit; and for each figure that answers it, a value inside and one outside of that limit
LIMITS: dict[str, dict[str, Any]] = {
    "power": {"at_least": 40.0, "thd_percent": 0.05},
    "thd": {"at_most": 0.05},
    "thd_plus_noise": {"at_most": 0.05},
    "distortion": {"at_most": 0.05},
    "flatness": {"within": (-0.5, 0.5)},
    "crosstalk": {"at_most": -50.0},
    "separation": {"at_least": 50.0},
    "damping_factor": {"at_least": 60.0},
    "source_impedance": {"at_most": 0.2},
    "channel_balance": {"at_most": 0.5},
    "gain": {"at_least": 30.0},
    "bass_control": {"at_least": 10.0},
    "treble_control": {"at_least": 10.0},
    "snr": {"at_least": 90.0},
    "noise": {"at_most": 0.001},
    "hum": {"at_most": -80.0},
    "hum_voltage": {"at_most": 0.001},
    "dc_offset": {"at_most": 0.02},
    "imd": {"at_most": 0.1},
    "multitone_clearance": {"at_least": 70.0},
    "riaa_deviation": {"within": (-0.5, 0.5)},
    "corner_low": {"at_most": 10.0},
    "corner_high": {"at_least": 50_000.0},
    "input_sensitivity": {"at_most": 0.2},
    "phono_overload": {"at_least": 0.15},
    "rise_time": {"at_most": 5e-6},
    "overshoot": {"at_most": 5.0},
    "tilt": {"at_most": 5.0},
}
SIDES: dict[tuple[str, str], tuple[float, float]] = {
    ("power", "power_at_limit"): (43.0, 37.0),
    ("power", "power_reached"): (43.0, 37.0),
    ("power", "worst_distortion"): (0.02, 0.2),
    ("power", "distortion"): (0.02, 0.2),
    ("power", "highest_distortion"): (0.02, 0.2),
    ("power", "thd"): (0.02, 0.2),
    **{
        (name, figure): (0.02, 0.2)
        for name in ("thd", "thd_plus_noise", "distortion")
        for figure in ("worst_distortion", "distortion", "thd", "thd_plus_noise")
    },
    ("flatness", "flatness"): (0.3, 0.8),
    ("flatness", "deviation_high"): (0.3, 0.8),
    ("flatness", "deviation_low"): (-0.7, -1.5),
    **{
        (name, figure): (60.0, 40.0) if figure.startswith("separation") else (-60.0, -40.0)
        for name in ("crosstalk", "separation")
        for figure in RULES["crosstalk"].findings
    },
    ("damping_factor", "damping_factor"): (70.0, 50.0),
    ("damping_factor", "damping_factor_lowest"): (70.0, 50.0),
    ("source_impedance", "source_impedance"): (0.1, 0.3),
    ("channel_balance", "channel_balance"): (0.3, -0.8),
    ("channel_balance", "channel_balance_worst"): (-0.3, 0.8),
    ("gain", "gain"): (31.0, 29.0),
    ("bass_control", "bass_control"): (11.0, 9.0),
    ("treble_control", "treble_control"): (11.0, 9.0),
    ("snr", "snr"): (95.0, 85.0),
    ("noise", "noise"): (0.0005, 0.002),
    ("hum", "hum"): (-90.0, -70.0),
    ("hum_voltage", "hum_voltage"): (0.0004, 0.003),
    ("dc_offset", "dc_offset"): (0.005, 0.05),
    ("imd", "imd"): (0.05, 0.2),
    ("multitone_clearance", "multitone_clearance"): (80.0, 60.0),
    ("riaa_deviation", "riaa_deviation"): (-0.3, 0.8),
    ("riaa_deviation", "riaa_deviation_high"): (0.3, 0.8),
    ("riaa_deviation", "riaa_deviation_low"): (-0.7, -1.5),
    ("corner_low", "corner_low"): (8.0, 15.0),
    ("corner_high", "corner_high"): (60_000.0, 40_000.0),
    ("input_sensitivity", "input_sensitivity"): (0.15, 0.3),
    ("phono_overload", "phono_overload"): (0.2, 0.1),
    ("rise_time", "rise_time"): (4e-6, 8e-6),
    ("overshoot", "overshoot"): (2.0, 9.0),
    ("tilt", "tilt"): (2.0, 9.0),
}

# one way in which a condition can relate: what the rating says, what the finding is under, the mains on the bench
Way = tuple[dict[str, Any], dict[str, Any], str]


def way(says: dict[str, Any] | None = None, under: dict[str, Any] | None = None, had: str = WANTS) -> Way:
    return says or {}, under or {}, had


def _load(name: str, figure: str) -> dict[str, list[Way]]:
    return {
        SAME: [way({"load_ohm": 8.0}, {"load": 8.0}), way({"load_ohm": 8.0}, {"load": 8.02}), way({}, {"load": 4.0})],
        APART: [way({"load_ohm": 8.0}, {"load": 4.0}), way({"load_ohm": 8.0}, {"load": 16.0}), way({"load_ohm": 8.0})],
    }


def _word(key: str, one: str, other: str) -> dict[str, list[Way]]:
    return {
        SAME: [way({key: one}, {key: one}), way({}, {key: other}), way({key: one.upper()}, {key: one.lower()})],
        APART: [way({key: one}, {key: other}), way({key: one})],
    }


def _channels(name: str, figure: str) -> dict[str, list[Way]]:
    return {
        SAME: [
            *(way({"channels": one}, {"channels": one}) for one in ("both", "one")),
            way({}, {"channels": "one"}),
        ],
        HARDER: [way({"channels": "one"}, {"channels": "both"})],
        EASIER: [way({"channels": "both"}, {"channels": "one"})],
        APART: [way({"channels": "both"}), way({"channels": "one"})],
    }


def _mains(name: str, figure: str) -> dict[str, list[Way]]:
    return {
        SAME: [way(), way(had="60 Hz"), way(had=""), way(had="121 V 60 Hz"), way(had="117.6 V")],
        HARDER: [way(had="108 V"), way(had="117.5 V")],
        EASIER: [way(had="132 V 60 Hz"), way(had="122.5 V")],
    }


def _band(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"band_hz": BAND}
    if figure not in SWEPT:
        inside: dict[str, Any] = {"frequency": 1000.0}
        return {
            EASIER: [way(says, inside), way(says, {"frequency": 20.0})],
            APART: [way(says, {"frequency": 30_000.0}), way(says)],
        }
    # of some ratings the worst over 20 Hz – 20 kHz is meant without a word
    ways = {
        SAME: (BAND, (20.05, 19_950.0)),
        HARDER: ((10.0, 40_000.0), (20.0, 40_000.0), (10.0, 20_000.0)),
        EASIER: ((100.0, 10_000.0), (20.0, 10_000.0), (100.0, 20_000.0)),
        APART: ((100.0, 40_000.0), (10.0, 10_000.0)),
    }
    words = (says, {}) if RULES[name].band else (says,)
    return {relation: [way(said, {"band": b}) for said in words for b in bands] for relation, bands in ways.items()}


def _frequency(name: str, figure: str) -> dict[str, list[Way]]:
    # where the maker names no frequency, 1 kHz is meant, and only 1 kHz (common practice, no source)
    says = {"frequency_hz": 1000.0}
    if figure in SWEPT:
        return {
            HARDER: [way(says, {"band": BAND}), way({}, {"band": BAND})],
            APART: [way(says, {"band": (2000.0, 20_000.0)}), way({}, {"band": (2000.0, 20_000.0)})],
        }
    return {
        SAME: [
            way(says, {"frequency": 1000.0}),
            way(says, {"frequency": 1009.0}),
            way({"frequency_hz": 10_000.0}, {"frequency": 10_000.0}),
            way({}, {"frequency": 1000.0}),
            way(),
        ],
        APART: [way(says, {"frequency": 10_000.0}), way(says), way({}, {"frequency": 10_000.0})],
    }


VOLTS = {"level": Level(2.0, "V")}
FULL = {"level": Level(0.0, "dBFS")}
TAPE = {"level": Level(-20.0, "dB", reference="250 nWb/m")}
FLUX = {"level": Level(250.0, "nWb/m")}
# level, the same as read, more of it, less of it: of the gear whose output has no load
OF_GEAR = (
    (Level(65.0, "dBf"), {"dbf": 65.05}, {"dbf": 70.0}, {"dbf": 50.0}),
    (Level(250.0, "nWb/m"), {"flux": 251.0}, {"flux": 320.0}, {"flux": 200.0}),
    (Level(5.0, "cm/s"), {"velocity": 5.0}, {"velocity": 10.0}, {"velocity": 3.5}),
    (Level(90.0, "dB SPL"), {"sound_pressure": 90.0}, {"sound_pressure": 96.0}, {"sound_pressure": 84.0}),
    (Level(0.0, "VU"), {"vu": 0.0}, {"vu": 3.0}, {"vu": -20.0}),
    # 250 nWb/m at −20 dB are 25 nWb/m
    (Level(-20.0, "dB", reference="250 nWb/m"), {"flux": 25.0}, {"flux": 250.0}, {"flux": 2.5}),
)


def _level(name: str, figure: str) -> dict[str, list[Way]]:
    if name == "power" and figure in ("power_at_limit", "power_reached"):
        return {SAME: [way()]}  # the power is the figure itself
    if name == "power":
        # the rating holds from 250 mW to the rated power, but what noise does there says nothing
        below = [way({}, {"power": 30.0, "figure": "THD"}), way({}, {"power": 0.25, "figure": "THD"})]
        apart = [way({}, {"power": 0.2, "figure": "THD"}), way()]
        if figure == "highest_distortion":
            return {EASIER: [*below, way({}, {"power": 40.0, "figure": "THD"})], APART: apart}
        return {
            SAME: [way({}, {"power": 40.0}), way({}, {"power": 40.1})],
            HARDER: [way({}, {"power": 45.0})],
            EASIER: below,
            APART: apart,
        }
    says = {"power_w": 40.0}
    as_rated = [
        way(says, {"power": 40.0}),
        way(says, {"power": 40.1}),
        way({}, {"power": 5.0}),
        # 17.889² / 8 = 40.0
        way({**says, "load_ohm": 8.0}, {"voltage": 17.889, "load": 8.0}),
        way(VOLTS, {"voltage": 2.01}),
        way(FULL, {"dbfs": 0.0}),
        way(TAPE, {"relative_level": [-20.05, "250 nWb/m"]}),
    ]
    as_rated += [way({"level": level}, same) for level, same, _, _ in OF_GEAR]
    # 20 lg(3/2) = 3.5 dB more, and 3.5 dB less
    more = [
        *(way({"level": level}, above) for level, _, above, _ in OF_GEAR),
        way(says, {"power": 45.0}),
        way(VOLTS, {"voltage": 3.0}),
        way({"level": Level(-60.0, "dBFS")}, {"dbfs": -20.0}),
        way(TAPE, {"relative_level": [-10.0, "250 nWb/m"]}),
    ]
    less = [
        *(way({"level": level}, below) for level, _, _, below in OF_GEAR),
        way(says, {"power": 30.0}),
        way(VOLTS, {"voltage": 1.33}),
        way(FULL, {"dbfs": -60.0}),
        way(TAPE, {"relative_level": [-30.0, "250 nWb/m"]}),
    ]
    apart = [
        way(says),
        way(FULL),
        way(FULL, {"voltage": 2.0}),
        way(TAPE, {"relative_level": [-20.0, "200 nWb/m"]}),
        way(FLUX, {"dbf": 65.0}),
    ]
    if RULES[name].level == HARD:  # less of it is the easier test: no slewing, and nothing clips
        return {SAME: as_rated, HARDER: more, EASIER: less, APART: apart}
    if RULES[name].level == EQUAL:
        return {SAME: as_rated, APART: [*more, *less, *apart]}
    # less level neither confirms nor denies: noise and crossover distortion weigh more there
    return {SAME: as_rated, HARDER: more, APART: [*less, *apart]}


def _figure(name: str, figure: str) -> dict[str, list[Way]]:
    own = {"thd": "THD", "thd_plus_noise": "THD+N"}.get(figure)
    if name == "power":
        plus_noise = {"thd_percent": None, "thd_plus_noise_percent": 0.05}
        if figure == "thd":
            return {SAME: [way()], EASIER: [way(plus_noise)]}
        return {
            SAME: [way({}, {"figure": "THD"}), way(plus_noise, {"figure": "THD+N"})],
            HARDER: [way({}, {"figure": "THD+N"}), way()],
            EASIER: [way(plus_noise, {"figure": "THD"}), way(plus_noise)],
        }
    wanted, relation = ("THD", HARDER) if name == "thd" else ("THD+N", EASIER)
    other = "THD+N" if wanted == "THD" else "THD"
    if own:
        return {SAME: [way()]} if own == wanted else {relation: [way()]}
    return {SAME: [way({}, {"figure": wanted})], relation: [way({}, {"figure": other}), way()]}


# what a ratio is relative to, the same as read, and another
REFERENCES = (
    (Level(2.0, "V"), [2.01, "V", ""], [1.0, "V", ""]),
    (Level(0.0, "dBFS"), [0.0, "dBFS", ""], [-20.0, "dBFS", ""]),
    (Level(250.0, "nWb/m"), [250.0, "nWb/m", ""], [200.0, "nWb/m", ""]),
    (Level(65.0, "dBf"), [65.0, "dBf", ""], [250.0, "nWb/m", ""]),
    (Level(3.0, "%", reference="third harmonic"), [3.0, "%", "third harmonic"], [3.0, "%", "distortion"]),
)


def _signal(name: str, figure: str) -> dict[str, list[Way]]:
    """Of noise: the level at a tuner's antenna and the like; the power at an output is none of it."""
    return {
        SAME: [
            *(way({"level": level}, same) for level, same, _, _ in OF_GEAR),
            *(way({}, {"dbf": 65.0}), way({"power_w": 5.0})),
        ],
        APART: [
            *(way({"level": level}, other) for level, _, more, less in OF_GEAR for other in (more, less)),
            *(way({"level": level}) for level, _, _, _ in OF_GEAR),
        ],
    }


def _noise_band(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"band_hz": (200.0, 15_000.0)}
    return {
        SAME: [
            way(says, {"band": (200.0, 15_000.0)}),
            way({}, {"band": BAND}),
            way({}, {"band": (25.0, 16_000.0)}),
            way(),
        ],
        HARDER: [way(says, {"band": BAND}), way({}, {"band": (5.0, 80_000.0)})],
        EASIER: [way(says, {"band": (400.0, 10_000.0)}), way({}, {"band": (200.0, 15_000.0)})],
        APART: [way(says, {"band": (20.0, 10_000.0)}), way(says)],
    }


def _relative_to(name: str, figure: str) -> dict[str, list[Way]]:
    return {SAME: [way(), way({}, {"relative_to": [315.0]}), way({}, {"relative_to": [300.0, 3000.0]})]}


def _conditions(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"conditions": (("noise reduction", "on"), ("tape", "chrome"))}
    both = {"tape": "Chrome", "noise reduction": "ON", "head": "new"}
    speed = {"conditions": (("speed", "33 1/3 rpm"),)}
    return {
        SAME: [
            way(says, {"conditions": both}),
            way({}, {"conditions": both}),
            way(speed, {"conditions": {"speed": "33⅓rpm"}}),
        ],
        APART: [
            way(says, {"conditions": {**both, "tape": "metal"}}),
            way(says, {"conditions": {"tape": "chrome"}}),
            way(says),
            way(speed, {"conditions": {"speed": "45 rpm"}}),
        ],
    }


def _reference(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"reference": "1 W", "reference_w": 1.0}
    return {
        SAME: [
            way(says, {"reference": 1.0}),
            way({}, {"reference": 40.0}),
            way({}, {"reference_level": [2.0, "V", ""]}),
            *(
                way({"reference": "printed", "reference_level": level}, {"reference_level": read})
                for level, read, _ in REFERENCES
            ),
        ],
        APART: [
            *(
                way({"reference": "printed", "reference_level": level}, under)
                for level, _, other in REFERENCES
                for under in ({"reference_level": other}, {"reference": 40.0})
            ),
            way(says, {"reference_level": [0.0, "dBFS", ""]}),
            way(says, {"reference": 40.0}),
            way({"reference": "5 mV", "reference_v": 0.005}, {"reference": 40.0}),
        ],
    }


def _weighting(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"weighting": "A"}
    return {
        SAME: [way(says, {"weighting": "A"}), way()],
        # the maker who names none means the plain figure (IEC 60268-3, from memory); weighting makes it look better
        EASIER: [way({}, {"weighting": each}) for each in ("A", "C", "DIN B", "WRMS", "weighted peak")],
        APART: [way(says, {"weighting": "CCIR"}), way(says), way({}, {"weighting": "CCIR"})],
    }


def _tones(name: str, figure: str) -> dict[str, list[Way]]:
    says = {"tones_hz": (60.0, 7000.0)}
    return {
        SAME: [
            way(says, {"tones": (60.0, 7000.0)}),
            way(says, {"tones": (60.3, 6995.0)}),
            way({}, {"tones": (1.0, 2.0)}),
        ],
        APART: [way(says, {"tones": (250.0, 8000.0)}), way(says, {"tones": (19_000.0, 20_000.0)}), way(says)],
    }


WAYS = {
    "load": _load,
    "input": lambda name, figure: _word("input", "aux", "phono"),
    "weighting": _weighting,
    "channels": _channels,
    "mains": _mains,
    "band": _band,
    "frequency": _frequency,
    "level": _level,
    "termination": lambda name, figure: _word("termination", "shorted", "1 kΩ"),
    "volume": lambda name, figure: _word("volume", "full", "half"),
    "figure": _figure,
    "noise_band": _noise_band,
    "relative_to": _relative_to,
    "conditions": _conditions,
    "signal": _signal,
    "reference": _reference,
    "tones": _tones,
}
WORDS = {
    (SAME, 0): MEETS,
    (SAME, 1): SHORT,
    (HARDER, 0): MEETS,
    (HARDER, 1): INCOMPARABLE,
    (EASIER, 0): INCOMPARABLE,
    (EASIER, 1): SHORT,
    (APART, 0): INCOMPARABLE,
    (APART, 1): INCOMPARABLE,
}


def held_equal(name: str, figure: str, condition: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Every other condition of the rule as the rating has it; what the rating says, what the finding is under."""
    says: dict[str, Any] = {}
    under: dict[str, Any] = {"band": BAND} if figure in SWEPT else {"frequency": 1000.0}
    for other in RULES[name].conditions:
        if other == condition or (other == "frequency" and (figure in SWEPT or condition == "band")):
            continue
        if other == "band" and (figure not in SWEPT or condition == "frequency"):
            continue
        if ways := WAYS[other](name, figure).get(SAME):
            says |= ways[0][0]
            under |= ways[0][1]
    if condition in ("band", "frequency"):
        under.pop("band", None)
        under.pop("frequency", None)
    return says, under


def cells() -> list[tuple[str, str, str]]:
    """Rated name, condition and figure, for every combination that the table has."""
    return [
        (name, condition, figure)
        for name, rule in RULES.items()
        for condition, figure in itertools.product(rule.conditions, rule.findings)
        # THD+N held against THD is harder already; the cells of its other conditions are THD's
        if (condition == "figure" or SAME in _figure_of(name, figure))
        # it is below the rated power already, where a rating can be denied only
        and (condition == "level" or figure != "highest_distortion")
    ]


def _figure_of(name: str, figure: str) -> dict[str, list[Way]]:
    return _figure(name, figure) if "figure" in RULES[name].conditions else {SAME: []}


def case(name: str, condition: str, figure: str, one: Way, side: int) -> tuple[Rating, Any, str]:
    limits = dict(LIMITS[name])
    if QUANTITIES[figure].side:
        limits = {"within": (-1.0, 0.5)}
    says, under = held_equal(name, figure, condition)
    if name == "power" and figure != "worst_distortion":
        under["limit"] = 0.05
    rating = rated(name, **{**limits, **says, **one[0]})
    value = SIDES[name, figure][side]
    return rating, found(figure, value, **{**under, **one[1]}), one[2]


def test_each_cell():
    wrong = [
        f"{cell}, {relation}, {'outside' if side else 'inside'}, {one}: {said}"
        for cell in cells()
        for relation, several in WAYS[cell[1]](cell[0], cell[2]).items()
        for one, side in itertools.product(several, (0, 1))
        for said in faults_of(*cell, relation, one, side)
    ]
    assert wrong == []


def faults_of(name: str, condition: str, figure: str, relation: str, one: Way, side: int) -> Iterator[str]:
    """What is not as it should be with one way in which a condition can relate, and one side of the limit."""
    rating, finding, had = case(name, condition, figure, one, side)
    compared = compare(rating, finding, Mains(mains_of(WANTS)[0], mains_of(had)[0]))
    at = list(RULES[name].conditions).index(condition)
    expected = [relation if place == at else SAME for place in range(len(compared))]
    if [s.relation for s in compared] != expected:
        yield f"they are {[s.relation for s in compared]}"
    if relation != SAME and (not compared[at].why or compared[at].assumed):
        yield f"what is said: {compared[at]}"
    findings = [finding]
    stem, _, end = figure.rpartition("_")
    if QUANTITIES[figure].side:
        # both sides of a response are found together; the other is well inside
        findings.append(
            found(f"{stem}_{'low' if end == 'high' else 'high'}", -0.1 if end == "high" else 0.1, **finding.at)
        )
    verdict = verdict_of(rating, *findings, wants=WANTS, had=had)
    expected = WORDS[relation, side]
    if condition == "input" and relation == APART and "input" in one[1]:
        expected = UNMEASURED  # a figure of another input is no answer
    if figure == "power_reached" and expected == SHORT:
        expected = INCOMPARABLE  # a sweep that stops early denies nothing
    if verdict.verdict != expected:
        yield f"{verdict.verdict} where {expected} is right"
    elif expected == INCOMPARABLE:
        if not verdict.why or verdict.position is not None or verdict.margin:
            yield f"not comparable, but {verdict}"
    elif expected == UNMEASURED:
        if verdict.measured or verdict.remark != f"only the {one[1]['input']} input was measured":
            yield f"not measured, but {verdict}"
    elif verdict.why or not verdict.margin or (verdict.position > 0) != (expected == MEETS):
        yield f"{expected}, but {verdict}"


# what each condition can do
EQUAL_ONLY = {SAME, APART}
STANDS = {
    **dict.fromkeys(
        ("load", "input", "conditions", "termination", "volume", "signal", "reference", "tones"), EQUAL_ONLY
    ),
    "weighting": {SAME, EASIER, APART},
    "channels": {SAME, HARDER, EASIER, APART},
    "mains": {SAME, HARDER, EASIER},
    "band": {SAME, HARDER, EASIER, APART},
    "noise_band": {SAME, HARDER, EASIER, APART},
    "relative_to": {SAME},
    "frequency": {SAME, HARDER, APART},
    "level": {SAME, HARDER, EASIER, APART},
    "figure": {SAME, HARDER, EASIER},
}


def possible_stands(name: str, condition: str) -> set[str]:
    """What a cell can do: less than its condition where a figure of the rated name is never compared so."""
    swept = bool(SWEPT & set(RULES[name].findings))
    if condition == "frequency" and not swept:
        return EQUAL_ONLY
    if condition == "band" and not swept:
        return {EASIER, APART}
    if condition == "level" and name != "power":
        return STANDS["level"] - {EQUAL: {HARDER, EASIER}, HARD: set()}.get(RULES[name].level, {EASIER})
    if condition == "figure" and name != "power":
        return STANDS["figure"] - {EASIER if name == "thd" else HARDER}
    return STANDS[condition]


def test_every_stand_of_a_cell_has_a_case():
    made: dict[tuple[str, str], set[str]] = {(n, c): set() for n, rule in RULES.items() for c in rule.conditions}
    for name, condition, figure in cells():
        made[name, condition] |= set(WAYS[condition](name, figure))
    assert made == {cell: possible_stands(*cell) for cell in made}


def test_every_figure_of_the_table_has_a_value_on_either_side():
    assert set(SIDES) == {(name, figure) for name, rule in RULES.items() for figure in rule.findings}
    assert set(LIMITS) == set(RULES)


# ------------------------------------------------------------------ all conditions together


def test_overall():
    for n in range(4):
        for compared in itertools.product([SAME, HARDER, EASIER, APART], repeat=n):
            (expected, *more) = set(compared) - {SAME} or {SAME}
            assert overall([ComparedCondition(s) for s in compared]) == (APART if more else expected), compared


def test_harder_in_one_way_and_easier_in_another_do_not_compare():
    rating = rated("thd", at_most=0.05, channels="both", frequency_hz=1000.0)
    inside = found("thd_plus_noise", 0.02, frequency=1000.0, channels="one")
    outside = found("thd_plus_noise", 0.2, frequency=1000.0, channels="one")
    assert verdict_of(rating, inside).verdict == verdict_of(rating, outside).verdict == INCOMPARABLE
    why = verdict_of(rating, inside).why
    assert "both channels driven" in why
    assert "THD+N" in why


# ------------------------------------------------------------------ what is said


@pytest.mark.parametrize(
    ("rating", "finding", "said"),
    [
        (
            rated("power", at_least=40.0, thd_percent=0.05, load_ohm=8.0),
            found("power_at_limit", 43.0, limit=0.05, load=4.0, figure="THD"),
            ("8 Ω", "4 Ω"),
        ),
        (
            rated("thd", at_most=0.05, band_hz=BAND),
            found("worst_distortion", 0.02, band=(100.0, 10_000.0), figure="THD"),
            ("20 Hz – 20 kHz", "100 Hz – 10 kHz"),
        ),
        (
            rated("thd", at_most=0.05, power_w=40.0),
            found("thd", 0.02, frequency=1000.0, power=5.0),
            ("40 W", "5 W"),
        ),
        (
            rated("crosstalk", at_most=-50.0, input="phono"),
            found("crosstalk", -60.0, "L>R"),
            ("phono", "without it stated"),
        ),
        (
            rated("damping_factor", at_least=60.0, frequency_hz=50.0),
            found("damping_factor", 70.0, frequency=1000.0),
            ("50 Hz", "1 kHz"),
        ),
        (
            rated("snr", at_least=90.0, reference="1 W", reference_w=1.0),
            found("snr", 95.0, reference=40.0),
            ("1 W", "40 W"),
        ),
        (
            rated("snr", at_least=70.0, reference="5 mV", reference_v=0.005),
            found("snr", 75.0, reference=40.0, input="phono MM"),
            ("5 mV at the input", "40 W", "input sensitivity of the phono MM input", "same volume"),
        ),
        (
            rated("flatness", within=(-1.0, 1.0), power_w=1.0, band_hz=BAND),
            found("flatness", 1.5, band=BAND, power=6.2),
            ("rated at 1 W", "measured at 6.2 W"),
        ),
        (
            rated("snr", at_least=90.0, weighting="A"),
            found("snr", 95.0, reference=1.0, weighting="CCIR"),
            ("A-weighted", "CCIR-weighted"),
        ),
        (
            rated("snr", at_least=90.0, weighting="A"),
            found("snr", 95.0, reference=1.0),
            ("A-weighted", "unweighted"),
        ),
        (
            rated("imd", at_most=0.1, tones_hz=(60.0, 7000.0)),
            found("imd", 0.05, tones=[19_000.0, 20_000.0]),
            ("60 Hz + 7 kHz", "19 kHz + 20 kHz"),
        ),
    ],
    ids="load band power input frequency reference input-reference level weighting unweighted tones".split(),
)
def test_a_difference_names_what_was_rated_and_what_was_measured(rating, finding, said):
    verdict = verdict_of(rating, finding)
    assert verdict.verdict == INCOMPARABLE
    for part in said:
        assert part in verdict.why


@pytest.mark.parametrize(
    ("rating", "finding", "assumed"),
    [
        (
            rated("power", at_least=40.0, thd_percent=0.05),
            found(
                "power_at_limit",
                43.0,
                limit=0.05,
                load=8.0,
                channels="both",
                frequency=1000.0,
                input="aux",
                figure="THD",
            ),
            {"into 8 Ω", "aux input", "both channels driven", "at 1 kHz"},
        ),
        (
            rated("power", at_least=40.0, load_ohm=8.0),
            found("power_at_limit", 43.0, limit=1.0, load=8.0, figure="THD+N"),
            {"at 1 % THD+N", "frequency not stated"},
        ),
        (
            rated("thd", at_most=0.05),
            found("worst_distortion", 0.02, band=BAND, power=40.0, figure="THD"),
            {"over 20 Hz – 20 kHz", "at 40 W"},
        ),
        (rated("snr", at_least=90.0), found("snr", 95.0, reference=1.0), {"re 1 W", "unweighted"}),
        (
            rated("thd", at_most=0.05, band_hz=BAND, power_w=40.0, load_ohm=8.0, input="aux", channels="both"),
            found(
                "worst_distortion", 0.02, band=BAND, power=40.0, load=8.0, input="aux", channels="both", figure="THD"
            ),
            set(),
        ),
    ],
    ids=["power", "one percent", "distortion", "signal to noise", "nothing left out"],
)
def test_what_the_maker_left_out_is_taken_as_the_bench_had_it_and_said(rating, finding, assumed):
    verdict = verdict_of(rating, finding)
    assert verdict.verdict == MEETS
    assert set(verdict.assumed.split(", ")) - {""} == assumed


@pytest.mark.parametrize(
    ("wanted_v", "had_v", "relation"),
    [
        (120.0, 120.0, SAME),
        (120.0, 119.5, SAME),
        (120.0, 114.0, HARDER),
        (120.0, 126.0, EASIER),
        (None, 126.0, SAME),
        (120.0, None, SAME),
    ],
)
def test_lower_mains_are_the_harder_test(wanted_v, had_v, relation):
    compared = compare_mains(Mains(wanted_v, had_v))
    assert compared.relation == relation
    assert bool(compared.why) == (relation != SAME)
