"""Findings: what was measured, under which conditions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

from reviewkit.model.errors import Fault, InputError
from reviewkit.model.gear import Gear
from reviewkit.model.session import Bench, Measurement, Rating
from reviewkit.model.sheet import Sheet


@dataclass(frozen=True)
class Conditions:
    """The facts that a kind needs besides the columns."""

    measurement: Measurement
    bench: Bench
    ratings: tuple[Rating, ...] = ()
    mains_hz: float | None = None
    reference: Sheet | None = None  # the file of the measurement that `against` names
    reference_name: str = ""  # that measurement's setting, else its id
    gear: Gear | None = None  # what follows from the unit's type, if it is stated
    floor: tuple[Finding, ...] = ()  # what this kind finds with no unit in the path (stage = "bench")

    def but(self, **own: Any) -> Conditions:
        """Return the conditions with other entries of the measurement: without those that don't apply to its kind."""
        return replace(self, measurement=replace(self.measurement, **own))

    def fault(self, message: str) -> InputError:
        """Return the error of a measurement whose table says too little, or something wrong."""
        m = self.measurement
        return InputError(Fault("session.toml", m.line, f"[[measurement]] {m.id}: {message}"))


@dataclass(frozen=True)
class Finding:
    """One computed number with its conditions. Units are the fixed ones of quantities.py."""

    quantity: str
    channel: str  # L, R, L>R, R>L, both or ""
    value: float
    unit: str
    at: Mapping[str, Any]
    measurement: str
    kind: str
    stage: str
    source: str
    uncertainty: float | None = None  # expanded (k = 2), same unit
    bound: str = ""  # "at most" or "at least": if the bench's floor or the meter's steps allow no more
    step: float | None = None  # worth of the last digit that a meter showed, where it was read off one
    floor: float | None = None  # of a bound: what the bench itself reads, same unit
    note: str = ""  # of a reading by meter, as written in its file
    written: str = ""  # the unit it was written in: "mV"
    called: str = ""  # a name of the user's own, as written: "B+ voltage"
    unread: str = ""  # the part of its band without readings, ready to print: such a figure can deny, never confirm


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve that a card draws, computed once with the findings.

    Attributes
    ----------
    x, y
        Shape (n,), float64, read-only, in the units of the kind's card.
    facts
        Single values that belong to it, such as the unit of `y`.
    """

    name: str  # what it shows, where a kind draws several: "wave", "residual", "spectrum"
    channel: str  # L, R, L>R, R>L or ""
    x: Array
    y: Array
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Measured:
    """A measurement's results.

    Attributes
    ----------
    withheld
        Figures not given, each with its reason, ready to print.
    curves
        Everything that its cards draw.
    """

    findings: tuple[Finding, ...]
    withheld: tuple[str, ...] = ()
    curves: tuple[Curve, ...] = ()


@dataclass(frozen=True, eq=False)
class Run:
    """One measurement with its results; see `Measured`."""

    conditions: Conditions
    findings: tuple[Finding, ...]
    withheld: tuple[str, ...] = ()
    curves: tuple[Curve, ...] = ()

    def but(self, **own: Any) -> Run:
        """Return the run with other conditions; see `Conditions.but`."""
        return replace(self, conditions=self.conditions.but(**own))

    def point(self, name: str, /, **facts: Any) -> Point:
        """Return something worth saying of it, which templates/words/KIND.j2 has the words for under this name."""
        m = self.conditions.measurement
        return Point(m.kind, name, facts, m.id)

    def drawn(self, name: str, channel: str | None = None) -> list[Curve]:
        """Return the curves of this name and channel, in the file's order."""
        return [each for each in self.curves if each.name == name and channel in (None, each.channel)]

    def get(self, quantity: str, channel: str | None = None, **at: Any) -> Finding | None:
        """Return the first finding with this quantity, channel and these conditions, or None."""
        for finding in self.findings:
            fits = finding.quantity == quantity and (channel is None or finding.channel == channel)
            if fits and all(finding.at.get(key) == value for key, value in at.items()):
                return finding
        return None


@dataclass(frozen=True)
class Point:
    """A fact worth saying: its name selects the wording in templates/words/, the facts fill it in."""

    kind: str
    name: str
    facts: Mapping[str, Any]
    measurement: str = ""
