"""The ring in a verdict's chart, and the curves that stay with it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reviewkit.model.card import OF_NO_STAGE, Mark, Panel, Trace
from reviewkit.model.finding import Finding


def keep_alike(traces: Sequence[Trace], mark: Mark) -> tuple[Trace, ...]:
    """Return the curves of what a mark lies on, of all channels: noise without distortion."""
    near = [t for t in traces if t.channel == mark.channel and t.role not in OF_NO_STAGE and len(t.x)]
    on = min(near, key=lambda t: abs(float(np.interp(mark.x, t.x, t.y)) - mark.y), default=None)
    if on is None:
        return tuple(traces)
    return tuple(t for t in traces if t.label.removeprefix(t.channel) == on.label.removeprefix(on.channel))


def find_height(panel: Panel, finding: Finding, x: float | None) -> float | None:
    """Return a channel's curve at a place, so that a ring is exactly on it: of several the one with the figure."""
    if x is None:
        return None
    heights = [
        float(t.y[min(range(len(t.x)), key=lambda i: abs(t.x[i] - x))])
        for t in panel.traces
        if t.role not in OF_NO_STAGE
        and t.channel == finding.channel[:1]
        and len(t.x)
        and t.x[0] * 0.99 <= x <= t.x[-1] * 1.01
    ]
    wanted = abs(finding.value) if finding.unit == panel.y.unit else float("inf")
    return min(heights, key=lambda y: abs(abs(y) - wanted) if wanted < float("inf") else -abs(y), default=None)
