"""The pictures of a tone: bars that stand at their figures' height, the residual, the spectrum at its lines' levels."""

from __future__ import annotations

import math
from dataclasses import replace

import known_waveforms as known
import numpy as np
import pytest
from measured_sheets import column, conditions, run_from, sheet
from test_tone import RATE_HZ, capture, lines, tone_of

from reviewkit.episode.session_cards import add_alt_text
from reviewkit.measure import KINDS
from reviewkit.model import quantities
from reviewkit.model.card import Bars, Curves
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
    return [pair(LEVELS_DB, TORN_DB, "before", drive_w=5.0), pair(LEVELS_DB, LEVELS_DB, "after", drive_w=5.0)]


def cards(runs):
    return [KIND.card(runs, ()), *KIND.further(runs)]


def bars(runs) -> Bars:
    body = KIND.card(runs, ()).body
    assert isinstance(body, Bars)
    return body


def sound(runs):
    """All pictures of these runs, each laid out without a fault."""
    made = cards(runs)
    for card in made:
        assert find_problems(lay_out(replace(card, id="made-up"), "lamplight")) == ()
    return made


# ------------------------------------------------------------------ bars


def test_a_harmonic_stands_where_its_percentage_does():
    """−40 dB re the fundamental is 1 % of it, −60 dB 0.1 %: the definition of the decibel."""
    body = bars([run(capture(wave({2: -40.0, 3: -60.0, 4: -60.0})))])
    assert [group.label for group in body.groups] == ["THD+N", "THD", "2nd", "3rd", "higher"]
    assert [group.unit for group in body.groups] == ["%", "%", "dB", "dB", "dB"]
    heights = [group.bars[0].value for group in body.groups]
    assert heights == pytest.approx([math.hypot(1, 0.1, 0.1)] * 2 + [1.0, 0.1, 0.1], rel=1e-3)
    assert [group.bars[0].text for group in body.groups] == ["1.0", "1.0", "−40.0", "−60.0", "−60.0"]


def test_the_figures_over_bars_are_those_of_the_findings():
    runs = before_and_after()
    names = ("thd_plus_noise", "thd", "harmonic_2", "harmonic_3", "harmonics_higher")
    for group, quantity in zip(bars(runs).groups, names, strict=True):
        stand = [(bar.channel, bar.role) for bar in group.bars]
        assert stand == [("L", "before"), ("L", "now"), ("R", "before"), ("R", "now")]
        for bar in group.bars:
            found = runs[bar.role == "now"].get(quantity, bar.channel)
            assert f"{bar.text} {found.unit}" == quantities.show(found)


def test_a_figure_at_the_benchs_floor_is_said_to_be_one():
    data = capture(tone_of(known.of_levels({2: -94.0}, np.random.default_rng(0))))  # 0.002 %
    body = bars([run(data, bench=Bench(distortion_floor_percent=0.0011))])
    assert [group.bars[0].text[:2] for group in body.groups[:2]] == ["≤ "] * 2


@pytest.mark.parametrize(
    ("level_db", "low", "high"), [(-60, 0.001, 1.0), (-40, 0.001, 10.0), (-95, 0.001, 1.0), (-130, 1e-5, 1)]
)
def test_cards_of_tones_share_a_scale(level_db, low, high):
    """0.001 % to 1 % on every card; more where a bar asks for it, and never a bar without height."""
    clean = tone_of(known.of_levels({2: level_db, 3: level_db, 4: level_db}, np.random.default_rng(3)))
    body = bars([run(capture(clean))])
    assert (body.y.low, body.y.high) == pytest.approx((low, high))
    assert all(bar.value >= 1.4 * low for group in body.groups for bar in group.bars if group.label != "THD+N")


def test_no_distortion_no_bars():
    """19 kHz at 48 kHz: even the third harmonic lies outside, so the wave is the card, and the only one."""
    made = sound([run(capture(tone_of(np.array([-1j]), 19_000.0)))])
    assert [isinstance(card.body, Curves) for card in made] == [True]


