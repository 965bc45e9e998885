"""Rated and measured, as rows that the card, the three table files, the page and the description all print."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from reviewkit.measure import figures
from reviewkit.measure.kinds import KINDS
from reviewkit.model import digits, named_conditions, quantities, rating_words
from reviewkit.model.finding import Finding, Run
from reviewkit.model.finding_conditions import reference_of, relative_words
from reviewkit.model.gear import HEADPHONES, LOUDSPEAKER
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Bench, BenchRange, PrintedFigure, Rating, Session
from reviewkit.model.unstated_conditions import RADIO
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import weighted
from reviewkit.verdict.rated_inputs import inputs_of, of_usual_input
from reviewkit.verdict.verdict import UNMEASURED, judging

_LOWEST_DBFS = -50.0
NONE_GIVEN = "none given"


@dataclass(frozen=True)
class TableRow:
    """One row. `verdict` is "" if the maker gave no figure."""

    label: str
    limit: str  # the limit alone, for the card
    rated: str  # with its conditions
    measured: str
    verdict: str
    margin: str
    note: str  # why it isn't comparable; conditions assumed as on the bench
    position: float | None = None
    promised: str = ""  # the limit as the maker states it, whatever the figure was compared with
    quantity: str = ""
    brief: str = ""  # why it isn't comparable, in six words at most
    only_printed: bool = False  # nothing here measures it


@dataclass(frozen=True)
class SpecTable:
    """The rows and the lines under them."""

    rows: tuple[TableRow, ...]
    foot: tuple[str, ...]
    one_unit: str = ""  # the one of them that names the unit the verdicts are about


def spec_table(session: Session, runs: Sequence[Run], verdicts: Sequence[Verdict]) -> SpecTable:
    """Return every rating in the maker's order, what is only printed, then what was measured without a rating."""
    rows = [
        TableRow(
            *(v.label, v.limit, v.rated, v.measured or "–", v.verdict, v.margin, _note(v)),
            position=v.position,
            promised=rating_words.limit_text(v.rating),
            quantity=v.rating.quantity,
            brief=v.brief,
        )
        for v in verdicts
    ]
    judged = any(v.verdict != UNMEASURED for v in verdicts)
    one_unit = _one_unit(session, runs) if judged else ""
    foot = (*_foot(session, verdicts), one_unit) if one_unit else _foot(session, verdicts)
    return SpecTable(tuple(rows + _printed(session) + _unrated(session, runs)), foot, one_unit)


def _printed(session: Session) -> list[TableRow]:
    """Return a row for each figure that nothing here measures."""
    return [
        TableRow(f.name, f.text, f.text, "–", UNMEASURED, "", "", promised=f.text, only_printed=True)
        for f in session.printed
    ]


def _note(v: Verdict) -> str:
    assumed = f"as on the bench: {v.assumed}" if v.assumed else ""
    return "; ".join(part for part in (v.why, v.remark, assumed) if part)


def sources(ratings: Sequence[Rating | PrintedFigure]) -> list[str]:
    """Return where the ratings are printed; if some have no source, also how many come from each."""
    counts = Counter(r.source for r in ratings if r.source)
    if sum(counts.values()) == len(ratings):
        return list(counts)
    return [f"{name} ({count} of {len(ratings)})" for name, count in counts.items()]


def _foot(session: Session, verdicts: Sequence[Verdict]) -> tuple[str, ...]:
    printed_in = sources([*session.ratings, *session.printed])
    lines = [f"ratings: {'; '.join(printed_in)}"] if printed_in else []
    judged = any(v.verdict != UNMEASURED for v in verdicts)
    if judged:
        lines.append(_uncertainty(session.bench))
    gear = session.unit.gear
    headphones = gear is not None and gear.loads == HEADPHONES
    if any(v.rating.quantity == "power" and v.verdict != UNMEASURED for v in verdicts) and not headphones:
        lines.append("not preconditioned")
    return tuple(lines)


def _one_unit(session: Session, runs: Sequence[Run]) -> str:
    """Return the line that says which unit, or which pair of loudspeakers, the verdicts are about.

    Its age comes from the years in [price], because a build doesn't know today's date.
    """
    year, to = session.unit.year, session.price.to if session.price else None
    age = f", {to - year} years old" if year and to and to > year else f", made in {year}" if year else ""
    repaired = any(run.conditions.measurement.stage == "after" for run in runs)
    state = ", as repaired" if repaired else ""
    # a left and a right loudspeaker
    is_pair = session.unit.type == (LOUDSPEAKER,) and {"L", "R"} <= {f.channel for run in runs for f in run.findings}
    what = "one pair" if is_pair else "one unit"
    return f"{what}{age}{state}; says nothing about others, or about it when new"


