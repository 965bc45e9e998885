"""The cards that are of the session, not of a measurement: title, ratings, one figure, price, and the long tables."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.episode.score import change_hero
from reviewkit.episode.stills import AFTER
from reviewkit.measure import figures
from reviewkit.model import digits, quantities, rating_words
from reviewkit.model.card import FEW_ROWS, Axis, Card, Number, Price, Row, Rows, TitlePage, show_few
from reviewkit.model.change import Change
from reviewkit.model.finding import Point
from reviewkit.model.prices import PriceLine
from reviewkit.model.ratings import DECIBELS
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import PrintedFigure, Rating, Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict import verdict_words
from reviewkit.verdict.repair_points import NOTHING_DONE, OPEN, SHORT, point_word, reading_after
from reviewkit.verdict.spec_table import SpecTable, sources
from reviewkit.verdict.verdict_words import INCOMPARABLE, JUDGED, MEETS, UNMEASURED

_FEW = 8.0  # a dial whose ends are less than this factor apart is numbered 1, 2, 5
_LONGEST_FIGURE = 22  # characters, in the column of figures
_STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def make_title_card(session: Session, price: PriceLine | None, photo: bytes = b"") -> Card:
    """Make the opening card: the hook large, then the name, what it is and since when, the price then and now."""
    unit = session.unit
    what = ", ".join(str(part) for part in (unit.what, unit.year) if part)
    hook = find_hook(session)
    presenter = session.look.presenter or session.episode.presenter
    named = hook.casefold() == unit.name.casefold()
    body = TitlePage(hook, "" if named else unit.name, what, presenter, _price(price, ""), photo)
    return Card("title", "", (), body, title=hook)


def find_hook(session: Session) -> str:
    """Return the episode's title without the unit's name before it; without a title, the name."""
    unit, title = session.unit, session.episode.title.strip()
    for name in (unit.name, unit.short_name, unit.model):
        rest = re.sub(rf"^{re.escape(name)}\s*(?::|[–—-]\s)\s*", "", title) if name else title
        if rest and rest != title:
            return rest[0].upper() + rest[1:]
    return title or unit.name


def _price(price: PriceLine | None, worth: str) -> Price | None:
    if price is None:
        return None
    same = price.from_year == price.to_year
    return Price(price.paid_shown, "" if same else price.now_shown, (price.from_year, price.to_year), worth)


def make_price_card(price: PriceLine | None) -> Card | None:
    """Make the card of what it cost and what that is now, with an opinion of its worth; None without a price."""
    body = _price(price, price.fair_shown if price else "")
    if price is None or body is None or not (body.now or body.worth):
        return None
    facts = {"worth": body.worth, "now": body.now, "year": price.to_year}
    return Card("price", "by consumer prices" if body.now else "", (), body, finding=Point("cards", "price", facts))


def make_rated_card(session: Session, verdicts: Sequence[Verdict], filmed: Sequence[Verdict] = ()) -> Card | None:
    """Make the card of how many ratings are judged, with a few of them; None without any.

    Where none is, it is of what the maker printed. `filmed`: the verdicts that have their own cards on film,
    in that order.
    """
    if not (session.ratings or session.printed):
        return None
    judged = [v.rating for v in verdicts if v.verdict in JUDGED]
    count = len(judged) or len(session.ratings) + len(session.printed)
    ordered = [v.rating for v in filmed if v.rating in judged]
    ordered += [rating for rating in judged or session.ratings if rating not in ordered]
    # a second figure of one quantity comes last
    names = [rating_words.label(rating) for rating in ordered]
    first = [rating for at, rating in enumerate(ordered) if names[at] not in names[:at]]
    most = FEW_ROWS + (count == FEW_ROWS + 1)  # a row in place of "and 1 more"
    ordered = [*first, *(rating for rating in ordered if rating not in first)][:most]
    inputs = {rating.input for rating in ordered}
    shared = inputs.pop() if len(inputs) == 1 else ""
    meant = {v.rating: v.shown_limit for v in verdicts if v.limit.startswith("at least")}
    # told apart from all others, those not on the card too
    plain = [replace(rating, input="") if rating.input == shared else rating for rating in session.ratings]
    labels = dict(zip(session.ratings, rating_words.labels(plain), strict=True))
    rows = [_rated_row(rating, labels[rating], meant.get(rating, "")) for rating in ordered]
    rows += [] if judged else [_printed_row(figure) for figure in session.printed]
    rows = rows[:most]
    more = f"and {count - len(rows)} more" if count > len(rows) else ""
    finding = Point("cards", "rated", {"ratings": count, "judged": bool(judged)})
    body = Rows(("", ""), tuple(rows), strong=1, more=more)
    asides = tuple(sources([*session.ratings, *session.printed]))
    return Card("rated", "Rated", (shared,) if shared else (), body, asides=asides, finding=finding)


def _rated_row(rating: Rating, label: str, meant: str) -> Row:
    """Return a rating with the side that its limit is on: "45 dB or more".

    `meant`: the limit that a nominal figure means; then "impedance, 8 Ω" with "may dip to 6.4 Ω".
    """
    text = rating_words.limit_text(rating, label)
    if meant:
        return Row((f"{label}, {text}", f"may dip to {meant}"))
    return Row((label, rating_words.with_side(rating, text)))


def _printed_row(figure: PrintedFigure) -> Row:
    """Return the row of what nothing here measures; a long text goes below its name."""
    if len(figure.text) <= _LONGEST_FIGURE:
        return Row((figure.name, figure.text), note=UNMEASURED)
    return Row((figure.name, ""), note=f"{figure.text}; {UNMEASURED}")


def make_table_card(session: Session, table: SpecTable, verdicts: Sequence[Verdict], *, repaired: bool) -> Card | None:
    """Make the card of the few ratings that were judged, else of what was measured; None with fewer than two rows."""
    if all(row.only_printed for row in table.rows):
        return None
    # the rows without a rating come after those of the verdicts
    notes = [*(v.brief or v.remark for v in verdicts), *[""] * (len(table.rows) - len(verdicts))]
    rows = tuple(
        # next to a rating that it can't be compared with, a figure would look like a miss
        Row(
            (r.label, "" if r.measured == "–" or r.verdict == INCOMPARABLE else r.measured, r.limit),
            r.verdict,
            note=note,
        )
        for r, note in zip(table.rows, notes, strict=True)
        if not r.only_printed  # what is only printed is on the card of ratings
    )
    bench = session.bench
    conditions = tuple(text for text in (f"{bench.input} input" if bench.input else "", bench.mains) if text)
    words = ("",) if any(row.verdict for row in rows) else ()
    judged = tuple(row for row in rows if row.verdict in JUDGED)
    if len(rows) < 2:
        return None
    if len(judged) > 1 and len(rows) > FEW_ROWS:  # then the title counts them, and so does what is left out
        rows = judged
    others = [row for row in judged if row.verdict != MEETS]
    first = others if len(others) > 1 else sorted(rows, key=lambda row: (row.verdict not in JUDGED, row not in others))
    body = show_few(Rows(("", "measured", "rated", *words), rows, strong=1), first)
    if body.more and rows == judged and 0 < len(others) <= FEW_ROWS:
        body = replace(body, more=f"{body.more}, all met")
    counts = Counter(row.verdict for row in judged)
    facts = {"met": counts[MEETS], "missed": counts[verdict_words.SHORT], "close": counts[verdict_words.CLOSE]}
    facts["unjudged"] = sum(v.verdict not in JUDGED for v in verdicts)
    finding = Point("cards", "table", facts)
    return Card("table", "", (), body, asides=conditions, stage=AFTER if repaired else "", finding=finding)


def make_repair_card(repair: Sequence[RepairRow]) -> Card | None:
    """Make the list of all test points: expected, found, what was done, and what they read after it."""
    if not repair:
        return None
    rows = tuple(_repair_row(r, repair) for r in repair)
    body = Rows(("", "expected", "found", ""), rows, strong=2)
    finding = Point("cards", "repair-list", {})
    return Card("repair-list", "all test points", (), body, stage="The repair", finding=finding)


def _repair_row(r: RepairRow, repair: Sequence[RepairRow]) -> Row:
    expected = f"{r.expected_text} ± {r.tolerance_text}" if r.expected_text and r.tolerance_text else r.expected_text
    done = "" if r.action.lower() in NOTHING_DONE else r.action
    now = f"now {reading_after(r, repair)[0]}" if r.after_text else ""
    # "open" needs no figure next to it
    found = "" if r.found_text in (OPEN, SHORT) else r.found_text
    return Row((r.point, expected, found), point_word(r), note="; ".join(text for text in (done, now) if text))


# ------------------------------------------------------------------ one figure


def make_number_card(pair: Card | None) -> Card | None:
    """Make the card of the episode's one figure, what the repair changed most; None if nothing got better.

    `pair`: the card that shows it before and after.
    """
    change: Change | None = pair.finding.facts.get("change") if pair and pair.finding else None
    if pair is None or change is None or not change.improved:
        return None
    before, after = change.before, change.after
    hero, name = change_hero(change), quantities.quantity_of(after).plain_name
    either = quantities.quantity_of(after).either_way
    old, new = (abs(quantities.claimed(f)) if either else quantities.claimed(f) for f in (before, after))
    dial = make_dial(old, new, after.unit)
    body = Number(
        hero.figure,
        f"{name[0].upper()}{name[1:]}, improved from {hero.before}",
        dial,
        old,
        new,
        f"before, {hero.before}",
    )
    place = figures.where(after) if " at " in f" {hero.caption}" else ""
    conditions = (place.removeprefix("at "), *pair.conditions)
    return Card(
        "number",
        pair.subject,
        tuple(dict.fromkeys(text for text in conditions if text)),
        body,
        asides=pair.asides,
        title=body.sentence,
        stage=AFTER,
        hero=hero,
    )


def make_dial(before: float, after: float, unit: str) -> Axis:
    """Return a dial that holds two values with room to spare; the one after the repair is to the right."""
    low, high = min(before, after), max(before, after)
    if unit in DECIBELS or low <= 0:
        values, minor = _linear(low, high)
        scale = "linear"
    else:
        values, minor = _logarithmic(low, high)
        scale = "log"
    ticks = tuple((value, rating_words.value_text(value, unit)) for value in values)
    ends = (values[0], values[-1]) if after > before else (values[-1], values[0])
    # of a unit with prefixes every number has its own
    shared = unit if unit in ("%", *DECIBELS) else ""
    return Axis(*ends, scale, ticks if after > before else ticks[::-1], shared, minor)


def _linear(low: float, high: float) -> tuple[list[float], tuple[float, ...]]:
    span = max(high - low, 1e-9)
    step = next((step for step in _STEPS if 1.5 * span / step <= 5), 10.0 ** math.ceil(math.log10(span)))
    first, last = math.floor((low - 0.15 * span) / step), math.ceil((high + 0.15 * span) / step)
    if low >= 0:
        first = max(first, 0)
    values = [round(index * step, 9) for index in range(first, last + 1)]
    minor = tuple(round((first * 5 + index) * step / 5, 9) for index in range((last - first) * 5) if index % 5)
    return values, minor


def _logarithmic(low: float, high: float) -> tuple[list[float], tuple[float, ...]]:
    first, last = math.floor(math.log10(low / 1.05)), math.ceil(math.log10(high * 1.05))
    between = [(n, exponent) for exponent in range(first, last) for n in range(1, 10)]
    fine = [digits.float_of(f"{n}e{exponent}") for n, exponent in between] + [10.0**last]
    if high / low >= _FEW:
        numbered = {1}
    else:
        numbered = {1, 2, 5}
        under, over = [v for v in fine if v <= low / 1.3], [v for v in fine if v >= high * 1.3]
        fine = [v for v in fine if (under or fine)[-1 if under else 0] <= v <= (over or fine)[0 if over else -1]]
    values = [v for v in fine if round(v / 10.0 ** math.floor(math.log10(v) + 1e-9)) in numbered]
    values = sorted({fine[0], *values, fine[-1]})
    return values, tuple(v for v in fine if v not in values)
