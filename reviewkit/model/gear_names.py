"""Names of figures that brochures of tuners, decks, turntables, loudspeakers and the like rate, answered by meter.

Which way a printed figure is a limit, if the line doesn't say, is common practice, no source. A name that isn't here
works just as well in a [[rated]] table: only a brochure's line must then say whether its figure is the least, the most
or nominal.
"""

from __future__ import annotations

_NAMES = {
    "at_most": """
        usable sensitivity [dBf|V|V/m]: ihf sensitivity, ihf usable sensitivity, fm sensitivity
        50 dB quieting sensitivity [dBf|V]: quieting sensitivity, 50 db quieting, 50 db quieting point
        AM sensitivity [V/m|V]:
        MW sensitivity [V/m|V]:
        LW sensitivity [V/m|V]:
        SW sensitivity [V/m|V]:
        capture ratio [dB]:
        wow and flutter [%]: flutter and wow
        rumble [dB]: rumble level
        speed drift [%]:
        start-up time [s]: build-up time, run-up time, starting time
        fast winding time [s]: rewind time, fast forward and rewind time, winding time, fast forward time
        channel phase difference [°]: phase difference, interchannel phase difference, inter-channel phase difference
        azimuth error [°]: azimuth deviation
        jitter [s]:
        access time [s]:
        settling time [s]:
    """,
    "at_least": """
        selectivity [dB]:
        alternate channel selectivity [dB]: alternate channel selectivity ratio
        adjacent channel selectivity [dB]:
        AM suppression [dB]: am suppression ratio, am rejection, am rejection ratio
        image response ratio [dB]: image rejection, image rejection ratio, image response rejection
        image response ratio: image ratio, image interference ratio
        IF response ratio [dB]: if rejection, i.f. rejection, if rejection ratio
        IF response ratio: if response rejection, if interference ratio
        spurious response ratio [dB]: spurious rejection, spurious response rejection, spurious rejection ratio
        spurious response ratio: spurious interference ratio
        subcarrier suppression [dB]: subcarrier product ratio, subcarrier product rejection, subcarrier rejection
        subcarrier suppression: carrier leak, pilot suppression
        erase ratio [dB]: erasure, erasing ratio, erasing factor, erase efficiency
        maximum output level [dB]: mol
        noise reduction effect [dB]:
        pitch control range [%]: pitch range, speed adjustment range, speed control range
        pitch control range: pitch control, speed adjustment
        trackability [m]: tracking ability
        minimum impedance [Ω]:
        maximum sound pressure level [dB SPL]: maximum sound pressure, maximum spl, max. spl
        dynamic range [dB]:
        maximum output [V]: maximum output voltage, maximum output level voltage, maximum rated output
        equaliser range [dB]: equalizer range, control range, boost/cut range, boost/cut, boost and cut
        slew rate [V/µs]: slewing rate
    """,
    "within": """
        speed error [%]: speed accuracy, speed deviation, tape speed deviation, tape speed accuracy, speed variation
        tracking error [°]: tracking error angle, tracking angle error, horizontal tracking error
        pair matching [dB]:
        linearity error [dB]: linearity, linearity deviation, level linearity
        de-emphasis deviation [dB]: de-emphasis error, deemphasis deviation
        equalisation deviation [dB]: equalization deviation, playback equalisation, playback equalization
        equalisation deviation: replay equalisation, replay equalization, reproduce equalization, equalization accuracy
        pitch accuracy [%]:
        centre frequency accuracy [%]: center frequency accuracy
        volume tracking [dB]: volume tracking error, gang error, tracking of volume control
    """,
    "nominal": """
        muting threshold [dBf|V]: audio muting threshold, muting level, muting threshold level
        stereo threshold [dBf|V]: stereo threshold level, stereo switching threshold
        output level [V|dBV|dBu|dBm]: tuner output level, line output level, line output
        output level: line out level, rec out level, recording output level
        output voltage [V]:
        headphone output [W|V]: headphone output level, headphone output power, headphones output, phones output
        bias frequency [Hz]:
        speed [rpm|cm/s]: speeds, tape speed, platter speed, speed of rotation, rotational speed, rated speed
        effective arm length [m]: effective tonearm length, effective length
        effective mass [g]: effective tonearm mass, effective arm mass
        tracking force [g|mN]: stylus pressure, stylus force, vertical tracking force, recommended tracking force
        internal impedance [Ω]: coil impedance
        inductance [H]: coil inductance, internal inductance
        DC resistance [Ω]: d.c. resistance, coil resistance, internal resistance
        compliance [µm/mN]: dynamic compliance, static compliance
        vertical tracking angle [°]:
        sensitivity [dB SPL]: sound pressure level, spl, efficiency, output sound pressure level
        impedance [Ω]: nominal impedance, rated impedance, system impedance
        centre frequency [Hz]: center frequency, centre frequencies, center frequencies
        band Q [number]: q, q factor, filter q
        crossover frequency [Hz]: crossover frequencies
        system resonance [Hz]: resonance frequency, resonant frequency, free air resonance, free-air resonance
        Qtc [number]: total q
        Qts [number]:
        input impedance [Ω]:
        power consumption [W]: consumption, rated power consumption
        B+ voltage [V]:
        bias current [A]:
        bias voltage [V]: grid bias
        heater voltage [V]: filament voltage
        negative feedback [dB]: feedback
    """,
}


def spelled(words: str) -> str:
    """Return a name as it is looked up: in small letters, "and" for "&", single spaces, no hyphens."""
    return " ".join(words.casefold().replace("&", " and ").replace("-", " ").replace("_", " ").split())


# each name as it is shown: the limit that a printed figure is unless its line says otherwise, and the units that it
# may be in; "number" without one
LIMIT_OF: dict[str, str] = {}
UNITS_OF: dict[str, tuple[str, ...]] = {}
# each spelling -> the name as it is shown
SHOWN: dict[str, str] = {}
for _limit, _rows in _NAMES.items():
    for _row in _rows.strip().splitlines():
        _head, _, _others = (part.strip() for part in _row.partition(":"))
        _name, _, _units = _head.removesuffix("]").partition(" [")
        LIMIT_OF[_name] = _limit
        UNITS_OF.setdefault(_name, tuple(_units.split("|")))
        SHOWN |= {spelled(each): _name for each in (_name, *_others.split(",")) if each.strip()}


def shown_name(words: str) -> str:
    """Return a name as it is shown: that of the table, whichever of its words is used, else as written."""
    return SHOWN.get(spelled(words), " ".join(words.replace("_", " ").split()))
