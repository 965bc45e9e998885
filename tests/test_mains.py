"""The mains supply as written by hand."""

from __future__ import annotations

import pytest

from reviewkit.model.mains import mains_of
from reviewkit.model.units import UnitError


@pytest.mark.parametrize(
    ("text", "volts", "hertz"),
    [
        ("120 V 60 Hz", 120.0, 60.0),
        ("60 Hz 120 V", 60.0 * 2, 60.0),
        ("120V 60Hz", 120.0, 60.0),
        ("230 V, 50 Hz", 230.0, 50.0),
        ("230 V / 50 Hz", 230.0, 50.0),
        ("100 volts; 50 hertz", 100.0, 50.0),
        ("117.5 V", 117.5, None),
        ("60 Hz", None, 60.0),
        ("120\u00a0V\u00a060\u00a0Hz", 120.0, 60.0),
        ("", None, None),
        ("   ", None, None),
    ],
)
def test_volts_and_hertz_in_either_order(text, volts, hertz):
    assert mains_of(text) == (volts, hertz)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("120", "is not a mains voltage"),
        ("mains", "is not a mains voltage"),
        ("-120 V", "is not a mains voltage"),
        ("120 V 60", "is not a mains voltage"),
        ("120 V AC", "is not a mains voltage"),
        ("120 V 60 W", '"60 W" is neither a voltage nor a frequency'),
        ("8 ohm", '"8 ohm" is neither a voltage nor a frequency'),
        ("1.2.3 V", "is neither a voltage"),
        ("120 V 230 V", "gives voltage twice"),
        ("50 Hz 60 Hz", "gives frequency twice"),
        ("0 V 60 Hz", "is not above zero"),
        ("120 V 0 Hz", "is not above zero"),
    ],
)
def test_what_is_no_mains_is_told_with_an_example(text, said):
    with pytest.raises(UnitError) as raised:
        mains_of(text)
    assert said in str(raised.value)
    assert text in str(raised.value)
    assert 'write for example "120 V 60 Hz"' in str(raised.value)
