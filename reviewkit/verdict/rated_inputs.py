"""Which figures a rating may be of, by their input: what a maker prints for one input, no figure of another answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.finding import Finding
from reviewkit.model.gear import Gear
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Bench, Rating
from reviewkit.model.unstated_conditions import RADIO


@dataclass(frozen=True)
class UnitInputs:
    """The inputs of a unit. `usual`: the bench's own; `radio`: whether a rating that names none may be of its radio."""

    usual: str = ""
    radio: bool = True


def inputs_of(bench: Bench, gear: Gear | None) -> UnitInputs:
    """Return a unit's inputs. A receiver's radio is named wherever it is rated; a tuner has nothing else.

    Of a unit of no stated type, the bench's own input tells.
    """
    radio = gear.types == ("tuner",) if gear else bench.input.upper() in ("", *RADIO)
    return UnitInputs(bench.input.casefold(), radio)


def of_rated_input(rating: Rating, findings: Sequence[Finding], inputs: UnitInputs) -> list[Finding]:
    """Return the findings of the rated input, or of none that is stated; for a rating that names none, those not of a
    receiver's radio. What only a reading of the rated name answers is of the radio if its reading is.
    """
    if "input" not in rule_of(rating).conditions:
        return list(findings)
    if rating.input:
        return [f for f in findings if _input(f) in ("", rating.input.casefold())]
    return [f for f in findings if inputs.radio or rating.called or _input(f).upper() not in RADIO]


def of_usual_input(findings: Sequence[Finding], inputs: UnitInputs) -> list[Finding]:
    """Return the findings of the bench's own input, or all if there are none."""
    return [f for f in findings if _input(f) == inputs.usual] or list(findings)


def only_measured(findings: Sequence[Finding]) -> str:
    """Return that nothing but the inputs of these findings was measured."""
    names = list(dict.fromkeys(str(f.at["input"]) for f in findings))
    return f"only the {' and '.join(names)} input{'s were' if len(names) > 1 else ' was'} measured"


def _input(f: Finding) -> str:
    return str(f.at.get("input", "")).casefold()
