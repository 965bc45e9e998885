"""Findings built and looked up. Every kind builds its findings here, so that each number carries its conditions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from reviewkit.measure import bench_floor
from reviewkit.measure.kinds import KINDS
from reviewkit.model import named_conditions, quantities, unstated_conditions
from reviewkit.model.card import Body, Card, Hero
from reviewkit.model.finding import Conditions, Finding, Run
from reviewkit.model.finding_conditions import DRIVEN, reference_of
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Rating
from reviewkit.model.weightings import weighted

_FROM_MEASUREMENT = ("load", "input", "channels", "setting", "termination", "volume")
LN10_OVER_20 = math.log(10) / 20
CHANNELS = {"L": "left", "R": "right", "both": ""}


def finding(
    c: Conditions,
    quantity: str,
    channel: str,
    value: float,
    *,
    uncertainty: float | None = None,
    unit: str | None = None,
    **at: object,
) -> Finding:
    """Return one finding with the conditions of its measurement.

    `at`: its own conditions; None entries are left out. `unit`: of a quantity under a name of the user's own, or if it
    isn't the table's; None for the table's.
    """
    m = c.measurement
    quantity, value = _as_rated(c, quantity, float(value))
    under: dict[str, Any] = {key: entry for key, entry in at.items() if entry is not None}
    if "power" not in under and "voltage" not in under:
        if m.drive_w is not None:
            under["power"] = m.drive_w
        elif m.drive_v is not None:
            under["voltage"] = m.drive_v
    if m.level is not None:
        under |= m.level.entries()
    for key in _FROM_MEASUREMENT:
        entry = m.load_ohm if key == "load" else getattr(m, key)
        if entry not in (None, "") and key not in under:
            under[key] = entry
    if m.conditions:
        under["conditions"] = {**dict(m.conditions), **under.get("conditions", {})}
    bound = ""
    floor = bench_floor.of(c, quantity, channel, under)
    if floor is not None:
        bound = bench_floor.bound(quantity, value, floor)
        uncertainty = bench_floor.added(quantity, value, uncertainty, floor)
    return Finding(
        quantity=quantity,
        channel=channel,
        value=value,
        unit=quantities.QUANTITIES[quantity].unit if unit is None else unit,
        at=under,
        measurement=m.id,
        kind=m.kind,
        stage=m.stage,
        source=m.file or "session.toml",
        uncertainty=uncertainty,
        bound=bound,
        floor=bench_floor.in_unit(quantity, floor) if floor is not None and bound else None,
    )


def _as_rated(c: Conditions, quantity: str, value: float) -> tuple[str, float]:
    """Return a quantity and its value, both turned round if only the opposite is rated here: separation, no crosstalk.

    So a figure has the maker's name and sign wherever it is shown.
    """
    opposite = quantities.QUANTITIES[quantity].opposite if quantity in quantities.QUANTITIES else ""
    if not opposite:
        return quantity, value
    here = c.measurement.input.casefold()
    of_it = [r for r in c.ratings if not r.input or not here or r.input.casefold() == here]
    answers = {rule_of(r).findings[0] for r in of_it}
    name, other = quantities.QUANTITIES[quantity].name, quantities.QUANTITIES[opposite].name
    return (opposite, -value) if other in answers and name not in answers else (quantity, value)


def volts_uncertainty(c: Conditions, value: float) -> float | None:
    """Return the expanded uncertainty of a voltage from the bench's level uncertainty.

    Notes
    -----
    GUM first order: V · dB · ln 10 / 20.
    """
    level_db = c.bench.level_uncertainty_db
    return None if level_db is None else abs(value) * level_db * LN10_OVER_20


def watts_uncertainty(c: Conditions, value: float) -> float | None:
    """Return the expanded uncertainty of a power P = V²/R; None if neither of its shares is stated.

    Notes
    -----
    GUM first order, JCGM 100:2008, from memory: twice the voltage's share, and the load's tolerance ±a, which is
    rectangular: U = 2a/√3.
    """
    level_db, tolerance = c.bench.level_uncertainty_db, c.bench.load_tolerance_percent
    if level_db is None and tolerance is None:
        return None
    return abs(value) * math.hypot(2 * (level_db or 0.0) * LN10_OVER_20, 2 / math.sqrt(3) * (tolerance or 0.0) / 100)


def rated_output_w(c: Conditions) -> float | None:
    """Return the rated power into this measurement's load, W, to which a signal to noise ratio is relative."""
    return unstated_conditions.rated_output_w(c.ratings, c.measurement.load_ohm)


def rated(c: Conditions, *names: str) -> list[Rating]:
    """Return the session's ratings under these rated names."""
    return [rating for rating in c.ratings if rating.quantity in names]


def rated_bands(c: Conditions, *names: str) -> list[tuple[float, float]]:
    """Return the bands that these ratings name, without repeats."""
    return list(dict.fromkeys(r.band_hz for r in rated(c, *names) if r.band_hz))


