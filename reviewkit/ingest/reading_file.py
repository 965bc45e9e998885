"""Single readings by meter, one a row → Sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from reviewkit.ingest.conditions import NUMBER
from reviewkit.ingest.delimited import Delimited, NamedRow, named_rows, parse_delimited
from reviewkit.ingest.known_names import LONGEST_NAME, misspelled, of_radio
from reviewkit.ingest.plain_text import read_text
from reviewkit.ingest.reading_conditions import conditions_of
from reviewkit.ingest.sheet.sheet_text import is_missing
from reviewkit.model.errors import Faults, refusal
from reviewkit.model.gear_names import shown_name
from reviewkit.model.quantities import BY_METER, QUANTITIES
from reviewkit.model.ratings import RULES, TRADE_WORDS, own_name, plain_name, spaced
from reviewkit.model.sheet import Sheet, SingleReading, Skipped
from reviewkit.model.units import EXAMPLES, UnitSpelling, canonical, last_digit, normalised, scaled, single_unit
from reviewkit.model.weightings import RMS, SPELLINGS
from reviewkit.signal.decibels import volts_of

COLUMNS = ("name", "channel", "value", "unit", "at", "note")
NEEDED = ("name", "value")
_CHANNELS = {"": "", "l": "L", "left": "L", "r": "R", "right": "R", "both": "both", "l>r": "L>R", "r>l": "R>L"}
_BELOW = ("hum", "crosstalk")
# negative with a meter's leads reversed; everything else that isn't a level in dB is above zero
_LEVELS = ("dBV", "dBu", "dBm")
_VALUE = re.compile(rf"({NUMBER})\s*(.*)")
_MOST_VALUE, _MOST_DB = 1e30, 1000.0
_KNOWN = frozenset((*QUANTITIES, *RULES))
_NO_UNIT = UnitSpelling("", 1.0)


def read_readings(path: Path, source: str) -> Sheet:
    """Return the readings of a file.

    Raises
    ------
    InputError
        With every fault in it.
    """
    return parse_readings(read_text(path, source, western=True), source)


def parse_readings(text: str, source: str) -> Sheet:
    """Return the readings of a text, in its order, each in the fixed unit of its quantity.

    One under a name of the user's own is in its unit without a prefix. The sheet has no columns. Rows whose value is
    blank, `--`, NaN or the like are left out and listed.

    Raises
    ------
    InputError
        With every column that isn't known and every cell that can't be read.
    """
    faults = Faults(source)
    table = parse_delimited(text, faults, example=",".join(COLUMNS))
    readings: list[SingleReading] = []
    skipped: list[Skipped] = []
    for row in named_rows(table, COLUMNS, NEEDED, faults):
        cells = row.cells
        missing = normalised(cells["value"]).replace("\u2014", "-")
        if is_missing(missing):
            written = f'value "{cells["value"]}"' if cells["value"] else "value blank"
            skipped.append(Skipped(row.line, f"{cells['name'] or 'a row'}: {written}, no reading"))
            continue
        reading = _ReadingParser(row, table).read()
        if reading is not None:
            readings.append(reading)
    kept = _without_repeats(readings, faults)
    if not kept and not faults.collected:
        raise refusal(source, "there is no reading in the file; write one a row, for example DC offset,L,12,mV")
    faults.stop_if_any(by_line=True)
    decimal = "," if table.decimal_comma else "."
    return Sheet(source, (), len(kept), decimal=decimal, skipped=tuple(skipped), readings=tuple(kept))


def _without_repeats(readings: list[SingleReading], faults: Faults) -> list[SingleReading]:
    """Keep a reading that is written twice once; two values under the same conditions are a fault."""
    kept: dict[tuple[str, str, str], SingleReading] = {}
    for reading in readings:
        same = kept.setdefault((reading.name, reading.channel, str(sorted(reading.at.items()))), reading)
        if (same.value, same.unit) != (reading.value, reading.unit):
            faults.add(
                reading.line,
                f"{spaced(reading.name)}: has another reading in line {same.line} under the same conditions; "
                "keep one, or say in the column at what differs, for example: cold, warm; positive, negative",
            )
    return list(kept.values())


def _with_rms_of_jitter(name: str, at: dict[str, Any]) -> dict[str, Any]:
    """Return the conditions with "r.m.s." as the value that a jitter is given by; elsewhere it is the user's words."""
    words = at.get("setting", "").split(", ")
    rest = ", ".join(word for word in words if SPELLINGS.get(word.casefold().rstrip(".")) != RMS)
    if name != "jitter" or rest == ", ".join(words):
        return at
    of_user = {"setting": rest} if rest else {}
    return {**{key: value for key, value in at.items() if key != "setting"}, **of_user, "weighting": RMS}