RATED = Rating("thd", "%", at_most=0.05)
LIMITS = {
    "a bare rating": (RATED, "rated 0.05 %", (1,)),
    "THD+N": (replace(RATED, quantity="thd_plus_noise"), "rated 0.05 %", (0,)),
    "either": (replace(RATED, quantity="distortion"), "rated 0.05 %", (0, 1)),
    "same load": (replace(RATED, load_ohm=8.0), "rated 0.05 %", (1,)),
    "another load": (replace(RATED, load_ohm=4.0), "", ()),
    "same frequency": (replace(RATED, frequency_hz=1000.0), "rated 0.05 %", (1,)),
    "another frequency": (replace(RATED, frequency_hz=10_000.0), "", ()),
    "inside its band": (replace(RATED, band_hz=(20.0, 20_000.0)), "rated 0.05 %", (1,)),
    "outside its band": (replace(RATED, band_hz=(2000.0, 20_000.0)), "", ()),
    "another input": (replace(RATED, input="phono"), "", ()),
    "at this power": (replace(RATED, power_w=5.0), "rated 0.05 % at 5 W", (1,)),
    "at another power": (replace(RATED, power_w=40.0), "", ()),
    "a power and its THD": (Rating("power", "W", at_least=40.0, thd_percent=0.1), "rated 0.1 % to 40 W", (1,)),
    "a power and its THD+N": (
        Rating("power", "W", at_least=40.0, thd_plus_noise_percent=0.1),
        "rated 0.1 % to 40 W",
        (0,),
    ),
    "less than was played": (Rating("power", "W", at_least=2.0, thd_percent=0.1), "", ()),
    "a music power": (Rating("power", "W", at_least=40.0, thd_percent=0.1, rule="music"), "", ()),
    "a power without distortion": (Rating("power", "W", at_least=40.0), "", ()),
}


@pytest.mark.parametrize("name", LIMITS)
def test_the_limit_is_that_of_a_rating_that_speaks_of_this_tone(name):
    rating, label, groups = LIMITS[name]
    limits = bars([pair(LEVELS_DB, LEVELS_DB, ratings=[rating], input="aux")]).limits
    assert [(limit.label, limit.groups) for limit in limits] == ([(label, groups)] if label else [])


# ------------------------------------------------------------------ readings


def test_before_and_after_in_one_line_and_in_words():
    made = sound(before_and_after())
    assert [card.id for card in made] == ["bars", "waveform", "spectrum"]
    key, change = made[0].readings
    assert key.label == "THD+N, before → after"
    assert key.key == "1.2 → 0.022 %"  # √(0.0003² + 0.01² + 0.006² + 0.0043²) = 1.24 %
    assert key.rows == (("L", "0.022 → 0.022 %"), ("R", "1.2 → 0.022 %"))
    assert change.rows == (("L", "as before"), ("R", "about 55 × less"))
    assert all(card.readings[0] == key for card in made)
    assert made[0].conditions == "5 W into 8 Ω · 20 Hz – 20 kHz wide · both channels driven"
    assert "3rd: L −81.7 dB, R −81.7 dB, L before −81.7 dB, R before −40.0 dB" in add_alt_text(made[0]).alt


@pytest.mark.parametrize(
    ("was_db", "now_db", "words"),
    [
        (-40, -74, "about 50 × less"),
        (-40, -83.5, "about 150 × less"),
        (-40, -40.3, "as before"),
        (-40, -42, "a little less"),
        (-42, -40, "a little more"),
        (-60, -46, "about 5 × more"),
    ],
)
def test_the_change_in_words(was_db, now_db, words):
    """A level difference of d dB is a ratio of 10^(d/20)."""
    runs = [
        run(capture(wave({2: float(level)})), stage=stage) for level, stage in ((was_db, "before"), (now_db, "after"))
    ]
    made = sound(runs)
    assert made[0].readings[1].label == words
    assert made[0].readings[0].rows == ()


