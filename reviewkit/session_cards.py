"""The cards that no measurement makes: title, rated specs, repair trail, rated and measured, closing summary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reviewkit import figures, rating_words
from reviewkit.model import Card, Curves, PriceLine, RepairRow, Row, Rows, Run, Session, TitlePage, Verdict
from reviewkit.spec_table import SpecTable
from reviewkit.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED

MOST_NEEDLES = 2


def title_card(session: Session, price: PriceLine | None) -> Card:
    """Maker and model large, what it is and since when, and the price then and now."""
    unit = session.unit
    lines = tuple(line for line in (unit.what, str(unit.year) if unit.year else "", session.episode.title) if line)
    amounts: tuple[tuple[str, str], ...] = ()
    if price is not None:
        amounts = (
            (f"new, {price.from_year}", price.paid_shown),
            (f"in {price.to_year} money", f"about {price.now_shown}"),
        )
    return Card("title", "", session.episode.presenter, TitlePage(unit.name, lines, amounts))


def rated_card(session: Session) -> Card | None:
    """What the maker printed, one line a rating."""
    if not session.ratings:
        return None
    rows = tuple(
        Row((rating_words.label(r), rating_words.limit_text(r)), note=rating_words.small_print(r))
        for r in session.ratings
    )
    sources = list(dict.fromkeys(r.source for r in session.ratings if r.source))
    return Card(
        "rated", "Rated", " · ".join(sources), Rows(("", "rated"), rows, (2.4, 1.0), strong=1), corner=session.unit.name
    )


def _done(r: RepairRow) -> str:
    """What was done, blank where it was nothing."""
    return "" if r.action.lower() == "none" else r.action


def repair_card(session: Session, repair: Sequence[RepairRow]) -> Card | None:
    """The repair trail: what the drawing says, what the meter said, what was done."""
    if not repair:
        return None
    rows = tuple(Row((r.point, r.expected_text, r.found_text, _done(r), r.verdict), r.verdict) for r in repair)
    return Card(
        "repair",
        "The repair",
        "what the drawing says, what the meter found, what was done",
        Rows(("test point", "expected", "found", "done", ""), rows, (2.6, 1.0, 1.0, 1.7, 1.2), strong=2),
        corner=session.unit.name,
    )


def table_card(session: Session, table: SpecTable, verdicts: Sequence[Verdict]) -> Card | None:
    """Rated and measured, with a needle a row; over them the conditions that all of them share."""
    if not table.rows:
        return None
    deciding = [finding for v in verdicts for finding in v.findings]
    inputs = {finding.at.get("input", "") for finding in deciding}
    driven = {finding.at.get("channels", "") for finding in deciding}
    conditions = " · ".join(
        part
        for part in (
            f"{next(iter(inputs))} input" if len(inputs) == 1 and "" not in inputs else "",
            figures.DRIVEN.get(next(iter(driven)), "") if len(driven) == 1 else "",
            session.bench.mains,
        )
        if part
    )
    rows = tuple(Row((r.label, r.limit, r.measured), r.verdict, r.position) for r in table.rows)
    return Card(
        "table",
        "Rated and measured",
        conditions,
        Rows(("", "rated", "measured"), rows, (2.6, 1.1, 1.5), strong=2, needles=True),
        foot=" · ".join(table.foot),
        corner=session.unit.name,
    )


def closing_card(session: Session, verdicts: Sequence[Verdict], price: PriceLine | None) -> Card | None:
    """How many ratings hold, which do not, and the price once more."""
    rows = []
    for word in (MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED):
        labels = [v.label for v in verdicts if v.verdict == word]
        if labels:
            rows.append(Row((f"{word}: {len(labels)}", "; ".join(labels))))
    if price is not None:
        rows.append(
            Row(
                (
                    "then and now",
                    f"{price.paid_shown} in {price.from_year}, about {price.now_shown} in {price.to_year} money",
                )
            )
        )
        if price.fair_shown:
            rows.append(Row(("fair today", f"{price.fair_shown}, an opinion")))
    if not rows:
        return None
    count = f"{len(verdicts)} rating{'' if len(verdicts) == 1 else 's'}" if verdicts else ""
    return Card(
        "closing", "In short", count, Rows(("", ""), tuple(rows), (1.0, 2.6), strong=0), corner=session.unit.name
    )


def with_verdicts(card: Card, runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """A measurement's card with the needles of the ratings that its measurements answered."""
    ids = {run.conditions.measurement.id for run in runs}
    own = [v for v in verdicts if ids & set(v.measurements) and v.verdict != UNMEASURED]
    return replace(card, verdicts=tuple(own[:MOST_NEEDLES])) if isinstance(card.body, Curves) else card


def with_alt(card: Card) -> Card:
    """A card with its own text as the alternative for those who cannot see it."""
    parts = [card.title, card.conditions]
    if isinstance(card.body, TitlePage):
        parts += [card.body.name, *card.body.lines, *(f"{what}: {amount}" for what, amount in card.body.amounts)]
    elif isinstance(card.body, Rows):
        parts += [", ".join(c for c in (*row.cells, row.note, row.verdict) if c) for row in card.body.rows]
    for reading in card.readings:
        parts += [
            f"{reading.label}: {reading.key}" if reading.key else reading.label,
            *(" ".join(cell for cell in row if cell) for row in reading.rows),
        ]
    parts += [f"{v.label}, rated {v.limit}: {v.verdict}" for v in card.verdicts]
    return replace(card, alt=". ".join(part for part in (*parts, card.foot) if part))
