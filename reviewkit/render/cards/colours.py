"""The colours of each look, of curves and words, and the contrast that they must have."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

from reviewkit.model.card import OF_NO_STAGE
from reviewkit.model.errors import nearest
from reviewkit.render.cards.contrast import (
    DEFICIENCIES,
    contrast,
    distance,
    linear_rgb,
    luminance,
    mix,
    palest,
    reach_contrast,
    simulate_deficiency,
)

CURVE_CONTRAST, TEXT_CONTRAST, INK_CONTRAST = 3.0, 4.5, 7.0
LEFT_RIGHT_DISTANCE, LEFT_RIGHT_CONTRAST = 20.0, 1.5
# text colours, and the contrast that each needs
TEXTS = {"ink": INK_CONTRAST, **dict.fromkeys(("soft", "meets", "falls_short", "left", "right"), TEXT_CONTRAST)}
_BAND_TOWARDS, _BAND_AWAY = 0.055, 0.5
_ROOM_CONTRAST = 1.3  # of the room between two curves against the ground


@dataclass(frozen=True)
class Look:
    """The colours of one look, each "#rrggbb"."""

    name: str
    ground: str
    ink: str
    soft: str
    rule: str
    left: str
    right: str
    meets: str
    falls_short: str

    @property
    def band(self) -> str:
        """Return the faint ground of what the maker allows, on which every text can be read.

        It is the ground shaded towards the ink if that leaves enough contrast, else away from it.
        """
        return _band(self)

    @property
    def room(self) -> str:
        """Return the fill between a curve before the repair and after it."""
        return _fill(self, self.ink, ("ink", "soft"))

    @property
    def fault_room(self) -> str:
        """Return the fill between a faulty channel and the healthy one."""
        return _fill(self, self.falls_short, ("ink", "soft", "falls_short"))

    @property
    def hunt(self) -> str:
        """Return the colour of readings in tolerance on the way to a fault."""
        return mix(self.soft, self.ground, 0.5)

    @property
    def bench(self) -> str:
        """Return the colour of the bench's own floor: as faint as a curve may be, on the band too."""
        return palest(self.soft, self.ground, CURVE_CONTRAST, on=self.band)

    def channel(self, channel: str) -> str:
        """Return a channel's colour; a pair of channels has the driven one's, anything else ink."""
        return {"L": self.left, "R": self.right}.get(channel[:1], self.ink)

    def channel_on(self, channel: str, fill: str) -> str:
        """Return a channel's colour for a name on a fill; ink if it can't be read there."""
        colour, ground = self.channel(channel), getattr(self, fill)
        return colour if contrast(colour, ground) >= TEXT_CONTRAST else self.ink

    def curve(self, channel: str, role: str) -> str:
        """Return a curve's colour; `before` gives the same hue, as pale as a curve may be."""
        if role in OF_NO_STAGE:
            return self.bench
        colour = self.channel(channel)
        return palest(colour, self.ground, CURVE_CONTRAST, most=0.5, on=self.room) if role == "before" else colour

    def status(self, word: str) -> str:
        """Return a verdict's colour. It only helps: place and word carry the verdict."""
        if word in ("meets", "OK"):
            return self.meets
        if word in ("falls short", "out of tolerance", "open", "short", "shorted", "too low", "too high"):
            return self.falls_short
        return self.ink if word == "too close to call" else self.soft


@cache
def _band(look: Look) -> str:
    towards = mix(look.ground, look.ink, _BAND_TOWARDS)
    if all(contrast(getattr(look, name), towards) >= least for name, least in TEXTS.items()):
        return towards
    away = "#ffffff" if luminance(look.ground) > luminance(look.ink) else "#000000"
    return mix(look.ground, away, _BAND_AWAY)


@cache
def _fill(look: Look, towards: str, texts: tuple[str, ...]) -> str:
    """Return the ground mixed towards a colour until it stands out, or as far as the texts on it can be read."""
    fill = look.ground
    for percent in range(1, 60):
        mixed = mix(look.ground, towards, percent / 100)
        if any(contrast(getattr(look, name), mixed) < TEXTS[name] for name in texts):
            return fill
        fill = mixed
        if contrast(fill, look.ground) >= _ROOM_CONTRAST:
            return fill
    return fill


