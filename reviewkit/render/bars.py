"""Bars in groups on one vertical scale: left beside right, before behind now, each with its figure over it."""

from __future__ import annotations

from reviewkit.model import Bars
from reviewkit.render.scene import Box, Page


def bars(page: Page, body: Bars, region: Box) -> None:
    """Place all groups in a region. Raises LayoutFault where their texts have no room."""
    raise NotImplementedError
