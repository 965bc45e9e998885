"""How the conditions of a finding stand to those of a rating: the same, harder, easier, or not to be compared."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reviewkit.model import digits, quantities
from reviewkit.model.finding import Finding
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating

SAME, HARDER, EASIER, APART = "same", "harder", "easier", "apart"
INSIDE, ON, OUTSIDE = 1, 0, -1
MEETS, SHORT, CLOSE, INCOMPARABLE, UNMEASURED = (
    "meets",
    "falls short",
    "too close to call",
    "not comparable",
    "not measured",
)
SPOT_HZ = 1000.0

# figures that are the worst over a band; all others stand at one frequency or at none
SWEPT = {
    "worst_distortion",
    "flatness",
    "deviation_high",
    "deviation_low",
    "crosstalk_worst",
    "damping_factor_lowest",
    "channel_balance_worst",
    "riaa_deviation",
}
# one percent of frequency, half a percent of a load, a voltage or a band's edge: what rounding in an export costs; and
# a tenth of a decibel of power, to which a level is set by meter (common practice, no source)
_FREQUENCY_SAME, _LEVEL_SAME, _POWER_SAME = 0.01, 0.005, 0.0235


@dataclass(frozen=True)
class Stand:
    """One condition compared. `why`: what differs, ready to print; `assumed`: taken as the bench had it."""

    stand: str
    why: str = ""
    assumed: str = ""


@dataclass(frozen=True)
class Answer:
    """What one finding says to one rating."""

    finding: Finding
    word: str
    side: int  # INSIDE, ON or OUTSIDE the limit, by more than the uncertainty
    room: float  # how far inside the limit, as a ratio's logarithm or in dB; more is better
    stands: tuple[Stand, ...]


@dataclass(frozen=True)
class Mains:
    """The mains voltage that the unit wants and that the bench had, V; None where not said."""

    wanted_v: float | None = None
    had_v: float | None = None


def compare(rating: Rating, finding: Finding, mains: Mains) -> list[Stand]:
    """Every condition of the rating's rule, compared. An empty `why` and `assumed` need no word."""
    stands = []
    for condition in RULES[rating.quantity].conditions:
        stands.append(mains_stand(mains) if condition == "mains" else _COMPARE[condition](rating, finding))
    return stands


def overall(stands: list[Stand]) -> str:
    """All conditions together: one apart, or some harder and some easier, cannot be compared."""
    seen = {stand.stand for stand in stands}
    if APART in seen or {HARDER, EASIER} <= seen:
        return APART
    return HARDER if HARDER in seen else EASIER if EASIER in seen else SAME


def mains_stand(mains: Mains) -> Stand:
    """Lower mains than the unit wants are the harder test."""
    if mains.wanted_v is None or mains.had_v is None or abs(mains.had_v / mains.wanted_v - 1) <= _LEVEL_SAME:
        return Stand(SAME)
    text = f"made for {digits.trimmed(mains.wanted_v)} V mains, measured at {digits.trimmed(mains.had_v)} V"
    return Stand(HARDER if mains.had_v < mains.wanted_v else EASIER, text)


def _load(rating: Rating, finding: Finding) -> Stand:
    had = finding.at.get("load")
    if rating.load_ohm is None:
        return Stand(SAME, assumed=f"into {quantities.load(had)}" if had is not None else "")
    if had is None:
        return Stand(APART, f"rated into {quantities.load(rating.load_ohm)}, the load measured with is not stated")
    if abs(had / rating.load_ohm - 1) <= _LEVEL_SAME:
        return Stand(SAME)
    return Stand(APART, f"rated into {quantities.load(rating.load_ohm)}, measured into {quantities.load(had)}")


def _words(key: str, name: str) -> Callable[[Rating, Finding], Stand]:
    def stand(rating: Rating, finding: Finding) -> Stand:
        wanted, had = str(getattr(rating, key)), str(finding.at.get(key, ""))
        if not wanted:
            return Stand(SAME, assumed=f"{had} {name}".strip() if had else "")
        if wanted.lower() == had.lower():
            return Stand(SAME)
        return Stand(APART, f"rated for {wanted} {name}, measured {f'with {had}' if had else 'without it stated'}")

    return stand


