"""Compare the conditions of a finding with those of a rating: the same, harder, easier, or not comparable."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reviewkit.model import digits, quantities, unstated_conditions
from reviewkit.model.finding import Finding
from reviewkit.model.finding_conditions import relative_words
from reviewkit.model.level import Level, is_same, levels_of
from reviewkit.model.ratings import EQUAL, HARD, LOWEST_POWER_W, distortion_limit, rule_of
from reviewkit.model.session import Rating
from reviewkit.verdict import noise_conditions, own_ratings
from reviewkit.verdict.compared_condition import (
    APART,
    EASIER,
    HARDER,
    SAME,
    SAME_SHARE,
    ComparedCondition,
    differing,
    first_words,
    not_stated,
    relation_of_bands,
)

INSIDE, ON, OUTSIDE = 1, 0, -1

PHONO = ("riaa_deviation", "phono_overload")  # of the phono input by nature
# of a frequency and of the mains (common practice, no source)
_FREQUENCY_SAME, _MAINS_SAME = 0.01, 0.02


@dataclass(frozen=True)
class Answer:
    """One finding's answer to one rating."""

    finding: Finding
    word: str
    side: int  # INSIDE, ON or OUTSIDE the limit, by more than the uncertainty
    room: float  # distance inside the limit, as a ratio's logarithm or in dB; more is better
    compared: tuple[ComparedCondition, ...]
    rounds: bool = False  # outside, but by less than the limit's last printed digit


@dataclass(frozen=True)
class Mains:
    """The mains voltage that the unit needs and that the bench had, V; None if not stated."""

    wanted_v: float | None = None
    had_v: float | None = None

    @property
    def off(self) -> float:
        """Return the difference of the bench's mains from the unit's, as a share of it; 0 if either isn't stated."""
        return self.had_v / self.wanted_v - 1 if self.wanted_v and self.had_v else 0.0

    @property
    def near(self) -> bool:
        """Return whether the bench's mains count as the rated ones."""
        return abs(self.off) <= _MAINS_SAME * (1 + 1e-9)


def compare(rating: Rating, finding: Finding, mains: Mains, ratings: Sequence[Rating] = ()) -> list[ComparedCondition]:
    """Compare every condition of the rating's rule. An empty `why` and `assumed` need no word.

    `ratings`: all of the unit, because a distortion rated at no level is meant at the rated output.
    """
    compared = []
    for condition in rule_of(rating).conditions:
        if condition == "mains":
            compared.append(compare_mains(mains))
        elif condition in _OF_ALL_RATINGS:
            compared.append(_OF_ALL_RATINGS[condition](rating, finding, ratings))
        else:
            compared.append(_COMPARE[condition](rating, finding))
    return compared


def overall(compared: list[ComparedCondition]) -> str:
    """Combine all conditions: one apart, or some harder and some easier, can't be compared."""
    seen = {each.relation for each in compared}
    if APART in seen or {HARDER, EASIER} <= seen:
        return APART
    return HARDER if HARDER in seen else EASIER if EASIER in seen else SAME


def is_in_percent(rating: Rating, finding: Finding) -> bool:
    """Return whether a power is answered by its distortion and not in watts."""
    return rating.quantity == "power" and finding.unit == "%"


def is_swept(finding: Finding) -> bool:
    """Return whether a figure is the worst over a band."""
    return quantities.quantity_of(finding).swept


def compare_mains(mains: Mains) -> ComparedCondition:
    """Compare the mains: lower than the unit wants is the harder test."""
    if mains.near:
        assumed = f"at {digits.trimmed(mains.had_v)} V mains" if mains.had_v and mains.off else ""
        return ComparedCondition(SAME, assumed=assumed)
    assert mains.wanted_v is not None
    assert mains.had_v is not None
    had = f"measured at {digits.trimmed(mains.had_v)} V"
    text = f"made for {digits.trimmed(mains.wanted_v)} V mains, {had}"
    return ComparedCondition(HARDER if mains.off < 0 else EASIER, text, brief=f"{had} mains")


def _load(rating: Rating, finding: Finding) -> ComparedCondition:
    had = finding.at.get("load")
    if rating.load_ohm is None:
        return ComparedCondition(SAME, assumed=f"into {quantities.load(had)}" if had is not None else "")
    rated = f"rated into {quantities.load(rating.load_ohm)}"
    if had is None:
        return not_stated(rated, "the load measured with", "load")
    if had == rating.load_ohm or abs(had / rating.load_ohm - 1) <= SAME_SHARE:
        return ComparedCondition(SAME)
    return differing(APART, rated, f"measured into {quantities.load(had)}")


