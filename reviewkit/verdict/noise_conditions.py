"""Conditions of noise and of ratios to it: the weighting, the band, the reference."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.finding import Finding
from reviewkit.model.level import is_same, reference_level
from reviewkit.model.session import Rating
from reviewkit.model.weightings import FLATTERING, MUST_BE_STATED, weighted
from reviewkit.verdict.compared_condition import (
    APART,
    EASIER,
    HARDER,
    SAME,
    SAME_SHARE,
    ComparedCondition,
    differing,
    not_stated,
    relation_of_bands,
)


def compare_weighting(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the weighting. A rating that doesn't name one means unweighted."""
    wanted, had = rating.weighting, str(finding.at.get("weighting", ""))
    if not wanted and had == "A" and rating.quantity == "dynamic_range" and ("method", "EIAJ") in rating.conditions:
        wanted = had  # the method says so
    measured = weighted(had)
    if wanted.lower() == had.lower():
        return ComparedCondition(SAME, assumed="" if wanted or rating.called else measured)
    # a rating that doesn't name a weighting means unweighted; weighting makes it look better
    rated = f"rated {weighted(wanted)}" if wanted else "rated without a weighting"
    if wanted in MUST_BE_STATED and not had:
        return not_stated(rated, "how the figure was read", "weighting")
    eased = not wanted and had in FLATTERING
    return differing(EASIER if eased else APART, rated, f"measured {measured}")


def compare_band(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the band that noise is taken over; a wider one has more of it. A rating without one means 20 Hz – 20 kHz,
    or as much of it as was measured.
    """
    had = finding.at.get("band")
    usual = unstated_conditions.BAND_HZ
    if rating.band_hz is None:
        inside = had is None or (had[0] >= usual[0] * (1 - SAME_SHARE) and had[1] <= usual[1] * (1 + SAME_SHARE))
        cut = had is not None and (had[0] > 2 * usual[0] or had[1] < usual[1] / 2)
        if inside and not cut:
            return ComparedCondition(SAME)
        assert had is not None
        over = quantities.band(had)
        rated = f"rated over no band, which means {quantities.band(usual)}"
        return differing(EASIER if inside else HARDER, rated, f"measured over {over}", over)
    rated = f"rated over {quantities.band(rating.band_hz)}"
    if had is None:
        return not_stated(rated, "the band measured over", "band")
    relation, over = relation_of_bands(had, rating.band_hz), quantities.band(had)
    if relation == SAME:
        return ComparedCondition(SAME)
    return differing(relation, rated, f"measured over {over}", over)


def compare_reference(rating: Rating, finding: Finding, ratings: Sequence[Rating]) -> ComparedCondition:
    """Compare what a ratio is relative to. Without it, a signal to noise ratio means the rated output."""
    had, level = finding.at.get("reference"), reference_level(finding.at)
    shown = quantities.watts(had) if had is not None else quantities.level_text(level) if level else ""
    measured = f"measured re {shown or 'something not stated'}"
    brief = measured if shown else "reference not stated"
    if rating.reference_v is not None:
        if finding.at.get("reference_input") == rating.reference_v:
            return ComparedCondition(SAME, assumed=str(finding.at.get("method", "")))
        of = f"the {finding.at['input']} input" if finding.at.get("input") else "the input"
        remedy = f"what would tell is the input sensitivity of {of}, read at the same volume"
        return differing(APART, f"rated re {rating.reference} at the input", f"{measured}; {remedy}", brief)
    if rating.reference_level is not None:
        above = level.decibels_above(rating.reference_level) if level else None
        if above is not None and is_same(above):
            return ComparedCondition(SAME, assumed=str(finding.at.get("method", "")))
        return differing(APART, f"rated re {rating.reference}", measured, brief)
    if not rating.reference:
        meant = unstated_conditions.reference_w(rating, finding, ratings)
        if meant is None or (had is None and finding.kind != "reading"):
            return ComparedCondition(SAME, assumed=f"re {shown}" if shown else "")
        rated = f"rated without a reference, which means {quantities.watts(meant)}"
        if had is None:
            return differing(APART, rated, measured, brief)
        if abs(had / meant - 1) <= SAME_SHARE:
            return ComparedCondition(SAME, assumed=f"re {quantities.watts(had)}")
        # the lower the reference, the harder
        return differing(HARDER if had < meant else EASIER, rated, measured, brief)
    if rating.reference_w is not None and had is not None and abs(had / rating.reference_w - 1) <= SAME_SHARE:
        return ComparedCondition(SAME)
    return differing(APART, f"rated re {rating.reference}", measured, brief)
