"""Entries to paste for a capture: its [[measurement]] table or its rows of a `reading` file.

They state every condition that the ratings need and the bench's table lacks.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from reviewkit.measure.kinds import KINDS
from reviewkit.model import digits, quantities
from reviewkit.model.capture_request import ALONE, BY_METER, IDLE, METER, TERMINALS, CaptureRequest
from reviewkit.model.level import Level, level_of, reference_level
from reviewkit.model.session import Bench
from reviewkit.model.weightings import SPELLINGS
from reviewkit.plan.order import Capture

_DIGITS = 6  # a level is compared to a tenth of a decibel; this loses nothing
_GATE_ROWS = {
    "rails": ('rail voltage,,…,V,"idle, positive",', 'rail voltage,,…,V,"idle, negative",'),
    **{
        f"{key}-{state}": tuple(f"{name},{channel},…,mV,{state}," for channel in "LR")
        for key, name in (("offset", "DC offset"), ("bias", "bias"))
        for state in ("cold", "warm")
    },
}
_READINGS = "measurements/readings.csv"


def measurement_table(number: int, capture: Capture, bench: Bench, *, repaired: bool) -> tuple[str, ...]:
    """Return the lines of a capture's table in session.toml, without those that the bench's table has.

    Parameters
    ----------
    number : int
        Number of the capture, which names its file.
    capture : Capture
        The capture.
    bench : Bench
        The session's bench.
    repaired : bool
        True if the table must say that it is after the repair.

    Returns
    -------
    tuple of str
        The lines.
    """
    lines = ["[[measurement]]", f"kind = {_quoted(capture.kind)}"]
    setup, kind = capture.setup, KINDS[capture.kind]
    if capture.drive == METER:
        load_ohm = setup.load_ohm or 8.0
        loads = [load_ohm, 2 * load_ohm] if "loaded" in capture.wording else [math.inf, load_ohm]
        hz = quantities.hertz(capture.wording["frequencies"][0], _DIGITS)
        lines += [f"id = {_quoted(f'two-load-{number}')}", f"frequency = {_quoted(hz)}"]
        lines += [f"loads = [{', '.join(_ohms(each) for each in loads)}]", 'volts = { L = ["…", "…"], R = ["…", "…"] }']
    elif kind.by_meter:
        lines.append(f"file = {_quoted(_READINGS)}")
    else:
        name = f"measurements/{number:02d}-{capture.kind}.{kind.captured_as}"
        lines.append(f"file = {_quoted(name)}")
    lines += _condition_lines(capture, bench)
    lines += [kind.optional_line] if kind.optional_line else []
    if "de_emphasis_deviation" in capture.wording.get("quantities", ()):
        lines.append('target = "50 µs"  # or "75 µs"')
    if "gain" in capture.wording.get("quantities", ()):
        lines.append('input_level = "…"  # what the generator gave, as read')
    if repaired:
        lines.append('stage = "after"')
    return tuple(lines)


def _condition_lines(capture: Capture, bench: Bench) -> list[str]:
    """Return the lines of the conditions that the bench lacks or has differently."""
    setup = capture.setup
    kind = KINDS[capture.kind]
    lines: list[str] = []
    if kind.by_meter:
        return lines
    power = capture.level and capture.level.unit == "W"
    if capture.level and not (power and (capture.drive in (METER, IDLE) or "frequency" in kind.keys)):
        shown = quantities.watts if power else quantities.volts
        lines.append(f"drive = {_quoted(shown(capture.level.value, _DIGITS))}")
    at = capture.uses[0][1].at
    if level := _own_level(at):
        lines.append(f"drive = {_quoted(quantities.level_text(level).replace(digits.MINUS, '-'))}")
    if setup.input and setup.input != bench.input:
        lines.append(f"input = {_quoted(setup.input)}")
    load = setup.load_ohm if setup.place == TERMINALS else math.inf
    if named := at.get("conditions"):
        pairs = ", ".join(f"{_quoted(name)} = {_quoted(value)}" for name, value in named.items())
        lines.append(f"conditions = {{ {pairs} }}")
    stated = setup.place == TERMINALS if capture.drive == METER else setup.place not in (ALONE, BY_METER)
    if stated and load is not None and load != bench.load_ohm:
        lines.append(f"load = {_ohms(load)}")
    if setup.driven in ("both", "one") and setup.driven != bench.channels and capture.drive != METER:
        lines.append(f"channels = {_quoted(setup.driven)}")
    if "frequency" in kind.keys and "frequencies" in capture.wording:
        lines.append(f"frequency = {_quoted(quantities.hertz(capture.wording['frequencies'][0], _DIGITS))}")
    return lines


def _ohms(load_ohm: float) -> str:
    """Return a load as a TOML string."""
    return _quoted("open" if math.isinf(load_ohm) else f"{digits.trimmed(load_ohm, _DIGITS)} ohm")


def reading_rows(capture: Capture) -> tuple[str, ...]:
    """Return a capture's rows of a `reading` file with blank figures; none for captures of other kinds."""
    if not KINDS[capture.kind].by_meter:
        return ()
    rows = []
    for _, wanted in capture.uses:
        cell = at_cell(wanted)
        quoted = '"' + cell.replace('"', '""') + '"' if "," in cell or '"' in cell else cell
        quantity = wanted.quantities[0]
        names, units = wanted.wording.get("names", ()), wanted.wording.get("units", ())
        name = names[0] if names else quantity.replace("_", " ")
        unit = units[0] if units else quantities.QUANTITIES[quantity].unit.replace("V", "mV")
        rows += [f"{name},{channel},…,{unit},{quoted}," for channel in wanted.channels]
    return tuple(dict.fromkeys(rows))


