"""Roles in place of colours: one layout serves all looks, each of which maps roles to its own colours."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace

from reviewkit.render.cards.colours import Look
from reviewkit.render.cards.scene import Item

_ASKED = "\0"  # separates the words of a role, such as a curve's: "curve", its channel, its trace's role


class _Roles(Look):
    """A look whose answers are the questions, to be put later to the look that a card is painted in."""


def _asking(question: str) -> Callable[..., str]:
    return lambda _, *words: _ASKED.join((question, *words))


for _name, _answer in vars(Look).items():  # so a question that is new in Look needs nothing here
    if isinstance(_answer, property):
        setattr(_Roles, _name, _name)
    elif callable(_answer) and not _name.startswith("_"):
        setattr(_Roles, _name, _asking(_name))
ROLES = _Roles(*(field.name for field in fields(Look)))


def apply_look(items: Sequence[Item], look: Look) -> tuple[Item, ...]:
    """Return shapes with the colours that a look gives to their roles."""
    colours: dict[str, str] = {}
    for role in dict.fromkeys(item.colour for item in items):
        name, *asked = role.split(_ASKED)
        found = getattr(look, name)
        colours[role] = found(*asked) if asked else found
    return tuple(replace(item, colour=colours[item.colour]) for item in items)
