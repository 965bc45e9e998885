"""The lines that the mains may make: its frequencies, and which frequencies are multiples of it."""

from __future__ import annotations

MAINS_HZ = (50.0, 60.0)
MOST_MULTIPLES = 20  # of hum


def is_multiple(frequency_hz: float, mains_hz: float, slack_hz: float, most: int = MOST_MULTIPLES) -> bool:
    """Return whether a frequency is that of the mains or one of its first multiples, give or take `slack_hz`."""
    multiple = round(frequency_hz / mains_hz)
    return 1 <= multiple <= most and abs(frequency_hz - multiple * mains_hz) <= slack_hz
