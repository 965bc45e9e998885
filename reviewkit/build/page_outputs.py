"""The published page's type, and the picture that leads it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reviewkit.build.cache import Cache
from reviewkit.build.drawing import Pictures
from reviewkit.build.making import Making, begin_making
from reviewkit.build.pool import Pool
from reviewkit.episode.lead import choose_lead
from reviewkit.model.card import Card
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.paint import Fonts
from reviewkit.render.cards.photo import reduce_photo
from reviewkit.render.cards.pictures import draw_lead
from reviewkit.render.cards.shape import LEAD, NARROW_LEAD
from reviewkit.render.pages.embedded_type import installed_type, subset_type
from reviewkit.render.pages.episode_page import PagePictures, pictures_of

_PHOTO = "photo"
_PHOTO_SIDE = 1280  # pixels, the larger one


def begin_type(pool: Pool, cache: Cache) -> Making:
    """Have the page's type reduced by the other processes of a pool."""
    return begin_making(subset_type, {name: (name,) for name in installed_type()}, pool, cache)


def begin_lead(
    cards: Sequence[Card], photo: bytes, fonts: Fonts, type_digests: Sequence[str], pool: Pool, cache: Cache
) -> Making:
    """Have the picture that leads the page made by the other processes of a pool: the photograph, or a card."""
    if photo:
        return begin_making(reduce_photo, {_PHOTO: (photo, _PHOTO_SIDE)}, pool, cache)
    lead = choose_lead(cards)
    shapes = (LEAD, NARROW_LEAD) if lead else ()
    given = {shape.name: (lead, LOOKS["brochure"], fonts, shape) for shape in shapes}
    return begin_making(draw_lead, given, pool, cache, type_digests)


def page_pictures(cards: Sequence[Card], drawn: Mapping[str, Pictures], leading: Mapping[str, bytes]) -> PagePictures:
    """Return the page's pictures: those of the cards, and what leads the page."""
    pictures = pictures_of(drawn)
    if _PHOTO in leading:
        return PagePictures(pictures, photo=leading[_PHOTO])
    shapes = list(leading.values())
    return PagePictures(pictures, choose_lead(cards) if leading else None, shapes if all(shapes) else ())
