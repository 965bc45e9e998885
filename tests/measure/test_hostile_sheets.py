"""What can be read and cannot be measured: told as a fault, or left out, without a traceback and without a warning."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from measured_sheets import column, measured, sheet

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.digits import fixed, significant
from reviewkit.model.errors import InputError

SQUARE = Path(__file__).resolve().parents[2] / "sample_session" / "measurements" / "square-1khz.csv"
AUDIO_HZ = np.geomspace(20, 20_000, 61)


def waveform(samples, rate_hz: float):
    return sheet(column("time", np.arange(len(samples)) / rate_hz), column("level", samples))


def refused(kind: str, held, **told) -> str:
    with pytest.raises(InputError) as raised:
        measured(kind, held, **told)
    return str(raised.value)


@pytest.mark.parametrize("kind", ["tone", "multitone", "square", "noise", "intermodulation"])
def test_one_sample_is_no_waveform(kind):
    assert refused(kind, waveform([0.5], 48_000))


@pytest.mark.long
def test_the_beginning_of_a_square_wave_is_no_multitone():
    # half a wave: the level falls throughout, so that no line is above both of its neighbours
    beginning = b"\n".join(SQUARE.read_bytes().split(b"\n")[:550])
    assert "no tone stands out in it" in refused("multitone", parse_sheet(beginning, "m/x.csv"))


def test_a_tone_above_half_the_sample_rate_is_refused():
    # 997 Hz at 1000 samples a second reads as 3 Hz, and the fit near 20 Hz leads out of the record
    tone = 5 * np.sin(2 * np.pi * 997 / 1000 * np.arange(1000))
    assert "cycles; at least 10 are needed" in refused("tone", waveform(tone, 1000), frequency_hz=20.0)


@pytest.mark.parametrize("value", [1e30, 1e308, 1e-30, 5e-324])
def test_a_number_of_any_size_can_be_written(value):
    for written in (fixed(value, 2), significant(value, 3), fixed(value, 330)):
        assert float(written) == pytest.approx(value, rel=0.01) or float(written) == 0.0


@pytest.mark.parametrize("ohms", [0.0, -1.0])
def test_of_no_impedance_there_is_no_damping_factor(ohms):
    found = measured("source-impedance", sheet(column("frequency", AUDIO_HZ), column("impedance", 0 * AUDIO_HZ + ohms)))
    assert (found.findings, found.withheld) == ((), ())
