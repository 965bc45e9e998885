"""How many cards the layout check looks at and finds nothing wrong with: python tests/bench/layout_count.py [SESSION …]

Every card of the sessions (the sample's, unless others are named) in both looks, on its ground and over footage, at
every size; then the cards and the hostile sessions of tests/render. At each size all texts are painted alone on a clear
canvas, too: none of their ink may lie outside the safe box. Ends with status 1 if anything is found.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(CHECKOUT), str(CHECKOUT / "tests" / "render")]

import numpy as np  # noqa: E402
from card_samples import SAMPLES  # noqa: E402
from hostile_sessions import SESSIONS  # noqa: E402

from reviewkit.build.pipeline import prepare  # noqa: E402
from reviewkit.model.card import Card  # noqa: E402
from reviewkit.render.cards.card import _fitting_form, _lay_out_in_roles, lay_out  # noqa: E402
from reviewkit.render.cards.colour_check import find_colour_problems  # noqa: E402
from reviewkit.render.cards.colour_roles import apply_look  # noqa: E402
from reviewkit.render.cards.layout_check import SAFE, TOLERANCE, find_problems  # noqa: E402
from reviewkit.render.cards.look import FRAME_HEIGHT, FRAME_WIDTH, LOOKS, WIDTHS  # noqa: E402
from reviewkit.render.cards.paint import NO_FONTS, paint  # noqa: E402
from reviewkit.render.cards.scene import Item, Text  # noqa: E402
from reviewkit.render.footage.overlay import composite_over_footage, footage_look  # noqa: E402


def hostile(folder: Path) -> Iterator[Card]:
    """The cards of the hostile sessions, written to a folder and read again."""
    for number, (toml, files) in enumerate(SESSIONS.values()):
        for path, text in {"session.toml": toml, **files}.items():
            place = folder / str(number) / path
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(text, encoding="utf-8")
        yield from prepare(folder / str(number)).episode.cards


def look_at(card: Card, found: list[str], took: Counter[str]) -> int:
    """Check one card in all looks and sizes; returns how many pictures that stands for."""
    pictures = 0
    for look in LOOKS.values():
        items = lay_out(card, look.name)
        began = time.process_time()
        wrong = [*find_problems(items)]
        took["places"] += time.process_time() - began
        clear = footage_look(look)
        over = apply_look(_lay_out_in_roles(_fitting_form(card, NO_FONTS)[0]), clear)
        began = time.process_time()
        wrong += [*find_colour_problems(items, look), *find_colour_problems(over, clear, composite_over_footage(look))]
        took["colours"] += (time.process_time() - began) / 2
        pictures += 2 * len(WIDTHS)
        found += [f"{card.id}, {look.name}: {problem}" for problem in wrong]
    found += [f"{card.id}, {width} px wide: ink outside the safe box" for width in WIDTHS if _ink_outside(items, width)]
    return pictures


def _ink_outside(items: tuple[Item, ...], width: int) -> bool:
    scale = width / FRAME_WIDTH
    clear = np.zeros((round(FRAME_HEIGHT * scale), width, 4), dtype=np.uint8)
    ink = paint([item for item in items if isinstance(item, Text)], clear, width)[..., 3] > 0
    edge = TOLERANCE * scale + 1
    left, top = int(SAFE.left * scale - edge), int(SAFE.top * scale - edge)
    right, bottom = int(SAFE.right * scale + edge) + 1, int(SAFE.bottom * scale + edge) + 1
    return bool(ink[:top].any() or ink[bottom:].any() or ink[:, :left].any() or ink[:, right:].any())


def main(sessions: list[str]) -> int:
    """Look at everything and print the count."""
    import tempfile

    found: list[str] = []
    took: Counter[str] = Counter()
    cards = pictures = 0
    with tempfile.TemporaryDirectory() as folder:
        sets = {
            "sessions": [
                card
                for session in sessions or [str(CHECKOUT / "sample_session")]
                for card in prepare(Path(session)).episode.cards
            ],
            "cards made for the tests": list(SAMPLES.values()),
            "hostile sessions": list(hostile(Path(folder))),
        }
        for name, those in sets.items():
            here = sum(look_at(card, found, took) for card in those)
            print(f"{name}: {len(those)} cards, {here} pictures")
            cards, pictures = cards + len(those), pictures + here
    print(f"{cards} cards × {len(LOOKS)} looks, on their ground and over footage, × {len(WIDTHS)} sizes")
    print(f"{pictures} pictures, {len(found)} problems")
    for what, seconds in took.items():
        print(f"the check of {what} takes {1000 * seconds / (cards * len(LOOKS)):.1f} ms a card and look")
    print("\n".join(found))
    return bool(found)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
