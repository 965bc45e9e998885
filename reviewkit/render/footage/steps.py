"""The steps of a clip: layers of a card's shapes, each with the way in which it appears.

The dial line is there from the start; the scale slides in, then come title, curves, the figure, the needle, the word.
A pair starts from its card as found. Everything is there after 2.5 s, except on a hunt, where each reading has time to
be spoken about.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from reviewkit.model.card import Card, Hunt
from reviewkit.render.cards.roles import ROLES
from reviewkit.render.cards.scene import Area, Item, Stroke

_MOST, _SHARE = Fraction(5, 2), Fraction(1, 2)  # seconds until everything is shown; at most this share of the clip
_HUNT_SHARE = Fraction(4, 5)  # of a hunt's clip, after which its last reading is there
# parts that appear together, how, and in how many seconds; numbered steps come before the needle
_WAYS = (
    (("line",), "", Fraction(0)),
    (("scale",), "slide", Fraction(2, 5)),
    (("frame", "ghost"), "fade", Fraction(1, 5)),
    (("curve",), "sweep", Fraction(4, 5)),
    (("fall",), "fall", Fraction(3, 10)),
    (("label", "reading", "needle"), "fade", Fraction(1, 5)),
)
_LAST = ((("wedge",), "swing", Fraction(1, 2)), (("word",), "fade", Fraction(1, 5)))
_STEP = Fraction(2, 5)
_FRAME, _READING, _WEDGE = 2, 5, 1000
_FADE_OF_FAULT = Fraction(2, 5)
_RANKS = {
    part: rank
    for first, ways in ((0, _WAYS), (_WEDGE, _LAST))
    for rank, (parts, *_) in enumerate(ways, first)
    for part in parts
}


@dataclass(frozen=True)
class ClipStep:
    """A layer, and how it appears on the one before.

    Attributes
    ----------
    items
        All shapes that can be seen after it.
    way
        "slide", "fade", "sweep" (from left to right), "fall" (from the top down), "swing", "cut" (at once),
        or "" for the first.
    seconds
        How long that takes.
    pause
        How long nothing happens after it, in seconds.
    reach
        Of a swing: how far to the left of its place the wedge begins, in pixels of the frame.
    """

    items: tuple[Item, ...]
    way: str
    seconds: Fraction
    pause: Fraction = Fraction(0)
    reach: float = 0.0


def plan_steps(card: Card, items: Sequence[Item], found: Sequence[Item], seconds: Fraction) -> tuple[ClipStep, ...]:
    """Return the steps of a card's clip, the first of which is its first frame.

    Parameters
    ----------
    card : Card
        The card.
    items : sequence of Text, Stroke and Area
        Its shapes, with roles in place of colours.
    found : sequence of Text, Stroke and Area
        Those of its card as found; empty without one.
    seconds : Fraction
        Length of the clip.

    Returns
    -------
    tuple of ClipStep
        At least one.
    """
    ranks = sorted({_rank(item) for item in items})
    ways = {rank: _way(rank, items) for rank in ranks}
    steps = []
    if found:
        old_figure = tuple(_without_fault(item) for item in found if item.part == "reading")
        steps.append(ClipStep(tuple(found), "", Fraction(0)))
        # texts never fade into each other: the title is another one at once, and so is the figure
        head = tuple(item for item in items if item.part == "frame")
        steps.append(ClipStep((*(item for item in found if item.part != "frame"), *head), "cut", Fraction(0)))
        ways |= {_FRAME: ("fade", _FADE_OF_FAULT), _READING: ("cut", Fraction(0))}
        ranks = [_FRAME, *(rank for rank in ranks if rank > _FRAME)]
    for rank in ranks:
        shown = tuple(item for item in items if _rank(item) <= rank)
        if found and rank < _READING:
            shown += old_figure
        way, time = ways[rank] if steps else ("", Fraction(0))
        steps.append(ClipStep(shown, way, time, reach=_reach(rank, items)))
    whole = sum(step.seconds for step in steps)
    if not isinstance(card.body, Hunt):
        pace = min(min(_MOST, _SHARE * seconds) / whole, Fraction(1)) if whole else Fraction(1)
        return tuple(replace(step, seconds=step.seconds * pace) for step in steps)
    numbered = [_READING < rank < _WEDGE for rank in ranks]
    spare = max(_HUNT_SHARE * seconds - whole, Fraction(0)) / max(sum(numbered), 1)
    return tuple(replace(step, pause=spare) if late else step for step, late in zip(steps, numbered, strict=True))


def _rank(item: Item) -> int:
    """Return when an item appears; items of equal rank appear together."""
    numbered = re.fullmatch(r"(?:step|sweep) (\d+)", item.part)
    if numbered:
        return _READING + int(numbered[1])
    if isinstance(item, Stroke) and item.kind == "dial":
        return 0
    return _WEDGE if item.part == "needle" and isinstance(item, Area) else _RANKS[item.part]


def _way(rank: int, items: Sequence[Item]) -> tuple[str, Fraction]:
    """Return how the items of a rank appear, and in how many seconds."""
    if rank >= _WEDGE:
        return _LAST[rank - _WEDGE][1:]
    if rank < len(_WAYS):
        return _WAYS[rank][1:]
    swept = any(item.part == f"sweep {rank - _READING}" for item in items)
    return ("sweep", 2 * _STEP) if swept else ("fade", _STEP)


def _reach(rank: int, items: Sequence[Item]) -> float:
    """Return how far a wedge is from the left end of its needle's scale."""
    if rank != _WEDGE:
        return 0.0
    scale = [item for item in items if item.part == "needle" and isinstance(item, Stroke)]
    wedges = [item for item in items if _rank(item) == _WEDGE and isinstance(item, Area)]
    if not scale or len(wedges) != 1:
        return 0.0
    left = min(float(np.min(np.asarray(item.points)[:, 0])) for item in scale)
    return float(np.mean(np.asarray(wedges[0].points)[:, 0])) - left


def _without_fault(item: Item) -> Item:
    """Return a figure of the fault in ink: it is past."""
    return replace(item, colour=ROLES.ink) if item.colour == ROLES.status("falls short") else item
