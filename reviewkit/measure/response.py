"""Frequency response: each channel relative to its own level at 1 kHz, or to what its gear is referred to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from reviewkit.measure import figures, scales, sweeps
from reviewkit.measure.capture_requests import reading_request
from reviewkit.measure.target_curves import is_fm, refuse_misread, with_target
from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.arrays import read_only
from reviewkit.model.capture_request import ALONE, AS_USED, SWEEP, USUAL_SHARE, Basis, CaptureRequest, band_or_spot
from reviewkit.model.card import Card
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import relative_words
from reviewkit.model.gear import DECK, PLAYER
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.targets import condition_of, seconds_of
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import REFERENCE_HZ

# what the deviation from one time constant, or from two, may be rated as besides a response
CONSTANTS = {1: ("de_emphasis_deviation",), 2: ("equalisation_deviation",)}
_UNEVEN_DB = 0.5  # from here, one channel is said to be louder than the other (a judgement)


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return deviation_high, deviation_low, flatness, corner_low and corner_high per channel, and channel_balance.

    deviation_*, flatness: dB relative to 1 kHz, over 20 Hz – 20 kHz and each rated band, as far as the data goes.
    With a target, of the difference from it.
    corner_*: Hz, half power relative to 1 kHz. channel_balance: dB, left relative to right. If the reference isn't
    1 kHz (315 Hz of a cassette deck, the mean over a band of a loudspeaker), `at.relative_to` has it, Hz.
    """
    target_db = None
    if c.measurement.target:
        sheet, target_db = with_target(sheet, c)
    frequency_hz, columns = sheet.need("frequency").values, sweeps.levels_of(sheet)
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "flatness", "channel_balance")]))
    to_hz = unstated_conditions.relative_to_hz(c.measurement, c.gear)
    may_be_misread = bool(c.measurement.target) or is_fm(c)
    found: list[Finding] = []
    withheld: list[str] = []
    drawn: list[Curve] = []
    levels_db = {column.channel: relative_db(column.values, column.unit) for column in columns}
    for column in columns:
        if may_be_misread:
            refuse_misread(sheet, c, column, target_db, to_hz)
        level_db = levels_db[column.channel]
        deviation_db = sweeps.relative(frequency_hz, level_db if target_db is None else level_db - target_db, to_hz)
        if deviation_db is None:
            remark = f"the sweep does not reach {relative_words(to_hz)}, to which a response is referred"
            withheld = [f"{c.measurement.id}: no figures, {remark}"]
        else:
            drawn.append(Curve("", column.channel, frequency_hz, read_only(deviation_db)))
            found += _of_channel(c, drawn[-1], bands, to_hz)
    units = {column.channel: column.unit for column in columns}
    if {"L", "R"} <= set(units) and units["L"] != units["R"]:
        withheld.append(
            f"{c.measurement.id}: no channel balance, the left is in {units['L']} and the right in {units['R']}; "
            "export both in one unit"
        )
    elif {"L", "R"} <= set(units):
        balance_db = levels_db["L"] - levels_db["R"]
        there = sweeps.level_there(frequency_hz, balance_db, to_hz)
        if there is not None:
            spot = {"relative_to": list(to_hz)} if isinstance(to_hz, tuple) else {"frequency": to_hz}
            found.append(figures.finding(c, "channel_balance", "both", there, **spot))
        worst = partial(sweeps.worst_in_bands, c, "channel_balance_worst", "both", frequency_hz, balance_db)
        found += worst(bands, way=0)
        # of unequal limits, the larger difference may be inside its own and the smaller one outside
        ratings = figures.rated(c, "channel_balance")
        uneven = [unstated_conditions.band_hz(rating) for rating in ratings if rating.sides_differ]
        for way in (+1, -1) if uneven else ():
            found += [side for side in worst(uneven, way=way) if side not in found]
    return Measured(tuple(found), tuple(withheld), tuple(drawn))


