"""Roles in place of colours: one layout serves all looks, each of which maps roles to its own colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.scene import Item

_ASKED = "\0"  # separates the words of a role, such as a curve's: "curve", its channel, its trace's role


@dataclass(frozen=True)
class _Roles(Look):
    """A look whose answers are the questions, to be put later to the look that a card is painted in."""

    @property
    def band(self) -> str:
        return "band"

    @property
    def bench(self) -> str:
        return "bench"

    @property
    def room(self) -> str:
        return "room"

    @property
    def fault_room(self) -> str:
        return "fault_room"

    @property
    def hunt(self) -> str:
        return "hunt"

    def channel(self, channel: str) -> str:
        return _ASKED.join(("channel", channel))

    def channel_on(self, channel: str, fill: str) -> str:
        return _ASKED.join(("channel_on", channel, fill))

    def curve(self, channel: str, role: str) -> str:
        return _ASKED.join(("curve", channel, role))

    def status(self, word: str) -> str:
        return _ASKED.join(("status", word))


ROLES = _Roles(*(field.name for field in fields(Look)))


def apply_look(items: Sequence[Item], look: Look) -> tuple[Item, ...]:
    """Return shapes with the colours that a look gives to their roles."""
    colours: dict[str, str] = {}
    for role in dict.fromkeys(item.colour for item in items):
        name, *asked = role.split(_ASKED)
        found = getattr(look, name)
        colours[role] = found(*asked) if asked else found
    return tuple(replace(item, colour=colours[item.colour]) for item in items)
