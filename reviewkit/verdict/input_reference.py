"""Work out a signal to noise ratio relative to what a maker names: a voltage at the input, as phono inputs have it; a
voltage at a line output; full scale, or a tape's flux.

It follows from the noise at the output and from what is there with the reference: of an input, what it needs for a
known output.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.finding import Finding, Run
from reviewkit.model.gear import PLAYER
from reviewkit.model.level import FULL_SCALE, Level, is_same, levels_of, reference_level
from reviewkit.model.session import Rating, Session
from reviewkit.signal.decibels import REFERENCES_V

_DB_OF_RELATIVE = 20 / math.log(10)  # for a small change, to first order
_SAME_FREQUENCY = 0.01


def ratios_re_input(findings: Sequence[Finding], volts: float, rated_w: float | None) -> list[Finding]:
    """Return the S/N (dB) of every noise whose input's sensitivity or gain at 1 kHz is known.

    It is 20 lg(volts · gain / noise), the same as S/N relative to rated output + 20 lg(volts / sensitivity). The volume
    must have been the same for both.

    Parameters
    ----------
    findings
        The noise, and the figures that say what its input needs.
    volts
        The reference at the input, V; it becomes `at.reference_input`.
    rated_w
        The output that a sensitivity is for if its reading doesn't say, W.
    """
    made = []
    for noise in findings:
        gains = list(_gains(noise, findings, rated_w)) if noise.quantity == "noise" and noise.value > 0 else []
        if not gains:
            continue
        # of a noise that names no channel, the gain of the channel that makes its ratio worse
        amplified = gains[0] if noise.channel else min(gains, key=lambda each: each[0])
        gain, of, how = amplified
        parts = [_relative(noise), _relative(of)]
        made.append(_ratio(noise, volts * gain, parts, reference_input=volts, method=how))
    return made


def is_relative_to(ratio: Finding, level: Level) -> bool:
    """Return whether a ratio is relative to this level."""
    own = reference_level(ratio.at)
    above = own.decibels_above(level) if own else None
    return above is not None and is_same(above)


def ratios_re_level(findings: Sequence[Finding], level: Level) -> list[Finding]:
    """Return the S/N (dB) of every noise at an output that gives a known voltage with this level: 20 lg(volts / noise).

    Parameters
    ----------
    findings
        The noise, and the output levels (a tone's, or a reading called output level) with the level they are of.
    level
        The reference; it becomes `at.reference_level`.
    """
    made = []
    for noise in findings:
        if noise.quantity != "noise" or noise.value <= 0:
            continue
        if level.unit == "V":
            made.append(_ratio(noise, level.value, [_relative(noise)], reference_level=_entry(level)))
            continue
        # of a noise that names no channel, the output that makes its ratio worse
        of = min((f for f in findings if _is_output(f, noise, level)), key=lambda f: f.value, default=None)
        if of is not None:
            how = f"from its output of {quantities.show(of)}"
            parts = [_relative(noise), _relative(of)]
            made.append(_ratio(noise, of.value, parts, reference_level=_entry(level), method=how))
    return made


def add_output_ratios(runs: Sequence[Run], session: Session) -> tuple[Run, ...]:
    """Return the runs, those of noise with its ratio to an output that another run of the same stage has: that of full
    scale, of each signal that a rated ratio names, or of what it names at the input of a line output.
    """
    gear = session.unit.gear
    at_input = [r.reference_v for r in session.ratings if r.reference_v and gear is not None and not gear.loads]
    rated = [rating.reference_level for rating in session.ratings if rating.quantity == "snr"]
    wanted = [FULL_SCALE] if PLAYER in session.unit.type else []
    wanted += [level for level in rated if level is not None and level.unit != "V" and level not in wanted]
    made = []
    for run in runs:
        of_run = run.conditions.measurement
        noise = [f for f in run.findings if f.quantity == "noise" and of_run.kind == "noise"]
        alike = [each for each in runs if noise and each.conditions.measurement.stage == of_run.stage]
        outputs = [f for each in alike for f in each.findings if f.quantity != "noise"]
        more = [f for level in wanted for f in ratios_re_level([*noise, *outputs], level)]
        more += [f for volts in dict.fromkeys(at_input) for f in ratios_re_input([*noise, *outputs], volts, None)]
        made.append(replace(run, findings=(*run.findings, *more)) if more else run)
    return tuple(made)


OUTPUT_LEVELS = ("output_level", "output_voltage")


def output_levels(rating: Rating, findings: Sequence[Finding]) -> list[Finding]:
    """Return the output voltages of tones that answer a rated output level, in its unit: those of a signal whose level
    is known, of a player at full scale unless the rating says otherwise. Any other tone is as loud as somebody set it.
    """
    made = []
    for f in findings:
        signals = [level for level in levels_of(f.at) if level.unit not in ("W", "V")]
        wanted = rating.level or FULL_SCALE
        apart = [db for level in signals if (db := level.decibels_above(wanted)) is not None]
        is_digital = any(level.unit == "dBFS" for level in signals)
        if f.quantity != "level" or f.kind == "reading" or not signals:
            continue
        if (is_digital or rating.level is not None) and not any(is_same(db) for db in apart):
            continue
        at = {key: value for key, value in f.at.items() if key not in ("voltage", "power")}
        f = replace(f, quantity=rating.quantity, called=rating.called, at=at)
        if rating.unit in REFERENCES_V:
            half = _DB_OF_RELATIVE * (f.uncertainty or 0.0) / f.value
            f = replace(
                f,
                value=20 * math.log10(f.value / REFERENCES_V[rating.unit]),
                unit=rating.unit,
                uncertainty=half or None,
            )
        made.append(f)
    return made


def _entry(level: Level) -> list[object]:
    return [level.value, level.unit, level.reference]


def _ratio(noise: Finding, volts: float, parts: Sequence[float | None], **at: object) -> Finding:
    """Return the ratio of a voltage at the output to its noise, dB."""
    expanded = _DB_OF_RELATIVE * math.hypot(*(part or 0.0 for part in parts))
    return replace(
        noise,
        quantity="snr",
        value=20 * math.log10(volts / noise.value),
        unit=quantities.QUANTITIES["snr"].unit,
        at={**noise.at, **at},
        uncertainty=expanded or None,
        bound="at least" if noise.bound else "",
        step=None,
    )


def _is_output(f: Finding, noise: Finding, level: Level) -> bool:
    """Return whether a figure is the output voltage of this noise's channel with this level."""
    if f.quantity not in ("level", "output_level") or f.unit != "V" or f.value <= 0:
        return False
    alike = f.at.get("input", "") == noise.at.get("input", "")
    alike = alike and f.at.get("volume", "") in ("", noise.at.get("volume", f.at.get("volume", "")))
    if not alike or (noise.channel and f.channel not in (noise.channel, "both", "")):
        return False
    above = [had.decibels_above(level) for had in levels_of(f.at)]
    return any(db is not None and is_same(db) for db in above)


def _gains(noise: Finding, findings: Iterable[Finding], rated_w: float | None) -> Iterator[tuple[float, Finding, str]]:
    """Yield the gain of this noise's input and channel (a ratio), the figure that it comes from, and its words."""
    for f in findings:
        hz = f.at.get("frequency", unstated_conditions.FREQUENCY_HZ)
        fits = not noise.channel or f.channel in (noise.channel, "both", "")
        fits = fits and f.at.get("input", "").casefold() == noise.at.get("input", "").casefold()
        fits = fits and f.at.get("volume", "") in ("", noise.at.get("volume", f.at.get("volume", "")))
        if not fits or abs(hz / unstated_conditions.FREQUENCY_HZ - 1) > _SAME_FREQUENCY:
            continue
        if f.quantity == "gain":
            yield 10 ** (f.value / 20), f, f"from its gain of {quantities.show(f)}"
        elif f.quantity == "input_sensitivity" and f.value > 0:
            watts, ohms = f.at.get("power", rated_w), f.at.get("load")
            if "voltage" in f.at:
                output_v, words = float(f.at["voltage"]), quantities.volts(f.at["voltage"])
            elif watts and ohms and math.isfinite(ohms):
                output_v, words = math.sqrt(watts * ohms), quantities.watts(watts)
            else:
                continue
            yield output_v / f.value, f, f"from its sensitivity of {quantities.show(f)} for {words}"


def _relative(f: Finding) -> float | None:
    """Return the expanded uncertainty as a share of the figure; of one in dB, of the ratio behind it."""
    if f.uncertainty is None:
        return None
    return f.uncertainty / _DB_OF_RELATIVE if f.unit == "dB" else f.uncertainty / f.value
