"""Types of gear, as `[unit] type` names them, and what follows: loads, checks, cautions, the order of the story.

A unit of no stated type is treated as an amplifier is, as far as its ratings ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

DECK, PLAYER = "deck", "player"
LOUDSPEAKER, HEADPHONES = "loudspeaker", "headphones"
TRANSMITTER = "the generator at the aerial"  # of a tuner, and of the radio of a receiver
_ASKED = ("power", "steady", "flat", "quiet", "clean", "load")


@dataclass(frozen=True)
class Gear:
    """One type of gear, or several that are one unit, such as a receiver.

    Attributes
    ----------
    types
        The words of `[unit] type`, as stated.
    loads
        What its output drives, so that it needs dummy loads: "loudspeaker", "headphones", or "" for neither.
    offset, bias
        Whether DC offset and bias of its output stage decide whether to go on.
    transformer
        Whether an output transformer is between its output stage and the load, which is then never left open.
    mains
        Whether it is connected to the mains.
    source
        Where its signal comes from if no generator drives an input of it: "a test record", for example.
    asked
        What viewers ask of it, as segments of the episode, in their order.
    reference_hz
        The frequency that figures without one mean; the first is the one to measure at, and what a response is
        relative to.
    reference_band_hz
        The band whose mean a response is relative to instead, if there is one.
    """

    types: tuple[str, ...]
    loads: str = ""
    offset: bool = False
    bias: bool = False
    transformer: bool = False
    mains: bool = True
    source: str = ""
    asked: tuple[str, ...] = _ASKED
    reference_hz: tuple[float, ...] = (1000.0,)
    reference_band_hz: tuple[float, float] | None = None

    @property
    def name(self) -> str:
        """Return what it is called in a sentence: "tuner and amplifier"."""
        return " and ".join(self.types)


# what is asked first is a judgement, no source; 315 or 333 Hz for cassettes, and the mean from 300 Hz to 3 kHz for
# loudspeakers, are common practice, no source
_TYPES = {
    gear.types[0]: gear
    for gear in (
        Gear(("amplifier",), loads=LOUDSPEAKER, offset=True, bias=True),
        Gear(("tuner",), source=TRANSMITTER, asked=("quiet", "clean", "flat", "power", "steady", "load")),
        Gear((DECK,), asked=("steady", "power", "flat", "quiet", "clean", "load"), reference_hz=(315.0, 333.0)),
        Gear(("turntable",), source="the test record", asked=("steady", "power", "quiet", "flat", "clean", "load")),
        Gear(
            ("loudspeaker",),
            mains=False,
            source="the amplifier",
            asked=("flat", "load", "clean", "power", "quiet", "steady"),
            reference_band_hz=(300.0, 3000.0),
        ),
        Gear((PLAYER,), source="the test disc", asked=("quiet", "clean", "flat", "power", "steady", "load")),
        Gear(("preamplifier",), asked=("flat", "quiet", "clean", "power", "steady", "load")),
        Gear(("headphone amplifier",), loads=HEADPHONES, offset=True),
        Gear(("equaliser",), asked=("flat", "quiet", "clean", "power", "steady", "load")),
        # an output transformer passes no DC
        Gear(("valve amplifier",), loads=LOUDSPEAKER, bias=True, transformer=True),
    )
}
TYPES = tuple(_TYPES)


def gear_of(types: Sequence[str]) -> Gear | None:
    """Return what follows from a unit's types together; None if none is stated. The first type comes first."""
    parts = [_TYPES[each] for each in types]
    if not parts:
        return None
    return Gear(
        tuple(types),
        loads=next((each for each in (LOUDSPEAKER, HEADPHONES) if any(part.loads == each for part in parts)), ""),
        offset=any(part.offset for part in parts),
        bias=any(part.bias for part in parts),
        transformer=any(part.transformer for part in parts),
        mains=any(part.mains for part in parts),
        source=" or ".join(part.source for part in parts) if all(part.source for part in parts) else "",
        asked=parts[0].asked,
        reference_hz=parts[0].reference_hz,
        reference_band_hz=parts[0].reference_band_hz,
    )