class _ReadingParser:
    """One row while it is read."""

    def __init__(self, row: NamedRow, table: Delimited) -> None:
        self.row = row
        self.cells = row.cells
        self.radio, self.words = of_radio(row.cells["name"])
        self.table = table
        self.sound = True
        self.step: float | None = None
        self.written = ""

    def read(self) -> SingleReading | None:
        """Return the reading, or None if a fault was noted."""
        name = self._name()
        channel = self._channel()
        of_name = {"input": self.radio} if self.radio else {}
        at = of_name | conditions_of(self.cells["at"], self.table.with_points, self._fault)
        at = _with_rms_of_jitter(name, at)
        value, unit = self._value()
        if not self.sound:
            return None
        quantity, wanted = self._quantity(name, unit, at)
        value, base = self._converted(value, unit, wanted)
        if not (self.sound and self._has_its_sign(quantity, value)):
            return None
        called = "" if quantity in QUANTITIES else shown_name(self.words)
        return SingleReading(
            quantity, channel, value, base, at, self.cells["note"], self.row.line, self.step, self.written, called
        )

    def _fault(self, message: str) -> None:
        self.row.fault(message)
        self.sound = False

    def _name(self) -> str:
        cell = self.words
        name = _as_quantity(cell)
        if name in BY_METER:
            return name
        stem, _, last = name.rpartition("_")
        if not any(sign.isalpha() for sign in cell):
            self._fault("the row does not say what was read; write a name, for example DC offset")
        elif last in _CHANNELS and _as_quantity(stem) in BY_METER:
            self._fault(
                f'the channel is part of the name; write "{spaced(stem)}", and {_CHANNELS[last]} as its channel'
            )
        elif name in QUANTITIES or name in RULES:
            self._fault(
                "is not a single reading: it is worked out from a curve or a capture; measure it with that kind"
            )
        elif len(name) > LONGEST_NAME:
            self._fault(f"the name is longer than {LONGEST_NAME} characters; shorten it, and put the rest into note")
        elif meant := misspelled(name):
            self._fault(f'is not a quantity; did you mean "{spaced(meant)}"?')
        return name

    def _channel(self) -> str:
        cell = self.cells["channel"].casefold()
        if cell not in _CHANNELS:
            self._fault(f'channel "{self.cells["channel"][:20]}" is not known; write L, R or both, or leave it blank')
        return _CHANNELS.get(cell, "")

    def _value(self) -> tuple[float, str]:
        """Return the number, and its unit as spelled: its own, else that of the row."""
        cell, of_row = self.cells["value"], self.cells["unit"]
        try:
            text = self.table.with_points(normalised(cell))
        except ValueError as error:
            self._fault(f"value {error}")
            return 0.0, ""
        match = _VALUE.fullmatch(text)
        if match is None:
            self._fault(f'value "{cell[:40]}" is not a reading; write a number such as 0.38, or -- where there is none')
            return 0.0, ""
        for unit in (match[2], of_row):
            if unit and single_unit(unit) is None:
                self._fault(f'the unit "{unit[:20]}" is not known; write for example V, mV, ohm, dB or mA')
        own, row = single_unit(match[2]), single_unit(of_row)
        if own is not None and row is not None and own.base != row.base:
            self._fault(f'value "{cell[:40]}" is in {match[2]} where the row is in {of_row}; write one unit')
        if abs(float(match[1])) > (_MOST_DB if (own or row or _NO_UNIT).base.startswith("dB") else _MOST_VALUE):
            self._fault(f'value "{cell[:40]}" is too large to be a reading; write the number that was meant')
        self.step = last_digit(match[1])
        return float(match[1]), match[2] or of_row

    def _quantity(self, name: str, unit: str, at: Mapping[str, Any]) -> tuple[str, str | None]:
        """Return the quantity, and the unit it has in every output; None if it keeps the one it was read in.

        Hum is one quantity in volts and another in dB; a power at a stated distortion is the power at that limit.
        """
        known = single_unit(unit)
        if name == "hum" and known is not None and (known.base == "V" or known.base in _LEVELS):
            name = "hum_voltage"
        if name == "power" and "limit" in at:
            name = "power_at_limit"
        kept = QUANTITIES.get(name)
        return name, kept.unit if kept and not kept.any_unit else None

    def _converted(self, value: float, unit: str, wanted: str | None) -> tuple[float, str]:
        known = single_unit(unit)
        base = known.base if known else ""
        in_base = scaled(value, known.factor) if known else value
        if wanted is None or base == wanted:
            self.step = self.step * known.factor if self.step and known else self.step
            self.written = canonical(unit) if known else ""
            return in_base, base
        self.step = None
        example = EXAMPLES.get(wanted, f"1 {wanted}")
        volts = volts_of(np.array([in_base]), base) if wanted == "V" else None
        if volts is not None:
            return float(volts[0]), "V"
        if not wanted:
            self._fault(f"is a bare number, here it has the unit {canonical(unit)}; leave the unit blank")
        elif not base:
            self._fault(
                f'value "{self.cells["value"]}" has no unit; write one into the column unit, for example {wanted}'
            )
        else:
            self._fault(
                f"is in {canonical(unit)} where {wanted} is needed; write for example {example}, or give the reading a "
                "name of its own"
            )
        return in_base, base

    def _has_its_sign(self, quantity: str, value: float) -> bool:
        if quantity in _BELOW and value > 0:
            self._fault(f"is above 0 dB; {quantity} is below what it is relative to, write -{self.cells['value']}")
        if quantity == "separation" and value < 0:
            self._fault("is below 0 dB; a separation is written without its sign, a crosstalk with it")
        kept = QUANTITIES[quantity] if quantity in BY_METER else None
        if value < 0 and kept and kept.unit != "dB" and not (kept.either_way or kept.any_unit):
            self._fault(f'value "{self.cells["value"]}" is negative; write it without the sign')
        return self.sound


def _as_quantity(words: str) -> str:
    """Return a name as a quantity: a trade word's own, else the name as it is compared."""
    name = plain_name(words)
    name = TRADE_WORDS.get(name, name)
    name = name if name in _KNOWN else own_name(words)
    return "power" if name == "power_at_limit" else name
