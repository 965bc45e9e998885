"""Whole session folders of amplifiers made up at random, in layouts picked at random: the figures match the amplifier,
so that nothing works on the sample alone. Truth: closed forms and scipy filters in tests/truth/.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import known_waveforms as known
import numpy as np
import pytest
from invented_amplifiers import Amplifier, invented
from known_filters import points_hz
from written_layouts import Written, written

from reviewkit.build import pipeline
from reviewkit.model.episode import Episode
from reviewkit.model.finding import Run

SEEDS = range(12)


@dataclass(frozen=True)
class Bench:
    """An amplifier's session, read and measured."""

    amplifier: Amplifier
    episode: Episode
    names: dict[str, str]  # kind -> the measurement's id
    verdicts: dict[str, str]  # rated quantity -> the word it must get

    def run(self, kind: str) -> Run:
        return next(r for r in self.episode.runs if r.conditions.measurement.id == self.names[kind])

    def value(self, kind: str, quantity: str, channel: str, **at: object) -> float:
        found = self.run(kind).get(quantity, channel, **at)
        assert found is not None, (kind, quantity, channel, at, self.run(kind).findings, self.run(kind).withheld)
        assert found.unit == {"flatness": "dB", "power_at_limit": "W", "thd": "%"}.get(quantity, found.unit)
        return found.value


def _columns(quantity: str, of: dict[str, np.ndarray]) -> list[Written]:
    return [Written(quantity, channel, values) for channel, values in of.items()]


def _files(a: Amplifier, rng: np.random.Generator) -> dict[str, bytes]:
    """Kind -> file."""
    swept = points_hz(rng.uniform(0.5, 1), rng.uniform(1.5e5, 2.5e5), 24)
    audio = points_hz(20, 20_000, rng.uniform(6, 12))
    steps = np.geomspace(0.02, 260, 600)  # 1.6 % apart: both points around 1 % lie on the rise
    count = int(a.tone_rate_hz * rng.uniform(0.1, 0.2))
    time = np.arange(count) / a.tone_rate_hz
    waves = {
        name: a.tone_peak_v
        * known.wave(side.tone_peaks(a.tone_hz), a.tone_hz / a.tone_rate_hz, count, rng.uniform(0, 6))
        for name, side in a.sides.items()
    }
    volts_rather = rng.random() < 0.5
    power = Written("volts", "", np.sqrt(steps * a.load_ohm)) if volts_rather else Written("power", "", steps)
    crosstalk = {
        "L>R": 20 * np.log10(a.right.leak(audio)),
        "R>L": 20 * np.log10(a.left.leak(audio)),
    }
    levels = {name: 10 ** (side.through.level_db(swept) / 20) for name, side in a.sides.items()}
    treble = {name: side.percent_at_frequency(audio) for name, side in a.sides.items()}
    loud = {name: np.minimum(side.percent_at_power(steps), 1e6) for name, side in a.sides.items()}
    ohms = {name: side.ohms(audio) for name, side in a.sides.items()}
    over_swept, over_audio = Written("frequency", "", swept), Written("frequency", "", audio)
    return {
        "tone": written([Written("time", "", time), *_columns("waveform", waves)], rng),
        "response": written([over_swept, *_columns("volts", levels)], rng, may_fall=True),
        "distortion-frequency": written([over_audio, *_columns("distortion", treble)], rng, may_fall=True),
        "distortion-power": written([power, *_columns("distortion", loud)], rng),
        "crosstalk": written([over_audio, *_columns("crosstalk", crosstalk)], rng, may_fall=True),
        "source-impedance": written([over_audio, *_columns("impedance", ohms)], rng),
    }


