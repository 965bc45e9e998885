"""A rectangle of the frame."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Box:
    """A rectangle; right and bottom are just outside."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Return the distance from left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Return the distance from top to bottom."""
        return self.bottom - self.top

    def grown(self, x: float, y: float) -> Box:
        """Return the box with a margin added on all sides (removed if negative)."""
        return Box(self.left - x, self.top - y, self.right + x, self.bottom + y)

    def meets(self, other: Box) -> bool:
        """Tell whether two boxes share any area."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def holds(self, other: Box) -> bool:
        """Tell whether another box is inside this one."""
        return (
            self.left <= other.left
            and self.top <= other.top
            and self.right >= other.right
            and self.bottom >= other.bottom
        )
