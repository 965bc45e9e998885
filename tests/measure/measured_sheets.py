"""Sheets and conditions as the pipeline hands them to a kind, and findings looked up again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from reviewkit.measure.kinds import KINDS
from reviewkit.model.card import Card, Chart, Panel
from reviewkit.model.finding import Conditions, Finding, Measured, Run
from reviewkit.model.session import Bench, Measurement, Rating
from reviewkit.model.sheet import NO_FILE, Column, Sheet

_UNITS = {"time": "s", "frequency": "Hz", "power": "W", "distortion": "%", "impedance": "Ω", "level": "V", "set": "dBf"}


def column(role: str, values: ArrayLike, channel: str = "", unit: str = "", header: str = "") -> Column:
    """A column in its role's usual unit unless another is named."""
    array = np.array(values, dtype=float)
    array.setflags(write=False)
    return Column(role, channel, unit or _UNITS[role], array, header)


def sheet(*columns: Column) -> Sheet:
    """A file that holds these columns."""
    return Sheet("measurements/m.csv", columns, len(columns[0].values))


def conditions(
    kind: str,
    *,
    bench: Bench | None = None,
    ratings: Sequence[Rating] = (),
    mains_hz: float | None = None,
    **measurement: Any,
) -> Conditions:
    """The conditions of one measurement of this kind, by default of 8 Ω."""
    made = Measurement(id="m", kind=kind, file="measurements/m.csv", card="m", load_ohm=8.0)
    return Conditions(replace(made, **measurement), bench or Bench(), tuple(ratings), mains_hz)


def measured(kind: str, data: Sheet | None, **told: Any) -> Measured:
    """What the kind makes of a sheet under these conditions."""
    return KINDS[kind].findings(data or NO_FILE, conditions(kind, **told))


def run_from(data: Sheet | None, c: Conditions) -> Run:
    """A run with the results of a sheet and without the sheet, as cards and sentences are made from it."""
    found = KINDS[c.measurement.kind].findings(data or NO_FILE, c)
    return Run(c, found.findings, found.withheld, curves=found.curves)


def all_of(found: Measured, quantity: str, channel: str | None = None, **at: Any) -> list[Finding]:
    """Every finding with this quantity, channel and these conditions."""
    return [
        f
        for f in found.findings
        if f.quantity == quantity
        and (channel is None or f.channel == channel)
        and all(f.at.get(key) == value for key, value in at.items())
    ]


def one(found: Measured, quantity: str, channel: str = "", **at: Any) -> Finding:
    """The only finding with this quantity, channel and these conditions."""
    fitting = all_of(found, quantity, channel, **at)
    assert len(fitting) == 1, (quantity, channel, at, [(f.quantity, f.channel, dict(f.at)) for f in found.findings])
    return fitting[0]


def quantities(found: Measured) -> set[str]:
    """Which quantities were found."""
    return {f.quantity for f in found.findings}


def figures(found: Measured) -> Mapping[tuple[str, str], float]:
    """(quantity, channel) -> value, where each stands once."""
    return {(f.quantity, f.channel): f.value for f in found.findings}


HERTZ = [20.0, 100.0, 1000.0, 5000.0, 20_000.0]
CAPTURED = 70_001  # samples of a capture at 96 kHz


def capture_of(values: ArrayLike) -> Sheet:
    """A capture of the left channel, in volts."""
    array = np.asarray(values)
    return sheet(column("time", np.arange(len(array)) / 96_000), column("level", array, "L"))


def captured(*channels: ArrayLike, rate_hz: float, unit: str = "V") -> Sheet:
    """A capture of both channels, or of one that has no name."""
    names = ("L", "R") if len(channels) > 1 else ("",)
    time = column("time", np.arange(len(np.asarray(channels[0]))) / rate_hz)
    return sheet(time, *(column("level", values, name, unit) for values, name in zip(channels, names, strict=True)))


def card_of(kind: str, data: Sheet, **stated: Any) -> Card:
    """The card of one measurement as data, drawn by nobody."""
    return KINDS[kind].card([run_from(data, conditions(kind, **stated))], ())


def panel_of(card: Card) -> Panel:
    """The first panel of a card."""
    assert isinstance(card.body, Chart)
    return card.body.panels[0]
