"""Cards of one measurement, before and after its repair: nothing of "after" as found, the judged figure large."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from measure.measured_sheets import column, conditions, run_from, sheet
from rated_and_found import rated, session

from reviewkit.episode.stills import make_stills
from reviewkit.measure.figures import join_channels
from reviewkit.measure.kinds import KINDS
from reviewkit.model import quantities
from reviewkit.model.card import Card
from reviewkit.model.change import Change
from reviewkit.model.finding import Run
from reviewkit.model.gear import gear_of
from reviewkit.model.level import Level
from reviewkit.model.session import Rating
from reviewkit.verdict.changes import changes, largest_change
from reviewkit.verdict.verdict import judge

HERTZ = [20.0, 100.0, 1000.0, 10_000.0, 20_000.0]
WATTS = [0.5, 1.0, 2.0, 10.0, 40.0, 45.0]
GOOD = [0.02, 0.02, 0.02, 0.02, 0.04, 2.0]
ROUGH = [4.0, 3.0, 2.0, 1.5, 1.2, 3.0]


def power(stage: str, left: list[float], right: list[float], **more: Any) -> Run:
    columns = [column("distortion", v, c, "%", f"THD+N {c}") for c, v in (("L", left), ("R", right))]
    stated = {
        "id": f"power-{stage}",
        "card": "power",
        "stage": stage,
        "frequency_hz": 1000.0,
        "channels": "both",
        **more,
    }
    return run_from(sheet(column("power", WATTS), *columns), conditions("distortion-power", **stated))


def stills(runs: list[Run], *ratings: Any) -> list[Card]:
    """The cards of these runs, as the session's own ratings judge them."""
    kind = KINDS[runs[0].conditions.measurement.kind]
    verdicts = judge(session(*ratings), runs)
    shown = join_channels(runs)
    later = [run for run in shown if run.conditions.measurement.stage != "before"] or shown
    base, alone = (replace(kind.card(some, verdicts), id="power") for some in (shown, later))
    return make_stills(base, alone, shown, verdicts, changes(runs), kind.compared)


def texts_of(card: Card) -> str:
    (panel,) = card.body.panels
    shown = [card.stage, card.subject, card.hero.figure, card.hero.before, card.hero.caption, card.hero.note]
    return " ".join([*shown, *(t.label for t in panel.traces), *(m.text for m in panel.marks)])


BEFORE, AFTER = power("before", GOOD, ROUGH), power("after", GOOD, GOOD)


def test_as_found_has_nothing_of_after_on_it():
    (pair,) = stills([BEFORE, AFTER])
    assert pair.found is not None
    found = pair.found
    assert found.stage == "Before the repair"
    assert "after" not in texts_of(found).lower()
    assert "0.020" not in texts_of(found).replace("left channel: 0.020 %", "")
    assert found.verdict is None
    assert (found.hero.figure, found.hero.fault, found.hero.channel) == ("3.0 %", True, "R")
    # both channels as they were, and the fault's room between them
    (panel,) = found.body.panels
    assert sorted(trace.channel for trace in panel.traces) == ["L", "R"]
    assert {trace.role for trace in panel.traces} == {"now"}
    assert panel.room is not None
    assert panel.room.fault


def test_the_pair_shows_what_was_gained_on_the_same_scales():
    (pair,) = stills([BEFORE, AFTER])
    assert (pair.stage, pair.subject) == ("Before and after", "Distortion (THD+N), right channel")
    assert (pair.hero.before, pair.hero.figure, pair.hero.caption) == ("3.0 %", "0.020 %", "distortion after, at 1 W")
    (now,), (was,) = pair.body.panels, pair.found.body.panels
    assert (now.x, now.y) == (was.x, was.y)
    # the healthy channel didn't change, so it isn't drawn
    assert [(trace.channel, trace.role, trace.label) for trace in now.traces] == [
        ("R", "before", "before"),
        ("R", "now", "after"),
    ]
    assert (now.fall.x, now.fall.from_y, now.fall.to_y) == pytest.approx((1.0, 3.0, 0.02))
    assert not now.room.fault


def test_nothing_is_ringed_on_a_curve_that_is_not_drawn():
    """The left loudspeaker changed most and the right one is the lower: its minimum isn't on the left one's curve."""
    hertz = [20.0, 40.0, 60.0, 80.0, 120.0, 300.0, 1000.0, 5000.0, 20_000.0]

    def pair_of(stage: str, left: float) -> Run:
        right = [5.0, 8.0, 20.0, 8.0, 5.5, 3.0, 6.0, 9.0, 12.0]
        columns = [
            column("impedance", values, name) for name, values in (("L", [left * v for v in right]), ("R", right))
        ]
        c = conditions("load-impedance", id=f"z-{stage}", card="z", stage=stage, load_ohm=None)
        return run_from(sheet(column("frequency", hertz), *columns), c)

    (pair,) = stills([pair_of("before", 3.5), pair_of("after", 1.2)])
    (panel,) = pair.body.panels
    assert {trace.channel for trace in panel.traces} == {"L"}
    assert panel.marks == ()


