"""Frequency response: each channel relative to its own level at 1 kHz, or to what its gear is referred to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.measure.capture_requests import is_even, reading_request
from reviewkit.measure.deviations import deviation_card, read_deviations
from reviewkit.measure.target_curves import refuse_misread, with_target
from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.arrays import Array
from reviewkit.model.capture_request import ALONE, AS_USED, SWEEP, USUAL_SHARE, Basis, CaptureRequest, band_or_spot
from reviewkit.model.card import Card
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.finding_conditions import relative_words
from reviewkit.model.gear import DECK, PLAYER
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.targets import condition_of, seconds_of
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.spectrum import AUDIO_BAND_HZ
from reviewkit.signal.weighting import REFERENCE_HZ

# what the deviation from one time constant, or from two, may be rated as besides a response
CONSTANTS = {1: ("de_emphasis_deviation",), 2: ("equalisation_deviation",)}
_UNEVEN_DB = 0.5  # from here, one channel is said to be louder than the other (a judgement)


def findings(sheet: Sheet | None, c: Conditions) -> Measured:
    """Return deviation_high, deviation_low, flatness, corner_low and corner_high per channel, and channel_balance.

    deviation_*, flatness: dB relative to 1 kHz, over 20 Hz – 20 kHz and each rated band, as far as the data goes.
    With a target, of the difference from it.
    corner_*: Hz, half power relative to 1 kHz. channel_balance: dB, left relative to right. If the reference isn't
    1 kHz (315 Hz of a cassette deck, the mean over a band of a loudspeaker), `at.relative_to` has it, Hz.
    """
    assert sheet is not None
    sheet, target_db = with_target(sheet, c)
    frequency_hz, columns = sheet.need("frequency").values, sweeps.levels_of(sheet)
    found: list[Finding] = []
    bands = list(dict.fromkeys([AUDIO_BAND_HZ, *figures.rated_bands(c, "flatness", "channel_balance")]))
    to_hz = unstated_conditions.relative_to_hz(c.measurement, c.gear)
    # 1 kHz goes without saying
    under: dict[str, Any] = (
        {} if to_hz == REFERENCE_HZ else {"relative_to": list(to_hz) if isinstance(to_hz, tuple) else [to_hz]}
    )

    def deviation_of(column: Column) -> Array | None:
        refuse_misread(sheet, c, column, target_db, to_hz)
        level_db = relative_db(column.values, column.unit)
        return sweeps.relative(frequency_hz, level_db if target_db is None else level_db - target_db, to_hz)

    drawn, withheld = read_deviations(sheet, c, deviation_of, "a response", relative_words(to_hz))
    for curve in drawn:
        for band_hz in bands:
            reached = curves.covered(frequency_hz, band_hz)
            if reached is None:
                continue
            where, inside = curves.part(frequency_hz, curve.y, reached)
            places = {name: int(at(inside)) for name, at in (("high", np.argmax), ("low", np.argmin))}
            further = max(places.values(), key=lambda index: abs(inside[index]))
            for quantity, index in (
                ("deviation_high", places["high"]),
                ("deviation_low", places["low"]),
                ("flatness", further),
            ):
                value = abs(inside[index]) if quantity == "flatness" else inside[index]
                hz, band = float(where[index]), list(reached)
                found.append(figures.finding(c, quantity, curve.channel, value, frequency=hz, band=band, **under))
        found += _from_constants(c, curve, under)
        for quantity, step in (("corner_low", -1), ("corner_high", +1)):
            corner = sweeps.corner_hz(frequency_hz, curve.y, step, to_hz)
            if corner is not None:
                found.append(figures.finding(c, quantity, curve.channel, corner, **under))
    found += _balance(frequency_hz, columns, c, bands, to_hz)
    units = {column.channel: column.unit for column in columns}
    if {"L", "R"} <= set(units) and units["L"] != units["R"]:
        withheld.append(
            f"{c.measurement.id}: no channel balance, the left is in {units['L']} and the right in {units['R']}; "
            "export both in one unit"
        )
    return Measured(tuple(found), tuple(withheld), tuple(drawn))


def _from_constants(c: Conditions, curve: Curve, under: Mapping[str, Any]) -> list[Finding]:
    """Return the deviation from a de-emphasis or a tape's equalisation on both sides, if that is rated."""
    found = []
    for name in _names(c):
        bands = figures.rated_bands(c, name) or [AUDIO_BAND_HZ]
        for sign in (1, -1) if figures.rated(c, name) else ():
            furthest = sweeps.worst_in_bands(c, name, curve.channel, curve.x, sign * curve.y, bands, **under)
            found += [replace(each, value=sign * each.value) for each in furthest]
    return found


def _names(c: Conditions) -> tuple[str, ...]:
    return CONSTANTS.get(len(seconds_of(c.measurement.target)), ())


def _balance(
    frequency_hz: Array,
    columns: Sequence[Column],
    c: Conditions,
    bands: Sequence[tuple[float, float]],
    to_hz: float | tuple[float, float],
) -> list[Finding]:
    """Return left over right in dB, at the reference frequency and where it is largest in each band.

    It comes from absolute levels or from levels with one common reference.
    """
    by_channel = {column.channel: column for column in columns}
    if not {"L", "R"} <= set(by_channel) or by_channel["L"].unit != by_channel["R"].unit:
        return []
    difference = relative_db(by_channel["L"].values, by_channel["L"].unit) - relative_db(
        by_channel["R"].values, by_channel["R"].unit
    )
    found = []
    there = sweeps.level_there(frequency_hz, difference, to_hz)
    if there is not None:
        spot = {"relative_to": list(to_hz)} if isinstance(to_hz, tuple) else {"frequency": to_hz}
        found.append(figures.finding(c, "channel_balance", "both", there, **spot))
    worst = sweeps.worst_in_bands(c, "channel_balance_worst", "both", frequency_hz, difference, bands, either_way=True)
    # of unequal limits, the larger difference may be inside its own and the smaller one outside
    uneven = [
        unstated_conditions.band_hz(r) for r in figures.rated(c, "channel_balance") if r.within and not is_even(r)
    ]
    for sign in (1, -1) if uneven else ():
        sides = sweeps.worst_in_bands(c, "channel_balance_worst", "both", frequency_hz, sign * difference, uneven)
        worst += [side for f in sides if (side := replace(f, value=sign * f.value)) not in worst]
    return [*found, *worst]


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the deviation relative to 1 kHz over frequency, with the rated bands."""
    main = figures.main_run(runs)
    reference = _other_reference(main)
    # further out a curve may leave the picture: its corner describes the fall there
    return deviation_card(
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
    return _other_reference(run)


def _other_reference(run: Run) -> str:
    """Return what a run's curves are relative to, in words; "" if that is 1 kHz."""
    to_hz = unstated_conditions.relative_to_hz(run.conditions.measurement, run.conditions.gear)
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
        was = figures.by_channel(before, "flatness", band=band_hz) if before else []
        high, low = (figures.by_channel(run, f"deviation_{end}", band=band_hz) for end in ("high", "low"))
        uneven = any(r.within and not is_even(r) for r in ratings)
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
                setting=", ".join(figures.settings(run)),
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
    quantities = ("flatness",) if is_even(rating) else ("deviation_high", "deviation_low")
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
    quantities=(
        "deviation_high",
        "deviation_low",
        "flatness",
        "corner_low",
        "corner_high",
        "channel_balance",
        "channel_balance_worst",
        *(name for names in CONSTANTS.values() for name in names),
    ),
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
