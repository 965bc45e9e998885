"""The kinds of measurement, in the order of their cards. A kind that isn't in this list doesn't exist."""

from __future__ import annotations

from reviewkit.measure import (
    contour,
    crosstalk,
    distortion_frequency,
    distortion_power,
    intermodulation,
    multitone,
    noise,
    phono,
    reading,
    response,
    source_impedance,
    square,
    tone,
)
from reviewkit.model.kind import Kind

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        tone.KIND,
        response.KIND,
        contour.KIND,
        distortion_frequency.KIND,
        distortion_power.KIND,
        crosstalk.KIND,
        source_impedance.KIND,
        multitone.KIND,
        square.KIND,
        noise.KIND,
        intermodulation.KIND,
        phono.KIND,
        reading.KIND,
    )
}