def test_a_pair_shows_the_channel_that_was_worse_as_found():
    """The left changed by more, the right was worse: its 3.0 % would be small on a card of the left's 2.9 %."""
    worse = [4.0, 3.0, 2.0, 1.5, 1.2, 3.0]
    more, less = [y * 0.97 for y in worse], [y * 2 for y in GOOD]
    (pair,) = stills([power("before", more, worse), power("after", GOOD, less)])
    assert (pair.hero.before, pair.hero.figure, pair.hero.channel) == ("3.0 %", "0.040 %", "R")
    assert (pair.found.hero.figure, pair.found.hero.channel) == ("3.0 %", "R")
    # a channel that stayed as it was isn't what the repair is about, however bad
    (pair,) = stills([power("before", more, worse), power("after", GOOD, worse)])
    assert (pair.hero.before, pair.hero.figure, pair.hero.channel) == ("2.9 %", "0.020 %", "L")


def test_a_pair_of_crosstalk_has_its_curves():
    """They are drawn as those of the driven channel; as found there is nothing of after, with one direction either."""

    def leak(stage: str, *level_db: float) -> Run:
        columns = [
            column("level", [db, db, db + 20], name, "dB") for db, name in zip(level_db, ("L>R", "R>L"), strict=False)
        ]
        c = conditions("crosstalk", id=f"leak-{stage}", card="leak", stage=stage)
        return run_from(sheet(column("frequency", [20.0, 1000.0, 20_000.0]), *columns), c)

    for levels in ((-20.0, -40.0), (-20.0,)):
        (pair,) = stills([leak("before", *levels), leak("after", *(-40.0 for _ in levels))])
        (now,), (was,) = pair.body.panels, pair.found.body.panels
        assert [(trace.channel, trace.label) for trace in now.traces] == [("L", "before"), ("L", "after")]
        assert (now.fall.from_y, now.fall.to_y) == (-20.0, -40.0)
        assert [trace.channel for trace in was.traces] == ["L", "R"][: len(levels)]
        assert (was.room is not None and was.room.fault) or was.fall is None


def test_a_verdict_has_a_card_of_its_own_beside_a_pair():
    rating = rated("power", at_least=40.0, thd_plus_noise_percent=0.05, load_ohm=8.0, frequency_hz=1000.0)
    pair, judged = stills(
        [power("before", GOOD, ROUGH, ratings=[rating]), power("after", GOOD, GOOD, ratings=[rating])], rating
    )
    assert (pair.id, judged.id) == ("power", "power-rated")
    assert pair.verdict is None
    assert not pair.body.panels[0].limits
    assert judged.stage == "After the repair"
    assert judged.verdict.measured.startswith(judged.hero.figure)
    (panel,) = judged.body.panels
    assert {trace.role for trace in panel.traces} == {"now"}
    # the limit is the rating's own, and the ring is where its figure is
    assert [limit.rating for limit in panel.limits] == [rating]
    (ring,) = panel.marks
    assert ring.x == pytest.approx(judged.hero.findings[0].value)
    assert ring.y == 0.05


def test_a_limit_without_its_verdict_is_not_drawn():
    other = rated("power", at_least=60.0, thd_plus_noise_percent=0.1, load_ohm=8.0, rule="music", frequency_hz=1000.0)
    own = rated("power", at_least=40.0, thd_plus_noise_percent=0.05, load_ohm=8.0, frequency_hz=1000.0)
    (card,) = stills([power("", GOOD, GOOD, ratings=[own, other])], own, other)
    assert [limit.rating for limit in card.body.panels[0].limits] == [own]
    (bare,) = stills([power("", GOOD, GOOD)])
    assert bare.verdict is None
    assert bare.body.panels[0].limits == ()


def test_a_miss_comes_before_what_is_met():
    met = rated("power", at_least=30.0, thd_plus_noise_percent=0.05, load_ohm=8.0, frequency_hz=1000.0)
    missed = rated("power", at_least=80.0, thd_plus_noise_percent=0.05, load_ohm=8.0, frequency_hz=1000.0)
    (card,) = stills([power("", GOOD, GOOD, ratings=[met, missed])], met, missed)
    assert (card.verdict.rating, card.verdict.verdict) == (missed, "falls short")


def test_nothing_changed_is_no_pair():
    (card,) = stills([power("before", GOOD, GOOD), AFTER])
    assert card.found is None
    assert card.stage == "After the repair"