def _limits(a: Amplifier, rng: np.random.Generator) -> tuple[list[str], dict[str, str]]:
    """Ratings a fifth (or 3 dB) off the worse channel, either way, and the word each must get."""
    tables, words = [], {}

    def rated(quantity: str, inside: str, outside: str, conditions: str) -> None:
        meets = bool(rng.random() < 0.5)
        words[quantity] = "meets" if meets else "falls short"
        tables.append(f'[[rated]]\nquantity = "{quantity}"\n{inside if meets else outside}\n{conditions}\n')

    power = min(a.left.cap_w, a.right.cap_w)
    rated(
        "power", f'at_least = "{power / 1.2:.6f} W"', f'at_least = "{power * 1.2:.6f} W"',
        f'load = "{a.load_ohm:g} ohm"\nthd_plus_noise = "1 %"\nfrequency = "1 kHz"\nchannels = "both"',
    )  # fmt: skip
    worst = max(max(abs(v) for v in side.through.extremes_db((20.0, 20_000.0))) for side in a.sides.values())
    rated(
        "response", f'within = "{worst * 1.2:.6f} dB"', f'within = "{worst / 1.2:.6f} dB"', 'band = ["20 Hz", "20 kHz"]'
    )
    separation = min(-20 * math.log10(float(side.leak(1000.0))) for side in a.sides.values())
    rated("separation", f'at_least = "{separation - 3:.4f} dB"', f'at_least = "{separation + 3:.4f} dB"',
          'frequency = "1 kHz"')  # fmt: skip
    factor = min(a.load_ohm / float(side.ohms(1000.0)) for side in a.sides.values())
    rated("damping factor", f"at_least = {factor / 1.2:.6f}", f"at_least = {factor * 1.2:.6f}",
          f'load = "{a.load_ohm:g} ohm"\nfrequency = "1 kHz"')  # fmt: skip
    return tables, words


def _session(a: Amplifier, names: dict[str, str], tables: list[str], rng: np.random.Generator) -> str:
    keys = {
        "distortion-frequency": 'drive = "5 W"\n',
        "distortion-power": 'frequency = "1 kHz"\n',
        "response": 'drive = "2.83 V"\n',
    }
    measurements = [
        f'[[measurement]]\nfile = "measurements/{name}"\nkind = "{kind}"\n{keys.get(kind, "")}'
        for kind, name in names.items()
    ]
    rng.shuffle(measurements)
    return "\n".join(
        [
            f"[unit]\nmaker = {json.dumps(a.maker)}\nmodel = {json.dumps(a.model)}\nyear = {a.year}\n",
            f'[bench]\ninput = "aux"\nload = "{a.load_ohm:g} ohm"\nchannels = "both"\ncoupling = "dc"\n',
            *tables,
            *measurements,
        ]
    )


def made(seed: int, folder: Path) -> Bench:
    """The session of a seed: written, read, measured and judged."""
    a = invented(seed)
    rng = np.random.default_rng([31, seed])
    (folder / "measurements").mkdir()
    names = {}
    for number, (kind, content) in enumerate(_files(a, rng).items()):
        stem = f"{rng.choice(['sweep', 'export', 'ch', 'Run'])}-{number}{rng.integers(100)}"
        names[kind] = f"{stem}.{rng.choice(['csv', 'txt', 'dat'])}"
        (folder / "measurements" / names[kind]).write_bytes(content)
    tables, words = _limits(a, rng)
    (folder / "session.toml").write_text(_session(a, names, tables, rng), encoding="utf-8")
    episode = pipeline.check(folder)
    return Bench(a, episode, {kind: Path(name).stem for kind, name in names.items()}, words)


def _check_tone(bench: Bench) -> None:
    a = bench.amplifier
    for name, side in a.sides.items():
        peaks = side.tone_peaks(a.tone_hz)
        level_v = a.tone_peak_v * abs(peaks[0]) / math.sqrt(2)
        thd = float(np.sqrt(np.sum(np.abs(peaks[1:]) ** 2)) / abs(peaks[0]))
        assert bench.value("tone", "frequency", name) == pytest.approx(a.tone_hz, rel=1e-6)
        assert bench.value("tone", "level", name) == pytest.approx(level_v, rel=1e-4)
        assert bench.value("tone", "power", name) == pytest.approx(level_v**2 / a.load_ohm, rel=2e-4)
        assert bench.value("tone", "thd", name) == pytest.approx(100 * thd, rel=1e-3)
        assert bench.value("tone", "sinad", name) == pytest.approx(-20 * math.log10(thd), abs=0.02)
        third_db = 20 * math.log10(abs(peaks[2]) / abs(peaks[0]))
        assert bench.value("tone", "harmonic_3", name) == pytest.approx(third_db, abs=0.01)