def spots_hz(c: Conditions, *names: str) -> list[float]:
    """Return 1 kHz and each frequency that these ratings name, or mean without naming it, without repeats."""
    named = (hz for r in rated(c, *names) for hz in unstated_conditions.frequencies_hz(r))
    return list(dict.fromkeys([unstated_conditions.FREQUENCY_HZ, *named]))


def drive(c: Conditions) -> str:
    """Return the level and load of a measurement as stated: "5 W into 8 Ω", "2.83 V", ""."""
    m = c.measurement
    return quantities.conditions(
        {
            "power": m.drive_w,
            "voltage": None if m.drive_w is not None else m.drive_v,
            **(m.level.entries() if m.level is not None else {}),
            "load": m.load_ohm if (m.drive_w or m.drive_v) else None,
        }
    )


def shared_driven(runs: Sequence[Run]) -> str:
    """Return which channels are driven in all runs, in words; "" if it differs or isn't known."""
    return _shared([DRIVEN.get(run.conditions.measurement.channels, "") for run in _of_the_unit(runs)])


def _shared(texts: Sequence[str]) -> str:
    return texts[0] if len(set(texts)) == 1 else ""


def _of_the_unit(runs: Sequence[Run]) -> Sequence[Run]:
    """Return the runs without those of the bench alone, if there are others."""
    return [run for run in runs if run.conditions.measurement.stage != "bench"] or runs


def card(
    runs: Sequence[Run],
    subject: str,
    body: Body,
    hero: Hero | None,
    found: Sequence[Finding] = (),
    more: Sequence[str] = (),
    level: str = "",
) -> Card:
    """Return a card with what its runs share of level, load, setting, input and channels driven.

    Parameters
    ----------
    runs
        The runs that it shows.
    subject
        The measurement's name.
    body
        What it draws.
    hero
        Its one figure, if there is neither a verdict nor a change to show.
    found
        Further figures, for the page.
    more
        Conditions of the kind's own, after the level.
    level
        The level as measured, if none is stated.
    """
    conditions, asides = stated(runs, *more, level=level)
    return Card("", subject, conditions, body, asides, hero=hero, readings=readings(found))


def stated(runs: Sequence[Run], *more: str, level: str = "") -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the conditions that no figure goes without, and those that a card may leave out."""
    runs = _of_the_unit(runs)
    level = level or _shared([drive(run.conditions) for run in runs])
    ohms = _shared([_load(run) for run in runs])
    first = (
        level or ", ".join(part for part in (ohms, *_levels(runs)) if part),
        *more,
        _shared([", ".join(settings(run)) for run in runs]),
    )
    then = (_shared([run.conditions.measurement.input for run in runs]), shared_driven(runs))
    return tuple(filter(None, first)), tuple(text for text in then if text and text not in more)


def settings(run: Run) -> list[str]:
    """Return the setting and the conditions that the user names."""
    m = run.conditions.measurement
    return [*([m.setting] if m.setting else []), *named_conditions.in_words(m.conditions)]


def _levels(runs: Sequence[Run]) -> list[str]:
    """Return what was driven before and after the repair, and into what, if that was not the same in both."""
    stages = [run.conditions.measurement.stage for run in runs]
    loads = [_load(run) for run in runs]
    texts = [drive(run.conditions) for run in runs]
    if len(set(loads)) == 1:
        texts = [text.split(" into ")[0] for text in texts]
    else:
        # each keeps its load, its only condition if no level is stated
        texts = [
            text if " into " in text else ", ".join(filter(None, (text, ohms)))
            for text, ohms in zip(texts, loads, strict=True)
        ]
    if len(set(stages)) < len(stages) or "" in stages:
        return []
    return [f"{text} {stage}" for text, stage in zip(texts, stages, strict=True) if text]


def join_channels(runs: Sequence[Run]) -> list[Run]:
    """Return runs with those of one stage that hold different channels joined: one export for each channel is one run.

    They are joined if they are measured alike, and none has a channel that another has.
    """
    joined: list[Run] = []
    for run in runs:
        m = run.conditions.measurement
        for index, other in enumerate(joined):
            o = other.conditions.measurement
            alike = (m.stage, settings(run), m.load_ohm, m.input) == (o.stage, settings(other), o.load_ohm, o.input)
            if alike and drive(run.conditions) == drive(other.conditions) and not _channels(run) & _channels(other):
                joined[index] = replace(
                    other,
                    findings=(*other.findings, *run.findings),
                    curves=(*other.curves, *run.curves),
                    withheld=(*other.withheld, *run.withheld),
                )
                break
        else:
            joined.append(run)
    return joined


def _channels(run: Run) -> set[str]:
    """Return the channels of a run's curves; a run with an unnamed one shares it with every other."""
    return {curve.channel for curve in run.curves} or {f.channel for f in run.findings}


def run_label(run: Run, runs: Sequence[Run]) -> str:
    """Return what sets a run apart from the others of its card: its stage, setting or load, else its id; "" if
    alone.
    """
    runs = _of_the_unit(runs)
    if len(runs) == 1:
        return ""
    m = run.conditions.measurement
    for texts, own in (
        ([r.conditions.measurement.stage for r in runs], m.stage),
        ([", ".join(settings(r)) for r in runs], ", ".join(settings(run))),
        ([drive(r.conditions) for r in runs], drive(run.conditions)),
        ([_load(r) for r in runs], _load(run)),
    ):
        if own and texts.count(own) == 1:
            return own
    return m.id


