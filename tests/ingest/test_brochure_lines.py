"""Sixty lines as brochures word them: each is read as the tables one would write by hand, or asked about."""

from __future__ import annotations

from pathlib import Path

import pytest
from brochure_lines import LINES, Asked, Read
from session_texts import UNIT

from reviewkit.ingest.session.session_file import parse_session
from reviewkit.model.errors import InputError
from reviewkit.model.session import Session

READ = {line: wanted for line, wanted in LINES.items() if isinstance(wanted, Read)}
ASKED = {line: wanted for line, wanted in LINES.items() if isinstance(wanted, Asked)}


def session(toml: str = "", brochure: str = "") -> Session:
    return parse_session(UNIT + toml, Path(), kinds=(), brochure=brochure)


def faults(toml: str = "", brochure: str = "") -> list[str]:
    with pytest.raises(InputError) as caught:
        session(toml, brochure)
    return [str(fault) for fault in caught.value.faults]


def written(found: Session) -> tuple[object, ...]:
    """What the text of a reference is like doesn't count: 5 mV is 5 mV."""
    return tuple(found.ratings), tuple((figure.name, figure.text) for figure in found.printed)


def test_there_are_sixty():
    assert len(LINES) == 60


@pytest.mark.parametrize(("line", "wanted"), READ.items(), ids=range(len(READ)))
def test_a_line_is_read_as_the_tables_written_by_hand(line, wanted):
    by_hand = session(wanted.tables)
    assert written(session(brochure=line + "\n")) == (by_hand.ratings, wanted.unmeasured)