def _words(key: str, name: str) -> Callable[[Rating, Finding], ComparedCondition]:
    def compare_words(rating: Rating, finding: Finding) -> ComparedCondition:
        wanted, had = str(getattr(rating, key)), str(finding.at.get(key, ""))
        if not wanted:
            by_nature = had.lower() == "phono" and rating.quantity in PHONO
            return ComparedCondition(SAME, assumed=f"{had} {name}" if had and not by_nature else "")
        if wanted.lower() == had.lower():
            return ComparedCondition(SAME)
        rated = f"rated for {wanted} {name}"
        if not had:
            return differing(APART, rated, "measured without it stated", first_words(f"{name} not stated"))
        measured = f"measured with {had}"
        return differing(APART, rated, measured, first_words(measured))

    return compare_words


def _channels(rating: Rating, finding: Finding) -> ComparedCondition:
    had = str(finding.at.get("channels", ""))
    words = {"both": "both channels driven", "one": "one channel driven"}
    wanted = rating.channels or ("both" if rating.total else "")
    if not wanted:
        return ComparedCondition(SAME, assumed=words.get(had, ""))
    rated = f"rated with {words[wanted]}"
    if not had:
        return not_stated(rated, "which were driven", "channels driven")
    if had == wanted:
        return ComparedCondition(SAME)
    relation = HARDER if had == "both" else EASIER
    return differing(relation, rated, f"measured with {words[had]}", f"with {words[had]}")


def _band(rating: Rating, finding: Finding) -> ComparedCondition:
    swept = finding.at["band"] if is_swept(finding) else None
    if rating.band_hz is None and not rule_of(rating).band:
        if rating.called and swept:
            return ComparedCondition(SAME, assumed=f"over {quantities.band(swept)}")
        return ComparedCondition(SAME)  # `_frequency` compares with the one frequency that is meant
    low, high = unstated_conditions.band_hz(rating)
    rated = f"rated over {'' if rating.band_hz else 'no band, which means '}{quantities.band((low, high))}"
    if swept is None:
        hz = finding.at.get("frequency")
        if hz is None:
            return not_stated(rated, "the frequency measured at", "frequency")
        measured = f"measured at {quantities.hertz(hz)}"
        return differing(EASIER if low <= hz <= high else APART, rated, measured, f"{measured} only")
    relation, part = relation_of_bands(swept, (low, high)), quantities.band(swept)
    if relation == SAME:
        return ComparedCondition(SAME, assumed="" if rating.band_hz else f"over {part}")
    # with more than six words, keep only the figures
    return differing(relation, rated, f"measured over {part}", part)


def _relative_to(rating: Rating, finding: Finding) -> ComparedCondition:
    """Note what a response is relative to, if that isn't 1 kHz; makers hardly ever print it."""
    to_hz = finding.at.get("relative_to")
    return ComparedCondition(SAME, assumed=f"relative to {relative_words(to_hz)}" if to_hz else "")


