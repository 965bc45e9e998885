"""A measurement's cards: as found and as repaired on one scale, or its verdict, or its one figure."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.episode.judged_curves import find_height, keep_alike
from reviewkit.episode.judged_hero import judged_hero_under, leave_out
from reviewkit.episode.loudspeakers import find_loudspeakers
from reviewkit.measure import figures
from reviewkit.measure.kinds import KINDS
from reviewkit.model import quantities
from reviewkit.model.card import OF_NO_STAGE, Card, Chart, Fall, Hero, Mark, Panel, Room, Rows, Trace
from reviewkit.model.change import Change
from reviewkit.model.finding import Finding, Point, Run
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import weighted
from reviewkit.verdict.changes import largest_change
from reviewkit.verdict.limits import margin
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, JUDGED, MEETS, SHORT

BEFORE, AFTER, PAIR = "Before the repair", "After the repair", "Before and after"
# in these two figures of a quantity must agree to be compared on one card
_ALIKE = ("band", "weighting", "reference", "reference_input", "reference_level", "limit")
_ORDER = (SHORT, CLOSE, MEETS, INCOMPARABLE)


def stage_of(runs: Sequence[Run]) -> str:
    """Return the stage of a card's runs in words; "" if nothing was repaired."""
    stages = {run.conditions.measurement.stage for run in runs} - {"bench", ""}
    return PAIR if len(stages) > 1 else {"before": BEFORE, "after": AFTER}.get(next(iter(stages), ""), "")


def make_stills(
    base: Card,
    alone: Card,
    runs: Sequence[Run],
    verdicts: Sequence[Verdict],
    changes: Sequence[Change],
    compared: Sequence[str],
    *,
    further: bool = False,
) -> list[Card]:
    """Return the cards of some runs.

    Parameters
    ----------
    base : Card
        What the kind makes of them, all curves drawn on one scale.
    alone : Card
        What it makes of those after the repair; `base` if there are none before it.
    runs : sequence of Run
        The runs.
    verdicts : sequence of Verdict
        Of the whole session.
    changes : sequence of Change
        Of the whole session: figures measured alike before and after.
    compared : sequence of str
        The quantities by which this kind compares before and after.
    further : bool
        True if it is another picture of runs that have their card, which has the verdict.

    Returns
    -------
    list of Card
        The pair, with its card as found, if a repair changed what these runs show; then the verdict's card if a rating
        is judged by one of these runs' figures; without either, the card with its own figure.
    """
    ids = {f.measurement for run in runs for f in run.findings}
    alone = _on_one_scale(alone, base)
    if not isinstance(base.body, Chart) or not base.body.panels:
        return [replace(base, stage=stage_of(runs), finding=_in_words(base, runs, verdicts))]
    verdict = leading_verdict(verdicts, ids)
    own = [c for c in changes if c.after.measurement in ids and c.before.measurement in ids]
    leading = [f.quantity for f in base.hero.findings if quantities.quantity_of(f).is_distortion] if base.hero else []
    compared = sorted(compared, key=lambda quantity: quantity not in leading)  # of THD and THD+N, the card's own
    change = largest_change(own, compared, verdict.findings if verdict else ())
    # what changed only elsewhere than at the rated frequency is seen in the worst
    change = change or largest_change(own, [q for q in compared if quantities.QUANTITIES[q].swept])
    made = [] if change is None else [_pair(base, runs, change, own, verdict)]
    if verdict is not None and not further:
        one = _judged(alone, runs, verdict)
        made.append(replace(one, id=f"{base.id}-rated") if made else one)
    if not made:
        assert isinstance(alone.body, Chart)
        now = _with(alone.body, "now", alone.body.panels[0].traces)
        made = [
            replace(alone, stage=_stage_now(runs), body=_without_limits(now), finding=_finding("plain", runs, alone))
        ]
    return made


def _on_one_scale(alone: Card, base: Card) -> Card:
    """Return the card of one stage with those scales of the card of both that they share."""
    if not isinstance(alone.body, Chart) or not isinstance(base.body, Chart):
        return alone
    pairs = zip(alone.body.panels, base.body.panels, strict=True)
    panels = tuple(replace(own, y=of_both.y) if own.one_scale else own for own, of_both in pairs)
    return replace(alone, body=replace(alone.body, panels=panels))


