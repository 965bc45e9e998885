"""The effect of a control: a response compared with a reference response, both set to 0 dB at 1 kHz."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.measure.equaliser_bands import RATED, band_findings, band_points, fan, join_bands
from reviewkit.model import quantities
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import SWEEP, Basis, CaptureRequest
from reviewkit.model.card import Card, Chart, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.toml_text import inline_table
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import REFERENCE_HZ

CONTROLS = ("bass_control", "treble_control")
_SIDES = (("boost_low", "corner_low", -1), ("boost_high", "corner_high", +1))
_FILTER_DB = -3.0  # an octave: a gentler slope is a tone control's
_FLAT_DB = 0.1  # a control with a smaller effect counts as flat
# what a setting says of which end a control is at
_ENDS = re.compile(r"\b(?:full|fully|all the way|up|down|max(?:imum)?|min(?:imum)?|boost|cut)\b", re.IGNORECASE)
_EQUALISER = re.compile(r"\b(?:equali[sz]er|eq)(?: band)?\b")
# the title of a card whose settings all begin with this word
_TITLES = {"loudness": "Loudness", "filter": "Filters"} | dict.fromkeys(("bass", "treble", "tone"), "Tone controls")


def _reference(c: Conditions) -> Sheet:
    """Return the response that the measurement is compared with. Raise InputError if there is none, or no sweep."""
    against = c.measurement.against
    if not against:
        raise c.fault('a contour is compared with another response; name that one\'s id, for example against = "flat"')
    if c.reference is None or c.reference.find("frequency") is None or not sweeps.levels_of(c.reference):
        what = f'against = "{against}" has no columns of frequency and level; name a response of the same unit'
        raise c.fault(what)
    return c.reference


def _counterpart(column: Column, columns: Sequence[Column], reference: Sheet, c: Conditions) -> Column | None:
    """Return the reference's column for a channel: the one of the same name, or the only one if either has no name."""
    candidates = sweeps.levels_of(reference)
    same = [other for other in candidates if other.channel == column.channel]
    if same or (len(candidates) == 1 and not (candidates[0].channel and column.channel)):
        return (same or candidates)[0]
    if not column.channel and len(columns) == 1:
        what = f'against = "{c.measurement.against}" has a left and a right channel, this file one without a name; '
        kept = {key: value for key, value in c.measurement.columns.items() if key != "level"}
        written = c.measurement.columns.get("level", column.header)
        lines = (inline_table({**kept, side: written}) for side in ("left", "right"))
        raise c.fault(f"{what}write {' or '.join(f'columns = {line}' for line in lines)}")
    return None


def _difference(
    sheet: Sheet, column: Column, reference: Sheet, other: Column, *, levelled: bool
) -> tuple[Array, Array] | None:
    """Return frequencies (Hz) and the channel's difference from the reference (dB), both set to 0 dB at 1 kHz if
    `levelled`.

    It spans the range that both cover; None if one of them doesn't reach 1 kHz. The two don't need to share
    frequencies: the reference is read at the measurement's.
    """
    own_hz, reference_hz = sheet.need("frequency").values, reference.need("frequency").values
    sides = ((own_hz, column), (reference_hz, other))
    own, its = (
        sweeps.relative(x, level_db) if levelled else level_db
        for x, side in sides
        for level_db in (relative_db(side.values, side.unit),)
    )
    if own is None or its is None:
        return None
    low_hz, high_hz = max(own_hz[0], reference_hz[0]), min(own_hz[-1], reference_hz[-1])
    inside = own_hz[(own_hz >= low_hz * (1 - sweeps.EDGE)) & (own_hz <= high_hz * (1 + sweeps.EDGE))]
    ends = [edge for edge in (low_hz, high_hz) if not np.any(np.abs(inside / edge - 1) <= sweeps.EDGE)]
    where = np.sort(np.concatenate((inside, ends)))
    return where, curves.values_at(own_hz, own, where) - curves.values_at(reference_hz, its, where)


