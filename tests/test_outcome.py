"""How a repair ended: each condition of "Repaired" both ways. The conditions are this project's own rule."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from reviewkit.episode.outcome import IMPROVED, MEASURED, NOT_REPAIRED, REPAIRED, Outcome, find_outcome
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.model.change import Change
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.session import Bench, Measurement, Rating, Session, Unit

POWER = Rating("power", "W", at_least=40.0, load_ohm=8.0)
SESSION = Session(Path(), Unit("Norrvale", "Forty", "integrated amplifier"), Bench(), ratings=(POWER,))
HEADER = "point,expected,found,unit,tolerance,action,after\n"
FAULTS = """\
"Bias R, before",22,0.2,mV,4 mV,traced to the trimmer,22.8
Bias trimmer R,220,open,ohm,20 %,replaced,221
"""
SAFE = """\
"DC offset L, warm",0,11,mV,50 mV,go,
"DC offset R, warm",0,14,mV,50 mV,go,
"Bias L, warm",22,22.5,mV,4 mV,go,
"Bias R, warm",22,22.8,mV,4 mV,go,
"Leakage from the chassis, plug one way",0,21,mV,0.75 V,go,
"Leakage from the chassis, plug the other way",0,34,mV,0.75 V,go,
"""


def outcome(rows: str = FAULTS + SAFE, *changes: Change, session: Session = SESSION) -> Outcome:
    return find_outcome(session, parse_repair(HEADER + rows), [run("after")], changes)


def run(stage: str) -> Run:
    return Run(Conditions(Measurement(f"tone-{stage}", "tone", stage=stage, load_ohm=8.0), Bench()), ())


def change(before: float, after: float, quantity: str = "thd_plus_noise", unit: str = "%", spread: float | None = None):
    kind = {"snr": "noise"}.get(quantity, "tone")

    def found(value: float, stage: str) -> Finding:
        return Finding(quantity, "R", value, unit, {}, f"{kind}-{stage}", kind, stage, "x.csv", spread)

    return Change(found(before, "before"), found(after, "after"))


def test_all_that_it_takes():
    assert outcome() == Outcome(REPAIRED)
    assert outcome(FAULTS + SAFE, change(5.0, 0.02)) == Outcome(REPAIRED)


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        (FAULTS.replace(",221\n", ",\n") + SAFE, "not read again: Bias trimmer R"),
        (FAULTS.replace(",221\n", ",open\n") + SAFE, "still out: Bias trimmer R"),
        (FAULTS.replace("22.8\n", "31\n") + SAFE, "still out: Bias R"),
        (FAULTS + SAFE + '"Rail, after",38.5,30,V,5 %,,\n', "still out: Rail"),
        (FAULTS + SAFE.replace("0,14,mV", "0,90,mV"), "still out: DC offset R"),
        (FAULTS + SAFE.replace("0,34,mV", "0,900,mV"), "still out: Leakage from the chassis"),
        (FAULTS + SAFE + "Smell,,,,,no-go,\n", "still out: Smell"),
    ],
)
def test_what_is_lacking_makes_it_improved_and_is_named(rows, why):
    ended = outcome(rows)
    assert ended.word == IMPROVED
    assert ended.pending[0] == why


LEAKAGE = "electrical safety, mains leakage with the plug both ways"


@pytest.mark.parametrize(
    ("rows", "names"),
    [
        (FAULTS, ("DC offset", "bias", LEAKAGE)),  # of the bias, one channel alone
        (FAULTS + "\n".join(SAFE.split("\n")[1:]), ("DC offset",)),  # one channel alone
        (FAULTS + "\n".join(SAFE.split("\n")[:5]) + "\n", (LEAKAGE,)),  # one way
    ],
)
def test_what_was_not_checked_makes_it_improved_and_is_named(rows, names):
    assert outcome(rows) == Outcome(IMPROVED, (), names)


def test_leakage_both_ways_may_be_one_row():
    rows = "\n".join(SAFE.split("\n")[:4]) + '\n"Leakage, plug both ways",0,34,mV,0.75 V,go,\n'
    assert outcome(FAULTS + rows).word == REPAIRED
    # that of a part is another thing
    assert outcome(FAULTS + rows.replace("Leakage, plug both ways", "C12, leakage")).word == IMPROVED


def test_a_figure_that_got_worse_keeps_it_from_repaired():
    assert outcome(FAULTS + SAFE, change(0.02, 0.2)).pending == ("worse than before: THD+N",)
    # not by next to nothing, within its uncertainty, or in a figure that the card doesn't compare
    assert outcome(FAULTS + SAFE, change(0.0208, 0.0211)).word == REPAIRED
    assert outcome(FAULTS + SAFE, change(0.02, 0.03, spread=0.02)).word == REPAIRED
    assert outcome(FAULTS + SAFE, change(-110.0, -98.0, "harmonic_7", "dB")).word == REPAIRED
    # more is better of a signal to noise ratio
    assert outcome(FAULTS + SAFE, change(70.0, 95.0, "snr", "dB")).word == REPAIRED
    assert outcome(FAULTS + SAFE, change(95.0, 70.0, "snr", "dB")).word == IMPROVED


@pytest.mark.parametrize(("again", "pending"), [("LR", ()), ("L", ("not measured again: Distortion R",)), ("", ())])
def test_a_channel_that_was_not_measured_again_keeps_it_from_repaired(again, pending):
    """Of a kind that wasn't measured again at all, nothing is said: it may have had nothing to do with the repair."""

    def measured(stage: str, channels: str) -> Run:
        found = [Finding("thd_plus_noise", c, 0.02, "%", {}, "tone", "tone", stage, "x.csv") for c in channels]
        return replace(run(stage), findings=tuple(found))

    runs = [measured("before", "LR"), measured("after", again)]
    ended = find_outcome(SESSION, parse_repair(HEADER + FAULTS + SAFE), runs, ())
    assert ended == Outcome(IMPROVED if pending else REPAIRED, pending)


