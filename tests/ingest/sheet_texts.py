"""A response as text, and tables read from text: the columns, or the message that they are refused with."""

from __future__ import annotations

from typing import Any

import pytest

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.errors import InputError
from reviewkit.model.sheet import Sheet

RESPONSE = [("frequency", "", "Hz", [20, 1000, 20000]), ("level", "", "dBV", [-1.5, 0, -0.5])]
HEADED = "Frequency (Hz),Level (dBV)\n"
ROWS = "20,-1.5\n1000,0\n20000,-0.5\n"


def seen(sheet: Sheet) -> list[tuple[str, str, str, list[float]]]:
    return [(c.role, c.channel, c.unit, c.values.tolist()) for c in sheet.columns]


def read(text: str | bytes, **told: Any) -> Sheet:
    return parse_sheet(text.encode() if isinstance(text, str) else text, "m/x.csv", **told)


def message(text: str | bytes, **told: Any) -> str:
    with pytest.raises(InputError) as caught:
        read(text, **told)
    return str(caught.value)