def _uncertainty(bench: Bench) -> str:
    """Return what of the bench's uncertainty is stated, in one line."""
    own = {name: _stated(each) for name, each in bench.ranges.items()}
    parts = [_stated(bench) or "uncertainty not stated", *(f"{name}: {text}" for name, text in own.items() if text)]
    return "; ".join(parts)


def _stated(bench: BenchRange) -> str:
    level, load, floor = bench.level_uncertainty_db, bench.load_tolerance_percent, bench.distortion_floor_percent
    stated = [
        f"level uncertainty {digits.trimmed(level)} dB (k = 2)" if level is not None else "",
        f"loads ±{quantities.percent(load)}" if load is not None else "",
        f"the bench's own distortion {quantities.percent(floor)}" if floor is not None else "",
    ]
    return ", ".join(part for part in stated if part)


def _unrated(session: Session, runs: Sequence[Run]) -> list[TableRow]:
    rated = [rule_of(rating) for rating in session.ratings]
    findings, inputs = judging(runs), inputs_of(session.bench, session.unit.gear)
    measurements = {run.conditions.measurement.id: run.conditions.measurement for run in runs}
    rows = []
    for quantity in (name for kind in KINDS.values() for name in kind.headlines):
        if any(rule.shows(quantity) for rule in rated):
            continue
        # the S/N of a tone's capture is relative to that tone and says little about the unit
        same = [f for f in findings if f.quantity == quantity and (quantity != "snr" or reference_of(f))]
        # so far below full scale it isn't a distortion that anyone rates
        same = [f for f in same if not quantities.quantity_of(f).is_distortion or f.at.get("dbfs", 0.0) > _LOWEST_DBFS]
        same = of_usual_input(same, inputs)
        first = [  # with one export per channel, the channels are separate measurements on one card
            f
            for f in same
            if measurements[f.measurement].card == measurements[same[0].measurement].card
            and _row_conditions(f) == _row_conditions(same[0])
        ]
        worst = quantities.worse(first)
        if worst is not None:
            known = quantities.QUANTITIES[quantity]  # a power doesn't name the power at which it was read
            where = "" if known.over_power else _spot(worst)
            # the level that its card names: as stated, else as found in the file
            level = figures.drive(measurements[worst.measurement]) or quantities.conditions(
                {k: v for k, v in worst.at.items() if k != "power" or not known.over_power}
            )
            name = known.name
            named = ", ".join(part for part in (name[0].upper() + name[1:], _weighting(worst), where) if part)
            # the other half of a receiver is named wherever it is shown
            half = str(worst.at.get("input", ""))
            radio = f"{half} input" if half.upper() in RADIO and not inputs.radio else ""
            note = ", ".join(part for part in (radio, _under(worst, level)) if part)
            rows.append(
                TableRow(named, NONE_GIVEN, NONE_GIVEN, quantities.show(worst), "", "", note, quantity=quantity)
            )
    return rows


def _spot(f: Finding) -> str:
    if "band" in f.at and (quantities.quantity_of(f).extent or "frequency" not in f.at):
        return quantities.band(f.at["band"])
    return quantities.hertz(f.at["frequency"]) if "frequency" in f.at else ""


_ALIKE = ("setting", "conditions", "input", "load", "weighting", "reference", "reference_level")


def _row_conditions(f: Finding) -> tuple[object, ...]:
    """Return what a figure must share with the first of its kind to be in one row with it."""
    return _spot(f), f.stage, *(f.at.get(key) for key in _ALIKE)


def _weighting(f: Finding) -> str:
    """Return the weighting for the row's name: a noise figure means nothing without it."""
    return weighted(f.at["weighting"]) if "weighting" in f.at else "unweighted" if f.quantity == "snr" else ""


def _under(f: Finding, level: str) -> str:
    parts = (
        f"at {quantities.percent(f.at['limit'])}" if "limit" in f.at else "",
        f"re {reference}" if (reference := reference_of(f)) else "",
        f"with {quantities.tones(f.at['tones'])}" if "tones" in f.at else "",
        level,
        f"relative to {relative_words(f.at['relative_to'])}" if "relative_to" in f.at else "",
        *named_conditions.in_words(f.at.get("conditions", {}).items()),
        str(f.at.get("setting", "")),
    )
    return ", ".join(part for part in parts if part)
