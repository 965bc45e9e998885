"""Single values by meter: passed through, each with its conditions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from reviewkit.measure import figures
from reviewkit.measure.capture_requests import reading_request, sensitivity_request
from reviewkit.model import quantities, rating_words
from reviewkit.model.capture_request import IDLE, LINE, Basis, CaptureRequest, spot_hz
from reviewkit.model.card import FEW_ROWS, Card, Row, Rows, show_few
from reviewkit.model.finding import Conditions, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import conditions_of
from reviewkit.model.kind import POWER, Kind
from reviewkit.model.level import KEYS as LEVELS
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Measurement, Rating
from reviewkit.model.sheet import Sheet, SingleReading
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.model.verdict import Verdict

# read at rest: the bench's drive isn't a condition of these; for DC, and for quantities that the bench doesn't know,
# neither is the load or the input
_DC = ("dc_offset", "bias")
_IDLE = (*_DC, "hum_voltage", "noise")
_TOGETHER = (
    ("power", "voltage", "load", *LEVELS),
    ("frequency",),
    ("band",),
    ("limit", "figure"),
    *((key,) for key in ("reference", "reference_level", "reference_input", "tones", "weighting", "conditions")),
    *((key,) for key in ("setting", "termination", "volume", "input", "channels")),
)
# a digital meter's last digit may be one too high or too low (common practice, no source): rectangular, k = 2
_ONE_DIGIT = 2 / math.sqrt(3)
_CLOSE = "too close to call"
_FIRST = ("falls short", _CLOSE, "meets", "")  # of more readings than a card shows
_COLUMNS = {"L": "left", "R": "right", "both": "both", "": "as a whole"}


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return each reading as written in the file, in its order.

    Its own conditions override those of the measurement. Its uncertainty is that of the last digit written: the level
    uncertainty of [bench] is the capture's, not a meter's.
    """
    found = [_finding(c, reading) for reading in sheet.readings]
    return Measured(tuple(found), tuple(f"{sheet.source}:{row.line}: {row.why}" for row in sheet.skipped))


def _finding(c: Conditions, reading: SingleReading) -> Finding:
    m = c.measurement
    at = {"frequency": m.frequency_hz, "weighting": m.weighting or None, **reading.at}
    own = replace(c, measurement=_at_rest(m, reading.name))
    radio, _, name = reading.name.partition("_")
    if radio.upper() in RADIO and name == "sensitivity":
        at.setdefault("input", radio.upper())
    if str(at.get("input", "")).upper() in RADIO:  # the radio of a receiver, at its line output
        own = replace(own, measurement=replace(own.measurement, load_ohm=None, drive=m.level, channels=""))
    if reading.name == "phono_overload":
        at.setdefault("input", "phono")
    found = figures.finding(
        own,
        reading.name,
        reading.channel,
        reading.value,
        unit=reading.unit,
        uncertainty=_ONE_DIGIT * reading.step if reading.step else None,
        **at,
    )
    return replace(found, step=reading.step, note=reading.note, written=reading.written, called=reading.called)


def _at_rest(m: Measurement, name: str) -> Measurement:
    """Return the measurement without the conditions that don't affect this reading unless its row states them."""
    own_name = name not in quantities.QUANTITIES
    if name == "phono_overload":
        # the phono stage itself clips here: it has no load, and the bench's drive is after it
        m = replace(m, load_ohm=None, channels="", drive=None)
    if own_name or name in _DC:
        m = replace(m, load_ohm=None, input="")
    return replace(m, channels="", drive=None) if own_name or name in _IDLE else m


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return a line for each of a few readings, those that fall short first, with their channels side by side.

    The conditions that all share are above.
    """
    found = [entry for run in runs for entry in _read(run)]
    shared = _shared([entry.finding.at for entry in found])
    order = list(dict.fromkeys(entry.finding.quantity for entry in found))
    found.sort(key=lambda entry: order.index(entry.finding.quantity))
    rows: dict[tuple[object, ...], dict[str, list[_Entry]]] = {}
    for entry in found:
        # the same reading of several runs, before and after the repair, is on successive lines
        group = rows.setdefault(_which(entry), {})
        group.setdefault(figures.run_label(entry.run, runs), []).append(entry)
    columns = [channel for channel in _COLUMNS if any(entry.finding.channel == channel for entry in found)]
    lines = []
    for by_run in rows.values():
        for label, entries in by_run.items():
            first = entries[0].finding
            own = {key: value for key, value in first.at.items() if key not in shared}
            name = quantities.quantity_of(first).name
            notes = dict.fromkeys([", ".join(_conditions(first, own)), *(note for e in entries for note in e.notes)])
            cells = {entry.finding.channel: quantities.show(entry.finding) for entry in entries}
            lines.append(
                Row(
                    (
                        ", ".join(part for part in (name[0].upper() + name[1:], label) if part),
                        *(cells.get(channel, "") for channel in columns),
                    ),
                    note="; ".join(note for note in notes if note),
                    findings=tuple(entry.finding for entry in entries),
                )
            )
    lines = [_judged(line, verdicts) for line in lines]
    headers = ("", *("" if columns == [""] else _COLUMNS[channel] for channel in columns))
    headers = (*headers, "rated") if any(line.verdict for line in lines) else headers
    table = Rows(headers, tuple(lines), strong=1 if len(columns) == 1 else None)
    most = FEW_ROWS + (len(runs) > 1)  # an even number, so that none is cut off between before and after
    table = show_few(table, sorted(lines, key=lambda line: _FIRST.index(line.verdict)), most)
    return Card("", KIND.title, tuple(_conditions(found[0].finding, shared)), table)


def _judged(line: Row, verdicts: Sequence[Verdict]) -> Row:
    """Return a line with the rating that one of its readings answers, and the verdict on it."""
    for v in verdicts:
        if v.position is not None and v.findings[:1] and v.findings[0] in line.findings:
            bare, full = quantities.show(v.findings[0]), quantities.with_uncertainty(v.findings[0])
            # what is too close to call is so because of its uncertainty
            cells = (full if v.verdict == _CLOSE and cell == bare else cell for cell in line.cells)
            return replace(line, cells=(*cells, rating_words.with_side(v.rating, v.shown_limit)), verdict=v.verdict)
    return line


@dataclass(frozen=True)
class _Entry:
    """A finding with its run, and the number of earlier readings of the same under conditions that turned out equal."""

    run: Run
    finding: Finding
    notes: tuple[str, ...]
    again: int


def _read(run: Run) -> list[_Entry]:
    entries: list[_Entry] = []
    for finding in run.findings:
        notes = tuple(note for note in (finding.note, "at the bench's floor" if finding.bound else "") if note)
        again = sum(_same(entry.finding, finding) and entry.finding.channel == finding.channel for entry in entries)
        entries.append(_Entry(run, finding, notes, again))
    return entries


def _same(a: Finding, b: Finding) -> bool:
    """Return whether two readings are of the same thing under the same conditions, whatever their channels."""
    return (a.quantity, a.unit, a.at) == (b.quantity, b.unit, b.at)


def _which(entry: _Entry) -> tuple[object, ...]:
    f = entry.finding
    return f.quantity, f.unit, entry.again, tuple(sorted((key, str(value)) for key, value in f.at.items()))


def _shared(all_at: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the conditions that all readings share; level and load are one condition."""
    shared: dict[str, Any] = {}
    for keys in _TOGETHER:
        here = [{key: at[key] for key in keys if key in at} for at in all_at]
        if all(each == here[0] for each in here):
            shared |= here[0]
    return shared


