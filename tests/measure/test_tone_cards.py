"""The pictures of a tone: bars that stand at their figures' height, the residual, the spectrum at its lines' levels."""

from __future__ import annotations

import math
from dataclasses import replace

import known_waveforms as known
import numpy as np
import pytest
from measured_sheets import column, conditions, run_from, sheet
from test_tone import RATE_HZ, capture, lines, tone_of

from reviewkit.measure.kinds import KINDS
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.layout_check import find_problems

KIND = KINDS["tone"]
LEVELS_DB = {2: -74.2, 3: -81.7, 4: -88.0, 5: -91.0}
TORN_DB = {2: -72.0, 3: -40.0, 5: -44.5, 7: -47.4}


def run(data, **told):
    return run_from(data, conditions("tone", **told))


def wave(levels, scale=9.0, count=24_000, seed=1, hertz=1003.3):
    """A tone with these harmonics and noise 100 dB down."""
    rng = np.random.default_rng(seed)
    noise = known.noise(rng, count, RATE_HZ, (30.0, 19_900.0), 1e-5 / math.sqrt(2))
    return tone_of(known.of_levels(levels, rng), hertz, count=count, scale=scale) + scale * noise


def pair(left, right, stage="", **told):
    return run(capture(wave(left), wave(right, seed=2)), stage=stage, channels="both", **told)


def before_and_after():
    return [
        pair(LEVELS_DB, TORN_DB, "before", drive=Level(5.0, "W")),
        pair(LEVELS_DB, LEVELS_DB, "after", drive=Level(5.0, "W")),
    ]


def cards(runs):
    return [KIND.card(runs, ()), *KIND.further(runs)]


def stems(runs):
    (panel,) = KIND.card(runs, ()).body.panels
    return panel.stems


def sound(runs):
    """All pictures of these runs, each laid out without a fault."""
    made = cards(runs)
    for card in made:
        assert find_problems(lay_out(replace(card, id="invented"), "lamplight")) == ()
    return made


# ------------------------------------------------------------------ harmonics


def test_a_harmonic_is_drawn_at_its_level_and_frequency():
    tone, second, third, *_ = stems([run(capture(wave({2: -40.0, 3: -60.0, 4: -60.0})))])
    assert [stem.x for stem in (tone, second, third)] == pytest.approx([1003.3, 2006.6, 3009.9], rel=1e-4)
    assert [stem.y for stem in (tone, second, third)] == pytest.approx([0.0, -40.0, -60.0], abs=0.01)
    assert [stem.label for stem in (tone, second, third)] == ["1 kHz", "2nd", "3rd"]


def test_the_worse_channel_is_drawn_before_and_after():
    drawn = stems(before_and_after())
    assert {stem.channel for stem in drawn} == {"R"}
    assert [stem.y for stem in drawn if stem.label == "3rd"] == pytest.approx([-40.0, -81.7], abs=0.05)
    assert [stem.role for stem in drawn if stem.label == "3rd"] == ["before", "now"]


def test_a_figure_at_the_benchs_floor_is_a_bound():
    data = capture(tone_of(known.of_levels({2: -94.0}, np.random.default_rng(0))))  # 0.002 %
    assert KIND.card([run(data, bench=Bench(distortion_floor_percent=0.0011))], ()).hero.figure.startswith("≤ ")


def test_no_distortion_no_harmonics():
    """19 kHz at 48 kHz: even the third harmonic is outside, so the wave is the card, and the only one."""
    (card,) = sound([run(capture(tone_of(np.array([-1j]), 19_000.0)))])
    assert card.id == "waveform"


def test_the_worse_channel_is_large_and_named():
    first, *others = [card.hero for card in sound([pair(LEVELS_DB, {2: -60.0})])]
    assert all(hero == first for hero in others)
    hero = first
    assert (hero.figure, hero.channel, hero.caption) == ("0.10 %", "R", "right, distortion (THD+N)")


def test_one_channel_alone_has_no_name():
    hero = sound([run(capture(wave(LEVELS_DB)))])[0].hero
    assert (hero.figure, hero.channel, hero.caption) == ("0.022 %", "", "distortion (THD+N)")


def test_the_conditions_of_a_tone():
    card = KIND.card(before_and_after(), ())
    assert card.conditions == ("5 W into 8 Ω", "1 kHz", "20 Hz – 20 kHz wide")
    assert card.asides == ("both channels driven",)


def test_an_open_output_takes_no_power():
    """2 V peak with no load is 1.41 V, not 0 W."""
    data = capture(wave(LEVELS_DB, scale=2.0))
    one = run(data, load_ohm=math.inf)
    assert one.get("power") is None
    assert one.get("thd").at["voltage"] == pytest.approx(math.sqrt(2), rel=1e-4)
    assert "power" not in one.get("thd").at
    for card in sound([one]):
        assert card.conditions[:2] == ("1.41 V with no load", "1 kHz")
        assert not any(" W" in condition for condition in card.conditions)
    # and a drive in volts is held against the capture there, too
    assert run(data, load_ohm=math.inf, drive=Level(1.4, "V")).findings
    with pytest.raises(Exception, match=r'drive = "14 V".*, but .* holds 1\.41 V; write that'):
        run(data, load_ohm=math.inf, drive=Level(14.0, "V"))


# ------------------------------------------------------------------ the wave


