"""What was published, and what has changed since: a figure that was wrong in public is corrected in public."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from reviewkit import figures, quantities
from reviewkit.model import Finding
from reviewkit.spec_table import SpecTable

FILE_NAME = "published.json"


@dataclass(frozen=True)
class Published:
    """What viewers have been told. `said`: what -> the figure, with its verdict where it has one; `corrected`: what ->
    the figure first published, for those that a later publication has put right.
    """

    said: Mapping[str, str]
    corrected: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Correction:
    """One figure that viewers were told otherwise. `now` is "" where it is no longer given."""

    what: str
    was: str
    now: str


def told(table: SpecTable, findings: Sequence[Finding]) -> dict[str, str]:
    """Every figure of the outputs by what it is of: the table's rows, then the findings with what they hold under."""
    found: dict[str, str] = {}
    for what, figure in (*_rows(table), *_figures(findings)):
        name, number = what, 1
        while name in found:  # two rows alike but for their figures
            number += 1
            name = f"{what} ({number})"
        found[name] = figure
    return found


def _rows(table: SpecTable) -> Iterator[tuple[str, str]]:
    for row in table.rows:
        rated = f", rated {row.limit}" if row.verdict else ""
        yield f"{row.label}{rated}", ", ".join(part for part in (row.measured, row.verdict) if part)


def _figures(findings: Sequence[Finding]) -> Iterator[tuple[str, str]]:
    for f in findings:
        name = quantities.quantity_of(f).name
        under = ", ".join(part for part in (f.channel, figures.under(f)) if part)
        yield f"{f.measurement}: {name}{f', {under}' if under else ''}", quantities.show(f)


def published(now: Mapping[str, str], before: Published | None) -> Published:
    """What is to be remembered when `now` is published after `before`."""
    return Published(dict(now), {c.what: c.was for c in corrections(now, before)})


def corrections(now: Mapping[str, str], before: Published | None) -> tuple[Correction, ...]:
    """What was ever published and no longer holds, in the order it was told; what came back to its first figure needs
    no correction. A new figure is news, not a correction.
    """
    if before is None:
        return ()
    first = {what: before.corrected.get(what, figure) for what, figure in before.said.items()}
    first |= {what: figure for what, figure in before.corrected.items() if what not in first}
    return tuple(Correction(what, was, now.get(what, "")) for what, was in first.items() if now.get(what) != was)
