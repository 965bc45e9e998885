"""The published page's type, and the picture that leads it: made, or taken from the cache."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reviewkit.build.cache import Cache
from reviewkit.build.drawing import Pictures, draw_picture
from reviewkit.build.plain_data import fingerprint
from reviewkit.build.pool import Pool
from reviewkit.build.program_digest import program_digest
from reviewkit.build.sound_outputs import Compressing
from reviewkit.episode.lead import choose_lead
from reviewkit.model.episode import Episode
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.paint import Fonts
from reviewkit.render.cards.photo import reduce_photo
from reviewkit.render.cards.pictures import draw_lead
from reviewkit.render.cards.shape import LEAD, NARROW_LEAD
from reviewkit.render.pages.embedded_type import installed_type, subset_type
from reviewkit.render.pages.episode_page import PagePictures, pictures_of

_PHOTO_SIDE = 1280  # pixels, the larger one


def begin_type(pool: Pool, cache: Cache) -> Compressing:
    """Have the page's type reduced by the other processes of a pool."""
    keys = {name: fingerprint("page type", program_digest(), name) for name in installed_type()}
    stored = {name: content for name, key in keys.items() if (content := cache.read(key)) is not None}
    new = {name: key for name, key in keys.items() if name not in stored}
    return Compressing(stored, new, pool.begin(subset_type, [(name,) for name in new]))


def draw_page_pictures(
    episode: Episode,
    drawn: Mapping[str, Pictures],
    photo: bytes,
    fonts: Fonts,
    type_digests: Sequence[str],
    cache: Cache,
) -> PagePictures:
    """Return the page's pictures: those of the cards, which are drawn already, and what leads the page."""
    cards = pictures_of(drawn)
    if photo:
        return PagePictures(cards, photo=draw_picture(cache, (photo,), reduce_photo, (photo, _PHOTO_SIDE)))
    lead = choose_lead(episode.cards)
    if lead is None:
        return PagePictures(cards)
    given = [(lead, LOOKS["brochure"], fonts, shape) for shape in (LEAD, NARROW_LEAD)]
    shapes = [draw_picture(cache, (one, type_digests), draw_lead, one) for one in given]
    return PagePictures(cards, lead, shapes if all(shapes) else ())
