"""Findings built and looked up. Every kind builds its findings here, so that each number carries its conditions."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from reviewkit.measure import bench_floor
from reviewkit.measure.kinds import KINDS
from reviewkit.model import named_conditions, quantities, unstated_conditions
from reviewkit.model.card import Body, Card, Hero, Trace
from reviewkit.model.change import Change, of_worse_channel
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Run
from reviewkit.model.finding_conditions import DRIVEN, reference_of
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Measurement, Rating
from reviewkit.model.weightings import weighted

_FROM_MEASUREMENT = ("load", "input", "channels", "setting", "termination", "volume")
LN10_OVER_20 = math.log(10) / 20
CHANNELS = {"L": "left", "R": "right", "both": ""}


def side(channel: str) -> str:
    """Return a channel in short: "right", "R → L"; "" of both."""
    return CHANNELS.get(channel, channel.replace(">", " → "))


def channel_name(channel: str) -> str:
    """Return a channel in full: "right channel", "R → L"; "" of both."""
    return f"{CHANNELS[channel]} channel" if channel in ("L", "R") else side(channel)


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


class Collected:
    """A measurement's results, as its kind finds them."""

    def __init__(self, c: Conditions) -> None:
        self.conditions = c
        self.findings: list[Finding] = []
        self.curves: list[Curve] = []
        self._withheld: list[str] = []

    def add(self, quantity: str, channel: str, value: float, **more: Any) -> None:
        """Add a finding; see `finding`."""
        self.findings.append(finding(self.conditions, quantity, channel, value, **more))

    def withhold(self, why: str, channel: str = "") -> None:
        """Say why a figure isn't given, of one channel if the reason is its own."""
        whose = f", channel {channel}" if channel else ""
        self._withheld.append(f"{self.conditions.measurement.id}{whose}: {why}")

    @property
    def measured(self) -> Measured:
        """Return what was found, each reason once."""
        return Measured(tuple(self.findings), tuple(dict.fromkeys(self._withheld)), tuple(self.curves))


def bounded(made: Finding, bound: str, method: str) -> Finding:
    """Return a finding as "at most" or "at least" what it is, and how it was found, which is why."""
    return replace(made, bound=bound, at={**made.at, "method": method})


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


def drive(m: Measurement) -> str:
    """Return the level and load of a measurement as stated: "5 W into 8 Ω", "2.83 V", ""."""
    return quantities.conditions(
        {
            "power": m.drive_w,
            "voltage": None if m.drive_w is not None else m.drive_v,
            **(m.level.entries() if m.level is not None else {}),
            "load": m.load_ohm if (m.drive_w or m.drive_v) else None,
        }
    )


def shared_driven(measurements: Sequence[Measurement]) -> str:
    """Return which channels are driven in all measurements, in words; "" if it differs or isn't known."""
    return _shared([DRIVEN.get(m.channels, "") for m in _of_the_unit(measurements)])


def _shared(texts: Sequence[str]) -> str:
    return texts[0] if len(set(texts)) == 1 else ""


