"""A plan in words: plan.md, plan.html and the terminal print the same sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from itertools import groupby, permutations
from typing import Any

from reviewkit.model import digits, quantities
from reviewkit.model.capture_request import AS_RATED, PHONO_SWEEP, TERMINALS
from reviewkit.model.finding import Finding
from reviewkit.model.gear import TRANSMITTER, Gear
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.plan.entries import (
    at_cell,
    gate_rows,
    measurement_tables,
    reading_header,
    reading_rows,
    signal_text,
)
from reviewkit.plan.needs import AGAIN, ANSWERED, CLOSER, OPEN, SETTLED, Need
from reviewkit.plan.order import HOT_W, SetUp
from reviewkit.plan.plan import Plan, PlanStep
from reviewkit.render.pages.page import Pages
from reviewkit.render.pages.plan_checklists import Checklists, describe_reading, describe_ticks, phrase
from reviewkit.render.pages.plan_words import CaptureStep, PlanWords, RatingLine, SetUpBlock
from reviewkit.verdict.verdict_words import NO_VERDICT, ROUNDS, margin_words

_FAR_APART = 2.0
_METER_DIGITS = 4  # of a level that is set by meter
_AUDIO_END_HZ = 20_000.0


def render_plan(words: PlanWords, pages: Pages) -> dict[str, bytes]:
    """Render plan.md and plan.html."""
    # within a word an underscore needs no escape, and the text is also read as it is
    markdown = re.sub(r"(?<=\w)\\_(?=\w)", "_", pages.text("plan.md.j2", plan=words))
    return {
        "plan.md": markdown.encode(),
        "plan.html": pages.text("plan.html", plan=words).encode(),
    }


def describe_plan(plan: Plan, pages: Pages, planned: tuple[tuple[str, str], ...] = ()) -> PlanWords:
    """Describe a plan in the sentences of templates/words/plan.j2.

    Parameters
    ----------
    plan : Plan
        The plan.
    pages : Pages
        The templates.
    planned : tuple of pairs
        The measurements that session.toml plans and that are still to be made: their names, and their keys in words.

    Returns
    -------
    PlanWords
        Variables of the plan's templates.

    Raises
    ------
    InputError
        If one of the session's own templates is at fault.
    """
    unit = plan.session.unit
    first_type = unit.type[0] if unit.type else ""
    topics = pages.cautions(repaired=plan.repaired, gear=unit.gear)
    checklists = Checklists(plan, pages, topics)
    # what the gate has read is shown there
    gate, going_back = checklists.items(plan.gate), checklists.items(plan.going_back)
    said = tuple(caution for topic in ("all", "open", "repair", "power") for caution in topics.get(topic, ()))
    stops = [reading for check in (*plan.gate, *plan.going_back) for reading in check.stops]
    first = plan.preconditioning
    warm_up = None
    if first is not None:
        warm_up = (
            phrase(
                pages,
                "preconditioning",
                watts=quantities.watts(first.power_w),
                load=quantities.load(first.load_ohm),
                volts=quantities.volts(first.output_v, _METER_DIGITS),
            ),
            phrase(pages, "preconditioning-risk"),
        )
    left = [step for step in plan.steps if step.state in (AGAIN, OPEN)]
    gate_to_fill = gate_rows([check.name for check in plan.gate if not check.readings])
    wanted_above = {row.casefold() for row in gate_to_fill}
    rows_to_fill = [row for step in left for row in reading_rows(step.capture) if row.casefold() not in wanted_above]
    return PlanWords(
        name=unit.name,
        what=", ".join(part for part in (unit.what, str(unit.year) if unit.year else "") if part),
        summary=_summarise(plan),
        ticked=describe_ticks(plan, pages),
        gear=unit.gear,
        gate_intro=phrase(pages, "gate-intro", gear=unit.gear),
        example=(phrase(pages, "example", type=first_type), phrase(pages, "also-given", type=first_type)),
        cautions=said,
        first_cautions=tuple(topics.get("all", ())),
        power_cautions=tuple(topics.get("power", ())),
        as_it_came=checklists.items(plan.as_it_came),
        gate=gate,
        gate_rows=(reading_header(), *gate_to_fill) if gate_to_fill else (),
        stop=tuple(dict.fromkeys(describe_reading(reading) for reading in stops)),
        prepare=tuple(_prepare(plan, pages)),
        cold=tuple(_blocks(plan, pages, hot=False)),
        hot=tuple(_blocks(plan, pages, hot=True)),
        cooling=phrase(pages, "cooling", gear=unit.gear),
        preconditioning=warm_up,
        going_back=going_back,
        ratings=tuple(_rating_line(need, number, plan, pages) for number, need in enumerate(plan.needs)),
        columns=tuple(plan.columns.items()),
        tables=measurement_tables([(s.number, s.capture) for s in left], plan.session.bench, repaired=plan.repaired),
        readings=(reading_header(), *rows_to_fill) if rows_to_fill else (),
        repaired=plan.repaired,
        planned=planned,
    )


def _summarise(plan: Plan) -> str:
    """Return how many ratings are in each state: "13 ratings: 10 answered, 1 too close to call"."""
    names = {
        ANSWERED: "answered",
        SETTLED: "settled as far as can be",
        CLOSER: "too close to call",
        AGAIN: "measured under other conditions",
        OPEN: "not measured",
    }
    counts = [(sum(need.state == state for need in plan.needs), name) for state, name in names.items()]
    total = len(plan.needs)
    return f"{total} rating{'' if total == 1 else 's'}: " + ", ".join(f"{n} {name}" for n, name in counts if n) + "."


def _prepare(plan: Plan, pages: Pages) -> Iterable[str]:
    for load in plan.loads:
        ohms, highest, watts = (
            quantities.load(load.ohms),
            quantities.watts(load.highest_w),
            quantities.watts(load.watts),
        )
        yield phrase(pages, "dummy-load", load=ohms, highest=highest, watts=watts, hot=load.highest_w >= HOT_W)
    if any(s.capture.setup.place == TERMINALS and s.capture.setup.load_ohm is None for s in plan.steps):
        yield phrase(pages, "no-load")
    if plan.mains.wanted_v and plan.steps:
        had = quantities.volts(plan.mains.had_v) if plan.mains.had_v else ""
        yield phrase(pages, "mains", wanted=quantities.volts(plan.mains.wanted_v), had=had)
    used = [s.level.gain for s in plan.steps if s.level.gain is not None and s.level.generator_v is not None]
    for gain in dict.fromkeys(used):
        shown = quantities.shown(20 * math.log10(gain.ratio), "db")
        facts = {"input": gain.input, "known_from": gain.known_from, "measurement": gain.measurement, "gain": shown}
        yield phrase(pages, "gain-known", **facts)
    for one, other in _possible_duplicates([s.capture.setup.input for s in plan.steps]):
        yield phrase(pages, "two-inputs", one=one, other=other)
    gear = plan.session.unit.gear
    driven = [s for s in plan.steps if not _source(s.capture.setup, gear)]
    untold = [s.capture for s in driven if s.level.output_v is not None and s.level.gain is None]
    # a capture that measures the gain needs none
    inputs = [
        c.setup.input
        for c in untold
        if not {"gain", "input_sensitivity"} & {q for _, w in c.uses for q in w.quantities}
    ]
    if inputs:
        yield phrase(pages, "tell-gain", inputs=list(dict.fromkeys(name for name in inputs if name)))


def _possible_duplicates(inputs: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield pairs of input names of which one merely says more: "phono" and "phono MM"."""
    for one, other in permutations(dict.fromkeys(inputs), 2):
        if one and other.lower().startswith(f"{one.lower()} "):
            yield one, other


