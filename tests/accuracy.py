"""The accuracies that the project promises, a row each. The fixture `accuracy` holds an error against its row and
records it; the worst of each row is printed as one table at the end of the run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import pytest


def grid(*axes: Sequence[Any]) -> list[Any]:
    """Every combination of the axes' values, for parametrize; a tuple stands for several parameters.

    By default so many are tried that each value of every axis comes up; the others with -m long.
    """
    every_run = {tuple(at % len(axis) for axis in axes) for at in range(max(map(len, axes)))}
    cases = []
    for places in product(*(range(len(axis)) for axis in axes)):
        values = [axis[place] for axis, place in zip(axes, places, strict=True)]
        flat = [part for value in values for part in (value if isinstance(value, tuple) else (value,))]
        cases.append(pytest.param(*flat, marks=() if places in every_run else pytest.mark.long))
    return cases


@dataclass(frozen=True)
class Row:
    """`limit`: the largest error allowed, in `unit`."""

    limit: float
    unit: str
    against: str


ROWS: Mapping[str, Row] = {
    "THD and harmonics to -100 dB": Row(0.01, "dB", "closed forms and synthesised tones, 44.1 to 192 kHz, DC and hum"),
    "THD and harmonics to -120 dB": Row(0.1, "dB", "the same"),
    "THD+N, SNR, SINAD": Row(0.05, "dB", "tone and band-limited noise of known power, 20 Hz to 20 kHz"),
    "SNR, SINAD of 10 to 20 cycles of 20 Hz": Row(0.15, "dB", "the same; a fifth of the lines is hidden by harmonics"),
    "SNR beside strong harmonics and drift": Row(0.1, "dB", "waves of closed form, noise of known power, slow courses"),
    "hum beside a tone": Row(0.05, "dB", "one line 8 to 13 lines from the tone or its third harmonic"),
    "hum in a short record": Row(0.1, "dB", "lines of known level beside a tone, 0.1 to 1 s, noise and drift"),
    "variance of a harmonic in noise": Row(1.5, "of least", "a least-squares fit of sines to all samples"),
    "frequency": Row(1e-6, "of itself", "one second of 1 kHz, 60 dB SNR"),
    "A weighting": Row(0.05, "dB", "the published table, printed to 0.1 dB"),
    "C weighting": Row(0.05, "dB", "the published table, printed to 0.1 dB"),
    "468 weighting": Row(1.0, "of tolerance", "ITU-R BS.468-4, Table 1 with its tolerances; 0.05 dB at 6300 Hz"),
    "468 weighting, its network": Row(0.001, "dB", "the poles of BS.468-4, Fig. 1a, by scipy.signal.freqs_zpk"),
    "de-emphasis, tape equalisation": Row(0.001, "dB", "tables by their time constants, printed to 0.001 or 0.0001 dB"),
    "RIAA": Row(0.0005, "dB", "the published table, printed to 0.001 dB"),
    "intermodulation": Row(0.02, "dB", "closed forms of a polynomial"),
    "intermodulation bounds": Row(0.0, "dB too low", "closed forms of a polynomial, noise as strong as the products"),
    "multitone clearance": Row(0.1, "dB", "tones and a spur of known level; a transform of whole periods"),
    "rise time, overshoot, tilt": Row(0.5, "%", "step responses of one and two poles"),
    "corners, slopes, crossings": Row(0.1, "%", "one and two poles by scipy.signal.freqs, 8 points an octave"),
    "response at the edges of a band": Row(0.02, "dB", "two poles by scipy.signal, 3 and 8 points an octave"),
    "response against a target": Row(0.02, "dB", "scipy's filters of the time constants; tables of wrong constants"),
    "gain of an equaliser's band": Row(0.05, "dB", "circuits and digital filters by scipy, 24 and 48 points an octave"),
    "centre and Q of an equaliser's band": Row(1.0, "% of value", "the same, also with 0.02 dB of noise on each point"),
    "dynamic range": Row(0.05, "dB", "a tone at -60 dBFS with lines and noise of known power; dither in closed form"),
    "noise in volts": Row(0.05, "dB", "thermal and white noise of known density"),
    "CCIR/ARM": Row(0.05, "dB", "white noise of known density, 20 s; steady sines"),
    "loudness": Row(0.1, "LU", "EBU Tech 3341's signals, its tolerance; the encoder's own meter"),
    "true peak": Row(0.2, "dB", "EBU Tech 3341's signals, the narrower of its tolerances; the encoder's own meter"),
    "matched levels": Row(0.1, "dB", "the tone or the loudness of the files that are written"),
    "speed error": Row(0.005, "%", "tones of known frequency modulation, with hiss and drift"),
    "wow and flutter, unweighted": Row(0.1, "% of value", "the same, without hiss"),
    "wow and flutter, weighted": Row(
        1.0, "% of value", "the table's own dB, closed forms of sines, sums of many sines"
    ),
    "flutter weighting": Row(1.0, "of tolerance", "IEC 60386, Table 1 with its tolerances; a filter fitted to it"),
    "fs and Q": Row(1.0, "% of value", "drivers' circuits in closed form, 12 to 48 points an octave, a noisy meter"),
    "least impedance": Row(0.1, "% of value", "worked examples of the same circuits"),
    "phase between channels": Row(0.5, "°", "tones shifted by a known time, steady and wavering, with hiss"),
    "level between channels": Row(0.001, "dB", "steady tones of known level"),
    "azimuth": Row(0.05, "′", "the same, wow of 0.1 and 0.3 % and hiss 40 dB down, cassette geometry"),
    "quieting crossing": Row(0.05, "dB", "a tuner's noise in closed form, points every 1 to 3 dBf"),
    "MOL": Row(0.05, "dB", "third harmonic as level squared; points every 2 and 3 dB"),
    "linearity, volume tracking": Row(0.001, "dB", "a converter one step of 16 bits low; two tracks 2 % apart in dB"),
    "jitter": Row(1.0, "% of value", "tones sampled by a clock of known jitter, noise 100 dB down"),
    "unweighted rumble": Row(0.1, "dB", "noise and lines of known power from 10 to 315 Hz, warp below and hiss above"),
    "rumble through its kind": Row(0.1, "dB", "the same, from 12 s at 8 kHz"),
    "levels of named lines": Row(0.02, "dB", "a pilot of 9 % (47 CFR 73.322) and a subcarrier next to a tone and hiss"),
    "levels of lines in steep noise": Row(
        0.06, "dB", "lines over noise that falls 0 to 18 dB an octave, mean of twelve"
    ),
    "prices": Row(0.005, "of the currency", "published index, worked examples"),
}


def table(errors: Iterable[tuple[str, float]]) -> list[str]:
    """Lines to print: each row met in this run with its worst error and how often it was checked."""
    met: dict[str, list[float]] = {}
    for row, error in errors:
        met.setdefault(row, []).append(error)
    return [
        f"{name:<32}{max(met[name]):>11.2g} {row.unit:<16} of {row.limit:<7g}{len(met[name]):>5} checks  {row.against}"
        for name, row in ROWS.items()
        if name in met
    ]
