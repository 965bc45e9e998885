"""The plan's checklists in words: lines with boxes, their readings, and the cautions at the step where they apply."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reviewkit.model import digits, quantities
from reviewkit.model.gear import Gear
from reviewkit.plan.gates import Check
from reviewkit.plan.plan import Plan
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_words import ChecklistItem
from reviewkit.verdict.safety_readings import PointReading

# readings to leave room for on paper
_SIDES = ("L", "R")
_FILL = {"rails": ("+", digits.MINUS)} | dict.fromkeys(("offset-cold", "bias-cold", "offset-warm", "bias-warm"), _SIDES)


def phrase(pages: Pages, name: str, **facts: Any) -> str:
    """Return a sentence of templates/words/plan.j2."""
    return " ".join(pages.text("words/plan.j2", name=name, **facts).split())


def describe_ticks(plan: Plan, pages: Pages) -> str:
    """Return the line on what the session's files have ticked, and what is left to do by hand."""
    lines, steps = (*plan.gate, *plan.going_back), plan.steps
    return phrase(
        pages,
        "ticked",
        lines=[sum(line.done for line in lines), len(lines)],
        captures=[sum(step.done for step in steps), len(steps)],
    )


class Checklists:
    """The checklists in words. Each reading is shown at the first line that it counts for.

    Parameters
    ----------
    plan : Plan
        The plan.
    pages : Pages
        The templates.
    topics : mapping of str to sequence of str
        The cautions by topic.
    """

    def __init__(self, plan: Plan, pages: Pages, topics: Mapping[str, Sequence[str]]) -> None:
        self._plan, self._pages, self._gear = plan, pages, plan.session.unit.gear
        self._shown: set[PointReading] = set()
        # the first power-up has the first caution of a repair
        repair = tuple(topics.get("repair", ()))
        self._cautions = {
            "discharged": tuple(topics.get("open", ())),
            "ohms": tuple(topics.get("cold", ())),
            "measurements-before": repair[1:],
            "limited": repair[:1],
            "amplifier-offset": tuple(topics.get("power", ())) if self._gear and not self._gear.mains else (),
            "rails": tuple(topics.get("live", ())),
        }

    def items(self, checks: Sequence[Check]) -> tuple[ChecklistItem, ...]:
        """Return the lines of a checklist."""
        return tuple(self._item(check) for check in checks)

    def _item(self, check: Check) -> ChecklistItem:
        wanted_v = self._plan.mains.wanted_v
        mains = quantities.volts(wanted_v) if wanted_v else ""
        text = phrase(self._pages, check.name, mains=mains, gear=self._gear, reads=_reads(self._gear))
        judged = {(reading.side, reading.shown) for reading in check.readings if reading.verdict}
        # by meter and in repair.csv, one reading may be written down twice
        once = [r for r in check.readings if r.verdict or (r.side, r.shown) not in judged]
        new = [reading for reading in once if reading not in self._shown]
        self._shown.update(once)
        notes = tuple(dict.fromkeys(describe_reading(reading) for reading in new))
        if once and not new:
            notes = (phrase(self._pages, "listed"),)
        fill = () if check.readings or check.done else _FILL.get(check.name, ())
        return ChecklistItem(text, check.done, notes + check.files, self._cautions.get(check.name, ()), fill)


def _reads(gear: Gear | None) -> str:
    """Return what is read before this type of gear goes on: "Rails, DC offset and bias"."""
    names = ["rails"]
    names += ["DC offset"] if gear is None or gear.offset else []
    names += ["bias"] if gear is None or gear.bias else []
    *most, last = names
    text = f"{', '.join(most)} and {last}" if most else last
    return text[0].upper() + text[1:]


def describe_reading(reading: PointReading) -> str:
    """Return a reading as it is listed: "DC offset L: 12 mV, OK"."""
    return f"{reading.point}: {reading.shown}" + (f", {reading.verdict}" if reading.verdict else "")
