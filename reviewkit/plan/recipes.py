"""Capture requests for each rated name: the kind of measurement, its conditions, and the level at the output.

A finding with a request's quantities and conditions is fully comparable with its rating.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from reviewkit.model import unstated_conditions
from reviewkit.model.ratings import rule_of
from reviewkit.model.session import Rating
from reviewkit.plan.basis import (
    AS_RATED,
    IDLE,
    LINE,
    LINE_V,
    MANY,
    METER,
    PAIR,
    SINE,
    SMALL_SHARE,
    SQUARE,
    SWEEP,
    USUAL_SHARE,
    Basis,
    CaptureRequest,
    band_or_spot,
    spot_hz,
)
from reviewkit.plan.power import distortion_requests, power_requests, tone_request

USUAL_TONES_HZ = (60.0, 7000.0)


def capture_requests(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Return the captures that a rating asks for; those that decide come last."""
    return tuple(_as_rated(request, rating) for request in _RECIPES.get(rating.quantity, _own)(rating, basis))


def _as_rated(request: CaptureRequest, rating: Rating) -> CaptureRequest:
    """Add the load and the level that a rating names, which its recipe may not have asked for."""
    conditions = rule_of(rating).conditions
    at = dict(request.at)
    if "load" in conditions and rating.load_ohm is not None:
        at["load"] = rating.load_ohm
    if rating.conditions:
        at["conditions"] = dict(rating.conditions)
        request = replace(request, apart=(*request.apart, *rating.conditions))
    if {"level", "signal"} & {*conditions} and rating.level is not None and not rating.called:
        at |= rating.level.entries()
        if rating.level.unit == "V":
            request = replace(request, power_w=None, voltage_v=rating.level.value)
        request = replace(request, apart=(*request.apart, rating.level))
    if "level" not in conditions or rating.power_w is None or rating.quantity == "power" or rating.called:
        return replace(request, at=at)
    return replace(request, at={**at, "power": rating.power_w}, power_w=rating.power_w, voltage_v=None)


def _gain(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "load", "input") | {"frequency": spot_hz(rating)}
    return (tone_request(rating, basis, "gain", at, basis.sized(rating, USUAL_SHARE)),)


