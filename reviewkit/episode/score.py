"""The score of all ratings, and how an episode ends."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.episode.judged_hero import judged_hero
from reviewkit.episode.outcome import MEASURED, Outcome, faulty_points
from reviewkit.episode.stills import AFTER
from reviewkit.episode.wording import lower_first
from reviewkit.measure import figures
from reviewkit.model import quantities
from reviewkit.model.card import Card, Ending, Hero, Score, ScoreRow
from reviewkit.model.change import Change
from reviewkit.model.finding import Point
from reviewkit.model.repair import RepairRow
from reviewkit.model.session import PrintedFigure, Session
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.repair_points import point_name, reading_after
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, JUDGED, MEETS, NO_VERDICT, SHORT, UNMEASURED
from reviewkit.verdict.verdict_words import margin_words

_ORDER = (SHORT, CLOSE, MEETS, INCOMPARABLE, UNMEASURED, NO_VERDICT)


def make_score_card(
    verdicts: Sequence[Verdict], printed: Sequence[PrintedFigure] = (), *, repaired: bool, called: bool = False
) -> Card | None:
    """Make the card of all ratings on one dial; None if none could be judged, or one alone and no note calls for it.

    Missed ones are in order of how far off they are, met ones of how near to their limits. `printed`: what nothing
    here measures.
    """
    rows = {word: [v for v in verdicts if v.verdict == word] for word in _ORDER}
    judged = sum(len(rows[word]) for word in JUDGED)
    if judged < (1 if called else 2):  # of one alone, verdict, ending and table say the same
        return None
    missed = sorted(rows[SHORT], key=_room)
    met = sorted(rows[MEETS], key=_room)
    unjudged = [*rows[INCOMPARABLE], *rows[UNMEASURED], *rows[NO_VERDICT]]
    body = Score(
        tuple(_row(v, margin_words(v)) for v in missed),
        tuple(_row(v, "") for v in rows[CLOSE]),
        (
            *(_row(v, v.brief or v.verdict or "nominal") for v in unjudged),
            *(ScoreRow(each.name, "", each.text, UNMEASURED, UNMEASURED) for each in printed),
        ),
        tuple(_row(v, margin_words(v)) for v in met),
        _not_judged(verdicts, printed),
    )
    subject = next((_head(v) for v in (*missed, *rows[CLOSE], *met)), "")  # what a title names if it is alone
    counts = {"ratings": len(verdicts) + len(printed), "judged": judged, "met": len(met), "missed": len(missed)}
    return Card(
        "score",
        "",
        (),
        body,
        stage=AFTER if repaired else "",
        finding=Point("cards", "score", {**counts, "subject": subject, "only": f"Rated {lower_first(subject)}"}),
    )


def _head(v: Verdict) -> str:
    return v.label.split(",")[0]


def _not_judged(verdicts: Sequence[Verdict], printed: Sequence[PrintedFigure]) -> str:
    """Return the one rating that was not judged, by its own condition or with the reason; "" if none, or several."""
    names = [(_head(v), v.brief or v.verdict or "nominal") for v in verdicts if v.verdict not in JUDGED]
    names += [(each.name, UNMEASURED) for each in printed]
    if len(names) != 1:
        return ""
    name, bracket, condition = names[0][0].partition(" (")
    return f"not judged: {lower_first(name)}, {condition.rstrip(')') if bracket else names[0][1]}"


def _room(v: Verdict) -> float:
    """Return how far a figure is from its limit; one without a scale comes last."""
    return v.room if v.room is not None else math.inf


def _row(v: Verdict, note: str) -> ScoreRow:
    position = v.position if v.verdict in JUDGED else None
    rated = v.limit.partition(" (")[0] if v.rating.tolerance is not None else v.limit  # what it may be is on the page
    if v.verdict == CLOSE:  # only there does the ± decide
        hero = judged_hero(v)
        return ScoreRow(v.label, hero.figure, rated, v.verdict, note, position, hero.uncertainty)
    return ScoreRow(v.label, judged_figure(v), rated, v.verdict, note, position)


def judged_figure(v: Verdict) -> str:
    """Return a verdict's figure with its unit, without its ± and where it was read: "58.2 W"."""
    if not v.findings:
        return v.measured
    hero = judged_hero(v)
    unit = hero.uncertainty.rpartition(" ")[2]
    return hero.figure if not unit or unit[0].isdigit() else f"{hero.figure} {unit}"