def _of_channel(
    c: Conditions, curve: Curve, bands: Sequence[tuple[float, float]], to_hz: float | tuple[float, float]
) -> list[Finding]:
    """Return what one channel's deviation amounts to, and its corners."""
    # 1 kHz goes without saying
    under: dict[str, Any] = (
        {} if to_hz == REFERENCE_HZ else {"relative_to": list(to_hz) if isinstance(to_hz, tuple) else [to_hz]}
    )
    found: list[Finding] = []
    for band_hz in bands:
        here = (curve.channel, curve.x, curve.y, [band_hz])
        sides = sweeps.worst_in_bands(c, "deviation_high", *here, way=+1, **under)
        sides += sweeps.worst_in_bands(c, "deviation_low", *here, way=-1, **under)
        if sides:
            further = max(sides, key=lambda side: abs(side.value))
            found += [*sides, replace(further, quantity="flatness", value=abs(further.value))]
    # of a de-emphasis or a tape's equalisation both sides, if they are rated
    for name in (each for each in _names(c) if figures.rated(c, each)):
        here = (curve.channel, curve.x, curve.y, figures.rated_bands(c, name) or [AUDIO_BAND_HZ])
        for way in (+1, -1):
            found += sweeps.worst_in_bands(c, name, *here, way=way, **under)
    for quantity, step in (("corner_low", -1), ("corner_high", +1)):
        corner = sweeps.corner_hz(curve.x, curve.y, step, to_hz)
        if corner is not None:
            found.append(figures.finding(c, quantity, curve.channel, corner, **under))
    return found


def _names(c: Conditions) -> tuple[str, ...]:
    return CONSTANTS.get(len(seconds_of(c.measurement.target)), ())


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the deviation relative to 1 kHz over frequency, with the rated bands."""
    main = figures.main_run(runs)
    reference = _other_reference(main.conditions)
    # further out a curve may leave the picture: its corner describes the fall there
    return sweeps.deviation_card(
        runs,
        KIND.title,
        "flatness",
        lambda values: scales.lopsided(min([*values, 0.0]), max([*values, 0.0])),
        whole=True,
        also=("channel_balance",),
        rated=_names(main.conditions),
        notes=(f"relative to {reference}",) if reference else (),
    )


def _zero(run: Run) -> str:
    """Return what is zero on the card, in words; "" for the level at 1 kHz."""
    if target := condition_of(run.conditions.measurement.target):
        return {"target": "the target", "de-emphasis": "the de-emphasis"}.get(target[0][0], "the replay curve")
    return _other_reference(run.conditions)


def _other_reference(c: Conditions) -> str:
    """Return what curves are relative to, in words; "" if that is 1 kHz."""
    to_hz = unstated_conditions.relative_to_hz(c.measurement, c.gear)
    return "" if to_hz == REFERENCE_HZ else relative_words(to_hz)


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return how flat it is and was, a corner inside the audio band, and by how much one channel is louder."""
    facts: list[Point] = []
    bands = [f.at["band"] for f in figures.by_channel(run, "flatness")]
    if bands:
        # talk about the band that the maker rated
        ratings = figures.rated(run.conditions, "flatness")
        rated = [list(r.band_hz) for r in ratings if r.band_hz and r.input in ("", run.conditions.measurement.input)]
        band_hz = next((band for band in bands if list(band) in rated), bands[0])
        flat = figures.by_channel(run, "flatness", band=band_hz)
        was = figures.by_channel(before, "flatness", band=band_hz)
        high, low = (figures.by_channel(run, f"deviation_{end}", band=band_hz) for end in ("high", "low"))
        uneven = any(r.sides_differ for r in ratings)
        sides = quantities.deviation(max(f.value for f in high), min(f.value for f in low)) if uneven else ""
        facts.append(
            run.point(
                "flatness",
                findings=flat,
                worse=quantities.worse(flat),
                furthest=_furthest(run, quantities.worse(flat)),
                sides=sides,
                band=band_hz,
                before=_furthest(before, quantities.worse(was)) if before else None,
                setting=", ".join(figures.settings(run.conditions.measurement)),
                load=run.conditions.measurement.load_ohm,
                to=_zero(run),
            )
        )
    low = [f for f in figures.by_channel(run, "corner_low") if f.value > AUDIO_BAND_HZ[0]]
    high = [f for f in figures.by_channel(run, "corner_high") if f.value < AUDIO_BAND_HZ[1]]
    if low or high:
        # the worse channel's corner is the one nearer the middle
        facts.append(
            run.point(
                "corners",
                low=max(low, key=lambda f: f.value, default=None),
                high=min(high, key=lambda f: f.value, default=None),
            )
        )
    balance = run.get("channel_balance")
    if balance is not None and abs(balance.value) >= _UNEVEN_DB:
        facts.append(run.point("balance", finding=balance))
    return tuple(facts)