def _conditions(finding: Finding, at: Mapping[str, Any]) -> list[str]:
    """Return these conditions in words, one entry each."""
    bare = replace(finding, stage="", bound="")
    parts = [conditions_of(replace(bare, at={key: at[key] for key in keys if key in at})) for keys in _TOGETHER]
    # "at 1 %, THD" is one condition
    return [part.replace(" %, ", " % ") for part in parts if part]


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return a sentence for each reading: its channels, its conditions, what it was before.

    Readings under names of the user's own are included if they changed, or if there are no others.
    """
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for entry in _read(run):
        groups.setdefault(_which(entry), []).append(entry.finding)
    said: list[tuple[list[Finding], list[Finding]]] = []
    others: list[tuple[list[Finding], list[Finding]]] = []
    for group in groups.values():
        earlier = before.findings if before else ()
        was = [f for now in group for f in earlier if _same(f, now) and f.channel == now.channel]
        (said if was or group[0].quantity in quantities.QUANTITIES else others).append((group, was))
    return tuple(_point(run, group, was) for group, was in said or others)


def _point(run: Run, group: list[Finding], was: list[Finding]) -> Point:
    f = group[0]
    apart = ("frequency", "input", "power", "voltage", "load")
    rest = {key: value for key, value in f.at.items() if key not in apart}
    level = {key: f.at[key] for key in apart[2:] if key in f.at}
    same = [quantities.show(x) for x in was] == [quantities.show(x) for x in group]
    facts = {
        "findings": _speaking(group),
        "label": quantities.quantity_of(f).name,
        "before": [] if same else _speaking(was),
        "unchanged": bool(was) and same,
        "frequency": f.at.get("frequency"),
        "level": quantities.conditions(level) if len(level) > 1 or "load" not in level else "",
        "load": f.at.get("load"),
        "input": f.at.get("input", ""),
        "rest": _conditions(f, rest),
    }
    return run.point("value", **facts)


def _speaking(group: list[Finding]) -> list[Finding]:
    """Return the worse channel's reading, which speaks for both; each, if they are alike or none is worse."""
    worse = quantities.worse(group)
    quantity = quantities.quantity_of(worse) if worse is not None else None
    if worse is None or quantity is None or not (quantity.better or quantity.either_way):
        return group
    return group if len({quantities.show(f) for f in group}) == 1 else [worse]


def _overload(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = {"input": rating.input or "phono", "frequency": spot_hz(rating)}
    return (reading_request(rating, "phono-overload", at, LINE),)


def _sensitivity(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    return (sensitivity_request(rating, basis),)


def _offset(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    # the gate asks for it cold and warm: a reading that says neither would tick neither
    return (reading_request(rating, "dc-offset", {"setting": "warm"}, basis.place(rating), drive=IDLE),)


def recognise(sheet: Sheet, name: NameWords) -> Content | None:
    """Return whether a file holds single readings."""
    return Content((KIND.name,), f"single readings: {len(sheet.readings)}") if sheet.readings else None


KIND = Kind(
    name="reading",
    title="Readings by meter",
    about="single values by meter, one a row: `name,channel,value,unit,at,note`",
    needs=(("reading",),),
    compared=(),
    asks=POWER,
    findings=findings,
    card=card,
    points=points,
    file_words="readings?|meter|voltages",
    recognise=recognise,
    recipes={"phono_overload": _overload, "input_sensitivity": _sensitivity, "dc_offset": _offset},
)
