"""The column of readouts to the right of the picture: the figures, and under them how they compare with the ratings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.model.card import Readout
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.look import KEY, KEY_LEAST, LABEL, LEAST, READING
from reviewkit.render.cards.scene import Box, Page, Text
from reviewkit.render.cards.typeset import fit_text
from reviewkit.render.cards.verdict_needles import VerdictNeedles, lay_out_large, lay_out_small

# Widths of the column: nearly always the first, so that cards align.
_WIDTHS = (448.0, 528.0, 640.0, 760.0)
_ROW_SIZES = (READING, 46.0, 44.0, 42.0, 40.0, 38.0, LEAST)
_KEY_SIZES = tuple(float(size) for size in range(int(KEY), int(KEY_LEAST) - 1, -2))
_CELL_GAP = 24.0
_WHOSE_GAP = 24.0  # from the key figure to its channel
_GAP_TO_PICTURE = 48.0
MOST_NEEDLES = 2
_LABEL_PITCH = 44.0
_BLOCK_GAPS = (60.0, 44.0, 32.0)

SHORTEN_READING = "shorten its label, or name fewer measurements on one card (card = …)"


@dataclass(frozen=True)
class _Block:
    """A readout laid out from a top of 0."""

    texts: tuple[Text, ...]
    bottom: float


def place_readouts(page: Page, region: Box, shown: Sequence[Readout], verdicts: Sequence[Verdict]) -> Box:
    """Place the column at the region's right.

    At most two verdicts have a needle. Any others, and those without room, are counted below: the table has them all.

    Parameters
    ----------
    page : Page
        The card.
    region : Box
        The room for column and picture.
    shown : sequence of Readout
        The readouts, from the top.
    verdicts : sequence of Verdict
        The verdicts, which go to the bottom.

    Returns
    -------
    Box
        The room that is left for the picture.

    Raises
    ------
    LayoutFault
        If the column doesn't fit in any form.
    """
    if not shown and not verdicts:
        return region
    for count in range(min(len(verdicts), MOST_NEEDLES), -1 if shown else 0, -1):
        left = _fit_column(page, region, shown, verdicts[:count], len(verdicts) - count)
        if left is not None:
            return Box(region.left, region.top, left - _GAP_TO_PICTURE, region.bottom)
    said = [text for reading in shown for text in _texts(reading)] or [verdict.label for verdict in verdicts]
    longest = max(said, key=len)
    raise page.fault(longest, SHORTEN_READING, "does not fit in the readings beside the picture")


def _fit_column(
    page: Page, region: Box, shown: Sequence[Readout], verdicts: Sequence[Verdict], more: int
) -> float | None:
    """Place the column in the roomiest form that fits; return its left edge, or None if none fits."""
    forms = [(lay_out_large, _WIDTHS[0]), (lay_out_small, _WIDTHS[0])]
    forms += [(form, width) for form in (lay_out_small, lay_out_large) for width in _WIDTHS[1:]]
    for form, width in forms:
        standing = form(page, verdicts, width, more)
        if standing is None:
            continue
        # large rows close together are more legible than small ones far apart
        for sizes, gap in ((sizes, gap) for sizes in (_ROW_SIZES[:3], _ROW_SIZES[3:]) for gap in _BLOCK_GAPS):
            if any(_try_column(page, region, shown, standing, width, size, gap) for size in sizes):
                return region.right - width
    return None


def _texts(reading: Readout) -> list[str]:
    return [reading.label, reading.key, *(cell for row in reading.rows for cell in row)]


def _try_column(
    page: Page, region: Box, shown: Sequence[Readout], standing: VerdictNeedles, width: float, size: float, gap: float
) -> bool:
    """Place the readouts from the top and the verdicts at the bottom; return False if they don't fit."""
    left = region.right - width
    blocks = []
    for reading in shown:
        block = _lay_out_readout(page, reading, left, width, size, _shared_widths(page, shown, reading, size))
        if block is None:
            return False
        blocks.append(block)
    height = sum(block.bottom for block in blocks) + gap * max(len(blocks) - 1, 0)
    if standing.height:
        height += standing.height + (gap if blocks else 0)
    if height > region.height:
        return False
    top = region.top
    for block in blocks:
        for text in block.texts:
            page.add(
                page.text(
                    text.text, text.x, top + text.baseline, text.size, text.colour, bold=text.bold, remedy=text.remedy
                )
            )
        top += block.bottom + gap
    with page.part_of("needle"):
        standing.place(page, left, region.bottom - standing.height)
    return True