def _weighting(rating: Rating, finding: Finding) -> Stand:
    wanted, had = rating.weighting, str(finding.at.get("weighting", ""))
    measured = f"{had}-weighted" if had else "unweighted"
    if not wanted:
        return Stand(SAME, assumed=measured)
    if wanted.lower() == had.lower():
        return Stand(SAME)
    return Stand(APART, f"rated {wanted}-weighted, measured {measured}")


def _channels(rating: Rating, finding: Finding) -> Stand:
    had = finding.at.get("channels", "")
    words = {"both": "both channels driven", "one": "one channel driven"}
    if not rating.channels:
        return Stand(SAME, assumed=words.get(str(had), ""))
    if not had:
        return Stand(APART, f"rated with {words[rating.channels]}, which were driven is not stated")
    if had == rating.channels:
        return Stand(SAME)
    return Stand(
        HARDER if had == "both" else EASIER, f"rated with {words[rating.channels]}, measured with {words[str(had)]}"
    )


def _band(rating: Rating, finding: Finding) -> Stand:
    swept = finding.at.get("band") if finding.quantity in SWEPT else None
    if rating.band_hz is None:
        # a rating at one frequency holds if it holds over a band that contains it: _frequency sees to that
        if rating.frequency_hz is not None or swept is None:
            return Stand(SAME)
        return Stand(SAME, assumed=f"over {quantities.band((swept[0], swept[1]))}")
    low, high = rating.band_hz
    rated = f"rated over {quantities.band(rating.band_hz)}"
    if swept is None:
        hz = finding.at.get("frequency")
        if hz is None:
            return Stand(APART, f"{rated}, the frequency measured at is not stated")
        return Stand(EASIER if low <= hz <= high else APART, f"{rated}, measured at {quantities.hertz(hz)}")
    below, above = swept[0] / low - 1, high / swept[1] - 1
    if below <= _LEVEL_SAME and above <= _LEVEL_SAME:
        wider = below < -_LEVEL_SAME or above < -_LEVEL_SAME
        return Stand(
            HARDER if wider else SAME,
            f"{rated}, measured over {quantities.band((swept[0], swept[1]))}" if wider else "",
        )
    inside = below >= -_LEVEL_SAME and above >= -_LEVEL_SAME
    return Stand(EASIER if inside else APART, f"{rated}, measured over {quantities.band((swept[0], swept[1]))}")


def _frequency(rating: Rating, finding: Finding) -> Stand:
    if rating.band_hz is not None:
        return Stand(SAME)
    hz = finding.at.get("frequency")
    if rating.frequency_hz is None:
        if finding.quantity in SWEPT:
            return Stand(SAME)
        if hz is None:
            return Stand(SAME)
        # where the maker names no frequency, 1 kHz is meant (common practice, no source)
        same = abs(hz / SPOT_HZ - 1) <= _FREQUENCY_SAME
        return (
            Stand(SAME, assumed=f"at {quantities.hertz(hz)}")
            if same
            else Stand(APART, f"measured at {quantities.hertz(hz)}")
        )
    wanted = rating.frequency_hz
    if finding.quantity in SWEPT:
        low, high = finding.at["band"]
        return Stand(
            HARDER if low <= wanted <= high else APART,
            f"rated at {quantities.hertz(wanted)}, measured over {quantities.band((low, high))}",
        )
    if hz is None:
        return Stand(APART, f"rated at {quantities.hertz(wanted)}, the frequency measured at is not stated")
    if abs(hz / wanted - 1) <= _FREQUENCY_SAME:
        return Stand(SAME)
    return Stand(APART, f"rated at {quantities.hertz(wanted)}, measured at {quantities.hertz(hz)}")


