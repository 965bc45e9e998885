"""How fast a card's clip is written beside matplotlib's own animation of the same shapes. Not a test: run it by hand.

    python tests/bench/clip_speed.py [SESSION] [--card ID] [--pairs 3] [--size 1080|2160]

Both write the same card with as many frames, of the same size, through the same ffmpeg, encoder, preset and quality;
the animation draws its figure anew for each frame, as FuncAnimation does when it is saved. Laying the card out and
making the figure's artists count for neither; painting the layers counts. The two take turns.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.animation import FFMpegWriter, FuncAnimation
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text as Words

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from reviewkit.build.pipeline import prepare  # noqa: E402
from reviewkit.render.cards.card import lay_out  # noqa: E402
from reviewkit.render.cards.colours import LOOKS  # noqa: E402
from reviewkit.render.cards.paint import paint  # noqa: E402
from reviewkit.render.cards.scene import Item, Stroke, Text  # noqa: E402
from reviewkit.render.cards.sizes import FRAME_HEIGHT, FRAME_WIDTH  # noqa: E402
from reviewkit.render.footage.clip import QUALITY, Motion, _count_drawn, count_frames, write_opaque_clip  # noqa: E402
from reviewkit.render.footage.ffmpeg import ENCODER, find_encoder  # noqa: E402
from reviewkit.render.footage.steps import plan_steps  # noqa: E402

LEAST = 8.0  # times the animation's frames per second
LOOK = LOOKS["lamplight"]
NAMED, NEEDLE = 0.7, 0.85  # where in the drawing names and needle arrive, as in a clip
DPI = 100


def animation(items: list[Item], width: int, drawing: int, frames: int) -> FuncAnimation:
    """The card as a figure of artists, one for each shape, of which each frame shows what is there by then."""
    points = 72 / DPI * width / FRAME_WIDTH
    figure = Figure((width / DPI, width * FRAME_HEIGHT / FRAME_WIDTH / DPI), DPI, facecolor=LOOK.ground)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, FRAME_WIDTH), ylim=(FRAME_HEIGHT, 0))
    axes.axis("off")
    artists = [axes.add_artist(artist_of(item, points)) for item in items]
    curves = [np.asarray(item.points)[:, 0] for item in items if item.part == "curve" and not isinstance(item, Text)]
    left, right = np.nanmin(np.concatenate(curves)), np.nanmax(np.concatenate(curves))

    def show(frame: int) -> list[Any]:
        done = frame / drawing
        edge = left + (right - left) * min(done / NAMED, 1.0)
        for item, artist in zip(items, artists, strict=True):
            if item.part in ("label", "reading"):
                artist.set_visible(done > NAMED)
            elif item.part == "needle":
                artist.set_visible(done > NEEDLE)
            elif item.part == "curve" and isinstance(item, Stroke):
                there = np.asarray(item.points)
                artist.set_data(*there[there[:, 0] <= edge].T)
            elif item.part == "curve" and not isinstance(item, Text):
                artist.set_visible(bool(np.max(np.asarray(item.points)[:, 0]) <= edge))
        return artists

    return FuncAnimation(figure, show, frames=frames, init_func=lambda: artists, cache_frame_data=False)


@cache
def font_file(bold: bool) -> str:
    """The card's own type, where it is installed."""
    try:
        from font_source_sans_pro import font_files_ttf
    except ImportError:
        return findfont(FontProperties(weight="bold" if bold else "normal"))
    return font_files_ttf["SourceSansProBold" if bold else "SourceSansPro"]


def artist_of(item: Item, points: float) -> Any:
    if isinstance(item, Text):
        font = FontProperties(fname=font_file(item.weight in ("bold", "black")), size=item.size * points)
        return Words(item.x, item.baseline, item.text, color=item.colour, fontproperties=font, parse_math=False)
    where = np.asarray(item.points, dtype=float)
    if not isinstance(item, Stroke):
        return Polygon(where, facecolor=item.colour, linewidth=0)
    line = Line2D(where[:, 0], where[:, 1], color=item.colour, linewidth=item.width * points)
    if item.dash:
        line.set_dashes([part / item.width for part in item.dash])
    return line


def seconds(call: Callable[[], object]) -> tuple[float, float]:
    """How long a call takes, and how long it and what it runs keep a processor."""
    start, busy = time.perf_counter(), sum(os.times()[:4])
    call()
    return time.perf_counter() - start, sum(os.times()[:4]) - busy


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("session", type=Path, nargs="?", default=ROOT / "sample_session")
    parser.add_argument("--card", default="response")
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--size", choices=("1080", "2160"), default="1080")
    asked = parser.parse_args()
    width = 3840 if asked.size == "2160" else 1920
    episode = prepare(asked.session).episode
    card = next(card for card in episode.cards if card.id == asked.card)
    settings = episode.session.episode
    length_s = card.hold_s or settings.card_seconds
    encoder = find_encoder()
    mpl.rcParams["animation.ffmpeg_path"] = encoder.ffmpeg
    items = list(lay_out(card, LOOK.name))  # loads the fonts too
    steps, scale = plan_steps(card, items, (), Fraction(length_s)), width / FRAME_WIDTH
    frames, drawing = count_frames(length_s, settings.frame_rate), _count_drawn(steps, length_s, settings.frame_rate)
    with tempfile.TemporaryDirectory() as folder:
        motion = Motion(settings.frame_rate, settings.card_seconds, encoder, Path(folder))

        def clip() -> None:
            pixels = (paint(step.items, LOOK.ground, width) for step in steps)
            write_opaque_clip(pixels, steps, scale, motion.file(card.id, ".mp4"), motion, length_s)

        def animated(frames: int = frames) -> Callable[[], None]:
            moving = animation(items, width, drawing, frames)
            rate: Any = settings.frame_rate  # as a fraction, so that it is exact
            arguments = [*QUALITY, "-pix_fmt", "yuv420p"]
            writer = FFMpegWriter(fps=rate, codec=ENCODER, extra_args=arguments)
            return lambda: moving.save(f"{folder}/animation.mp4", writer=writer, dpi=DPI)

        clip()
        animated(3)()  # both have their fonts and modules now
        times = [(seconds(clip), seconds(animated())) for _ in range(asked.pairs)]
    for (ours, our_busy), (theirs, their_busy) in times:
        print(f"clip {ours:6.2f} s, {frames / ours:6.1f} frames/s   ", end="")
        print(f"animation {theirs:6.2f} s, {frames / theirs:5.1f} frames/s   {theirs / ours:4.1f} times", end="")
        print(f"   (processors: {our_busy:.2f} s and {their_busy:.2f} s, {their_busy / our_busy:.1f} times)")
    ratio = median(theirs / ours for (ours, _), (theirs, _) in times)
    print(
        f"{card.id}, {frames} frames of {width} pixels, {os.cpu_count()} cores, {platform.machine()}, median of",
        end="",
    )
    print(f" {asked.pairs}: {ratio:.1f} times the animation's frames per second (at least {LEAST:g})")
    sys.exit(ratio < LEAST)


if __name__ == "__main__":
    main()