def _blocks(plan: Plan, pages: Pages, *, hot: bool) -> Iterable[SetUpBlock]:
    steps = [step for step in plan.steps if step.capture.hot == hot]
    gear = plan.session.unit.gear
    for _, group in groupby(steps, key=lambda step: _describe_set_up(step.capture.setup, gear, pages)):
        same = list(group)
        phono = all(step.capture.drive == PHONO_SWEEP or step.capture.name == "phono-overload" for step in same)
        words = _describe_set_up(same[0].capture.setup, gear, pages, phono=phono)
        yield SetUpBlock(words, hot, tuple(_capture_step(step, plan, pages) for step in same))


def _describe_set_up(setup: SetUp, gear: Gear | None, pages: Pages, *, phono: bool = False) -> str:
    return phrase(
        pages,
        "set-up",
        input=setup.input,
        load=quantities.load(setup.load_ohm) if setup.load_ohm is not None else "",
        driven=setup.driven,
        place=setup.place,
        phono=phono,
        source=_source(setup, gear),
        transformer=gear is not None and gear.transformer,
    )


def _capture_step(step: PlanStep, plan: Plan, pages: Pages) -> CaptureStep:
    c = step.capture
    labels = [(plan.needs[number].verdict.label, wanted.decides) for number, wanted in c.uses]
    optional = c.kind == "distortion-power"
    serves = [
        label if decides else phrase(pages, "tells-more", label=label, optional=optional) for label, decides in labels
    ]
    gear = plan.session.unit.gear
    facts = _capture_facts(step, gear)
    words = pages.kind_words(c.kind, "plan", capture=c.name, **facts)
    what = phrase(pages, c.name, words=words, **facts)
    return CaptureStep(
        step.number,
        step.done,
        c.kind,
        what,
        _describe_level(step, gear, pages),
        tuple(dict.fromkeys(serves)),
        _existing(step, plan, pages),
    )