# ------------------------------------------------------------------ the ending


def make_ending_card(
    session: Session,
    outcome: Outcome,
    change: Change | None,
    repair: Sequence[RepairRow],
    verdicts: Sequence[Verdict],
) -> Card | None:
    """Make the card of how it ended; None if nothing was judged, repaired or changed.

    Parameters
    ----------
    session : Session
        The session.
    outcome : Outcome
        How the repair ended.
    change : Change or None
        What it changed most.
    repair : sequence of RepairRow
        The rows of repair.csv.
    verdicts : sequence of Verdict
        On all ratings.
    """
    rated = [v for word in _ORDER for v in sorted((v for v in verdicts if v.verdict == word), key=_room)]
    judged = [v for v in rated if v.verdict in JUDGED]
    if outcome.word == MEASURED and not judged:
        return None
    missed = [v for v in judged if v.verdict == SHORT]
    met = sum(v.verdict == MEETS for v in judged)
    hero = _hero(outcome, change, repair, judged)
    count = _count(met, judged, len(rated) + len(session.printed))
    if len(judged) == 1 and hero and hero.note:  # the one judged rating is the large figure, with its verdict
        count = ("", "")
    body = Ending(
        outcome.word,
        hero,
        (*(v.verdict for v in rated), *[UNMEASURED] * len(session.printed)) if judged else (),
        *count,
        tuple(_missed(v) for v in missed if not (hero and hero.note and v.findings[:1] == hero.findings)),
        "; ".join(outcome.pending),
        outcome.unchecked,
    )
    unit = session.unit
    what = ", ".join(str(part) for part in (unit.what, unit.year) if part)
    return Card("ending", what, (), body, stage="In short", hero=body.hero)


def _count(met: int, judged: Sequence[Verdict], ratings: int) -> tuple[str, str]:
    """Return how many were met, for a large figure and what follows it: "7", "of 9 judged ratings met"."""
    if not judged:
        return "", ""
    if len(judged) == 1:
        return "1", "of 1 rating met" if met else f"rating {'missed' if judged[0].verdict == SHORT else CLOSE}"
    return str(met), f"of {len(judged)} {'judged ' if len(judged) < ratings else ''}ratings met"


def _missed(v: Verdict) -> str:
    """Return a miss in a few words: "damping factor 52, rated 60"."""
    return f"{lower_first(_head(v))} {judged_figure(v)}, {_limit(v)}"


def _limit(v: Verdict) -> str:
    """Return what a figure is compared with: "rated 60", "lowest allowed 6.4 Ω"."""
    return f"{v.limit_source.rpartition(': ')[2]} {v.shown_limit}"


def _hero(
    outcome: Outcome, change: Change | None, repair: Sequence[RepairRow], judged: Sequence[Verdict]
) -> Hero | None:
    """Return what changed most; without a repair, the largest miss, else the rating nearest to its limit."""
    if outcome.word == MEASURED:
        return _rated_hero(judged[0])
    if change is not None and change.improved:
        return change_hero(change)
    again = ((row, reading_after(row, repair)[0]) for row in faulty_points(repair))
    row, text = next(((row, text) for row, text in again if text), (None, ""))
    if row is None:
        return None
    return Hero(text, point_name(row).split(",")[0], "shorted" if row.found_text == "short" else row.found_text)


def _rated_hero(v: Verdict) -> Hero:
    """Return a rating as a large figure, with its limit and how it came out below it."""
    word = f"met {margin_words(v)}".rstrip() if v.verdict == MEETS else v.verdict
    note = f"missed, {_limit(v)}" if v.verdict == SHORT else f"rated {v.limit}, {word}"
    hero = judged_hero(v) if v.verdict == CLOSE else Hero(judged_figure(v))
    side = figures.side(v.findings[0].channel) if v.findings else ""
    caption = ", ".join(filter(None, (lower_first(v.label), side)))
    return Hero(hero.figure, caption, "", hero.uncertainty, note, findings=v.findings[:1])


def change_hero(change: Change) -> Hero:
    """Return a change as a large figure: "distortion, right, at 1 W", 5.0 → 0.020 %."""
    after = change.after
    caption = ", ".join(
        filter(
            None,
            (quantities.quantity_of(after).plain_name, figures.side(after.channel), figures.where(after)),
        )
    )
    return Hero(
        quantities.show(after), caption, quantities.show(change.before), channel=after.channel, findings=(after,)
    )