def gate_rows(unread: Sequence[str]) -> tuple[str, ...]:
    """Return the rows of a `reading` file that tick these lines of the gate, with blank figures."""
    return tuple(row for name in unread for row in _GATE_ROWS.get(name, ()))


def at_cell(wanted: CaptureRequest) -> str:
    """Return a request's conditions for the column `at`: "aux input, 1 kHz, 40 W into 8 ohm"."""
    at = wanted.at
    own = "names" in wanted.wording
    power = quantities.watts(at["power"], _DIGITS) if "power" in at else ""
    load = f"{digits.trimmed(at['load'], _DIGITS)} ohm" if "load" in at else ""
    level = _own_level(at)
    parts = [
        f"{at['input']} input" if "input" in at else "",
        quantities.hertz(at["frequency"], _DIGITS) if "frequency" in at else "",
        quantities.band(at["band"]) if "band" in at and own else "",
        f"{power} into {load}" if power and load else power or load,
        f"re {quantities.watts(at['reference'], _DIGITS)}" if "reference" in at else "",
        _reference_cell(at),
        quantities.level_text(level).replace(digits.MINUS, "-") if level and not own else "",
        _weighting_cell(at["weighting"]) if "weighting" in at else "",
        *(_own_conditions(at) if own else ()),
        *(f"{name} = {value}" for name, value in at.get("conditions", {}).items()),
        at.get("setting", ""),
    ]
    return ", ".join(part for part in parts if part)


def _reference_cell(at: Mapping[str, Any]) -> str:
    """Return the level that a figure is relative to as it is written in the column `at`."""
    level = reference_level(at)
    return f"re {quantities.level_text(level)}{' output' if level.unit == 'V' else ''}" if level else ""


def _weighting_cell(weighting: str) -> str:
    """Return a weighting as it is written in the column `at`."""
    return weighting if weighting in SPELLINGS.values() and weighting != "468" else f"{weighting}-weighted"


def _own_level(at: Mapping[str, Any]) -> Level | None:
    """Return the level of gear whose output has no power: at an antenna, on a tape, of full scale."""
    return level_of({key: entry for key, entry in at.items() if key not in ("power", "voltage")})


def signal_text(wanted: CaptureRequest) -> str:
    """Return the level of a signal that is neither a power nor a voltage: "65 dBf"; "" if there is none."""
    level = _own_level(wanted.at)
    return quantities.level_text(level) if level else ""


def _own_conditions(at: Mapping[str, Any]) -> list[str]:
    """Return what only a reading under the maker's own name may have to state."""
    level = level_of({key: entry for key, entry in at.items() if key != "power"})
    return [
        quantities.level_text(level) if level else "",
        f"{quantities.percent(at['limit'])} THD" if "limit" in at else "",
        f"re {at['re']}" if "re" in at else "",
        f"input {at['termination']}" if "termination" in at else "",
        f"volume {at['volume']}" if "volume" in at else "",
        f"{at['channels']} channels" if "channels" in at else "",
    ]


def reading_header() -> str:
    """Return the first line of a `reading` file."""
    return "name,channel,value,unit,at,note"


def _quoted(text: str) -> str:
    """Return a TOML basic string."""
    return json.dumps(text, ensure_ascii=False)


def measurement_tables(
    steps: Sequence[tuple[int, Capture]], bench: Bench, *, repaired: bool
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Return the tables of several captures by number; equal tables appear once, at the first number."""
    first: dict[tuple[str, ...], int] = {}
    for number, capture in steps:
        first.setdefault(measurement_table(number, capture, bench, repaired=repaired), number)
    return tuple((number, table) for table, number in first.items())
