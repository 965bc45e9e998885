"""The kinds of measurement, in the order their cards appear. A kind that is not in this list does not exist."""

from __future__ import annotations

from reviewkit.measure import crosstalk, distortion_frequency, distortion_power, response, source_impedance, tone
from reviewkit.model import Kind

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        tone.KIND,
        response.KIND,
        distortion_frequency.KIND,
        distortion_power.KIND,
        crosstalk.KIND,
        source_impedance.KIND,
    )
}