def _in_words(base: Card, runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Point:
    """Return what the title of a card without a chart is worded from: its one verdict, or the number of each."""
    found = [f for run in runs for f in run.findings]
    own = [v for v in verdicts if v.verdict in JUDGED and v.position is not None and v.findings[0] in found]
    if isinstance(base.body, Rows) and len(base.body.rows) == len(own) == 1 and not base.body.more:
        return _finding("verdict", runs, base, verdict=own[0])
    words = Counter(v.verdict for v in own)
    names = ((MEETS, "met"), (SHORT, "missed"), (CLOSE, CLOSE))
    plain = _finding("plain", runs, base)
    return replace(plain, facts={**plain.facts, "counts": [(words[word], name) for word, name in names if words[word]]})


def changed_most(cards: Sequence[Card]) -> Card | None:
    """Return the pair that the repair changed most; one that got worse only if nothing improved."""
    pairs = [card for card in cards if card.found is not None and card.finding is not None]
    changes: dict[str, Change] = {card.id: card.finding.facts["change"] for card in pairs if card.finding is not None}
    return max(pairs, key=lambda card: (changes[card.id].improved, changes[card.id].size), default=None)


def leading_verdict(verdicts: Sequence[Verdict], ids: set[str]) -> Verdict | None:
    """Return the verdict that a card shows: on a figure read there, misses first, then the nearest to its limit."""
    own = [v for v in verdicts if v.verdict in _ORDER and v.measured and v.findings[0].measurement in ids]
    return min(own, key=lambda v: (_ORDER.index(v.verdict), v.room if v.room is not None else math.inf), default=None)


# ------------------------------------------------------------------ before and after


def _changed_alike(change: Change, changes: Sequence[Change]) -> bool:
    """Return whether the other channel changed as well, so that a title can't blame one."""
    one = change.after
    return any(
        other.after.quantity == one.quantity and other.after.channel not in ("", one.channel) and other.size >= 1
        for other in changes
    )


def _worst_stayed(change: Change, changes: Sequence[Change]) -> bool:
    """Return whether the channel's worst over a band is no better, so that a title can't speak of the band."""
    one = change.after.channel
    return any(quantities.quantity_of(c.after).swept and c.after.channel == one and not c.improved for c in changes)


def _pair(base: Card, runs: Sequence[Run], change: Change, own: Sequence[Change], verdict: Verdict | None) -> Card:
    """Return the card of a change, with the card as found: the same scales, nothing of "after" on it."""
    chart = base.body
    assert isinstance(chart, Chart)
    channel = change.after.channel
    place = _place(change, chart.panels[0])
    x = place[0] if place else None
    spot = change.after.at.get("frequency")
    there = spot is not None and spot == change.before.at.get("frequency")  # the worst may be elsewhere
    where = figures.where(change.after) if x is not None or there else ""
    where = "" if where.removeprefix("at ") in base.conditions else where
    if quantities.quantity_of(change.after).style == "plus-minus":  # nothing without the band that it holds over
        base = replace(base, conditions=(*base.conditions, figures.where(change.after)))
    old, new = quantities.show(change.before), quantities.show(change.after)
    weighting = _weighting(runs, change.after)
    if not any(weighting in condition for condition in base.conditions):
        base = replace(base, conditions=(*base.conditions, weighting))
    name = quantities.quantity_of(change.after).plain_name
    now, short = (", ".join(filter(None, (when, where))) for when in (f"{name} after", "after"))
    hero = Hero(new, now, old, channel=channel, findings=(change.after,), short=short)
    subject = ", ".join(filter(None, (base.subject, figures.channel_name(channel))))
    panels = _panels(chart, channel, place, found=False)
    pair = replace(
        base,
        stage=PAIR,
        subject=subject,
        body=replace(chart, panels=panels),
        hero=hero,
        finding=_finding("pair", runs, base, change=change, own=own),
    )
    # as found: the healthy channel's figure is at its trace
    same = _ALIKE if x is None else (*_ALIKE, "frequency")
    others = [f for f in _of_run(runs, change.before) if f.quantity == change.before.quantity and f.channel != channel]
    alike = next((f for f in others if all(f.at.get(key) == change.before.at.get(key) for key in same)), None)
    panels = _panels(chart, channel, place, found=True, healthy=alike)
    short = ", ".join(filter(None, (figures.side(channel), where)))
    named = ", ".join(filter(None, (name, short)))
    limit = f"rated {verdict.shown_limit}" if verdict and _is_outside_before(change, verdict) else ""
    hero = Hero(old, named, channel=channel, fault=change.improved, findings=(change.before,), short=short, rated=limit)
    found = replace(
        base,
        stage=BEFORE,
        body=replace(chart, panels=panels),
        hero=hero,
        readings=(),
        finding=_finding("fault", runs, base, change=change, own=own),
    )
    return replace(pair, found=found)


def _is_outside_before(change: Change, verdict: Verdict) -> bool:
    """Return whether the figure as found is outside the limit that the same figure is judged by after the repair."""
    before, after = change.before, change.after
    judged = verdict.findings[0] if verdict.verdict in JUDGED else None
    alike = judged is not None and (judged.quantity, judged.at) == (after.quantity, after.at) and not before.bound
    return alike and before.at == after.at and margin(verdict.rating, before, before.value).amount < 0


def _weighting(runs: Sequence[Run], finding: Finding) -> str:
    """Return how a figure is weighted, if it is or if its run has the same quantity weighted otherwise."""
    own = [f for f in _of_run(runs, finding) if f.quantity == finding.quantity]
    return weighted(finding.at.get("weighting", "")) if any("weighting" in f.at for f in own) else ""


def _of_run(runs: Sequence[Run], finding: Finding) -> Sequence[Finding]:
    return next((run.findings for run in runs if finding in run.findings), ())


def _place(change: Change, panel: Panel) -> tuple[float, float, float] | None:
    """Return a change's place in a chart: x, y before, y after; None if its figure isn't read off the curve."""
    key = {"Hz": "frequency", "W": "power"}.get(panel.x.unit, "")
    x = change.after.at.get(key)
    if x is None or panel.y.unit != change.after.unit or panel.stems or not panel.traces:
        return None
    if quantities.quantity_of(change.after).extent or not panel.x.low <= x <= panel.x.high:
        return None
    return float(x), change.before.value, change.after.value


def _panels(
    chart: Chart, channel: str, place: tuple[float, float, float] | None, *, found: bool, healthy: Finding | None = None
) -> tuple[Panel, ...]:
    """Return one stage of all panels; only the first has the curves' names."""
    panels = [_panel(panel, channel, place, found=found, healthy=healthy) for panel in chart.panels]
    panels[1:] = [replace(p, traces=tuple(replace(t, label="") for t in p.traces)) for p in panels[1:]]
    return tuple(panels)


def _panel(
    panel: Panel, channel: str, place: tuple[float, float, float] | None, *, found: bool, healthy: Finding | None = None
) -> Panel:
    """Return one stage of a panel: as found, all that was there; else the changed channel, its old curve ghosted."""
    stage = "before" if found else "now"
    names = {
        each[0]: figures.channel_name(each) for each in (channel, channel[::-1]) if ">" in each
    }  # of crosstalk's directions
    channel = channel.partition(">")[0]  # of crosstalk the driven one, as its curve is drawn
    # a ring on a curve that isn't drawn says nothing
    shown = [mark for mark in panel.marks if found or mark.channel in ("", channel[:1])]
    marks = tuple(replace(mark, role="now") for mark in shown if mark.role == stage)
    if found:
        drawn = {t.channel: replace(t, role="now", label="") for t in panel.traces if t.role == "before"}
        tone = panel.stems[:1]  # the same in both
        stems = (*tone, *(replace(stem, role="now") for stem in panel.stems if stem.role == "before"))
        own, other = drawn.get(channel), next((t for name, t in drawn.items() if name != channel), None)
        room = Room(own, other, fault=True) if own is not None and other is not None and place else None
        text = f": {quantities.show(healthy)}" if healthy is not None else ""
        named = [t for t in panel.traces if t.role == "ideal"]
        named += [
            replace(
                t, label=names.get(t.channel, figures.channel_name(t.channel)) + ("" if t.channel == channel else text)
            )
            for t in drawn.values()
        ]
    else:
        named = [
            replace(t, label={"before": "before", "now": "after"}.get(t.role, t.label))
            for t in panel.traces
            if t.channel in (channel, "") or t.role in OF_NO_STAGE
        ]
        stems = panel.stems
        old, new = (next((t for t in named if t.role == role), None) for role in ("before", "now"))
        room = Room(old, new) if old is not None and new is not None and place else None
    fall = Fall(*place) if place else None
    if found and place and room is None:  # there is nothing to fall to yet
        fall, marks = None, (*marks, Mark(place[0], place[1], channel=channel))
    return replace(panel, traces=tuple(named), stems=stems, marks=marks, limits=(), room=room, fall=fall)


# ------------------------------------------------------------------ one stage


def _judged(base: Card, runs: Sequence[Run], verdict: Verdict) -> Card:
    """Return the card of a verdict: the judged figure large, its limit in the chart, the deciding reading ringed."""
    assert isinstance(base.body, Chart)
    body = _with(base.body, "now", base.body.panels[0].traces)
    limits = tuple(limit for limit in body.panels[0].limits if limit.rating is verdict.rating)[:1]
    first = body.panels[0]
    hero, above = judged_hero_under(verdict, (base.subject, *base.conditions))
    base = replace(base, conditions=(*base.conditions, *above))
    labels = [f"{limit.label} {first.label}" for limit in limits]
    hero = leave_out(hero, (*base.conditions, *labels))
    key = {"Hz": "frequency", "W": "power"}.get(first.x.unit, "")
    deciding = verdict.findings[0]
    x = deciding.value if deciding.unit == "W" == first.x.unit else deciding.at.get(key)
    y = deciding.at.get("limit") if deciding.unit == "W" == first.x.unit else find_height(first, deciding, x)
    marks = first.marks if x is None or y is None else (Mark(float(x), float(y), channel=deciding.channel),)
    if verdict.rating.sides_differ and verdict.verdict == MEETS:
        marks = ()  # the largest may be far from its limit, and no margin says which it is
    traces = first.traces
    pair = find_loudspeakers(runs, verdict, limits)
    if x is None and (own := [m for m in marks if math.isclose(m.x, deciding.value)]):  # a place along the axis itself
        marks, traces = tuple(own), keep_alike(first.traces, own[0])
    first = replace(first, limits=limits, marks=marks, traces=traces)
    return replace(
        base,
        stage=_stage_now(runs),
        body=replace(body, panels=(first, *(replace(p, limits=()) for p in body.panels[1:]))),
        hero=hero,
        verdict=verdict,
        finding=_finding("verdict", runs, base, verdict=verdict, pair=pair),
    )


def _with(chart: Chart, stage: str, traces: Sequence[Trace]) -> Chart:
    """Return a chart without the old curves, unless it has no others."""
    old = {t.role for t in traces if t.role not in OF_NO_STAGE} == {"before"}
    keep = ("before",) if old else ("now", "residual")
    return replace(
        chart,
        panels=tuple(
            replace(
                panel,
                traces=tuple(t for t in panel.traces if t.role in (*keep, *OF_NO_STAGE)),
                stems=tuple(s for s in panel.stems if s.role in keep),
                marks=tuple(m for m in panel.marks if m.role in keep),
            )
            for panel in chart.panels
        ),
    )


def _without_limits(chart: Chart) -> Chart:
    """Return a chart without limits: a limit is drawn only with its verdict on the card."""
    return replace(chart, panels=tuple(replace(panel, limits=()) for panel in chart.panels))


def _stage_now(runs: Sequence[Run]) -> str:
    stages = {run.conditions.measurement.stage for run in runs}
    return AFTER if "after" in stages else BEFORE if "before" in stages else ""


def _finding(
    form: str,
    runs: Sequence[Run],
    base: Card,
    *,
    change: Change | None = None,
    verdict: Verdict | None = None,
    pair: str = "",
    own: Sequence[Change] = (),
) -> Point:
    """Return what a title is worded from."""
    kind = runs[0].conditions.measurement.kind
    facts = {
        "kind": kind,
        "asks": KINDS[kind].asked_of(runs[0].conditions.gear),
        "picture": "",
        "subject": base.subject,
        "verdict": verdict,
        "pair": pair,
        "change": change,
        "channel": change.after.channel if change and not _changed_alike(change, own) else "",
        "only_there": change is not None and _worst_stayed(change, own),
        "figure": change.after if change else base.hero.findings[0] if base.hero and base.hero.findings else None,
        "settings": len(runs),
        "by_meter": KINDS[kind].by_meter or not any(run.conditions.measurement.file for run in runs),
    }
    return Point("titles", form, facts)
