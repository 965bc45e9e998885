"""The awkward cases of awkward_cases.py, each through the whole run from its session folder to the verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import awkward_cases
import pytest
from awkward_cases import Case, Export

from reviewkit.build.cache import NO_CACHE
from reviewkit.build.measuring import measure
from reviewkit.build.pool import ALONE
from reviewkit.build.session_files import read
from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding
from reviewkit.verdict.changes import changes
from reviewkit.verdict.verdict import judge


def write(case: Case, folder: Path) -> None:
    files = {"session.toml": awkward_cases.UNIT + case.session, **case.files}
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        content = content() if callable(content) else content
        path.write_bytes(content.encode() if isinstance(content, str) else content)


def refusal(error: InputError, pieces: Sequence[str]) -> None:
    """One message must have all of these pieces."""
    messages = [str(fault) for fault in error.faults]
    assert any(all(piece in message for piece in pieces) for message in messages), messages


def is_it(figure: awkward_cases.Figure, finding: Finding) -> bool:
    return (
        (finding.quantity, finding.channel, finding.unit) == (figure.quantity, figure.channel, figure.unit)
        and "weighting" not in finding.at
        and finding.at.get("limit", 1.0) == 1.0
    )


@pytest.mark.parametrize("case", awkward_cases.SESSIONS, ids=lambda case: case.id)
def test_an_awkward_session(case: Case, tmp_path: Path):
    write(case, tmp_path)
    if case.refused:
        with pytest.raises(InputError) as caught:
            measure(read(tmp_path), ALONE, NO_CACHE)
        refusal(caught.value, case.refused)
        return
    files = read(tmp_path)
    _, runs = measure(files, ALONE, NO_CACHE)
    verdicts = judge(files.session, runs)
    assert len(case.verdicts) in (0, len(verdicts))
    assert len({verdict.label for verdict in verdicts}) == len(verdicts)
    for verdict, (word, shown) in zip(verdicts, case.verdicts, strict=bool(case.verdicts)):
        assert verdict.verdict == word, (verdict.label, verdict.measured, verdict.why)
        assert verdict.measured == (shown or verdict.measured)
    for remark in case.remarks:
        assert any(remark in text for v in verdicts for text in (v.why, v.remark, v.assumed))
    findings = [finding for run in runs for finding in run.findings]
    for figure in case.figures:
        values = [finding.value for finding in findings if is_it(figure, finding) and finding.stage != "before"]
        assert values, (figure, sorted({finding.quantity for finding in findings}))
        for value in values:
            assert value == pytest.approx(figure.value, abs=figure.within, rel=0), figure.quantity
    assert not {finding.quantity for finding in findings} & set(case.absent)
    compared = {(change.after.quantity, change.after.channel) for change in changes(runs)}
    assert set(case.compared) <= compared
    assert not set(case.not_compared) & compared


def test_there_are_many_awkward_cases(record_property):
    names = [case.id for case in (*awkward_cases.SESSIONS, *awkward_cases.EXPORTS)]
    record_property("awkward cases", (len(names), *awkward_cases.FIRST_TRY))
    assert len(set(names)) == len(names) >= 45
    assert min(map(len, (awkward_cases.VERDICTS, awkward_cases.FIGURES, awkward_cases.EXPORTS))) >= 15


@pytest.mark.parametrize("case", awkward_cases.EXPORTS, ids=lambda case: case.id)
def test_an_awkward_export(case: Export):
    data = case.data if isinstance(case.data, bytes) else case.data.encode()
    if case.refused:
        with pytest.raises(InputError) as caught:
            parse_sheet(data, "m/x.csv")
        refusal(caught.value, case.refused)
        return
    sheet = parse_sheet(data, "m/x.csv")
    read_columns = [(c.role, c.channel, c.unit, c.values.tolist()) for c in sheet.columns]
    assert read_columns == [(*each[:3], pytest.approx(each[3])) for each in case.columns]
    assert len(sheet.skipped) == case.left_out
