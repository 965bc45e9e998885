"""How many cards the layout check looks at and finds nothing wrong with: python tests/bench/layout_count.py [SESSION …]

Every card of the sessions (the sample's and the receiver's, unless others are named) in all shapes and both looks, on
its ground and over footage; then the cards and the hostile sessions of tests/render. All texts are painted alone on a
clear canvas, too: none of their ink may lie outside the safe box. Ends with status 1 if anything is found.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(CHECKOUT), *(str(CHECKOUT / "tests" / folder) for folder in ("render", "receiver"))]

import numpy as np  # noqa: E402
import receiver_session  # noqa: E402
from card_samples import SAMPLES  # noqa: E402
from hostile_sessions import SESSIONS  # noqa: E402

from reviewkit.build.options import Options  # noqa: E402
from reviewkit.build.pipeline import prepare  # noqa: E402
from reviewkit.model.card import Card  # noqa: E402
from reviewkit.model.card_files import stills  # noqa: E402
from reviewkit.render.cards.card import lay_out_in_roles  # noqa: E402
from reviewkit.render.cards.colour_check import find_colour_problems  # noqa: E402
from reviewkit.render.cards.colours import LOOKS  # noqa: E402
from reviewkit.render.cards.layout_check import TOLERANCE, find_problems  # noqa: E402
from reviewkit.render.cards.paint import NO_FONTS, Fonts, paint  # noqa: E402
from reviewkit.render.cards.roles import apply_look  # noqa: E402
from reviewkit.render.cards.scene import Item, LayoutFault, Text  # noqa: E402
from reviewkit.render.cards.shape import SHAPES, Shape  # noqa: E402
from reviewkit.render.footage.overlay import composite_over_footage, footage_look  # noqa: E402


def cards_of(folder: Path) -> Iterator[tuple[Card, Fonts]]:
    """Every still of a session, with the fonts of its look."""
    series = prepare(folder, options=Options(shapes=tuple(SHAPES))).series
    for card in stills(series.cards):
        yield card, series.fonts


def hostile(folder: Path) -> Iterator[tuple[Card, Fonts]]:
    """The cards of the hostile sessions, written to a folder and read again."""
    for number, (toml, files) in enumerate(SESSIONS.values()):
        for path, text in {"session.toml": toml, **files}.items():
            place = folder / str(number) / path
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(text, encoding="utf-8")
        yield from cards_of(folder / str(number))


def faults(card: Card, fonts: Fonts, shape: Shape) -> Iterator[str]:
    """What is wrong with a card in one shape, in any look, on its ground or over footage."""
    try:
        items = lay_out_in_roles(card, fonts, shape)
    except LayoutFault as fault:
        asks = "write short" in str(fault) or "shorten" in str(fault)
        yield f"{'refused: ' if asks else ''}{card.id}, {shape.name}: {fault}"
        return
    for problem in find_problems(items, shape):
        yield f"{card.id}, {shape.name}: {problem}"
    for look in LOOKS.values():
        clear = footage_look(look)
        for problem in (
            *find_colour_problems(apply_look(items, look), look),
            *find_colour_problems(apply_look(items, clear), clear, composite_over_footage(look)),
        ):
            yield f"{card.id}, {shape.name}, {look.name}: {problem}"
    if ink_outside(apply_look(items, next(iter(LOOKS.values()))), fonts, shape):
        yield f"{card.id}, {shape.name}: ink outside the safe box"


def ink_outside(items: Sequence[Item], fonts: Fonts, shape: Shape) -> bool:
    clear = np.zeros((shape.height, shape.width, 4), dtype=np.uint8)
    texts = [item for item in items if isinstance(item, Text)]
    ink = paint(texts, clear, shape.width, fonts, shape=shape)[..., 3] > 0
    edge, safe = TOLERANCE + 1, shape.safe
    rows, columns = slice(int(safe.top - edge), int(safe.bottom + edge) + 1), slice(int(safe.left - edge), None)
    ink[rows, columns.start : int(safe.right + edge) + 1] = False
    return bool(ink.any())


def main(sessions: Sequence[str]) -> int:
    """Look at everything and print the count."""
    found: list[str] = []
    count = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        named = [Path(session) for session in sessions] or [
            CHECKOUT / "sample_session",
            receiver_session.write(folder / "receiver"),
        ]
        for what, those in {
            "sessions": [pair for each in named for pair in cards_of(each)],
            "cards made for the tests": [(card, NO_FONTS) for card in SAMPLES.values()],
            "hostile sessions": list(hostile(folder / "hostile")),
        }.items():
            for card, fonts in those:
                for shape in SHAPES.values():
                    found += faults(card, fonts, shape)
            print(f"{what}: {len(those)} cards", flush=True)
            count += len(those)
    layouts = count * len(SHAPES) * len(LOOKS) * 2
    print(f"{count} cards × {len(SHAPES)} shapes × {len(LOOKS)} looks, on their ground and over footage: {layouts}")
    refused = [text for text in found if text.startswith("refused")]
    print(f"{len(refused)} refused, with what to shorten; {len(found) - len(refused)} problems", *found, sep="\n")
    return len(found) > len(refused)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