def _load(run: Run) -> str:
    ohms = run.conditions.measurement.load_ohm
    return "" if ohms is None else "no load" if math.isinf(ohms) else quantities.load(ohms)


def main_run(runs: Sequence[Run]) -> Run:
    """Return the run whose figures a card shows large: the last after the repair, else the last not of the bench."""
    for stage in ("after", "", "before"):
        for run in reversed(runs):
            if run.conditions.measurement.stage == stage:
                return run
    return runs[-1]


def trace_role(run: Run, runs: Sequence[Run]) -> str:
    """Return how a run's curves are drawn: "bench", "before" if there is an "after", else "now"."""
    stage = run.conditions.measurement.stage
    if stage == "bench":
        return "bench"
    stages = {r.conditions.measurement.stage for r in runs}
    return "before" if stage == "before" and "after" in stages else "now"


def end_label(channel: str, run: Run, runs: Sequence[Run]) -> str:
    """Return a curve's name: the channel, and what distinguishes the run."""
    role = trace_role(run, runs)
    if role == "bench":
        return "bench"
    label = run_label(run, runs)
    if label == "after" or (role == "before" and label == "before"):
        label = ""
    return " ".join(part for part in (channel, label) if part)


def by_channel(run: Run, quantity: str, **at: Any) -> list[Finding]:
    """Return a quantity's findings of one run, one per channel, in the file's order, under the given conditions."""
    return [f for f in run.findings if f.quantity == quantity and all(f.at.get(k) == v for k, v in at.items())]


def distortion_name(run: Run) -> str:
    """Return what a run's distortion is: "Distortion (THD+N)", or "Distortion" if its file doesn't name it."""
    figure = next((str(f.at["figure"]) for f in run.findings if "figure" in f.at), "")
    return f"Distortion ({figure})" if figure else "Distortion"


def where(finding: Finding) -> str:
    """Return where a figure was read, if that is one place: "at 20 kHz", "at 1 W", "at position 4"; of what is ± so
    much over a band, the band: "20 Hz – 20 kHz".
    """
    if "where" in finding.at:
        return str(finding.at["where"])
    if quantities.quantity_of(finding).style == "plus-minus":
        low_hz, high_hz = finding.at["band"]
        return quantities.band((low_hz, high_hz))
    if quantities.quantity_of(finding).over_power or ("power" in finding.at and _swept_power(finding)):
        return f"at {quantities.watts(finding.at['power'])}" if "power" in finding.at else ""
    hz = finding.at.get("frequency")
    return f"at {quantities.hertz(hz)}" if hz is not None else ""


def _swept_power(finding: Finding) -> bool:
    kind = KINDS.get(finding.kind)
    return kind is not None and any("power" in roles for roles in kind.needs)


def hero(key: Finding | None, found: Sequence[Finding] = (), what: str = "") -> Hero | None:
    """Return a figure as a card shows it large: what it is, its channel if others differ, where it was read."""
    if key is None:
        return None
    whose = CHANNELS.get(key.channel, key.channel.replace(">", " → "))
    names = [whose if len({f.channel for f in found}) > 1 else "", what, where(key)]
    short = ", ".join(filter(None, names))
    named = short if what else ", ".join(filter(None, (quantities.quantity_of(key).plain_name, short)))
    x = key.at.get("power") if _swept_power(key) else key.at.get("frequency")
    return Hero(quantities.show(key), named, channel=key.channel, x=x, y=key.value, findings=(key,), short=short)


def readings(found: Sequence[Finding]) -> tuple[tuple[str, str], ...]:
    """Return figures as pairs of what it is and how much: ("THD, left, at 1 kHz", "0.021 %")."""
    several = len({_setting(f) for f in found}) > 1
    return tuple((", ".join(filter(None, _words(f, with_setting=several))), quantities.show(f)) for f in found)


def _setting(f: Finding) -> str:
    """Return the setting of a figure and the conditions that the user names."""
    named = named_conditions.in_words(f.at.get("conditions", {}).items())
    return ", ".join(filter(None, (str(f.at.get("setting", "")), *named)))


def _words(f: Finding, *, with_setting: bool) -> tuple[str, ...]:
    """Return what a further figure is: quantity, channel, place, and what sets it apart from others of its card."""
    of_power = f.unit == "W" and "limit" in f.at
    return (
        str(f.at.get("line") or quantities.quantity_of(f).name),
        CHANNELS.get(f.channel, f.channel.replace(">", " → ")),
        f"at {quantities.percent(f.at['limit'])} distortion" if of_power else where(f),
        f"re {reference}" if (reference := reference_of(f)) else "",
        weighted(f.at["weighting"]) if "weighting" in f.at else "",
        _setting(f) if with_setting else "",
    )