LOOKS: dict[str, Look] = {
    "lamplight": Look(
        "lamplight", "#15191e", "#f3eee4", "#a9b0b5", "#3a434b", "#ffd98a", "#3fa7a0", "#8ed081", "#ff7f6b"
    ),
    "brochure": Look(
        "brochure", "#f6f1e6", "#1d1a16", "#5e5a52", "#cfc7b6", "#6b4200", "#007a74", "#2f6b2f", "#a8321f"
    ),
}


def find_look(name: str) -> Look:
    """Return a look by name.

    Raises
    ------
    KeyError
        With the nearest known name, if there is none.
    """
    if name not in LOOKS:
        raise KeyError(f'there is no look "{name}"; {nearest(name, LOOKS)}')
    return LOOKS[name]


def with_colours(look: Look, colours: Mapping[str, str]) -> Look:
    """Return a look with some colours replaced, unchecked; see `find_shortfalls`."""
    return replace(look, **colours)


def find_shortfalls(look: Look) -> tuple[tuple[str, str], ...]:
    """Find the colours of a look with too little contrast or too little difference.

    Parameters
    ----------
    look : Look
        The look.

    Returns
    -------
    tuple of (str, str)
        The colour's name, and what is wrong with it and what would do.

    Notes
    -----
    Contrast after WCAG 2.x; left and right are compared in grey and for three simulated colour-vision deficiencies.
    """
    found = []
    for name, least in TEXTS.items():
        colour = getattr(look, name)
        ratio = contrast(colour, look.ground)
        if ratio < least:
            better = reach_contrast(colour, look.ground, least)
            remedy = f'write {name} = "{better}"' if better else "choose a darker or a lighter ground"
            short = f'{name} "{colour}" on "{look.ground}" is {_round_down(ratio, 1)}:1 and needs {least:g}:1'
            found.append((name, f"{short}; {remedy}"))
    near = _channel_faults(look.left, look.right)
    if near:
        better = _find_right_colour(look)
        remedy = (
            f'write right = "{better}"' if better else "choose a left that is much darker or lighter than the ground"
        )
        found += [("right", f"{message}; {remedy}") for message in near]
    return tuple(found)


def _channel_faults(left: str, right: str) -> list[str]:
    """Return why two channels' colours can't be told apart: in grey, or with a colour-vision deficiency."""
    found = []
    ratio = contrast(left, right)
    if ratio < LEFT_RIGHT_CONTRAST:
        found.append(
            f"left and right differ in lightness by {_round_down(ratio, 2)}:1; they need {LEFT_RIGHT_CONTRAST:g}:1, or "
            "they look the same in grey"
        )
    for deficiency in DEFICIENCIES:
        apart = distance(simulate_deficiency(left, deficiency), simulate_deficiency(right, deficiency))
        if apart < LEFT_RIGHT_DISTANCE:
            found.append(
                f"left and right are ΔE {_round_down(apart, 0)} apart for a {deficiency} eye; they need "
                f"{LEFT_RIGHT_DISTANCE:.0f}"
            )
    return found


def _find_right_colour(look: Look) -> str:
    """Find the colour most like the right one that is legible and differs from the left; "" if none."""
    levels = range(0, 256, 17)
    codes = (f"#{red:02x}{green:02x}{blue:02x}" for red in levels for green in levels for blue in levels)
    readable = [code for code in codes if contrast(code, look.ground) >= TEXTS["right"]]
    readable.sort(key=lambda code: (distance(linear_rgb(code), linear_rgb(look.right)), code))
    return next((code for code in readable if not _channel_faults(look.left, code)), "")


def _round_down(value: float, digits: int) -> str:
    """Format a number that is too small, rounded down so that it doesn't appear to be enough."""
    return f"{math.floor(value * 10**digits) / 10**digits:.{digits}f}"