def _furthest(run: Run, flat: Finding | None) -> Finding | None:
    """Return the deviation, with its sign, by which a channel is as flat as it is."""
    if flat is None:
        return None
    alike = [f for name in ("deviation_low", "deviation_high") for f in figures.by_channel(run, name)]
    alike = [f for f in alike if f.channel == flat.channel and f.at.get("band") == flat.at.get("band")]
    return max(alike, key=lambda f: abs(f.value), default=None)


def _sweep(
    rating: Rating, basis: Basis, quantities: tuple[str, ...], at: Mapping[str, Any], **wording: Any
) -> CaptureRequest:
    return basis.request(rating, quantities, at, SWEEP, wording={**wording, "quantities": quantities})


def _flatness_request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    band = unstated_conditions.band_hz(rating)
    quantities = ("deviation_high", "deviation_low") if rating.sides_differ else ("flatness",)
    at = basis.named(rating, "load", "input") | {"band": band}
    return (_sweep(rating, basis, quantities, at, bands=(band,)),)


def _target_request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    band = unstated_conditions.band_hz(rating)
    at = basis.named(rating, "input") | {"band": band}
    request = _sweep(rating, basis, (rating.quantity,), at, bands=(band,))
    if basis.gear is not None and {PLAYER, DECK} & {*basis.gear.types}:
        request = replace(request, apart=(rating.quantity,))  # needs another disc or tape than its response
    return (request,)


def _corner_request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    limit = rating.at_most if rating.quantity == "corner_low" else rating.at_least
    return (_sweep(rating, basis, (rating.quantity,), basis.named(rating, "input"), corners=(limit,)),)


def _balance_request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "input") | band_or_spot(rating)
    # a sweep has the balance at its own reference only
    read_at_hz = (unstated_conditions.meant_hz(rating.input, basis.gear) or (unstated_conditions.FREQUENCY_HZ,))[0]
    if rating.band_hz is not None:
        request = _sweep(rating, basis, ("channel_balance_worst",), at, bands=(rating.band_hz,))
    elif rating.frequency_hz is not None and basis.gear is not None and basis.gear.reference_band_hz:
        request = reading_request(rating, "channel-balance", at, ALONE, drive=AS_USED)  # its sweep has that of a band
    elif rating.frequency_hz in (None, read_at_hz):
        request = _sweep(rating, basis, ("channel_balance",), at)
    else:
        level = basis.sized(rating, USUAL_SHARE)
        request = reading_request(rating, "channel-balance", at, basis.place(rating), level=level)
    return (replace(request, channels=("both",)),)


KIND = Kind(
    name="response",
    title="Frequency response",
    about="a sweep: frequency and level of one or both channels; read relative to its own 1 kHz, or to a target",
    needs=(("frequency", "level"),),
    compared=("flatness",),
    asks=FLAT,
    headlines=("flatness", "channel_balance"),
    findings=findings,
    card=card,
    points=points,
    keys=("drive", "target"),
    levels_of_output=True,
    sound="response",
    file_words="(?:frequency |freq )?resp(?:onse)?|bandwidth|fr",
    recipes={
        "flatness": _flatness_request,
        **{name: _target_request for names in CONSTANTS.values() for name in names},
        "corner_low": _corner_request,
        "corner_high": _corner_request,
        "channel_balance": _balance_request,
    },
)