def test_nothing_of_it_is_not_repaired():
    none = FAULTS.replace(",221\n", ",open\n").replace("22.8\n", "0.3\n")
    assert outcome(none + SAFE).word == NOT_REPAIRED
    assert outcome(none.replace(",open\n", ",\n").replace(",0.3\n", ",\n")).word == NOT_REPAIRED
    # a figure that got better is some of it
    assert outcome(none + SAFE, change(5.0, 0.02)).word == IMPROVED


def test_nothing_wrong_is_measured():
    rail = "Rail,38.5,38.9,V,5 %,none,\n"
    fine = f"{rail}Output relay contacts,,,,,cleaned,\n"
    untouched = Outcome(MEASURED, ("nothing was repaired",))
    assert find_outcome(SESSION, (), [run("")], ()) == untouched
    assert find_outcome(SESSION, parse_repair(HEADER + rail), [run("")], ()) == untouched
    assert find_outcome(SESSION, parse_repair(HEADER + fine), [run("")], ()) == Outcome(MEASURED)
    assert outcome(fine) == Outcome(MEASURED)
    assert outcome(fine, change(0.0208, 0.0211)) == Outcome(MEASURED)


def test_a_repair_known_by_its_measurements_alone_is_never_repaired():
    """Without points nobody knows whether it is safe to use."""
    ended = outcome("", change(5.0, 0.02))
    assert (ended.word, len(ended.unchecked)) == (IMPROVED, 3)


def test_an_old_file_says_by_its_names_what_was_read_after():
    header = "point,expected,found,unit,tolerance,action,note\n"
    rows = '"Bias R, before",22,0.2,mV,4 mV,trimmer set,\n"Bias R, after, warm",22,22.8,mV,4 mV,go,\n'
    old = find_outcome(SESSION, parse_repair(header + rows), [run("after")], ())
    assert old.word == IMPROVED
    assert not [why for why in old.pending if "again" in why or "out" in why]


@pytest.mark.parametrize(
    ("what", "ratings", "load_ohm", "needed"),
    [
        ("integrated amplifier", (POWER,), 8.0, ("DC offset", "bias", LEAKAGE)),
        ("power amplifier", (), 8.0, ("DC offset", "bias", LEAKAGE)),
        ("valve amplifier", (POWER,), 8.0, ("bias", LEAKAGE)),  # an output transformer passes no DC
        ("tuner", (), None, (LEAKAGE,)),
        ("cassette deck", (), 10_000.0, (LEAKAGE,)),
    ],
)
def test_which_safety_readings_a_unit_needs(what, ratings, load_ohm, needed):
    session = replace(SESSION, unit=replace(SESSION.unit, what=what), ratings=ratings)
    m = Measurement("tone", "tone", stage="after", load_ohm=load_ohm)
    rows = parse_repair(HEADER + "R12,220,open,ohm,20 %,replaced,221\n")
    ended = find_outcome(session, rows, [Run(Conditions(m, Bench()), ())], ())
    assert ended.unchecked == needed