def _power(rating: Rating, finding: Finding) -> Stand:
    had = finding.at.get("power")
    wanted = rating.at_least if rating.quantity == "power" else rating.power_w
    if rating.quantity == "power" and finding.quantity != "worst_distortion":
        return Stand(SAME)  # the power is the figure itself
    if wanted is None:
        return Stand(SAME, assumed=f"at {quantities.watts(had)}" if had is not None else "")
    if had is None:
        return Stand(APART, f"rated at {quantities.watts(wanted)}, the power measured at is not stated")
    if abs(had / wanted - 1) <= _POWER_SAME:
        return Stand(SAME)
    text = f"rated at {quantities.watts(wanted)}, measured at {quantities.watts(had)}"
    if rating.quantity == "flatness":
        return Stand(HARDER if had > wanted else EASIER, text)
    # less power is no easier test of distortion: noise and crossover weigh more there. It neither confirms nor denies.
    return Stand(HARDER if had > wanted else APART, text)


def _figure(rating: Rating, finding: Finding) -> Stand:
    had = {"thd": "THD", "thd_plus_noise": "THD+N"}.get(finding.quantity) or finding.at.get("figure", "")
    plus_noise = rating.quantity == "thd_plus_noise" or rating.thd_plus_noise_percent is not None
    if rating.quantity == "power" and rating.thd_percent is None and rating.thd_plus_noise_percent is None:
        limit = finding.at.get("limit")
        return Stand(SAME, assumed=f"at {quantities.percent(limit)} {had or 'distortion'}" if limit else "")
    if plus_noise:
        return (
            Stand(SAME)
            if had == "THD+N"
            else Stand(EASIER, f"rated as THD+N, measured as {had or 'distortion of a kind not stated'}")
        )
    return (
        Stand(SAME)
        if had == "THD"
        else Stand(HARDER, f"rated as THD, measured as {had or 'distortion of a kind not stated'}")
    )


def _reference(rating: Rating, finding: Finding) -> Stand:
    had = finding.at.get("reference")
    if rating.reference_v is not None:
        if finding.at.get("reference_input") == rating.reference_v:
            return Stand(SAME, assumed=str(finding.at.get("method", "")))
        of = f"the {finding.at['input']} input" if finding.at.get("input") else "the input"
        remedy = f"what would tell is the input sensitivity of {of}, read at the same volume"
        measured = quantities.watts(had) if had is not None else "something not stated"
        return Stand(APART, f"rated re {rating.reference} at the input, measured re {measured}; {remedy}")
    if not rating.reference:
        return Stand(SAME, assumed=f"re {quantities.watts(had)}" if had is not None else "")
    wanted = rating.reference_w
    if wanted is not None and had is not None and abs(had / wanted - 1) <= _LEVEL_SAME:
        return Stand(SAME)
    measured = quantities.watts(had) if had is not None else "something not stated"
    return Stand(APART, f"rated re {rating.reference}, measured re {measured}")


def _tones(rating: Rating, finding: Finding) -> Stand:
    had = finding.at.get("tones")
    shown = quantities.tones((had[0], had[1])) if had else ""
    if rating.tones_hz is None:
        return Stand(SAME, assumed=f"with {shown}" if shown else "")
    wanted = quantities.tones(rating.tones_hz)
    if not had:
        return Stand(APART, f"rated with {wanted}, the tones measured with are not stated")
    if all(abs(a / b - 1) <= _FREQUENCY_SAME for a, b in zip(had, rating.tones_hz, strict=True)):
        return Stand(SAME)
    return Stand(APART, f"rated with {wanted}, measured with {shown}")


_COMPARE: dict[str, Callable[[Rating, Finding], Stand]] = {
    "load": _load,
    "input": _words("input", "input"),
    "weighting": _weighting,
    "tones": _tones,
    "reference": _reference,
    "channels": _channels,
    "band": _band,
    "frequency": _frequency,
    "power": _power,
    "figure": _figure,
}