def _frequency(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the frequency; if the maker names neither one nor a band, 1 kHz is meant, and only that."""
    if rating.band_hz is not None:
        return ComparedCondition(SAME)
    if rating.called and rating.frequency_hz is None:
        hz = finding.at.get("frequency")
        return ComparedCondition(SAME, assumed=f"at {quantities.hertz(hz)}" if hz is not None else "")
    meant, hz = unstated_conditions.frequencies_hz(rating), finding.at.get("frequency")
    wanted = meant[0]
    rated = f"rated at {quantities.hertz(wanted)}"
    if rating.frequency_hz is None:
        rated = f"rated at no frequency, which means {' or '.join(map(quantities.hertz, meant))}"
    if is_swept(finding):
        low, high = finding.at["band"]
        over = quantities.band((low, high))
        return differing(HARDER if low <= wanted <= high else APART, rated, f"measured over {over}", over)
    if hz is None:
        if rating.frequency_hz is None:
            return ComparedCondition(SAME, assumed="frequency not stated")
        return not_stated(rated, "the frequency measured at", "frequency")
    if any(abs(hz / each - 1) <= _FREQUENCY_SAME for each in meant):
        return ComparedCondition(SAME, assumed=f"at {quantities.hertz(hz)}" if rating.frequency_hz is None else "")
    return differing(APART, rated, f"measured at {quantities.hertz(hz)}")


def _level(rating: Rating, finding: Finding, ratings: Sequence[Rating]) -> ComparedCondition:
    if rating.quantity == "power" and not is_in_percent(rating, finding):
        return ComparedCondition(SAME)  # the power is the figure itself
    wanted, how = unstated_conditions.rated_level(rating, finding, ratings)
    levels = levels_of(finding.at)
    # of a level that is known in several ways, use the one that can be compared
    alike = [had for had in levels if wanted is not None and had.decibels_above(wanted) is not None]
    had = next(iter((*alike, *levels)), None)
    shown = quantities.level_text(had) if had else ""
    if wanted is None:
        return ComparedCondition(SAME, assumed=f"at {shown}" if shown else "")
    at = quantities.level_text(wanted)
    rated = f"rated at {at}" if how == "rated" else f"rated at no level, which means its output, {at}"
    if had is None:
        return not_stated(rated, "the level measured at", "level")
    above = had.decibels_above(wanted)
    if above is not None and is_same(above) and finding.quantity != "highest_distortion":
        return ComparedCondition(SAME, assumed=f"at {shown}" if how == "meant" else "")
    relation = APART if above is None else _way_off(rating, finding, above, wanted)
    return differing(relation, rated, f"measured at {shown}")


def _signal(rating: Rating, finding: Finding, ratings: Sequence[Rating]) -> ComparedCondition:
    """Compare the level of the signal that noise is heard under: at a tuner's antenna, not at an output."""
    if rating.level is None:
        had = next((had for had in levels_of(finding.at) if had.unit not in ("W", "V")), None)
        return ComparedCondition(SAME, assumed=f"at {quantities.level_text(had)}" if had else "")
    return _level(rating, finding, ratings)


def _way_off(rating: Rating, finding: Finding, above_db: float, wanted: Level) -> str:
    """Return what a level that is not the rated one, `wanted`, makes of the test."""
    mode = rule_of(rating).level
    if mode == HARD:
        return HARDER if above_db > 0 else EASIER
    if mode == EQUAL:
        return APART
    if rating.quantity == "power" and (above_db <= 0 or finding.quantity == "highest_distortion"):
        # from 250 mW up the rating holds at every power; but if it is noise that rises there, that proves nothing
        power_w = (wanted.watts or 0.0) * 10 ** (above_db / 10)
        promised = power_w >= LOWEST_POWER_W * (1 - SAME_SHARE)
        return EASIER if promised and distortion_name(finding) == "THD" else APART
    return HARDER if above_db > 0 else APART


def distortion_name(finding: Finding) -> str:
    """Return "THD" or "THD+N"; "" if it isn't stated which of them a distortion is."""
    return {"thd": "THD", "thd_plus_noise": "THD+N"}.get(finding.quantity) or str(finding.at.get("figure", ""))


def _figure(rating: Rating, finding: Finding) -> ComparedCondition:
    had = distortion_name(finding)
    if rating.quantity == "power" and distortion_limit(rating) is None:
        limit = finding.at.get("limit")
        return ComparedCondition(SAME, assumed=f"at {quantities.percent(limit)} {had or 'distortion'}" if limit else "")
    plus_noise = rating.quantity == "thd_plus_noise" or rating.thd_plus_noise_percent is not None
    wanted = "THD+N" if plus_noise else "THD"
    if had == wanted:
        return ComparedCondition(SAME)
    measured = f"measured as {had or 'distortion of a kind not stated'}"
    brief = measured if had else "THD or THD+N not stated"
    return differing(EASIER if plus_noise else HARDER, f"rated as {wanted}", measured, brief)


def _tones(rating: Rating, finding: Finding) -> ComparedCondition:
    had = finding.at.get("tones")
    shown = quantities.tones(had) if had else ""
    if rating.tones_hz is None:
        return ComparedCondition(SAME, assumed=f"with {shown}" if shown else "")
    rated = f"rated with {quantities.tones(rating.tones_hz)}"
    if not had:
        return differing(APART, rated, "the tones measured with are not stated", "tones not stated")
    if all(abs(a / b - 1) <= _FREQUENCY_SAME for a, b in zip(had, rating.tones_hz, strict=True)):
        return ComparedCondition(SAME)
    return differing(APART, rated, f"measured with {shown}", f"with {shown}")


_COMPARE: dict[str, Callable[[Rating, Finding], ComparedCondition]] = {
    "load": _load,
    "input": _words("input", "input"),
    "termination": _words("termination", "termination"),
    "volume": _words("volume", "volume"),
    "weighting": noise_conditions.compare_weighting,
    "tones": _tones,
    "channels": _channels,
    "band": _band,
    "frequency": _frequency,
    "figure": _figure,
    "noise_band": noise_conditions.compare_band,
    "relative_to": _relative_to,
    "conditions": own_ratings.compare_conditions,
    "thd": own_ratings.compare_distortion,
    "sign": own_ratings.compare_sign,
}
# these also depend on what else is rated
_OF_ALL_RATINGS: dict[str, Callable[[Rating, Finding, Sequence[Rating]], ComparedCondition]] = {
    "level": _level,
    "signal": _signal,
    "reference": noise_conditions.compare_reference,
}