def _shared_widths(page: Page, shown: Sequence[Readout], reading: Readout, size: float) -> list[float]:
    """Return the column widths of a readout; ledgers with equally many columns share theirs."""
    count = _columns(reading)
    readings_alike = [other for other in shown if _columns(other) == count] if count > 2 else [reading]
    alike = [row for other in readings_alike for row in other.rows]
    columns = [[row[column] for row in alike if column < len(row)] for column in range(count)]
    return [max(page.width(cell, size, _is_channel(cell)) for cell in cells) for cells in columns]


def _is_channel(cell: str) -> bool:
    """Tell whether a cell names a channel or a pair of them: "L", "R → L", "L into R"."""
    return re.fullmatch(r"[LR](?: (?:→|into) [LR])?", cell) is not None


def _columns(reading: Readout) -> int:
    return max((len(row) for row in reading.rows), default=0)


def _lay_out_readout(
    page: Page, reading: Readout, left: float, width: float, size: float, widths: Sequence[float]
) -> _Block | None:
    """Lay out one readout: label, key figure, rows; return None if it is too wide."""
    look = page.look
    texts: list[Text] = []
    bottom = 0.0
    if reading.label:
        label = fit_text(page, reading.label, (LABEL,), width, most=2)
        if label is None:
            return None
        for index, line in enumerate(label.lines):
            bottom = page.cap(LABEL) + index * _LABEL_PITCH
            texts.append(page.text(line, left, bottom, LABEL, look.soft, remedy=SHORTEN_READING))
    if reading.key:
        whose = page.width(reading.channel, READING, True) + _WHOSE_GAP if reading.channel else 0.0
        key = fit_text(page, reading.key, _KEY_SIZES, width - whose, bold=True)
        if key is None:
            return None
        bottom += page.cap(key.size, True) + (30 if texts else 0)
        number = page.text(reading.key, left, bottom, key.size, look.ink, bold=True, remedy=SHORTEN_READING)
        texts.append(number)
        if reading.channel:
            colour, x = look.channel(reading.channel), number.box.right + _WHOSE_GAP
            texts.append(page.text(reading.channel, x, bottom, READING, colour, bold=True, remedy=SHORTEN_READING))
    if reading.rows:
        top = bottom + (_row_gap(reading, size) if texts else 0)
        rows = _row_texts(page, reading.rows, left, width, size, top, widths)
        if rows is None:
            return None
        texts += rows
        bottom = rows[-1].baseline if rows else top
    return _Block(tuple(texts), bottom)


def _row_gap(reading: Readout, size: float) -> float:
    return size * (0.8 if reading.key else 0.5)


def _row_texts(
    page: Page,
    rows: Sequence[Sequence[str]],
    left: float,
    width: float,
    size: float,
    top: float,
    widths: Sequence[float],
) -> list[Text] | None:
    """Lay out rows in columns: two flush left; three or more with numbers flush right, as in a ledger."""
    look = page.look
    count = len(widths)
    ledger = count > 2
    gap = _CELL_GAP
    if sum(widths) + gap * (count - 1) > width:
        return None
    if ledger:
        gap = (width - sum(widths)) / (count - 1)
    texts = []
    baseline = top + page.cap(size)
    for row in rows:
        x = left
        for column, cell in enumerate(row):
            channel = _is_channel(cell)
            colour = look.channel(cell) if channel else look.soft if ledger and column == 0 else look.ink
            flush_right = ledger and column > 0
            if cell:
                texts.append(
                    page.text(
                        cell,
                        x + widths[column] if flush_right else x,
                        baseline,
                        size,
                        colour,
                        bold=channel,
                        anchor="right" if flush_right else "left",
                        remedy=SHORTEN_READING,
                    )
                )
            x += widths[column] + gap if widths[column] else 0.0
        baseline += size * 1.22
    return texts
