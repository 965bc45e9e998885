"""The response through a phono stage: its deviation from the RIAA replay curve, relative to 1 kHz."""

from __future__ import annotations

from collections.abc import Sequence

from reviewkit.measure import curves, figures, scales, sweeps
from reviewkit.model import digits, quantities, unstated_conditions
from reviewkit.model.arrays import Array, read_only
from reviewkit.model.capture_request import LINE, PHONO_SWEEP, Basis, CaptureRequest
from reviewkit.model.card import Card
from reviewkit.model.finding import Conditions, Curve, Measured, Point, Run
from reviewkit.model.kind import FLAT, Kind
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import relative_db
from reviewkit.signal.tone import AUDIO_BAND_HZ
from reviewkit.signal.weighting import riaa_replay_db

MIDDLE_BAND_HZ = (40.0, 15_000.0)  # makers often rate this band (common practice, no source)


def _read_as(frequency_hz: Array, column: Column, *, equalised: bool, amendment: bool) -> Array | None:
    """Return a channel relative to the replay curve, 0 dB at 1 kHz, shape (n,); None if it doesn't reach 1 kHz."""
    level_db = relative_db(column.values, column.unit)
    if not equalised:
        level_db = level_db - riaa_replay_db(frequency_hz, amendment=amendment)
    return sweeps.relative(frequency_hz, level_db)


def _refuse_misread(sheet: Sheet, c: Conditions, frequency_hz: Array, column: Column) -> None:
    """Raise InputError if the file evidently is the other of the two: a plain response or a deviation."""
    m = c.measurement
    read = {
        equalised: _read_as(frequency_hz, column, equalised=equalised, amendment=m.amendment)
        for equalised in (True, False)
    }
    off_db = sweeps.misread_by(frequency_hz, read[m.equalised], read[not m.equalised])
    if not off_db:
        return
    why = "off the RIAA curve but near level, as one with a pre-emphasised input is; add equalised = true"
    if m.equalised:
        why = "off level, as a response without pre-emphasis is; remove equalised = true"
    raise c.fault(f'{sheet.source}, column "{column.header}", is {digits.fixed(off_db, 0)} dB {why}')


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return riaa_deviation (dB relative to 1 kHz) per channel.

    It is the largest either way, with its sign and frequency, over 20 Hz – 20 kHz, 40 Hz – 15 kHz and each rated band,
    as far as the data goes. If a rating has unequal limits, riaa_deviation_high and _low are the furthest on each side.
    """
    m, frequency_hz = c.measurement, sheet.need("frequency").values
    got = figures.Collected(c)
    bands = [AUDIO_BAND_HZ, MIDDLE_BAND_HZ, *figures.rated_bands(c, "riaa_deviation")]
    reached = [each for each in dict.fromkeys(curves.covered(frequency_hz, band_hz) for band_hz in bands) if each]
    # the larger of two unequal sides may be inside its limit, and the smaller one outside
    unequal = [r for r in figures.rated(c, "riaa_deviation") if r.sides_differ]
    on_sides = list(dict.fromkeys(unstated_conditions.band_hz(rating) for rating in unequal))
    for column in sweeps.levels_of(sheet):
        _refuse_misread(sheet, c, frequency_hz, column)
        deviation_db = _read_as(frequency_hz, column, equalised=m.equalised, amendment=m.amendment)
        if deviation_db is None:
            got.withhold("no figures, the sweep does not reach 1 kHz, to which the RIAA curve is referred")
            continue
        got.curves.append(Curve("", column.channel, frequency_hz, read_only(deviation_db)))
        for quantity, way, within in (
            ("riaa_deviation", 0, reached),
            ("riaa_deviation_high", +1, on_sides),
            ("riaa_deviation_low", -1, on_sides),
        ):
            amended = m.amendment or None
            got.findings += sweeps.worst_in_bands(
                c, quantity, column.channel, frequency_hz, deviation_db, within, way=way, amendment=amended
            )
    return got.measured


def _curve(c: Conditions) -> str:
    return "re RIAA with the 1976 amendment" if c.measurement.amendment else "re RIAA"


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the deviation over frequency about zero, with the rated bands."""
    # below its bands a curve may leave the picture: the amendment alone costs 20 dB at 2 Hz
    curves_of = {_curve(run.conditions) for run in runs}
    return sweeps.deviation_card(
        runs,
        KIND.title,
        "riaa_deviation",
        lambda values: scales.around_zero(max(map(abs, values), default=0.5)),
        whole=False,
        notes=tuple(curves_of) if len(curves_of) == 1 else (),
    )


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the worse channel's deviation over the band that its card is about, and what it was."""
    m = run.conditions.measurement
    here = sweeps.of_main_band(figures.by_channel(run, "riaa_deviation"), run.conditions, "riaa_deviation")
    if not here:
        return ()
    band = here[0].at["band"]
    was = quantities.worse(figures.by_channel(before, "riaa_deviation", band=band))
    facts = {"worse": quantities.worse(here), "band": band, "amendment": m.amendment, "before": was}
    return (run.point("deviation", **facts),)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    band = unstated_conditions.band_hz(rating)
    at = {"input": rating.input or "phono", "band": band}
    quantities = ("riaa_deviation_high", "riaa_deviation_low") if rating.sides_differ else ("riaa_deviation",)
    return (CaptureRequest("", "", quantities, at, PHONO_SWEEP, place=LINE, wording={"bands": (band,)}),)


KIND = Kind(
    name="phono",
    title="Phono response",
    about="a response through the phono stage: frequency and level, the input flat or pre-emphasised (`equalised`)",
    needs=(("frequency", "level"),),
    compared=("riaa_deviation",),
    asks=FLAT,
    headlines=("riaa_deviation",),
    findings=findings,
    card=card,
    points=points,
    keys=("equalised", "amendment"),
    input="phono",
    levels_of_output=True,
    sound="response",
    file_words="phono|riaa",
    recipes={"riaa_deviation": _request},
)