def _differences(sheet: Sheet, got: figures.Collected) -> list[tuple[str, Array, Array]]:
    """Return (channel, frequencies, difference) for each channel that has one."""
    c, m = got.conditions, got.conditions.measurement
    reference, columns = _reference(c), sweeps.levels_of(sheet)
    found = []
    for column in columns:
        other = _counterpart(column, columns, reference, c)
        if other is None:
            got.withhold(f'no figures for channel {column.channel}, the reference "{m.against}" does not have it')
            continue
        if m.centre_hz is not None and column.unit != other.unit:
            what = f'the levels are in {column.unit}, those of "{m.against}" in {other.unit}; export both in one unit'
            raise c.fault(what)
        pair = _difference(sheet, column, reference, other, levelled=m.centre_hz is None)
        if pair is None:
            why = "does not reach 1 kHz, where both are set to 0 dB"
            got.withhold(f'no figures, the sweep or its reference "{m.against}" {why}')
            continue
        found.append((column.channel, *pair))
    return found


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return boost_low, boost_high, corner_low, corner_high and slope, per channel.

    bass_control, treble_control: dB, how far a setting of that name lifts or cuts at a frequency that is rated.
    boost_*: dB, the difference furthest from 0 dB below and above 1 kHz within 20 Hz – 20 kHz, with its frequency.
    corner_*: Hz, half power relative to the reference. slope: dB/octave between one and two octaves beyond a corner,
    which its `at.frequency` names; negative if it falls away from 1 kHz. Of an equaliser's band, see `band_findings`.
    """
    got = figures.Collected(c)
    for channel, frequency_hz, difference in _differences(sheet, got):
        got.curves.append(Curve("", channel, read_only(frequency_hz), read_only(difference)))
        if c.measurement.centre_hz is not None:
            of_band, why = band_findings(c, channel, frequency_hz, difference)
            got.findings += of_band
            if why:
                got.withhold(why)
            continue
        got.findings += _at_rated_frequencies(c, channel, frequency_hz, difference)
        for boost, corner, step in _SIDES:
            side_hz = (AUDIO_BAND_HZ[0], REFERENCE_HZ) if step < 0 else (REFERENCE_HZ, AUDIO_BAND_HZ[1])
            got.findings += sweeps.worst_in_bands(c, boost, channel, frequency_hz, difference, [side_hz], way=0)
            at = sweeps.corner_hz(frequency_hz, difference, step)
            if at is None:
                continue
            got.add(corner, channel, at)
            near, far = (curves.value_at(frequency_hz, difference, at * 2.0 ** (step * octaves)) for octaves in (1, 2))
            if near is not None and far is not None:
                got.add("slope", channel, far - near, frequency=at)
    return got.measured


def _at_rated_frequencies(c: Conditions, channel: str, frequency_hz: Array, difference: Array) -> list[Finding]:
    """Return how far a tone control lifts or cuts, without its sign, at each frequency that a rating of it names."""
    found = []
    for name in CONTROLS:
        if name.split("_")[0] not in c.measurement.setting.lower().split():
            continue
        for at_hz in dict.fromkeys(rating.frequency_hz for rating in figures.rated(c, name)):
            value = curves.value_at(frequency_hz, difference, at_hz) if at_hz else None
            if value is not None:
                found.append(figures.finding(c, name, channel, abs(value), frequency=at_hz))
    return found


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "input") | ({"frequency": rating.frequency_hz} if rating.frequency_hz else {})
    wording = {"frequencies": (rating.frequency_hz,) if rating.frequency_hz else (), "quantities": (rating.quantity,)}
    more = {"wording": wording} if rating.quantity in CONTROLS else {"apart": ("bands",)}
    return (basis.request(rating, (rating.quantity,), at, SWEEP, **more),)


def _size_of(f: Finding) -> float:
    """Return a difference's distance from zero, dB."""
    return abs(f.value)


def _largest_of(run: Run) -> Finding | None:
    """Return a setting's largest effect on either channel."""
    return max((f for f in run.findings if f.quantity in ("boost_low", "boost_high")), key=_size_of, default=None)


def _name_of(run: Run, runs: Sequence[Run]) -> str:
    """Return a setting in words, with its stage if the same setting appears twice."""
    m = run.conditions.measurement
    same = [r for r in runs if r.conditions.measurement.setting == m.setting]
    if m.setting and len(same) == 1:
        return m.setting
    return " ".join(part for part in (m.setting, m.stage) if part) or m.id


def _is_filter(run: Run) -> bool:
    """Return whether a setting falls as a filter does, not as a tone control."""
    slopes = [f.value for f in run.findings if f.quantity == "slope"]
    return bool(slopes) and max(slopes) < _FILTER_DB