def _check_response(bench: Bench) -> None:
    for name, side in bench.amplifier.sides.items():
        high, low = side.through.extremes_db((20.0, 20_000.0))
        assert bench.value("response", "deviation_high", name) == pytest.approx(high, abs=0.01)
        assert bench.value("response", "deviation_low", name) == pytest.approx(low, abs=0.01)
        assert bench.value("response", "flatness", name) == pytest.approx(max(high, -low), abs=0.01)
        corner_low, corner_high = side.through.half_power_hz()
        assert bench.value("response", "corner_low", name) == pytest.approx(corner_low, rel=1e-3)
        assert bench.value("response", "corner_high", name) == pytest.approx(corner_high, rel=1e-3)
    left, right = (side.through.level_db(1000.0)[0] for side in bench.amplifier.sides.values())
    assert bench.value("response", "channel_balance", "both") == pytest.approx(left - right, abs=0.005)


def _check_distortion(bench: Bench) -> None:
    for name, side in bench.amplifier.sides.items():
        # a power law is a straight line on log axes
        assert bench.value("distortion-power", "power_at_limit", name, limit=1.0) == pytest.approx(side.cap_w, rel=1e-6)
        at_1k, at_20k = side.percent_at_frequency(np.array([1000.0, 20_000.0]))
        # where the points straddle the bend at 1 kHz they cut its corner
        assert bench.value("distortion-frequency", "distortion", name) == pytest.approx(at_1k, rel=0.06)
        worst = bench.run("distortion-frequency").get("worst_distortion", name)
        assert worst.value == pytest.approx(at_20k, rel=1e-6)
        assert worst.at["frequency"] == pytest.approx(20_000)
        assert worst.at["power"] == 5.0


def _check_crosstalk(bench: Bench) -> None:
    """Its rating is of separation, so that is what is given."""
    a = bench.amplifier
    for direction, side in (("L>R", a.right), ("R>L", a.left)):
        for spot in (1000.0, 10_000.0):
            exact = -20 * math.log10(float(side.leak(spot)))
            assert bench.value("crosstalk", "separation", direction, frequency=spot) == pytest.approx(exact, abs=0.05)
        exact = -20 * math.log10(float(side.leak(20_000.0)))
        assert bench.value("crosstalk", "separation_worst", direction) == pytest.approx(exact, abs=1e-3)


def _check_source_impedance(bench: Bench) -> None:
    a = bench.amplifier
    for name, side in a.sides.items():
        at_1k, at_20k = side.ohms(np.array([1000.0, 20_000.0]))
        assert bench.value("source-impedance", "source_impedance", name) == pytest.approx(at_1k, rel=2e-3)
        assert bench.value("source-impedance", "damping_factor", name) == pytest.approx(a.load_ohm / at_1k, rel=2e-3)
        lowest = bench.value("source-impedance", "damping_factor_lowest", name)
        assert lowest == pytest.approx(a.load_ohm / at_20k, rel=1e-6)


def _check_verdicts(bench: Bench) -> None:
    """A limit a fifth on either side of what the amplifier does is met, or is not."""
    names = {"flatness": "response", "damping_factor": "damping factor"}
    got = {names.get(v.rating.quantity, v.rating.quantity): v.verdict for v in bench.episode.verdicts}
    assert got == bench.verdicts


def _check_what_is_told(bench: Bench) -> None:
    """Every measurement has its card, every rating its row, and the unit's own name stands on them."""
    a, episode = bench.amplifier, bench.episode
    cards = {card.id for card in episode.cards}
    assert set(bench.names.values()) | {"title", "rated", "score"} <= cards
    assert len(episode.verdicts) == len(bench.verdicts)
    assert {card.corner for card in episode.cards if card.id in bench.names.values()} == {f"{a.maker} {a.model}"}


@pytest.mark.parametrize("seed", [*SEEDS[:6], *(pytest.param(seed, marks=pytest.mark.long) for seed in SEEDS[6:])])
def test_a_random_session(seed, tmp_path):
    bench = made(seed, tmp_path)
    _check_tone(bench)
    _check_response(bench)
    _check_distortion(bench)
    _check_crosstalk(bench)
    _check_source_impedance(bench)
    _check_verdicts(bench)
    _check_what_is_told(bench)