def test_one_watt_is_never_compared_with_another_load():
    (card,) = stills([power("before", GOOD, ROUGH, load_ohm=4.0), AFTER])
    assert card.found is None


def test_only_what_was_before_has_the_stage_of_before():
    (card,) = stills([BEFORE])
    assert (card.stage, card.found) == ("Before the repair", None)


def test_nothing_repaired_has_no_stage():
    (card,) = stills([power("", GOOD, GOOD)])
    assert card.stage == ""


def test_one_export_for_each_channel_is_one_run():
    def half(channel: str) -> Run:
        data = sheet(column("frequency", HERTZ), column("level", [0.0] * 5, channel, "dB"))
        return run_from(data, conditions("response", id=f"flat-{channel}", card="flat"))

    (joined,) = join_channels([half("L"), half("R")])
    (panel,) = KINDS["response"].card([joined], ()).body.panels
    assert [trace.label for trace in panel.traces] == ["L", "R"]
    assert len(join_channels([half("L"), half("L")])) == 2  # the same channel twice is two runs


def test_the_ring_is_on_the_curve():
    level = [-0.2, 0.0, 0.0, -0.1, -0.4]
    data = sheet(column("frequency", HERTZ), column("level", level, "L", "dB"), column("level", [0.0] * 5, "R", "dB"))
    run = run_from(data, conditions("response"))
    (card,) = stills([run], rated("flatness", within=(-0.5, 0.5), band_hz=(20.0, 20_000.0)))
    (ring,) = card.body.panels[0].marks
    assert (ring.x, ring.y) == (20_000.0, pytest.approx(-0.4))
    assert (card.hero.figure, card.hero.channel) == ("±0.40 dB", "L")


@pytest.mark.parametrize(
    ("quantity", "unit", "before", "after", "size"),
    [
        ("thd", "%", 2.0, 1.0, 1.0),  # a factor of two
        ("thd", "%", 1.0, 4.0, 2.0),
        ("crosstalk", "dB", -60.0, -66.0, 2.0),  # 3 dB each
        ("usable_sensitivity", "dBf", 28.2, 22.2, 2.0),
        ("thd", "%", 0.0, 1.0, 0.0),  # nothing has no ratio
    ],
)
def test_the_size_of_a_change(quantity, unit, before, after, size):
    (was,), (now,) = (
        [replace(f, quantity=quantity, unit=unit, value=value, uncertainty=None) for f in AFTER.findings[:1]]
        for value in (before, after)
    )
    assert Change(was, now).size == pytest.approx(size)


def test_a_change_within_its_uncertainty_is_none():
    one = AFTER.findings[0]
    unsure = Change(replace(one, value=40.0, uncertainty=15.0), replace(one, value=55.0, uncertainty=15.0))
    assert unsure.size == 0.0
    assert largest_change([unsure], [one.quantity]) is None


def test_a_title_blames_a_channel_only_if_the_other_one_did_not_change():
    for right, channel in ((ROUGH, ""), (GOOD, "L")):
        pair, *_ = stills([power("before", ROUGH, right), power("after", GOOD, GOOD)])
        assert (pair.finding.facts["channel"], pair.found.finding.facts["channel"]) == (channel, channel)


def test_a_verdict_on_noise_has_no_distortion_on_its_card():
    dbf = [0.0, 10.0, 20.0, 30.0, 40.0, 60.0]
    columns = (
        column("level", [-5.0, -30.0, -55.0, -62.0, -66.0, -70.0], unit="dBr", header="Noise"),
        column("distortion", [50.0, 4.0, 1.0, 0.5, 0.2, 0.2]),
    )
    quieting = Rating("50_db_quieting_sensitivity", "dBf", at_most=19.0, called="50 dB quieting sensitivity")
    run = run_from(sheet(column("set", dbf, unit="dBf"), *columns), conditions("level-sweep", ratings=[quieting]))
    (card,) = stills([run], quieting)
    (panel,) = card.body.panels
    assert [trace.label for trace in panel.traces] == ["noise"]
    assert [(mark.x, mark.y) for mark in panel.marks] == [(pytest.approx(card.hero.findings[0].value), -50.0)]
    (card,) = stills([run])
    (panel,) = card.body.panels
    assert [trace.label for trace in panel.traces] == ["noise", "distortion"]