def _title(setting: str) -> str:
    """Return the control that a setting begins with: "low filter on", "loudness on, volume at −30 dB"."""
    return next((_TITLES[word] for word in re.findall(r"\w+", setting.lower())[:2] if word in _TITLES), "")


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the differences over frequency about the reference as the zero line, each setting named.

    Of several settings one channel is drawn: both lie together.
    """
    shown = [run for run in runs if run.conditions.measurement.stage != "bench"] or list(runs)
    if all(run.conditions.measurement.centre_hz is not None for run in shown):
        return fan(runs)
    # a filter takes all there is in the end: what it does is at its corner
    controls = [run for run in shown if not _is_filter(run)] or shown
    key = max((f for run in controls if (f := _largest_of(run))), key=_size_of, default=None)
    corners = [f for name in ("corner_low", "corner_high") for f in controls[0].findings if f.quantity == name]
    if _is_filter(controls[0]) and corners:
        key = corners[0]
    traces = []
    for run in runs:
        role = figures.trace_role(run, runs)
        channels = [c.channel for c in run.curves]
        for curve in run.curves:
            if len(shown) > 1 and key is not None and key.channel in channels and curve.channel != key.channel:
                continue
            several = len(shown) > 1 and role != "bench"
            label = _name_of(run, shown) if several else figures.end_label(curve.channel, run, runs)
            traces.append(Trace(curve.x, curve.y, curve.channel, role, label))
    extremes = [0.0, *sweeps.extremes(traces, [AUDIO_BAND_HZ])]
    against = list(dict.fromkeys(run.conditions.reference_name for run in shown))
    titles = list(dict.fromkeys(_title(run.conditions.measurement.setting) for run in shown))
    y_axis = scales.lopsided(min(extremes), max(extremes))
    owner = next((run for run in shown if key in run.findings), None)
    what = _name_of(owner, shown) if owner is not None and len(shown) > 1 else ""
    found = [f for run in shown for f in run.findings if f.quantity in ("boost_low", "boost_high")]
    return figures.card(
        runs,
        " and ".join(titles).capitalize() if all(titles) and len(titles) <= 2 else KIND.title,
        Chart((Panel(scales.dial_for(traces), y_axis, tuple(traces)),)),
        figures.hero(key, found if len(shown) == 1 else (), what),
        found,
        (f"relative to {', '.join(against)}",),
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return a filter's corner, or a setting's largest effect and that on the other side of 1 kHz."""
    if run.conditions.measurement.centre_hz is not None:
        return band_points(run)
    largest, m = _largest_of(run), run.conditions.measurement
    if largest is None:
        return ()
    for _, name, _ in _SIDES:
        # the worse channel's corner is the one nearer the middle
        corner = min(figures.by_channel(run, name), key=lambda f: abs(np.log(f.value / REFERENCE_HZ)), default=None)
        slope = run.get("slope", corner.channel, frequency=corner.value) if corner is not None else None
        if corner is not None and slope is not None and slope.value <= _FILTER_DB:
            facts = {"setting": m.setting, "corner": corner, "slope": slope, "low": name == "corner_low"}
            facts["before"] = before.get(name, corner.channel) if before else None
            return (run.point("corner", **facts),)
    other = "boost_high" if largest.quantity == "boost_low" else "boost_low"
    facts = {
        "setting": m.setting,
        "largest": largest,
        "other": max(figures.by_channel(run, other), key=_size_of, default=None),
        "opposite": None,
        "flat": _size_of(largest) < _FLAT_DB,
        "before": before.get(largest.quantity, largest.channel) if before else None,
    }
    return (run.point("boost", **facts),)


def join_points(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return points with the two ends of one control in one: "bass full up", "bass full down"."""
    joined: dict[object, Point] = {}
    for point in join_bands(points):
        if point.name == "band":
            joined[point.measurement] = point
            continue
        setting = str(point.facts["setting"])
        control = " ".join(_ENDS.sub(" ", setting).split())
        key: object = point.measurement
        if control != setting and point.name == "boost" and not point.facts["before"] and not point.facts["flat"]:
            largest = point.facts["largest"]
            key = (control.casefold(), quantities.hertz(largest.at["frequency"]))
            first = joined.get(key)
            if first is not None and (first.facts["largest"].value > 0) != (largest.value > 0):
                joined[key] = replace(first, facts={**first.facts, "setting": control, "opposite": largest})
                continue
        joined[key if key not in joined else point.measurement] = point
    return tuple(joined.values())


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return this kind for a sweep whose name says that it is a band of an equaliser, and which: "eq 1 kHz up"."""
    centre = name.table.get("frequency")
    if not (centre and _EQUALISER.search(name.setting) and name.kinds == {"contour"} and sweeps.levels_of(sheet)):
        return None
    if sheet.find("frequency") is None:
        return None
    setting = " ".join((centre, *_EQUALISER.sub(" ", name.setting).split()))
    table = {"centre": centre, "setting": setting, "card": "equaliser"}
    return Content(("contour",), f"levels over frequency, of the band of {centre} by its name", table)


KIND = Kind(
    name="contour",
    title="Contour",
    about="a response `against` a reference response: loudness, filters, tone controls, bands",
    needs=(("frequency", "level"),),
    compared=("boost_low", "boost_high", "band_gain"),
    asks=FLAT,
    findings=findings,
    card=card,
    points=points,
    joined=join_points,
    keys=("drive", "centre"),
    against="response",
    recipes=dict.fromkeys((*CONTROLS, *RATED), _request),
    levels_of_output=True,
    sound="response",
    file_words=(
        "(?!.*(?<!\\w)flat(?!\\w))(?:bass|treble|loudness|contour|rumble|subsonic|presence|mid ?range|tone controls?|"
        "(?:low|high|scratch|hi|lo) ?cut|filters?|equali[sz]er|eq(?: band)?)"
    ),
    recognise=recognise,
)
