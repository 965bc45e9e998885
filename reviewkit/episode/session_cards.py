"""The cards that don't come from a measurement: title, rated specs, repair trail, rated and measured, summary."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import replace

from reviewkit.model import quantities, rating_words
from reviewkit.model.card import BarGroup, Bars, Card, Row, Rows, TitlePage
from reviewkit.model.finding import Finding, Run
from reviewkit.model.finding_conditions import DRIVEN
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.repair_points import point_verdict
from reviewkit.verdict.spec_table import SpecTable, sources
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, MEETS, SHORT, UNMEASURED

MOST_SINGLE = 5  # unmet ratings with a line each in the summary, at most
_NAMED = 2  # of a group of ratings in the summary
_GROUPS = {
    SHORT: "Ratings missed",
    CLOSE: "Too near to their limits",
    INCOMPARABLE: "Rated otherwise than measured",
    UNMEASURED: "Not measured",
}
_OUT = "out of tolerance"
_NOTHING_DONE = ("", "none", "go")  # actions that mean nothing was done


def make_title_card(session: Session, price: PriceLine | None, photo: bytes = b"") -> Card:
    """Make the title card: maker and model large, what it is and since when, the price then and now."""
    unit = session.unit
    lines = tuple(line for line in (unit.what, str(unit.year) if unit.year else "", session.episode.title) if line)
    page = TitlePage(unit.name, lines, _amounts(price), _years(price), photo)
    return Card("title", "", session.look.presenter or session.episode.presenter, page)


def _amounts(price: PriceLine | None) -> tuple[tuple[str, str], ...]:
    """Return what was paid and its equivalent now, each with its year."""
    if price is None:
        return ()
    return (f"new, {price.from_year}", price.paid_shown), (f"in {price.to_year} money", f"about {price.now_shown}")


def _years(price: PriceLine | None) -> tuple[int, int] | None:
    return (price.from_year, price.to_year) if price is not None and price.from_year != price.to_year else None


def make_rated_card(session: Session) -> Card | None:
    """Make the card of what the maker printed, one line for each rating; None without ratings."""
    if not session.ratings:
        return None
    rows = tuple(
        Row((rating_words.label(r), rating_words.limit_text(r)), note=rating_words.small_print(r))
        for r in session.ratings
    )
    said = " · ".join(sources(session.ratings))
    return Card("rated", "Rated", said, Rows(("", "rated"), rows, (2.4, 1.0), strong=1), corner=session.unit.name)


def _repair_row(r: RepairRow) -> Row:
    """Return a test point's row: expected and found, and below it what was done."""
    expected = f"{r.expected_text} ± {r.tolerance_text}" if r.expected_text and r.tolerance_text else r.expected_text
    arrow = "→" if r.expected_text and r.found_text else ""
    done = "" if r.action.lower() in _NOTHING_DONE else r.action
    # "open" or "short" is outside any tolerance, and the word is in the next cell already
    verdict = point_verdict(r)
    word = _OUT if verdict and verdict == r.found_text else verdict
    cells = (r.point, expected, arrow, r.found_text, word)
    return Row(cells, word, note=done, loud=word not in ("", "in order"))


def make_repair_card(session: Session, repair: Sequence[RepairRow]) -> Card | None:
    """Make the repair trail: what the drawing says, what the meter said, what was done."""
    if not repair:
        return None
    headers = ("test point", "expected", "", "found", "")
    return Card(
        "repair",
        "The repair",
        "what the drawing says, what the meter found, what was done",
        Rows(headers, tuple(_repair_row(r) for r in repair), (2.8, 1.2, 0.1, 1.0, 1.2), strong=3),
        corner=session.unit.name,
    )


def make_table_card(session: Session, table: SpecTable, verdicts: Sequence[Verdict]) -> Card | None:
    """Make the card of rated and measured, a needle in each row, above them the shared conditions."""
    if not table.rows:
        return None
    deciding = [finding for v in verdicts for finding in v.findings]
    inputs = {finding.at.get("input", "") for finding in deciding}
    driven = {finding.at.get("channels", "") for finding in deciding}
    where = [_unlabelled_spot(v) for v in verdicts] + [""] * (len(table.rows) - len(verdicts))
    spots = Counter(text for text in where if text and " – " not in text and " + " not in text)
    spot = spots.most_common(1)[0][0] if spots else ""
    conditions = " · ".join(
        part
        for part in (
            f"{next(iter(inputs))} input" if len(inputs) == 1 and "" not in inputs else "",
            DRIVEN.get(next(iter(driven)), "") if len(driven) == 1 else "",
            session.bench.mains,
            f"{spot} where no frequency stands" if spot else "",
        )
        if part
    )
    rows = tuple(
        Row(
            (r.label, r.limit, r.measured),
            r.verdict,
            r.position,
            note="" if at == spot else at,
            margin=_margin(r.verdict, r.margin),
        )
        for r, at in zip(table.rows, where, strict=True)
    )
    return Card(
        "table",
        "Rated and measured",
        conditions,
        Rows(("", "rated", "measured"), rows, (2.6, 1.1, 1.5), strong=2, needles=True),
        foot=" · ".join(table.foot),
        corner=session.unit.name,
    )


def _margin(word: str, margin: str) -> str:
    """Return the margin if it is informative, else "".

    Within the guard band it is smaller than its own uncertainty, and a factor near one is less plain than the two
    figures next to it.
    """
    near = margin.endswith("×") and 0.67 < float(margin.removesuffix(" ×")) < 1.5
    return margin if word in (MEETS, SHORT) and not near else ""