@pytest.mark.parametrize(
    ("left_ohm", "right_ohm", "whose"),
    [(5.9, 6.1, "Both"), (5.9, 6.6, "Left"), (6.6, 6.0, "Right"), (7.0, 7.1, "Both")],
)
def test_a_verdict_on_loudspeakers_says_whose_it_is(left_ohm, right_ohm, whose):
    hertz = [20.0, 40.0, 60.0, 80.0, 120.0, 300.0, 1000.0, 5000.0, 20_000.0]
    shape = [1.5, 2.0, 4.0, 2.0, 1.4, 1.0, 2.0, 1.5, 3.0]
    columns = [column("impedance", [ohm * v for v in shape], name) for ohm, name in ((left_ohm, "L"), (right_ohm, "R"))]
    rating = Rating("impedance", "Ω", nominal=8.0, called="impedance")
    for types, said in ((["loudspeaker"], whose), (["amplifier"], "")):
        c = conditions("load-impedance", load_ohm=None, ratings=[rating])
        c = replace(c, gear=gear_of(types))
        (card,) = stills([run_from(sheet(column("frequency", hertz), *columns), c)], rating)
        assert card.finding.facts["pair"] == said


def test_the_worst_of_a_band_is_named_with_its_place_if_it_stays_there():
    def swept(stage: str, *percent: float) -> Run:
        columns = [column("distortion", [*percent], "L", "%", "THD L")]
        c = conditions("distortion-frequency", id=f"d-{stage}", card="d", stage=stage, drive=Level(10.0, "W"))
        return run_from(sheet(column("frequency", HERTZ), *columns), c)

    before = swept("before", 1.0, 1.0, 1.0, 2.0, 4.0)
    (pair,) = stills([before, swept("after", 0.1, 0.1, 0.1, 0.2, 0.4)])
    assert pair.hero.caption == "distortion after, at 20 kHz"
    (pair,) = stills([before, swept("after", 0.4, 0.1, 0.1, 0.2, 0.2)])
    assert pair.hero.caption == "distortion after"


RATED_AT_1K = Rating("distortion", "%", at_most=0.3, frequency_hz=1000.0)


@pytest.mark.parametrize(
    ("after", "figures", "hertz", "only_there"),
    [
        ((0.2, 0.7), ("1.5 %", "0.20 %"), 1000.0, False),
        # what is as bad as it was elsewhere isn't cleaner across the band
        ((0.2, 4.4), ("1.5 %", "0.20 %"), 1000.0, True),
        # what changed only elsewhere is seen in the worst
        ((1.4, 0.7), ("4.4 %", "1.4 %"), 20_000.0, False),
    ],
)
def test_a_pair_of_distortion_is_read_at_the_rated_frequency(after, figures, hertz, only_there):
    def swept(stage: str, at_1k: float, at_20k: float) -> Run:
        percent = [at_1k, at_1k, at_1k, at_1k, at_20k]
        c = conditions("distortion-frequency", id=f"d-{stage}", card="d", stage=stage, ratings=[RATED_AT_1K])
        return run_from(sheet(column("frequency", HERTZ), column("distortion", percent, "L", "%", "THD L")), c)

    pair, judged = stills([swept("before", 1.5, 4.4), swept("after", *after)], RATED_AT_1K)
    assert (pair.hero.before, pair.hero.figure) == (pair.found.hero.figure, pair.hero.figure) == figures
    assert pair.found.hero.findings[0].at["frequency"] == hertz
    assert pair.finding.facts["only_there"] is only_there
    assert judged.hero.findings[0].at["frequency"] == 1000.0


@pytest.mark.parametrize(
    ("ratings", "named"), [((), "unweighted"), ((rated("snr", at_least=88.0, weighting="A"),), "A-weighted")]
)
def test_a_figure_is_compared_with_one_of_the_same_weighting(ratings, named):
    """Hum on a little hiss: A-weighted it is far lower, so the two ratios are far apart; the card names which it is."""
    hiss = np.random.default_rng(2).normal(0, 2e-5, (2, 48_000))
    hum = np.sin(2 * np.pi * 100 / 48_000 * np.arange(48_000))

    def idle(stage: str, left_v: float, right_v: float) -> Run:
        waves = [
            column("level", hiss[i] + peak * hum, side, "V") for i, side, peak in ((0, "L", left_v), (1, "R", right_v))
        ]
        data = sheet(column("time", np.arange(48_000) / 48_000), *waves)
        stated = {"id": f"idle-{stage}", "card": "idle", "stage": stage, "load_ohm": 8.0}
        return run_from(data, conditions("noise", **stated))

    before, after = idle("before", 4e-3, 5e-3), idle("after", 1e-5, 1e-5)
    pair = stills([before, after], *ratings)[0]
    assert pair.found is not None
    assert named in pair.conditions
    assert named in pair.found.conditions
    shown = pair.found.hero.findings[0]
    other = before.get(shown.quantity, "L", weighting=shown.at.get("weighting"), reference=shown.at["reference"])
    (left,) = [t.label for t in pair.found.body.panels[0].traces if t.channel == "L"]
    assert left == f"left channel: {quantities.show(other)}"
