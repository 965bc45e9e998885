"""The taps of an output transformer: each has its own source impedance and damping factor (common practice, no source).

An ideal transformer's impedance goes with the square of its turns, so those of the taps are as 1 : 2 : 4.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rated_and_found import found, rated, verdict_of

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.measure.kinds import KINDS
from reviewkit.model.capture_request import Basis
from reviewkit.model.errors import InputError
from reviewkit.model.gear import gear_of
from reviewkit.model.session import Bench, Rating
from reviewkit.plan.entries import measurement_table
from reviewkit.plan.order import plan_captures
from reviewkit.verdict.verdict import INCOMPARABLE, MEETS, SHORT

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Valve 30"\ntype = "valve amplifier"\n'
OHMS = {"4 ohm": 0.35, "8 ohm": 0.7, "16 ohm": 1.4}


def figures(name="source_impedance"):
    """What two loads gave at each tap, loaded with what it is made for."""
    loads = {tap: float(tap.split()[0]) for tap in OHMS}
    value = {tap: ohms if name == "source_impedance" else loads[tap] / ohms for tap, ohms in OHMS.items()}
    return [
        found(name, value[tap], measurement=tap[0], frequency=1000.0, load=loads[tap], conditions={"tap": tap})
        for tap in OHMS
    ]


def ratings_of(*lines: str) -> tuple[Rating, ...]:
    return parse_session(UNIT, Path(), kinds=(), brochure="\n".join(lines) + "\n").ratings


@pytest.mark.parametrize("tap", ["8 ohm", "8 Ω", "8ohms", "8.0 ohm"])
def test_a_rating_of_a_tap_is_compared_with_that_tap(tap):
    for limit, word in ((0.8, MEETS), (0.6, SHORT)):
        rating = rated("source_impedance", at_most=limit, conditions=(("tap", tap),))
        verdict = verdict_of(rating, *figures())
        assert (verdict.verdict, verdict.findings[0].value) == (word, 0.7)
    other = verdict_of(rated("source_impedance", at_most=5.0, conditions=(("tap", "32 ohm"),)), *figures())
    assert (other.verdict, other.brief) == (INCOMPARABLE, "measured with 16 ohm tap")


def test_without_a_tap_its_load_says_which_is_meant():
    """12 at 8 Ω: the 8 Ω tap has 8 / 0.7 = 11.4."""
    verdict = verdict_of(rated("damping_factor", at_least=11.0, load_ohm=8.0), *figures("damping_factor"))
    assert verdict.verdict == MEETS
    assert "8 ohm tap" in verdict.assumed
    assert verdict_of(rated("damping_factor", at_least=12.0, load_ohm=8.0), *figures("damping_factor")).verdict == SHORT


def test_with_neither_it_is_asked_which():
    for name, limit in (("source_impedance", {"at_most": 5.0}), ("damping_factor", {"at_least": 1.0})):
        verdict = verdict_of(rated(name, **limit), *figures(name))
        assert (verdict.verdict, verdict.brief) == (INCOMPARABLE, "tap not stated")
        assert verdict.why == "rated for no tap, measured at those of 4 ohm, 8 ohm, 16 ohm"
    # one tap alone is taken as it was on the bench
    assert verdict_of(rated("source_impedance", at_most=5.0), figures()[1]).verdict == MEETS


@pytest.mark.parametrize(
    "line",
    [
        "Output impedance: 0.4 Ω (4 Ω tap), 0.8 Ω (8 Ω tap), 1.5 Ω (16 Ω tap)",
        "Output impedance: 4-ohm tap 0.4 ohm, 8-ohm tap 0.8 ohm, 16-ohm tap 1.5 ohm",
    ],
)
def test_a_line_has_a_rating_for_each_tap_and_the_plan_a_reading(line):
    ratings = ratings_of(line)
    assert [(r.nominal, dict(r.conditions)["tap"][0]) for r in ratings] == [(0.4, "4"), (0.8, "8"), (1.5, "1")]
    bench = Bench(load_ohm=8.0)
    captures = plan_captures(ratings, Basis(bench, ratings, gear_of(["valve amplifier"])))
    tables = ["\n".join(measurement_table(1, each, bench, repaired=False)) for each in captures]
    assert len(tables) == 3
    for tap in ("4", "8", "16"):
        (table,) = [table for table in tables if f'"tap" = "{tap} ' in table]
        # an output transformer is never open; the factor is relative to the load stated, not to the bench's
        assert f'loads = ["{tap} ohm", "{2 * int(tap)} ohm"]' in table
        assert (f'\nload = "{tap} ohm"' in table) == (tap != "8")
        text = table.replace("two-load-1", f"tap-{tap}").replace("…", "6.1 V", 1).replace("…", "5.6 V", 1)
        text = text.replace(', R = ["…", "…"]', "")
        (m,) = parse_session(UNIT + text, Path(), kinds=KINDS).measurements
        assert dict(m.conditions)["tap"].startswith(tap)


@pytest.mark.parametrize("line", ["Output impedance: 8 ohms", "Output impedance: 4 Ω, 8 Ω, 16 Ω"])
def test_the_loudspeaker_that_a_tap_is_made_for_is_not_its_source_impedance(line):
    with pytest.raises(InputError, match="may be the loudspeaker"):
        ratings_of(line)