def test_without_a_before_the_worse_channel_stands_large():
    made = sound([pair(LEVELS_DB, {2: -60.0})])
    (key,) = made[0].readings
    assert (key.label, key.key, key.channel) == ("THD+N", "0.10 %", "R")
    assert key.rows == (("L", "0.022 %"), ("R", "0.10 %"))
    assert made[1].body.columns == 1


def test_one_channel_alone():
    (key,) = sound([run(capture(wave(LEVELS_DB)))])[0].readings
    assert (key.key, key.channel, key.rows) == ("0.022 %", "", ())


def test_a_worse_channel_that_changed_sides_is_not_named():
    """Left was worse, right is: the line shows the worse of each, and no one channel's name."""
    runs = [pair({2: -40.0}, LEVELS_DB, "before"), pair(LEVELS_DB, {2: -60.0}, "after")]
    key = KIND.card(runs, ()).readings[0]
    assert (key.key, key.channel) == ("1.0 → 0.10 %", "")


def test_settings_beside_each_other_have_their_figures():
    runs = [run(capture(wave({2: level})), setting=name) for name, level in (("class A", -60.0), ("class AB", -50.0))]
    made = sound(runs)
    assert [reading.label for reading in made[0].readings] == ["THD+N", "THD+N class A"]


def test_an_open_output_takes_no_power():
    """2 V peak with no load is 1.41 V, not 0 W."""
    data = capture(wave(LEVELS_DB, scale=2.0))
    one = run(data, load_ohm=math.inf)
    assert one.get("power") is None
    assert one.get("thd").at["voltage"] == pytest.approx(math.sqrt(2), rel=1e-4)
    assert "power" not in one.get("thd").at
    for card in sound([one]):
        assert card.conditions.startswith("1.41 V with no load · 20 Hz")
        assert " W" not in card.conditions
    # and a drive in volts is held against the capture there, too
    assert run(data, load_ohm=math.inf, drive_v=1.4).findings
    with pytest.raises(Exception, match=r'drive = "14 V".*, but .* holds 1\.41 V; write that'):
        run(data, load_ohm=math.inf, drive_v=14.0)


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
    assert rest_panel.label == f"residual, {taller:.0f} × taller"
    # as tall as a round factor allows
    assert 0.4 * rest_panel.y.high < np.max(np.abs(drawn.y)) <= rest_panel.y.high


def test_before_and_after_share_the_waves_scales():
    body = cards(before_and_after())[1].body
    assert body.columns == 2
    assert [panel.label for panel in body.panels[:2]] == ["before", "after"]
    assert body.panels[0].y == body.panels[1].y
    assert body.panels[2].y == body.panels[3].y
    assert len({panel.label for panel in body.panels[2:]}) == 1


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


def test_a_channels_spectrum_has_its_own_panel():
    body = cards(before_and_after())[2].body
    assert [panel.label for panel in body.panels] == ["L re the tone", "R"]
    assert [[trace.role for trace in panel.traces] for panel in body.panels] == [["before", "now"]] * 2
    assert [[trace.channel for trace in panel.traces] for panel in body.panels] == [["L", "L"], ["R", "R"]]
    assert body.panels[0].y == body.panels[1].y


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
    assert [card.id for card in made] == ["bars", "waveform"] + ["spectrum"] * long


def test_an_exported_spectrum_has_its_bars_beside_it():
    frequency, volts = lines(scale=12.0)
    data = sheet(column("frequency", frequency), column("level", volts, "L"), column("level", 0.9 * volts, "R"))
    made = sound([run(data, window="blackman-harris")])
    assert [(type(card.body), card.id) for card in made] == [(Curves, "spectrum"), (Bars, "bars")]
    assert made[0].title == "Spectrum at 1 kHz"
    assert made[1].title == "Distortion at 1 kHz"
    (trace,) = made[0].body.panels[1].traces
    assert peak_near(trace, float(frequency[np.argmax(volts)])) == 0.0
    assert [group.bars[0].channel for group in made[1].body.groups] == ["L"] * len(made[1].body.groups)