def _hum(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    # a maker's hum in dB is relative to the rated output
    return (tone_request(rating, basis, "hum", basis.named(rating, "input"), basis.sized(rating, 1.0)),)


def _sweep_request(
    rating: Rating, basis: Basis, quantities: tuple[str, ...], at: Mapping[str, Any], **wording: Any
) -> CaptureRequest:
    """Request a frequency response at the rated level, else at a usual one."""
    level = basis.sized(rating, USUAL_SHARE)
    wording["quantities"] = quantities
    return CaptureRequest("response", "response", quantities, at, SWEEP, *level, basis.place(rating), wording=wording)


def _is_even(rating: Rating) -> bool:
    return rating.within is None or -rating.within[0] == rating.within[1]


def _flatness(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    band = unstated_conditions.band_hz(rating)
    quantities = ("flatness",) if _is_even(rating) else ("deviation_high", "deviation_low")
    at = basis.named(rating, "load", "input") | {"band": band}
    return (_sweep_request(rating, basis, quantities, at, bands=(band,)),)


def _corner(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    limit = rating.at_most if rating.quantity == "corner_low" else rating.at_least
    return (_sweep_request(rating, basis, (rating.quantity,), basis.named(rating, "input"), corners=(limit,)),)


def _balance(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    shared = basis.named(rating, "input")
    hz = spot_hz(rating)
    if rating.band_hz is not None:
        at = shared | {"band": rating.band_hz}
        return (
            replace(
                _sweep_request(rating, basis, ("channel_balance_worst",), at, bands=(rating.band_hz,)),
                channels=("both",),
            ),
        )
    if hz == unstated_conditions.FREQUENCY_HZ:
        return (
            replace(
                _sweep_request(rating, basis, ("channel_balance",), shared | {"frequency": hz}), channels=("both",)
            ),
        )
    level = basis.sized(rating, USUAL_SHARE)
    request = _reading_request(rating, "channel-balance", shared | {"frequency": hz}, basis.place(rating), level=level)
    return (replace(request, channels=("both",)),)


def _reading_request(
    rating: Rating,
    name: str,
    at: Mapping[str, Any],
    place: str,
    *,
    drive: str = SINE,
    level: tuple[float | None, float | None] = (None, None),
) -> CaptureRequest:
    """Request a single meter reading, a row of a `reading` file."""
    names = {"frequency": "frequencies", "weighting": "weightings"}
    wording = {name: (at[key],) for key, name in names.items() if key in at}
    apart = (at.get("frequency"), at.get("weighting"))
    return CaptureRequest("reading", name, (rating.quantity,), at, drive, *level, place, apart=apart, wording=wording)


def _crosstalk(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "input") | band_or_spot(rating)
    wording = {"bands": (rating.band_hz,)} if rating.band_hz else {"frequencies": (at["frequency"],)}
    return (
        CaptureRequest(
            "crosstalk",
            "crosstalk",
            ("crosstalk_worst" if rating.band_hz else "crosstalk",),
            at | {"channels": "one"},
            SWEEP,
            *basis.sized(rating, USUAL_SHARE),
            basis.place(rating),
            channels=("L>R", "R>L"),
            wording=wording,
        ),
    )


def _damping(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = band_or_spot(rating) | (basis.named(rating, "load") if rating.quantity == "damping_factor" else {})
    swept = "band" in at
    quantity = "damping_factor_lowest" if rating.quantity == "damping_factor" and swept else rating.quantity
    wording = {"bands": (at["band"],)} if swept else {"frequencies": (at["frequency"],)}
    return (
        CaptureRequest(
            "source-impedance",
            "impedance-sweep" if swept else "two-load",
            (quantity,),
            at,
            SWEEP if swept else METER,
            basis.share(rating, USUAL_SHARE),
            apart=(at.get("frequency"),),
            wording=wording,
        ),
    )


def _idle(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request noise and what is computed from it: one capture of the idle output gives all of them."""
    at = basis.named(rating, "input")
    if rating.weighting:
        at["weighting"] = rating.weighting
    if rating.quantity == "snr" and rating.reference_v is None:
        reference = rating.reference_w or basis.share(rating, 1.0)
        at |= {"reference": reference} if reference is not None else {}
    wording = {"weightings": (rating.weighting or "unweighted",)} if rating.quantity != "hum_voltage" else {}
    where = basis.place(rating)
    no_load = rating.quantity == "snr" and basis.load_ohm(rating) is None
    if rating.weighting not in ("", "A") or no_load:
        return (_reading_request(rating, "weighted-noise", at, where, drive=IDLE),)
    noise = CaptureRequest("noise", "noise", (rating.quantity,), at, IDLE, place=where, wording=wording)
    if rating.reference_v is None:
        return (noise,)
    # relative to a voltage at the input: the input sensitivity must be known
    needed = replace(_sensitivity(rating, basis)[0], quantities=("input_sensitivity",), decides=False)
    return needed, replace(noise, at=at | {"reference_input": rating.reference_v})


def _pair(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    tones = rating.tones_hz or USUAL_TONES_HZ
    watts = rating.power_w or basis.share(rating, 1.0)
    at = basis.named(rating, "load", "input", "channels") | {"tones": tones}
    if watts is not None:
        at["power"] = watts
    level = None if watts is not None else LINE_V
    where = basis.place(rating)
    wording = {"tones": (tones,)}
    return (
        CaptureRequest(
            "intermodulation", "intermodulation", ("imd",), at, PAIR, watts, level, where, apart=tones, wording=wording
        ),
    )


def _multitone(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "load", "input")
    level = basis.sized(rating, USUAL_SHARE)
    return (CaptureRequest("multitone", "multitone", ("multitone_clearance",), at, MANY, *level, basis.place(rating)),)


def _phono(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    band = unstated_conditions.band_hz(rating)
    at = {"input": rating.input or "phono", "band": band}
    quantities = ("riaa_deviation",) if _is_even(rating) else ("riaa_deviation_high", "riaa_deviation_low")
    return (CaptureRequest("phono", "phono", quantities, at, SWEEP, place=LINE, wording={"bands": (band,)}),)


def _overload(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = {"input": rating.input or "phono", "frequency": spot_hz(rating)}
    return (_reading_request(rating, "phono-overload", at, LINE),)


def _sensitivity(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    watts = rating.power_w or basis.share(rating, 1.0)
    at = basis.named(rating, "input", "load") | {"frequency": spot_hz(rating)}
    if watts is not None:
        at["power"] = watts
    level = (watts, None if watts is not None else LINE_V)
    wanted = _reading_request(rating, "input-sensitivity", at, basis.place(rating), level=level)
    if rating.quantity != "input_sensitivity":
        return (wanted,)  # the printed figure is something else
    return (replace(wanted, wording={**wanted.wording, "rated": (rating.printed,)}),)


def _offset(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    # the gate asks for it cold and warm: a reading that says neither would tick neither
    return (_reading_request(rating, "dc-offset", {"setting": "warm"}, basis.place(rating), drive=IDLE),)


def _square(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    at = basis.named(rating, "load")
    hz = spot_hz(rating)
    if rating.quantity == "tilt":
        at["frequency"] = hz
    level = basis.sized(rating, SMALL_SHARE)
    wording = {"frequencies": (hz,), "quantities": (rating.quantity,)}
    where = basis.place(rating)
    return (
        CaptureRequest("square", "square", (rating.quantity,), at, SQUARE, *level, where, apart=(hz,), wording=wording),
    )


def _own(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    """Request a reading under the maker's own name, with every condition that the rating states."""
    at: dict[str, Any] = {"load": rating.load_ohm} if rating.load_ohm is not None else {}
    for key, stated in (
        ("input", rating.input),
        ("frequency", rating.frequency_hz),
        ("band", rating.band_hz),
        ("weighting", rating.weighting),
        ("termination", rating.termination),
        ("volume", rating.volume),
        ("channels", rating.channels),
        ("limit", rating.thd_percent or rating.thd_plus_noise_percent),
        ("conditions", dict(rating.conditions)),
    ):
        at |= {key: stated} if stated else {}
    at |= rating.level.entries() if rating.level is not None else {}
    at |= {"power": rating.power_w} if rating.power_w is not None else {}
    at |= {"re": rating.reference} if rating.reference else {}
    wanted = CaptureRequest(
        "reading",
        "own",
        (rating.quantity,),
        at,
        AS_RATED,
        place=LINE,
        channels=("",),
        apart=(rating.quantity, *map(str, sorted(at.items(), key=str))),
        wording={"names": (rating.called,), "units": (rating.unit,)},
    )
    return (wanted,)


_RECIPES: dict[str, Callable[[Rating, Basis], tuple[CaptureRequest, ...]]] = {
    "power": power_requests,
    "thd": distortion_requests,
    "thd_plus_noise": distortion_requests,
    "distortion": distortion_requests,
    "flatness": _flatness,
    "crosstalk": _crosstalk,
    "separation": _crosstalk,
    "damping_factor": _damping,
    "source_impedance": _damping,
    "channel_balance": _balance,
    "gain": _gain,
    "snr": _idle,
    "noise": _idle,
    "hum": _hum,
    "hum_voltage": _idle,
    "dc_offset": _offset,
    "imd": _pair,
    "multitone_clearance": _multitone,
    "riaa_deviation": _phono,
    "corner_low": _corner,
    "corner_high": _corner,
    "input_sensitivity": _sensitivity,
    "phono_overload": _overload,
    "rise_time": _square,
    "overshoot": _square,
    "tilt": _square,
}
