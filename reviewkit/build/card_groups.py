"""Which measurements share a card."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from reviewkit.episode.stills import leading_verdict
from reviewkit.measure import figures
from reviewkit.model.card_files import OLD_NAMES, SESSION_CARDS
from reviewkit.model.finding import Run
from reviewkit.model.session import Measurement, Rating
from reviewkit.model.verdict import Verdict

# what may differ between runs that share a card by themselves: names, files, what table they have if any, how files are
# read, stage and channel
_NAMES = ("id", "file", "title", "card", "hold_s", "readings")
_TABLE = ("line", "named", "files", "planned")
_READING = ("columns", "units", "window", "full_scale_v", "volts", "volts_step")
_FREE = frozenset((*_NAMES, *_TABLE, *_READING, "stage", "driven", "against"))
_OF_A_STAGE = frozenset(("before", "after", "left", "right", "l", "r"))  # what an id says of its stage or channel


def share_cards(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return runs with the card that each is drawn on.

    It is the one that `card` names; else runs that differ only in stage, or of which each has another channel, share
    one.
    """
    named = {run.conditions.measurement.card for run in runs}
    shared: list[_Shared] = []
    for run in runs:
        m = run.conditions.measurement
        if m.card or m.id in named or m.stage == "bench":
            continue
        alike = next((each for each in shared if each.takes(run)), None)
        if alike is None:
            shared.append(alike := _Shared())
        alike.runs.append(run)
    taken = {run.conditions.measurement.id for run in runs} | named | {*SESSION_CARDS, *OLD_NAMES}
    cards = {run.conditions.measurement.id: _name(each.runs, taken) for each in shared for run in each.runs}
    return tuple(_with_card(run, cards) for run in runs)


def _with_card(run: Run, cards: Mapping[str, str]) -> Run:
    m = run.conditions.measurement
    return replace(
        run, conditions=replace(run.conditions, measurement=replace(m, card=m.card or cards.get(m.id, m.id)))
    )


@dataclass
class _Shared:
    """Runs that share a card."""

    runs: list[Run] = field(default_factory=list)

    def takes(self, run: Run) -> bool:
        """Return whether a run fits on the card: measured alike, in another stage or of other channels."""
        m = run.conditions.measurement
        if _conditions(m) != _conditions(self.runs[0].conditions.measurement):
            return False
        same_stage = [other for other in self.runs if other.conditions.measurement.stage == m.stage]
        own = _channels(run)
        return not same_stage or (bool(own) and all(own.isdisjoint(_channels(other) or own) for other in same_stage))


def _conditions(m: Measurement) -> tuple[object, ...]:
    return tuple(getattr(m, each.name) for each in fields(m) if each.name not in _FREE)


def _channels(run: Run) -> set[str]:
    """Return the channels of a run's figures and curves."""
    return ({f.channel for f in run.findings} | {curve.channel for curve in run.curves}) - {"", "both"}


def _name(runs: Sequence[Run], taken: Collection[str]) -> str:
    """Return the name of the card that runs share: their ids without stage and channel, else the last one's id."""
    ids = [run.conditions.measurement.id for run in runs]
    stems = {"-".join(part for part in re.split(r"[-_.]", name) if part.casefold() not in _OF_A_STAGE) for name in ids}
    stem = next(iter(stems)) if len(stems) == 1 else ""
    return stem if stem and len(ids) > 1 and (stem in ids or stem not in taken) else ids[-1]


def put_judged_first(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> tuple[Run, ...]:
    """Return runs with the rating first that their card judges, so that all of the card and its words is about that."""
    measured: dict[str, set[str]] = {}
    for run in runs:
        measured.setdefault(run.conditions.measurement.card, set()).add(run.conditions.measurement.id)
    judged = {card: verdict.rating for card, ids in measured.items() if (verdict := leading_verdict(verdicts, ids))}
    return tuple(_with_first(run, judged.get(run.conditions.measurement.card)) for run in runs)


def _with_first(run: Run, rating: Rating | None) -> Run:
    ratings = sorted(run.conditions.ratings, key=lambda each: each is not rating)
    return replace(run, conditions=replace(run.conditions, ratings=tuple(ratings)))


def group_runs(runs: Sequence[Run], kinds: Sequence[str]) -> dict[str, list[Run]]:
    """Return runs by the card they are drawn on, cards in the order of `kinds`, then of the session.

    The bench looped back on itself is drawn on every card of its kind, and on one of its own only if there is no other.
    """
    in_order = sorted(runs, key=lambda run: kinds.index(run.conditions.measurement.kind))
    bench = [run for run in in_order if run.conditions.measurement.stage == "bench"]
    of_the_unit = {run.conditions.measurement.kind for run in in_order if run not in bench}
    by_card: dict[str, list[Run]] = {}
    for run in in_order:
        m = run.conditions.measurement
        if m.stage != "bench" or m.kind not in of_the_unit:
            by_card.setdefault(m.card, []).append(run)
    for group in by_card.values():
        kind = group[0].conditions.measurement.kind
        if kind in of_the_unit:
            group += [run for run in bench if run.conditions.measurement.kind == kind]
    return {name: figures.join_channels(group) for name, group in by_card.items()}


def join_runs(runs: Sequence[Run]) -> list[Run]:
    """Return runs with those joined that are one measurement, exported one channel a file."""
    by_card: dict[str, list[Run]] = {}
    for run in runs:
        by_card.setdefault(run.conditions.measurement.card, []).append(run)
    return [run for group in by_card.values() for run in figures.join_channels(group)]
