"""The story in the data: the figure that the repair improved most, and the verdicts counted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.episode.stills import changed_most
from reviewkit.measure.likeness import is_like
from reviewkit.model import quantities
from reviewkit.model.card import Card
from reviewkit.model.change import Change
from reviewkit.model.episode import Episode, Story
from reviewkit.model.ratings import DECIBELS
from reviewkit.verdict.repair_points import was_worked_on
from reviewkit.verdict.verdict import CLOSE, JUDGED, MEETS, SHORT

_TIMES, _DECIBELS = 2.0, 3.0  # a smaller change is not what an episode is about (a judgement, no source)


def find_story(episode: Episode) -> Story:
    """Find what the repair changed most for the better, and count the verdicts."""
    change, channels = _main_change(episode.changes, changed_most(episode.cards))
    words = [verdict.verdict for verdict in episode.verdicts]
    return Story(
        repaired=any(map(was_worked_on, episode.repair))
        or any(run.conditions.measurement.stage == "after" for run in episode.runs),
        change=change,
        subject=quantities.quantity_of(change.after).plain_name if change else "",
        channels=channels,
        ratings=len(words) + len(episode.session.printed),
        judged=sum(word in JUDGED for word in words),
        met=words.count(MEETS),
        missed=words.count(SHORT),
        undecided=words.count(CLOSE),
    )


def _main_change(changes: Sequence[Change], pair: Card | None) -> tuple[Change | None, str]:
    """Return what improved most, and whose it is: "one", "both" or "".

    That is the improvement that a card shows, `pair`, so that texts and cards tell one story; without one, the largest
    of the first subject that has one.
    """
    shown: Change | None = pair.finding.facts["change"] if pair is not None and pair.finding is not None else None
    shown = shown if shown is not None and _improvement(shown) >= 1 else None
    for quantity in (shown.after.quantity,) if shown is not None else quantities.SUBJECTS:
        own = [change for change in changes if change.after.quantity == quantity]
        largest = shown or max(own, key=_improvement, default=None)
        if largest is None or _improvement(largest) < 1:
            continue
        others = [change for change in own if _is_other_channel(change, largest)]
        if not others or largest.after.channel not in ("L", "R"):
            return largest, ""
        if any(abs(_improvement(other)) < 1 for other in others):
            return largest, "one"
        before = quantities.worse([largest.before, *(other.before for other in others)])
        after = quantities.worse([largest.after, *(other.after for other in others)])
        return (Change(before, after) if before and after else largest), "both"
    return None, ""


def _improvement(change: Change) -> float:
    """Return how much better a figure is after the repair: 1 is a factor of two, or 3 dB; negative if it is worse.

    It is 0 if the change is within the uncertainty.
    """
    before, after = change.before, change.after
    quantity = quantities.quantity_of(after)
    old, new = (abs(f.value) if quantity.either_way else f.value for f in (before, after))
    if abs(old - new) <= math.hypot(before.uncertainty or 0.0, after.uncertainty or 0.0):
        return 0.0
    better = -1 if quantity.either_way else quantity.better
    if after.unit in DECIBELS:
        return better * (new - old) / _DECIBELS
    if old <= 0 or new <= 0:
        return 0.0
    return better * math.log(new / old) / math.log(_TIMES)


def _is_other_channel(change: Change, main: Change) -> bool:
    """Return whether a change is the same figure of another channel."""
    same = replace(change.after, channel=main.after.channel)
    return change.after.channel != main.after.channel and is_like(same, main.after)
