"""Published figures and their corrections: a figure that was wrong in public is corrected in public."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from reviewkit.model import quantities
from reviewkit.model.finding import Finding
from reviewkit.model.finding_conditions import conditions_of
from reviewkit.model.published import Published
from reviewkit.verdict.spec_table import SpecTable

_SIDES = {"L": "left", "R": "right", "L>R": "left into right", "R>L": "right into left"}


@dataclass(frozen=True)
class Correction:
    """One published figure that has changed. `now` is "" if it is no longer given."""

    what: str
    was: str
    now: str


def collect_figures(table: SpecTable, findings: Sequence[Finding]) -> dict[str, str]:
    """Collect every figure of the outputs by its subject: the table's rows, then the findings.

    Parameters
    ----------
    table : SpecTable
        Rated and measured.
    findings : sequence of Finding
        Every finding.

    Returns
    -------
    dict of str to str
        Subject with conditions, and figure.
    """
    found: dict[str, str] = {}
    for what, figure in (*_rows(table), *_figures(findings)):
        name, number = what, 1
        while name in found:  # two rows that differ only in their figures
            number += 1
            name = f"{what} ({number})"
        found[name] = figure
    return found


def _rows(table: SpecTable) -> Iterator[tuple[str, str]]:
    for row in table.rows:
        # identified by the maker's own figure: the limit it is compared with may change
        rated = f", rated {row.promised or row.limit}" if row.verdict else ""
        yield f"{row.label}{rated}", ", ".join(part for part in (row.measured, row.verdict) if part)


def _figures(findings: Sequence[Finding]) -> Iterator[tuple[str, str]]:
    for f in findings:
        name = quantities.quantity_of(f).name
        under = ", ".join(part for part in (f.channel, conditions_of(f)) if part)
        yield f"{f.measurement}: {name}{f', {under}' if under else ''}", quantities.show(f)


def record_published(now: Mapping[str, str], before: Published | None) -> Published:
    """Return what to remember when `now` is published after `before`."""
    return Published(dict(now), {c.what: c.was for c in find_corrections(now, before)})


def find_corrections(now: Mapping[str, str], before: Published | None) -> tuple[Correction, ...]:
    """Find the published figures that no longer hold, in the order of publication.

    A figure that is back at its first value needs no correction. A new figure is news, not a correction.

    Parameters
    ----------
    now : mapping of str to str
        The figures as in `collect_figures`.
    before : Published or None
        The earlier publications.

    Returns
    -------
    tuple of Correction
        The corrections.
    """
    if before is None:
        return ()
    first = {what: before.corrected.get(what, figure) for what, figure in before.figures.items()}
    first |= {what: figure for what, figure in before.corrected.items() if what not in first}
    return tuple(Correction(what, was, now.get(what, "")) for what, was in first.items() if now.get(what) != was)


def select_for_viewers(
    corrections: Sequence[Correction], cards: Mapping[str, tuple[str, str]]
) -> tuple[Correction, ...]:
    """Select the corrections of figures that viewers could see, reworded for them.

    These are the table's rows and the figures on cards. Every figure is remembered, but most appear only in
    findings.json and in the page's list of all figures.

    Parameters
    ----------
    corrections : sequence of Correction
        All corrections.
    cards : mapping of str to (str, str)
        By measurement, what its card shows and the text of all its cards.

    Returns
    -------
    tuple of Correction
        The selected ones.
    """
    told_again = []
    for one in corrections:
        measurement, _, rest = one.what.partition(": ")
        if measurement not in cards:
            told_again.append(one)  # a row of the table
            continue
        title, text = cards[measurement]
        if one.now and re.search(rf"(?<![\d.]){re.escape(one.now)}(?!\d)", text):
            name, *under = rest.split(", ")
            what = ", ".join([name, *(_SIDES.get(part, part) for part in under)])
            told_again.append(Correction(f"{title}: {what}", one.was, one.now))
    return tuple(told_again)
