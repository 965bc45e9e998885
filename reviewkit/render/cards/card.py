"""A card laid out as shapes: the frame, then the body with the hero; checked before anything is painted."""

from __future__ import annotations

from dataclasses import replace

from reviewkit.model.card import Card, Chart, Ending, Fix, Hunt, Number, Price, Rows, Score
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.colours import find_look
from reviewkit.render.cards.paint import NO_FONTS, Fonts, make_measure
from reviewkit.render.cards.roles import ROLES, apply_look
from reviewkit.render.cards.scene import Item, LayoutFault, Page
from reviewkit.render.cards.shape import WIDE, Shape


def lay_out(card: Card, look: str, shape: Shape = WIDE) -> tuple[Item, ...]:
    """Return the shapes of a card in drawing order, with the extents that the renderer gives.

    Parameters
    ----------
    card : Card
        The card.
    look : str
        Name of a look.
    shape : Shape
        Its frame.

    Returns
    -------
    tuple of Text, Stroke and Area
        In pixels of the frame.

    Raises
    ------
    LayoutFault
        If the card can't be laid out.
    """
    return apply_look(lay_out_in_roles(card, NO_FONTS, shape), find_look(look))


def lay_out_in_roles(card: Card, fonts: Fonts, shape: Shape) -> tuple[Item, ...]:
    """Lay out and check a card with roles in place of colours, so that it can be coloured in any look.

    Raises
    ------
    LayoutFault
        If the card can't be laid out; for the first problem.
    """
    from reviewkit.render.cards.frame import place_frame
    from reviewkit.render.cards.layout_check import find_problems

    page, body = Page(card.id, ROLES, make_measure(card.id, fonts), shape), card.body
    if isinstance(body, Chart):
        _place_chart(page, _name_rating(card, body, card.verdict) if card.verdict else card)
    elif isinstance(body, Rows):
        from reviewkit.render.cards.table import place_table

        place_table(page, card, body)
    elif isinstance(body, Number):
        from reviewkit.render.cards.number_card import place_number

        place_number(page, body, place_frame(page, card, ""))
    elif isinstance(body, Score):
        from reviewkit.render.cards.score_card import place_score

        place_score(page, body, place_frame(page, card, card.title))
    elif isinstance(body, Hunt | Fix):
        from reviewkit.render.cards.hunt_card import place_fix, place_hunt

        lower = place_frame(page, card, card.title)
        place_hunt(page, body, lower, card.title) if isinstance(body, Hunt) else place_fix(page, body, lower)
    elif isinstance(body, Ending):
        from reviewkit.render.cards.ending_card import place_ending

        place_ending(page, body, place_frame(page, card, ""))
    elif isinstance(body, Price):
        from reviewkit.render.cards.price_card import place_price

        place_price(page, body, place_frame(page, card, card.title))
    else:
        from reviewkit.render.cards.title_page import place_title_page

        place_title_page(page, body, card.mark)
    for problem in find_problems(page.items, shape):
        raise page.fault(problem.text, problem.remedy or "draw less on this card", problem.message)
    return tuple(page.items)


def _place_chart(page: Page, card: Card) -> None:
    """Place a chart with its frame: the hero in its free space if there is room and no verdict, else above it.

    What is on a card as found and on the same card as repaired is in the same place on both.
    """
    from reviewkit.render.cards.chart import place_chart
    from reviewkit.render.cards.frame import place_frame
    from reviewkit.render.cards.hero import fit_strip, place_strip

    shape, chart = page.shape, card.body
    assert isinstance(chart, Chart)
    cards = list(dict.fromkeys((card.repaired or card, card.found or card)))
    pages = [page if one is card else page.blank() for one in cards]
    lower = max(place_frame(each, one, one.title) for each, one in zip(pages, cards, strict=True))
    top, bottom = shape.chart[0] + lower, shape.chart[1]
    if card.hero is None:
        place_chart(page, chart, top, bottom)
        return
    if all(one.hero and one.verdict is None for one in cards):
        frames = [len(each.items) for each in pages]
        try:
            place = None
            for each, one in zip(pages, cards, strict=True):
                assert isinstance(one.body, Chart)
                place = place_chart(each, one.body, top, bottom, one.hero, place)
                if place is None:
                    break
        except LayoutFault:  # a name has room only if the hero is in another place
            place = None
        if place is not None:
            return
        for each, frame in zip(pages, frames, strict=True):
            del each.items[frame:]
    strips = [
        (each, fit_strip(each, one.hero, one.verdict)) for each, one in zip(pages, cards, strict=True) if one.hero
    ]
    size = min(strip.size for _, strip in strips)
    end = max(place_strip(each, strip, shape.strip + lower, size) for each, strip in strips)
    place_chart(page, chart, end + shape.under_strip, bottom)


def _name_rating(card: Card, chart: Chart, verdict: Verdict) -> Card:
    """Return a card that names its rating one time: its limit in the chart has no label that repeats the verdict's."""
    limits = [limit for panel in chart.panels for limit in panel.limits]
    if not any(limit.rating == verdict.rating for limit in limits):
        return card
    repeated = f"rated {verdict.shown_limit}"
    panels = [
        replace(panel, limits=tuple(replace(e, label="") if e.label == repeated else e for e in panel.limits))
        for panel in chart.panels
    ]
    return replace(card, body=replace(chart, panels=tuple(panels)))
