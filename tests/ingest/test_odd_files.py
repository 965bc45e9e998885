"""The family of odd files in odd_files.py, each read or refused exactly as its case says."""

from __future__ import annotations

import pytest
from odd_files import CASES, Case

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.errors import InputError


@pytest.mark.parametrize("case", CASES, ids=[case.id for case in CASES])
def test_an_odd_file(case: Case):
    if case.messages:
        with pytest.raises(InputError) as caught:
            parse_sheet(case.data, "m/x.csv", **case.told)
        assert tuple(str(fault) for fault in caught.value.faults) == case.messages
        return
    sheet = parse_sheet(case.data, "m/x.csv", **case.told)
    assert tuple((c.role, c.channel, c.unit, c.values.tolist()) for c in sheet.columns) == case.columns
    assert tuple((row.line, row.why) for row in sheet.skipped) == case.skipped


def test_the_family_is_large(record_property):
    record_property("odd files", len(CASES))
    assert len({case.id for case in CASES}) == len(CASES)
    assert len({case.data for case in CASES}) >= 200
