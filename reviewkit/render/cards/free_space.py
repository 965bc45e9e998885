"""Free places for labels in a panel, from an occupancy grid of small cells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reviewkit.render.cards.box import Box

if TYPE_CHECKING:
    from reviewkit.model.arrays import Array

_CELL = 4.0


class FreeSpace:
    """The occupied cells of a panel. Grid lines don't count: labels may cover them."""

    def __init__(self, box: Box) -> None:
        self.box = box
        self._occupied = np.zeros((max(int(box.height // _CELL), 1), max(int(box.width // _CELL), 1)), dtype=bool)

    def copy(self) -> FreeSpace:
        """Return a copy, for trying something."""
        other = FreeSpace(self.box)
        other._occupied = self._occupied.copy()
        return other

    def keep_between(self, x: Array, top: Array, bottom: Array) -> None:
        """Mark all as occupied but the space between two edges.

        Parameters
        ----------
        x : ndarray, shape (n,)
            Rising, in pixels.
        top, bottom : ndarray, shape (n,)
            Upper and lower edge there, in pixels.
        """
        rows, columns = self._occupied.shape
        middles = self.box.left + (np.arange(columns) + 0.5) * _CELL
        heights = self.box.top + (np.arange(rows)[:, np.newaxis] + 0.5) * _CELL
        upper, lower = (np.interp(middles, x, edge, left=np.nan, right=np.nan) for edge in (top, bottom))
        with np.errstate(invalid="ignore"):
            self._occupied |= ~((heights > upper) & (heights < lower))

    def occupy_line(self, pixels: Array, width: float) -> None:
        """Mark a line as occupied, half its width on either side.

        Parameters
        ----------
        pixels : ndarray, shape (n, 2)
            Points in pixels; NaN rows separate parts.
        width : float
            Line width in pixels.
        """
        step = _CELL / 2
        start, end = pixels[:-1], pixels[1:]
        whole = np.isfinite(start).all(axis=1) & np.isfinite(end).all(axis=1)
        start, end = start[whole], end[whole]
        counts = np.ceil(np.abs(end - start).max(axis=1, initial=0.0) / step).astype(int) + 1
        first = np.repeat(np.cumsum(counts) - counts, counts)
        part = (np.arange(counts.sum()) - first) / np.repeat(np.maximum(counts - 1, 1), counts)
        points = np.repeat(start, counts, axis=0) + part[:, np.newaxis] * np.repeat(end - start, counts, axis=0)
        points = np.concatenate((points, pixels[np.isfinite(pixels).all(axis=1)]))
        reach, cells = width / 2, self._occupied
        for x in (-reach, 0.0, reach):
            for y in (-reach, 0.0, reach):
                columns = ((points[:, 0] + x - self.box.left) / _CELL).astype(int)
                rows = ((points[:, 1] + y - self.box.top) / _CELL).astype(int)
                inside = (columns >= 0) & (rows >= 0) & (rows < cells.shape[0]) & (columns < cells.shape[1])
                cells[rows[inside], columns[inside]] = True

    def occupy_box(self, box: Box) -> None:
        """Mark a rectangle as occupied."""
        rows, columns = self._span(box)
        self._occupied[rows, columns] = True

    def _span(self, box: Box) -> tuple[slice, slice]:
        top, bottom = (box.top - self.box.top) / _CELL, (box.bottom - self.box.top) / _CELL
        left, right = (box.left - self.box.left) / _CELL, (box.right - self.box.left) / _CELL
        rows = slice(max(int(top), 0), max(int(np.ceil(bottom)), 0))
        return rows, slice(max(int(left), 0), max(int(np.ceil(right)), 0))

    def is_free(self, box: Box) -> bool:
        """Tell whether a rectangle is inside the panel and free."""
        return self.box.holds(box) and not self._occupied[self._span(box)].any()

    def nearest(self, x: float, y: float, width: float, height: float, *, within: float = np.inf) -> Box | None:
        """Find the free rectangle of a given size nearest to a point.

        Parameters
        ----------
        x, y : float
            The point, in pixels.
        width, height : float
            Size of the rectangle, in pixels.
        within : float
            Largest distance from the point to the rectangle's edge, in pixels.

        Returns
        -------
        Box or None
            None if there is no such rectangle.
        """
        cells = self._occupied
        high, wide = int(np.ceil(height / _CELL)) + 1, int(np.ceil(width / _CELL)) + 1
        if high > cells.shape[0] or wide > cells.shape[1]:
            return None
        total = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), dtype=np.int32)
        total[1:, 1:] = cells.cumsum(axis=0, dtype=np.int32).cumsum(axis=1)
        inside = total[high:, wide:] - total[:-high, wide:] - total[high:, :-wide] + total[:-high, :-wide]
        tops = self.box.top + np.arange(inside.shape[0])[:, np.newaxis] * _CELL
        lefts = self.box.left + np.arange(inside.shape[1])[np.newaxis, :] * _CELL
        away_x = np.maximum(np.maximum(lefts - x, x - (lefts + width)), 0.0)
        away_y = np.maximum(np.maximum(tops - y, y - (tops + height)), 0.0)
        # among equally near places, prefer the one whose middle is nearest
        middle = np.hypot(lefts + width / 2 - x, tops + height / 2 - y)
        away = np.hypot(away_x, away_y)
        cost = np.where((inside == 0) & (away <= within), away + middle * 1e-3, np.inf)
        best = np.unravel_index(np.argmin(cost), cost.shape)
        if not np.isfinite(cost[best]):
            return None
        top, left = float(tops[best[0], 0]) + _CELL / 2, float(lefts[0, best[1]]) + _CELL / 2
        return Box(left, top, left + width, top + height)