def test_the_residual_is_the_wave_less_its_tone():
    """A known wave's harmonics alone, to the last digit drawn; as much taller as its scale says."""
    peaks = known.of_levels(TORN_DB, np.random.default_rng(4))
    torn = tone_of(peaks, scale=9.0)
    rest = 9.0 * known.wave(np.concatenate(([0.0], peaks[1:])), 1003.3 / RATE_HZ, 24_000, 0.3)
    body = KIND.further([run(capture(torn))])[0].body
    wave_panel, rest_panel = body.panels
    drawn = rest_panel.traces[0]
    at = np.round(drawn.x / 1000 * RATE_HZ - drawn.x[0] / 1000 * RATE_HZ).astype(int)
    start = int(np.argmin(np.abs(torn[:200] - wave_panel.traces[0].y[0])))
    assert drawn.y == pytest.approx(1000 * rest[start + at], abs=1e-3)
    assert rest_panel.y.unit == "mV"
    taller = wave_panel.y.high / (rest_panel.y.high / 1000)
    assert rest_panel.label == f"what was added, scale × {taller:.0f}"
    # as tall as a round factor allows
    assert 0.4 * rest_panel.y.high < np.max(np.abs(drawn.y)) <= rest_panel.y.high


def test_before_and_after_share_the_waves_scales_and_the_magnification():
    above, below = cards(before_and_after())[1].body.panels
    for panel in (above, below):
        assert [(trace.channel, trace.role) for trace in panel.traces] == [("R", "before"), ("R", "now")]
    before, now = (float(np.max(np.abs(trace.y))) for trace in below.traces)
    assert before > 20 * now  # −40 dB and −74 dB on one scale
    assert before <= below.y.high


# ------------------------------------------------------------------ the spectrum


def peak_near(trace, hertz):
    return float(np.max(trace.y[np.abs(trace.x / hertz - 1) < 0.01]))


@pytest.mark.parametrize("hertz", [997.0, 1003.3, 1000.5, 440.1])
def test_a_captures_spectrum_stands_at_its_lines_levels(hertz):
    """Harmonics of known level, wherever between two lines they fall: within 0.05 dB in the picture."""
    known_db = {2: -60.0, 3: -70.0, 5: -65.0}
    body = cards([run(capture(wave(known_db, hertz=hertz)))])[2].body
    (trace,) = body.panels[0].traces
    assert peak_near(trace, hertz) == pytest.approx(0.0, abs=0.01)
    for order, level_db in known_db.items():
        assert peak_near(trace, order * hertz) == pytest.approx(level_db, abs=0.05)
    assert [mark.text for mark in body.panels[0].marks] == ["2nd", "3rd"]
    for mark, order in zip(body.panels[0].marks, (2, 3), strict=True):
        assert mark.x == pytest.approx(order * hertz, rel=2e-3)
        assert mark.y == pytest.approx(known_db[order], abs=0.05)


def test_one_channels_spectrum_is_drawn_before_and_after():
    (panel,) = cards(before_and_after())[2].body.panels
    assert [(trace.channel, trace.role) for trace in panel.traces] == [("R", "before"), ("R", "now")]
    assert [mark.role for mark in panel.marks] == ["before", "before", "now", "now"]


def test_hum_is_marked_at_its_strongest_line():
    turns = np.arange(RATE_HZ) / RATE_HZ
    hum = 2e-3 * np.sin(2 * np.pi * 60 * turns) + 4e-3 * np.sin(2 * np.pi * 120 * turns + 1)
    data = capture(wave(LEVELS_DB, scale=1.0, count=RATE_HZ) + hum)
    marks = {mark.text: mark for mark in cards([run(data, mains_hz=60.0)])[2].body.panels[0].marks}
    assert marks["hum"].x == pytest.approx(120, rel=0.01)
    assert marks["hum"].y == pytest.approx(20 * math.log10(4e-3), abs=0.05)


@pytest.mark.parametrize(
    ("count", "hertz", "long"),
    [(4096, 1003.3, True), (4095, 1003.3, False), (24_000, 98.0, False), (24_000, 102.0, True)],
)
def test_a_short_record_has_no_spectrum(count, hertz, long):
    """50 cycles and 4096 samples are needed: under that the picture would show the window and no noise."""
    made = cards([run(capture(wave({2: -40.0}, count=count, hertz=hertz)))])
    assert [card.id for card in made] == ["", "waveform"] + ["spectrum"] * long


def test_an_exported_spectrum_has_its_picture_beside_its_harmonics():
    frequency, volts = lines(scale=12.0)
    data = sheet(column("frequency", frequency), column("level", volts, "L"), column("level", 0.9 * volts, "R"))
    made = sound([run(data, window="blackman-harris")])
    assert [card.id for card in made] == ["", "spectrum"]
    (trace,) = made[1].body.panels[0].traces
    assert peak_near(trace, float(frequency[np.argmax(volts)])) == 0.0


@pytest.mark.parametrize(("names", "figure"), [((), "thd_plus_noise"), (("thd",), "thd"), (("imd",), "thd_plus_noise")])
def test_the_rated_distortion_is_said_and_shown(names, figure):
    """Noise is 40 dB below the tone, the 2nd harmonic 60: THD+N is ten times THD."""
    noisy = tone_of(known.of_levels({2: -60.0}, np.random.default_rng(0)), count=24_000)
    noisy = noisy + known.noise(np.random.default_rng(1), 24_000, RATE_HZ, (30.0, 19_900.0), 0.01 / math.sqrt(2))
    ratings = tuple(Rating(name, "%", at_most=0.5) for name in names)
    told = run(capture(noisy), ratings=ratings)
    card = KIND.card([told], ())
    assert [f.quantity for f in card.hero.findings] == [figure]
    distortion = next(point for point in KIND.points(told, None) if point.name == "distortion")
    assert distortion.facts["worse"].quantity == figure
