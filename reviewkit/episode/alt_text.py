"""A card in sentences, for those who can't see it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reviewkit.model.card import (
    Body,
    Card,
    Chart,
    Ending,
    Fix,
    Hero,
    Hunt,
    HuntReading,
    Number,
    Price,
    Row,
    Rows,
    Score,
    ScoreRow,
    TitlePage,
    Trace,
)
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict_words import CLOSE, INCOMPARABLE, NO_VERDICT, UNMEASURED, margin_words

_SIDES = {"L": "left channel", "R": "right channel"}
_OTHERS = {CLOSE: (CLOSE,), "not judged": (INCOMPARABLE, UNMEASURED, NO_VERDICT)}
MOST_READINGS = 8  # further figures; the page has a table of them all


def heading_of(card: Card) -> str:
    """Return what a card is called: its heading or title, else the large text in place of one."""
    match card.body:
        case Number(sentence=text) | Ending(word=text) | TitlePage(hook=text):
            return card.title or text
        case _:
            return card.heading or card.title


def add_alt_text(card: Card) -> Card:
    """Return a card with its own text as the alternative for those who can't see it."""
    of_all = " · ".join(filter(None, (card.stage, card.subject, *card.conditions, *card.asides)))
    parts = [card.title, of_all, card.heading]
    if card.hero is not None and not isinstance(card.body, Ending):
        parts.append(_hero_text(card.hero))
    if card.verdict is not None:
        parts.append(_verdict_text(card.verdict))
    parts += _body_texts(card.body)
    parts += [f"{what}: {figure}" for what, figure in card.readings[:MOST_READINGS]]
    own = dict.fromkeys(part.rstrip(".") for part in (*parts, card.foot) if part)
    return replace(card, alt=" ".join(map(_sentence, own)))


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}{'' if text.endswith('?') else '.'}"


def _hero_text(hero: Hero) -> str:
    """Return the large figure: "right channel, at 1 W: 5.0 before, 0.020 % after"."""
    figure = " ".join(filter(None, (hero.figure, hero.uncertainty)))
    figure = f"{hero.before} before, {figure} after" if hero.before else figure
    caption = hero.caption.removeprefix("after").removeprefix(", ") if hero.before else hero.caption
    notes = " · ".join(filter(None, (hero.note, *hero.further)))
    return "; ".join(filter(None, (f"{caption}: {figure}" if caption else figure, hero.rated, notes)))


def _verdict_text(verdict: Verdict) -> str:
    more = margin_words(verdict) or verdict.brief
    return f"{verdict.label}, rated {verdict.limit}: {verdict.verdict} {more}".rstrip()


def _body_texts(body: Body) -> list[str]:
    """Return what a body says, one part of it each."""
    match body:
        case Chart():
            return [*(panel.label for panel in body.panels), _curves_text(body)]
        case Number():
            return [f"{body.figure}: {body.sentence}", body.was]
        case Score():
            return [*map(_score_text, (*body.missed, *body.close, *body.unjudged, *body.met))]
        case Hunt():
            return [*map(_reading_text, (*body.readings, body.part))]
        case Fix():
            return [_fixed_text(body), f"{body.part}: {body.done}", body.others]
        case Ending():
            ended = [body.word, _hero_text(body.hero) if body.hero else "", f"{body.met} {body.of}".strip()]
            others = (f"{sum(word in words for word in body.tally)} {what}" for what, words in _OTHERS.items())
            missed = [f"missed: {missed}" for missed in body.missed]
            unchecked = f"still to check: {'; '.join(body.unchecked)}" if body.unchecked else ""
            return [*ended, *missed, ", ".join(text for text in others if text[0] != "0"), body.pending, unchecked]
        case Price():
            return _price_texts(body)
        case TitlePage():
            price = _price_texts(body.price) if body.price else []
            return [body.hook, ", ".join(filter(None, (body.name, body.what))), *price, body.presenter]
        case Rows():
            return [*(_row_text(row, body.headers) for row in body.rows), body.more]


def _curves_text(chart: Chart) -> str:
    """Return what a chart shows: "Curves: left channel; right channel, before", "Harmonics, before and after";
    "" for one curve without a name.
    """
    stems = {stem.role for panel in chart.panels for stem in panel.stems}
    if stems:
        return f"Harmonics{', before and after' if 'before' in stems else ''}"
    names = dict.fromkeys(_curve_name(trace) for panel in chart.panels for trace in panel.traces)
    named = "; ".join(filter(None, names))
    return f"Curves: {named}" if named else ""


def _curve_name(trace: Trace) -> str:
    side = _SIDES.get(trace.channel, "")
    label = "" if trace.label == trace.channel else trace.label
    if trace.role == "ideal":
        return f"{label}, for comparison"
    return label if label.startswith(side) and label else ", ".join(filter(None, (side, label)))


def _score_text(row: ScoreRow) -> str:
    figure = " ".join(filter(None, (row.measured, row.uncertainty)))
    texts = (f"{row.label}: {figure}" if figure else row.label, f"rated {row.rated}", row.verdict)
    note = row.note if row.note != row.verdict else ""
    return ", ".join(filter(None, (*texts, note)))


def _reading_text(reading: HuntReading) -> str:
    expected = f"expected {reading.expected}" if reading.expected else ""
    word = reading.word if reading.word != reading.reading else ""
    return f"{reading.point}: {', '.join(filter(None, (expected, f'found {reading.reading}', word)))}"


def _fixed_text(body: Fix) -> str:
    reading = body.reading
    expected = f"expected {reading.expected}" if reading.expected else ""
    texts = (expected, f"{body.before} before", f"{reading.reading} after", reading.word)
    return f"{reading.point}: {', '.join(filter(None, texts))}"


def _price_texts(price: Price) -> list[str]:
    first, last = price.years
    same = first == last
    now = f"about {price.now} in {last} money" if price.now and not same else ""
    paid = ", ".join(filter(None, (f"{price.paid} new in {first}" if price.paid else "", now)))
    return [paid, f"worth today: {price.worth}, an opinion" if price.worth else ""]


def _row_text(row: Row, headers: Sequence[str]) -> str:
    named = zip(headers, row.cells, strict=False)  # the verdict's column has no cell
    cells = [f"{header} {cell}" if header else cell for header, cell in named if cell]
    return ", ".join(part for part in (*cells, row.note, row.verdict) if part)
