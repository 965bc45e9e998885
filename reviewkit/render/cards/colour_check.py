"""Colour checks of a card: whether each shape can be seen against what is under it, and left distinct from right."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from functools import cache

import numpy as np

from reviewkit.render.cards.box import Box
from reviewkit.render.cards.colours import (
    CURVE_CONTRAST,
    INK_CONTRAST,
    LEFT_RIGHT_CONTRAST,
    LEFT_RIGHT_DISTANCE,
    TEXT_CONTRAST,
    Look,
)
from reviewkit.render.cards.contrast import DEFICIENCIES, contrast, distance, linear_rgb, simulate_deficiency
from reviewkit.render.cards.layout_check import FILLS, Problem, bounds, crosses, lies_on
from reviewkit.render.cards.scene import Area, Item, Stroke, Text

Seen = Callable[[str], Sequence[str]]  # what a colour may become over whatever is behind the card

# lines with a meaning; rules and grid only guide the eye, and a needle without a pointer has no meaning
_SAYING = ("curve", "limit", "leader", "mark")
_UNDASHED = 60.0  # pixels: a piece of a bar this tall isn't a dash
_DENSE = 8.0  # a curve this many times as long as it is wide is a block, which dashes can't split


def find_colour_problems(items: Sequence[Item], look: Look, over: Seen | None = None) -> tuple[Problem, ...]:
    """Find every shape with too little contrast, and channels that can't be told apart.

    Parameters
    ----------
    items : sequence of Text, Stroke and Area
        Shapes in drawing order.
    look : Look
        The look that they are coloured in.
    over : callable, optional
        Maps a colour of ground or area to what it may become over footage.

    Returns
    -------
    tuple of Problem
        Empty if everything can be seen.

    Notes
    -----
    Ink needs 7:1, other text 4.5:1, curves, limits, marks and pointers 3:1 (WCAG 2.x, SC 1.4.6, 1.4.3 and 1.4.11).
    """
    return (*_contrast_problems(items, look, over or (lambda colour: (colour,))), *_channel_problems(items, look))


# ------------------------------------------------------------------ contrast


def _contrast_problems(items: Sequence[Item], look: Look, seen: Seen) -> Iterator[Problem]:
    under: list[Area] = []
    told: set[tuple[str, str, str]] = set()
    for item in items:
        least = _least(item, look)
        if least:
            for colour in _weak_grounds(item, look, under, least, seen):
                text = item.text if isinstance(item, Text) else ""
                if (text, item.colour, colour) not in told:
                    told.add((text, item.colour, colour))
                    yield _contrast_problem(item, look, text, colour, least)
        if isinstance(item, Area):
            under.append(item)


def _least(item: Item, look: Look) -> float:
    """Return the contrast that an item needs; 0 if it needs none."""
    if isinstance(item, Text):
        return INK_CONTRAST if item.colour == look.ink else TEXT_CONTRAST
    saying = item.kind in _SAYING or (item.kind == "needle" and isinstance(item, Area))
    # the inside of a ring is ground
    return CURVE_CONTRAST if saying and not (isinstance(item, Area) and item.colour == look.ground) else 0.0


def _weak_grounds(item: Item, look: Look, under: Sequence[Area], least: float, seen: Seen) -> Iterator[str]:
    """Yield the colours under an item against which it can't be seen well enough.

    Curves of both channels may cross, and a limit may cross a bar: neither counts as the other's ground.
    """
    grounds = (look.ground, *(area.colour for area in under if isinstance(item, Text) or area.kind in FILLS))
    weak = {
        colour: worst
        for colour in dict.fromkeys(grounds)
        if _ratio(item.colour, worst := min(seen(colour), key=lambda one: _ratio(item.colour, one))) < least
    }
    reach = (item.box if isinstance(item, Text) else bounds(item)) if weak else None
    if reach is None:
        return
    areas = [area for area in under if area.colour in weak and _overlaps(item, area)]
    held = look.ground in weak and any((own := bounds(area)) and own.holds(reach) for area in under)
    for colour, worst in weak.items():
        if any(area.colour == colour for area in areas) or (colour == look.ground and not held):
            yield worst


def _overlaps(item: Item, area: Area) -> bool:
    """Tell whether any part of an item lies on an area; for other items than texts, it is treated as its rectangle."""
    if isinstance(item, Text):
        return lies_on(item.box, area)
    reach, own = bounds(area), bounds(item)
    return reach is not None and own is not None and own.meets(reach) and crosses(item.points, reach)


def _contrast_problem(item: Item, look: Look, text: str, under: str, least: float) -> Problem:
    names = [field.name for field in fields(Look) if getattr(look, field.name) == item.colour]
    what = "" if isinstance(item, Text) else f"a {item.kind} "
    message = f"{what}in {item.colour} on {under} has a contrast of {_ratio(item.colour, under):.2f}:1, under {least:g}"
    key = names[0] if names else "ground"
    return Problem("contrast", text, message.strip(), f"write another {key} = … in [look]")


@cache
def _ratio(one: str, other: str) -> float:
    return contrast(one, other)


# ------------------------------------------------------------------ left and right


def _channel_problems(items: Sequence[Item], look: Look) -> Iterator[Problem]:
    """Yield the problems that make left and right look alike where curves or bars of both are drawn."""
    remedy = "write another left = … or right = … in [look]"
    curves = [item for item in items if isinstance(item, (Stroke, Area)) and item.kind == "curve"]
    drawn = {item.colour for item in curves}
    for role in ("now", "before"):
        left, right = look.curve("L", role), look.curve("R", role)
        if {left, right} <= drawn:
            for message in _similarity_faults(left, right, in_grey=role == "now"):
                yield Problem("channels", "", f"left and right {message}", remedy)
            yield from _dash_problems(curves, left, right, bars=role == "now")


@cache
def _similarity_faults(left: str, right: str, *, in_grey: bool) -> tuple[str, ...]:
    """Return why two colours can't be told apart, for each kind of colour vision and in grey.

    Before-curves differ in grey by dash alone.
    """
    found = []
    seen = {"an unimpaired": (linear_rgb(left), linear_rgb(right))} | {
        f"a {eye}": (simulate_deficiency(left, eye), simulate_deficiency(right, eye)) for eye in DEFICIENCIES
    }
    for eye, (one, other) in seen.items():
        if (apart := distance(one, other)) < LEFT_RIGHT_DISTANCE:
            found.append(f"are ΔE {apart:.1f} apart for {eye} eye, under {LEFT_RIGHT_DISTANCE:g}")
    if in_grey and contrast(left, right) < LEFT_RIGHT_CONTRAST:
        found.append(f"differ in lightness by {contrast(left, right):.2f}:1, under {LEFT_RIGHT_CONTRAST:g}")
    return tuple(found)


def _dash_problems(curves: Sequence[Stroke | Area], left: str, right: str, *, bars: bool) -> Iterator[Problem]:
    """Yield left curves with a dash, and right curves without one near a left curve."""
    lines = [item for item in curves if isinstance(item, Stroke)]
    if left != right and any(item.colour == left and item.dash is not None for item in lines):
        yield Problem("channels", "", "a curve of the left channel is dashed", "draw it solid")
    solid = [item for item in lines if item.colour == right and item.dash is None]
    lefts = [reach for item in lines if solid and item.colour == left and (reach := bounds(item))]
    for item in solid:
        reach = bounds(item)
        if reach and any(reach.grown(1, 1).meets(other) for other in lefts) and not _is_dense(item, reach):
            yield Problem("channels", "", "a curve of the right channel is not dashed", "draw it dashed")
    if bars:
        pieces = (bounds(item) for item in curves if isinstance(item, Area) and item.colour == right)
        if any(reach is not None and reach.height > _UNDASHED for reach in pieces):
            yield Problem("channels", "", "a bar of the right channel is not dashed", "draw it dashed")


def _is_dense(curve: Stroke, reach: Box) -> bool:
    steps = np.diff(np.asarray(curve.points, dtype=np.float64).reshape(-1, 2), axis=0)
    return float(np.nansum(np.hypot(*steps.T))) > _DENSE * reach.width if len(steps) else True