def _unlabelled_spot(v: Verdict) -> str:
    """Return the frequency or band of a row's figure if its label doesn't have it, else ""."""
    where = _measured_at(v.findings[0]) if v.measured and v.findings else ""
    return "" if where in v.label or v.measured.endswith(f"at {where}") else where


def _measured_at(f: Finding) -> str:
    if "tones" in f.at:
        return quantities.tones((f.at["tones"][0], f.at["tones"][1]))
    if "band" in f.at:
        return quantities.band((f.at["band"][0], f.at["band"][1]))
    return quantities.hertz(f.at["frequency"]) if "frequency" in f.at else ""


def _closing_rows(verdicts: Sequence[Verdict], price: PriceLine | None) -> list[Row]:
    """Return the rows of the summary: the ratings met on one line, the others on a line each or grouped.

    With the `price` it should be one card.
    """
    opinion = price is not None and bool(price.fair_shown)
    of_all = f"of {len(verdicts)}"
    good = [v for v in verdicts if v.verdict == MEETS]
    rest = [v for word in (SHORT, CLOSE, INCOMPARABLE, UNMEASURED) for v in verdicts if v.verdict == word]
    rows = []
    if good:
        nearest = min(good, key=lambda v: math.inf if v.room is None else v.room)
        note = f"nearest to its limit: {nearest.label}" if len(good) > 1 else nearest.label
        cells = ("Ratings met", "", f"{len(good)} {of_all}")
        rows.append(Row(cells, MEETS, nearest.position, note, _margin(MEETS, nearest.margin)))
    words = dict.fromkeys(v.verdict for v in rest)
    # with the price, all groups together leave no room for their names
    named = price is None or len(words) < len(_GROUPS)
    for word in words:
        same = [v for v in rest if v.verdict == word]
        if len(same) == 1 or len(rest) <= MOST_SINGLE - opinion:
            rows += [
                Row((v.label, v.limit, v.measured or "–"), v.verdict, v.position, margin=_margin(v.verdict, v.margin))
                for v in same
            ]
            continue
        furthest = min((v.position for v in same if v.position is not None), default=None)
        names = "; ".join(v.label for v in same[:_NAMED])
        more = f" and {len(same) - _NAMED} more" if len(same) > _NAMED else ""
        rows.append(Row((_GROUPS[word], "", f"{len(same)} {of_all}"), word, furthest, names + more if named else ""))
    return rows


def make_closing_card(session: Session, verdicts: Sequence[Verdict], price: PriceLine | None) -> Card | None:
    """Make the summary: how many ratings hold, which don't and by how much, and the price again."""
    rows = _closing_rows(verdicts, price)
    if not rows and price is None:
        return None
    headers = ("", "rated", "measured") if any(row.cells[1] for row in rows) else ("", "", "")
    if price is not None and price.fair_shown:
        rows.append(Row(("Fair today, an opinion", "", price.fair_shown)))
    amounts, years = _amounts(price), _years(price)
    body = Rows(headers, tuple(rows), (2.6, 1.1, 1.5), strong=2, needles=True, amounts=amounts, years=years)
    return Card("closing", "In short", "", body, corner=session.unit.name)


def verdicts_on(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> tuple[Verdict, ...]:
    """Return the verdicts on the ratings that these runs answered, as the card of these runs shows them."""
    ids = {run.conditions.measurement.id for run in runs}
    return tuple(_as_shown_on(v, ids) for v in verdicts if ids & set(v.measurements) and v.verdict != UNMEASURED)


def _as_shown_on(v: Verdict, ids: Collection[str]) -> Verdict:
    """Return a verdict as the card of these measurements shows it.

    It has its margin if that is informative. It has its figure if the ± decides, or if the figure is on another card
    and the margin would appear to belong to this one's.
    """
    elsewhere = bool(v.findings) and v.findings[0].measurement not in ids
    with_figure = v.measured and (v.verdict == CLOSE or elsewhere)
    return replace(v, label=f"{v.label}: {v.measured}" if with_figure else v.label, margin=_margin(v.verdict, v.margin))


def _row_text(row: Row) -> str:
    cells = row.cells[:-1] if row.verdict and row.cells[-1:] == (row.verdict,) else row.cells
    return ", ".join(part for part in (*(c for c in cells if c != "→"), row.note, row.verdict, row.margin) if part)


def _bars_text(group: BarGroup) -> str:
    """Describe a group of bars: "2nd: L −74.2 dB, R −72.2 dB, L before −74.1 dB, R before −71.9 dB"."""
    bars = [
        " ".join(part for part in (bar.channel, "before" if bar.role == "before" else "", bar.text, group.unit) if part)
        for bar in sorted(group.bars, key=lambda bar: bar.role == "before")
    ]
    return f"{group.label}: {', '.join(bars)}"


def add_alt_text(card: Card) -> Card:
    """Return a card with its own text as the alternative for those who can't see it."""
    parts = [card.title, card.conditions]
    if isinstance(card.body, TitlePage):
        parts += [card.body.name, *card.body.lines, *(f"{what}: {amount}" for what, amount in card.body.amounts)]
    elif isinstance(card.body, Bars):
        parts += [_bars_text(group) for group in card.body.groups]
    elif isinstance(card.body, Rows):
        parts += [_row_text(row) for row in card.body.rows]
        parts += [f"{what}: {amount}" for what, amount in card.body.amounts]
    for reading in card.readings:
        parts += [
            f"{reading.label}: {reading.key} {reading.channel}".rstrip() if reading.key else reading.label,
            *(" ".join(cell for cell in row if cell) for row in reading.rows),
        ]
    parts += [f"{v.label}, rated {v.limit}: {v.verdict} {v.margin}".rstrip() for v in card.verdicts]
    return replace(card, alt=". ".join(part for part in (*parts, card.foot) if part))