def _of_the_unit(measurements: Sequence[Measurement]) -> Sequence[Measurement]:
    """Return the measurements without those of the bench alone, if there are others."""
    return [m for m in measurements if m.stage != "bench"] or measurements


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
        Conditions of the kind's own, after the level; "" for none.
    level
        The level as measured, if none is stated.
    """
    shown = _of_the_unit([run.conditions.measurement for run in runs])
    level = level or _shared([drive(m) for m in shown])
    if not level:
        level = ", ".join(filter(None, (_shared([_load(m) for m in shown]), *_levels(shown))))
    setting = _shared([", ".join(settings(m)) for m in shown])
    asides = (_shared([m.input for m in shown]), shared_driven(shown))
    return Card(
        "",
        subject,
        tuple(filter(None, (level, *more, setting))),
        body,
        tuple(text for text in asides if text and text not in more),
        hero=hero,
        readings=readings(found),
    )


def settings(m: Measurement) -> list[str]:
    """Return the setting and the conditions that the user names."""
    return [*([m.setting] if m.setting else []), *named_conditions.in_words(m.conditions)]


def _levels(measurements: Sequence[Measurement]) -> list[str]:
    """Return what was driven before and after the repair, and into what, if that was not the same in both."""
    stages = [m.stage for m in measurements]
    loads = [_load(m) for m in measurements]
    texts = [drive(m) for m in measurements]
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
            alike = (m.stage, settings(m), m.load_ohm, m.input) == (o.stage, settings(o), o.load_ohm, o.input)
            if alike and drive(m) == drive(o) and not _channels(run) & _channels(other):
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
    measurements = _of_the_unit([each.conditions.measurement for each in runs])
    if len(measurements) == 1:
        return ""
    m = run.conditions.measurement
    for texts, own in (
        ([each.stage for each in measurements], m.stage),
        ([", ".join(settings(each)) for each in measurements], ", ".join(settings(m))),
        ([drive(each) for each in measurements], drive(m)),
        ([_load(each) for each in measurements], _load(m)),
    ):
        if own and texts.count(own) == 1:
            return own
    return m.id


def _load(m: Measurement) -> str:
    if m.load_ohm is None:
        return ""
    return "no load" if math.isinf(m.load_ohm) else quantities.load(m.load_ohm)


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


def trace(curve: Curve, run: Run, runs: Sequence[Run]) -> Trace:
    """Return a curve of a run as its card draws it, named at its end; crosstalk is drawn as its driven channel is."""
    label = end_label(curve.channel.replace(">", " → "), run, runs)
    return Trace(curve.x, curve.y, curve.channel[:1], trace_role(run, runs), label)


def by_channel(run: Run | None, quantity: str, **at: Any) -> list[Finding]:
    """Return a quantity's findings of one run, one per channel, in the file's order, under the given conditions; none
    of no run.
    """
    found = run.findings if run else ()
    return [f for f in found if f.quantity == quantity and all(f.at.get(k) == v for k, v in at.items())]


def as_shown(found: Sequence[Finding], was: Sequence[Finding]) -> tuple[Finding | None, Finding | None]:
    """Return the channel's figure that a card shows large, and what it was before: the pair's, else the worse one."""
    before = {f.channel: f for f in was}
    change = of_worse_channel(Change(before[f.channel], f) for f in found if f.channel in before)
    now = change.after if change else quantities.worse(found)
    return now, before.get(now.channel) if now else None


def extents(drawn: Iterable[Trace | Curve]) -> list[float]:
    """Return the lowest and the highest value of each curve."""
    return [float(value) for each in drawn for value in (each.y.min(), each.y.max())]


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
        return quantities.band(finding.at["band"])
    if quantities.quantity_of(finding).over_power or ("power" in finding.at and _swept_power(finding)):
        return f"at {quantities.watts(finding.at['power'])}" if "power" in finding.at else ""
    hz = finding.at.get("frequency")
    return f"at {quantities.hertz(hz)}" if hz is not None else ""


def place(finding: Finding) -> str:
    """Return where a figure was read, as `where`; of a power the distortion that it is at, for it is its own place."""
    if finding.unit == "W" and "limit" in finding.at:
        return f"at {quantities.percent(finding.at['limit'])} distortion"
    return where(finding)


def _swept_power(finding: Finding) -> bool:
    kind = KINDS.get(finding.kind)
    return kind is not None and any("power" in roles for roles in kind.needs)


def hero(key: Finding | None, found: Sequence[Finding] = (), what: str = "") -> Hero | None:
    """Return a figure as a card shows it large: what it is, its channel if others differ, where it was read."""
    if key is None:
        return None
    names = [side(key.channel) if len({f.channel for f in found}) > 1 else "", what, where(key)]
    short = ", ".join(filter(None, names))
    named = short if what else ", ".join(filter(None, (quantities.quantity_of(key).plain_name, short)))
    x = key.at.get("power") if _swept_power(key) else key.at.get("frequency")
    return Hero(quantities.show(key), named, channel=key.channel, x=x, y=key.value, findings=(key,), short=short)


def off_the_dial(figure: Hero | None) -> Hero | None:
    """Return a figure without its place: the frequency among its conditions is the tone's own."""
    return replace(figure, caption=figure.caption.split(", at ")[0], x=None, y=None) if figure else None


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
    return (
        str(f.at.get("line") or quantities.quantity_of(f).name),
        side(f.channel),
        place(f),
        f"re {reference}" if (reference := reference_of(f)) else "",
        weighted(f.at["weighting"]) if "weighting" in f.at else "",
        _setting(f) if with_setting else "",
    )