def _source(setup: SetUp, gear: Gear | None) -> str:
    """Return where the signal comes from if no generator drives an input: of a source, and of a receiver's radio."""
    radio = TRANSMITTER if setup.input.upper() in RADIO else ""
    return (gear.source if gear is not None else "") or radio


def _capture_facts(step: PlanStep, gear: Gear | None) -> dict[str, Any]:
    """Return a capture's facts, ready to print; every key is there for every capture."""
    c = step.capture
    wording = c.wording
    spots = [*wording.get("frequencies", ())]
    reach = 3 * max(spots, default=0.0)
    tones = wording.get("tones", ())
    return {
        "bands": [quantities.band(band) for band in wording.get("bands", ())],
        "frequencies": [quantities.hertz(hz) for hz in spots],
        "names": list(wording.get("names", ())),
        "source": _source(c.setup, gear),
        "types": gear.types if gear is not None else (),
        "loaded": quantities.load(2 * c.setup.load_ohm) if "loaded" in wording and c.setup.load_ohm else "",
        "power": quantities.watts(step.level.power_w) if step.level.power_w is not None else "",
        "stated": at_cell(c.uses[0][1]),
        "limits": [quantities.percent(limit) for limit in sorted(wording.get("limits", ()))],
        "figures": list(wording.get("figures", ())),
        "weightings": sorted(wording.get("weightings", ()), reverse=True),
        "quantities": list(wording.get("quantities", ())),
        "corners": [quantities.hertz(hz) for hz in wording.get("corners", ())],
        "tones": [quantities.tones(pair) for pair in tones],
        "far_apart": bool(tones) and tones[0][1] / tones[0][0] > _FAR_APART,
        "reach": quantities.hertz(reach) if reach > _AUDIO_END_HZ else "",
        "load": quantities.load(c.setup.load_ohm) if c.setup.load_ohm is not None else "",
    }


def _describe_level(step: PlanStep, gear: Gear | None, pages: Pages) -> str:
    c, level = step.capture, step.level

    def volts(value: float | None, figures: int = _METER_DIGITS) -> str:
        return quantities.volts(value, figures) if value is not None else ""

    return phrase(
        pages,
        "level",
        drive=c.drive,
        stated=at_cell(c.uses[0][1]),
        signal="" if c.drive == AS_RATED else signal_text(c.uses[0][1]),
        source=_source(c.setup, gear),
        overload=c.name == "phono-overload",
        offset=c.name == "dc-offset",
        power=quantities.watts(level.power_w) if level.power_w is not None else "",
        load=quantities.load(c.setup.load_ohm) if c.setup.load_ohm is not None else "",
        volts=volts(level.output_v),
        parts=[volts(part) for part in level.parts_v],
        meter=volts(level.meter_v),
        generator=volts(level.generator_v, 3),
        generator_parts=[volts(part, 3) for part in level.generator_parts_v],
        rated=[quantities.volts(limit) for limit in c.wording.get("rated", ())],
    )


def _existing(step: PlanStep, plan: Plan, pages: Pages) -> str:
    """Return the measurements that a step already has, and what of them doesn't fit if it must be redone."""
    if not step.measurements:
        return ""
    but = [text for number, _ in step.capture.uses for text in _obstacles(plan.needs[number], pages)]
    names = ", ".join(step.measurements)
    return f"{names}; {'; '.join(dict.fromkeys(but))}" if but and not step.done else names


def _obstacles(need: Need, pages: Pages) -> list[str]:
    """Return what keeps the existing measurements from giving a verdict."""
    return [
        *need.differs,
        *(phrase(pages, "reason", reason=reason) for reason in need.reasons),
    ]


def _rating_line(need: Need, number: int, plan: Plan, pages: Pages) -> RatingLine:
    v = need.verdict
    deciding = need.deciding
    name = need.state
    serving = [step.number for step in plan.steps if any(n == number and w.decides for n, w in step.capture.uses)]
    text = phrase(
        pages,
        name,
        word=v.verdict,
        measured=v.measured,
        margin=margin_words(v),
        held=need.measurements,
        but=_obstacles(need, pages) or [v.why],
        steps=serving,
        before=need.before,
        settled_by="nominal" if v.verdict == NO_VERDICT else "rounds" if ROUNDS in v.remark else "music",
        distance=_amount(need.distance, deciding) if need.distance is not None and deciding else "",
        electric=bool(deciding) and deciding.unit in ("W", "V", "dB") if deciding else False,
        two_loads=any(plan.steps[n - 1].capture.name == "two-load" for n in serving),
    )
    if need.blocked and name in (AGAIN, OPEN):
        text = f"{text} {phrase(pages, 'blocked', reason=need.blocked)}"
    return RatingLine(v.label, v.rated, v.verdict, text, name in (ANSWERED, SETTLED))


def _amount(value: float, finding: Finding) -> str:
    if finding.unit == "V":
        return quantities.volts(value, 2)
    return f"{digits.trimmed(value, 2)} {finding.unit}".strip()
