"""A kind of measurement."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reviewkit.model.card import Card
from reviewkit.model.finding import Conditions, Measured, Point, Run
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict


@dataclass(frozen=True)
class Kind:
    """A kind of measurement: what it needs, what it computes, its card, and the facts worth saying."""

    name: str
    title: str  # the card's title if the measurement has none
    about: str  # one line for the user: what the file holds
    needs: tuple[tuple[str, ...], ...]  # alternatives, each a set of roles; () means no file is needed
    quantities: tuple[str, ...]  # every quantity it may find
    compared: tuple[str, ...]  # those by which its card compares before and after, the first that both have
    findings: Callable[[Sheet | None, Conditions], Measured]
    card: Callable[[Sequence[Run], Sequence[Verdict]], Card]  # `verdicts`: on these runs, as the card shows them
    points: Callable[[Run, Run | None], tuple[Point, ...]]  # a run, and its counterpart before the repair
    joined: Callable[[Sequence[Point]], Sequence[Point]] = tuple  # a card's points, those that belong together in one
    headlines: tuple[str, ...] = ()  # the quantities that the table shows even if the maker gave no figure
    # more pictures of the same runs; their ids are what is added to the card's
    further: Callable[[Sequence[Run]], tuple[Card, ...]] = lambda runs: ()
