"""The tone that levels of lines are relative to: one in the same file, or the level of one captured in the same way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from reviewkit.model import quantities
from reviewkit.model.finding import Conditions, Run
from reviewkit.model.sheet import Sheet
from reviewkit.signal.named_lines import line_at
from reviewkit.signal.noise_lines import Noise

_FULL_SCALE_RMS = 0.5**0.5  # of a sine
_NO_REFERENCE = (
    'levels are relative to nothing; name the reference tone in the file, frequency = "1 kHz", or write the level that '
    'such a tone had through the same capture, reference_level = "245 mV"'
)


@dataclass(frozen=True)
class ReferenceTone:
    """A tone's level, V r.m.s. or of full scale; `expanded_db`: its share of the uncertainty; `named`: the level that
    it has on the record or at the aerial, as a finding has it, or None.
    """

    level: float
    expanded_db: float | None
    named: list[Any] | None = None


def reference_of(sheet: Sheet, noise: Noise, c: Conditions, *, volts: bool) -> tuple[ReferenceTone | None, str]:
    """Return the tone that levels are relative to, or None and why there is none.

    Raises
    ------
    InputError
        If the session names two references, or a tone that isn't in the file.
    """
    m = c.measurement
    if m.frequency_hz is not None and m.reference_level is not None:
        raise c.fault("frequency and reference_level are two references; leave out the one that is not meant")
    named = [m.level.value, m.level.unit, m.level.reference] if m.level else None
    if m.frequency_hz is not None:
        tone = line_at(noise, m.frequency_hz)
        if tone is None or not tone.is_distinct:
            raise sheet.fault(f"there is no tone near {quantities.hertz(m.frequency_hz)}, which frequency names")
        return ReferenceTone(tone.level_v, 0.0 if c.bench.level_uncertainty_db is not None else None, named), ""
    if m.reference_level is None or m.reference_level.unit == "nWb/m":
        return None, f"no levels of lines: {_NO_REFERENCE}"
    value, in_dbfs = m.reference_level.value, m.reference_level.unit == "dBFS"
    if volts and in_dbfs and m.full_scale_v is None:
        return None, 'no levels of lines: the file is in volts, its reference in dBFS; write reference_level = "245 mV"'
    if not volts and not in_dbfs:
        return (
            None,
            'no levels of lines: the file is relative, its reference in volts; add for example full_scale = "2 V"',
        )
    if not volts and not sheet.find("time") and any(column.unit != "dBFS" for column in sheet.all("level")):
        return None, "no levels of lines: the file isn't in dBFS, its reference is; export it in dBFS or in volts"
    if in_dbfs:
        # a spectrum's 0 dBFS is a full-scale sine, a waveform's ratio is of its peak
        full_scale = _FULL_SCALE_RMS * (m.full_scale_v or 1.0) if volts or sheet.find("time") else 1.0
        value = full_scale * 10 ** (value / 20)
    return ReferenceTone(value, c.bench.level_uncertainty_db, named), ""


def reference_words(run: Run) -> str:
    """Return what levels are relative to: "re 10 cm/s", "re the tone of 1 kHz", "re 245 mV"."""
    m = run.conditions.measurement
    if m.level is not None:
        return f"re {quantities.level_text(m.level)}"
    if m.frequency_hz is not None:
        return f"re the tone of {quantities.hertz(m.frequency_hz, 5)}"
    return f"re {quantities.level_text(m.reference_level)}" if m.reference_level else ""
