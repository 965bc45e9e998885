"""What brochures of tuners, decks, turntables, loudspeakers and the like rate, and a reading by meter answers.

Which way a printed figure is a limit, if the line doesn't say, is common practice, no source. A name that isn't here is
as good in a [[rated]] table: only a brochure's line must then say whether its figure is the least, the most or nominal.
"""

from __future__ import annotations

_NAMES = {
    "at_most": """
        usable sensitivity: ihf sensitivity, ihf usable sensitivity, fm sensitivity
        50 dB quieting sensitivity: quieting sensitivity, 50 db quieting, 50 db quieting point
        capture ratio:
        wow and flutter: flutter and wow
        rumble: rumble level
        speed drift:
        start-up time: build-up time, run-up time, starting time
        fast winding time: rewind time, fast forward and rewind time, winding time, fast forward time
        channel phase difference: phase difference, interchannel phase difference, inter-channel phase difference
        azimuth error: azimuth deviation
        jitter:
        access time:
        settling time:
    """,
    "at_least": """
        selectivity:
        alternate channel selectivity: alternate channel selectivity ratio
        adjacent channel selectivity:
        AM suppression: am suppression ratio, am rejection, am rejection ratio
        image response ratio: image rejection, image rejection ratio, image response rejection
        image response ratio: image ratio, image interference ratio
        IF response ratio: if rejection, i.f. rejection, if rejection ratio
        IF response ratio: if response rejection, if interference ratio
        spurious response ratio: spurious rejection, spurious response rejection, spurious rejection ratio
        spurious response ratio: spurious interference ratio
        subcarrier product ratio: subcarrier suppression, subcarrier product rejection, subcarrier rejection
        subcarrier product ratio: carrier leak, pilot suppression
        erase ratio: erasure, erasing ratio, erasing factor, erase efficiency
        maximum output level: mol
        noise reduction effect:
        pitch control range: pitch range, speed adjustment range, speed control range, pitch control, speed adjustment
        trackability: tracking ability
        minimum impedance:
        maximum sound pressure level: maximum sound pressure, maximum spl, max. spl
        dynamic range:
        maximum output: maximum output voltage, maximum output level voltage, maximum rated output
        equaliser range: equalizer range, control range, boost/cut range
        slew rate: slewing rate
    """,
    "within": """
        speed error: speed accuracy, speed deviation, tape speed deviation, tape speed accuracy, speed variation
        tracking error: tracking error angle, tracking angle error, horizontal tracking error
        pair matching:
        linearity error: linearity, linearity deviation, level linearity
        de-emphasis deviation: de-emphasis error, deemphasis deviation
        pitch accuracy:
        centre frequency accuracy: center frequency accuracy
        volume tracking: volume tracking error, gang error, tracking of volume control
    """,
    "nominal": """
        muting threshold: audio muting threshold, muting level, muting threshold level
        stereo threshold: stereo threshold level, stereo switching threshold
        output level: tuner output level, line output level, line output
        output level: line out level, rec out level, recording output level
        output voltage:
        headphone output: headphone output level, headphone output power, headphones output, phones output
        bias frequency:
        speed: speeds, tape speed, platter speed, speed of rotation, rotational speed, rated speed
        effective arm length: effective tonearm length, effective length
        effective mass: effective tonearm mass, effective arm mass
        tracking force: stylus pressure, stylus force, vertical tracking force, recommended tracking force
        internal impedance: coil impedance
        inductance: coil inductance, internal inductance
        DC resistance: d.c. resistance, coil resistance, internal resistance
        compliance: dynamic compliance, static compliance
        vertical tracking angle:
        sensitivity: sound pressure level, spl, efficiency, output sound pressure level
        impedance: nominal impedance, rated impedance, system impedance
        crossover frequency: crossover frequencies
        system resonance: resonance frequency, resonant frequency, free air resonance, free-air resonance
        Qtc: total q
        Qts:
        input impedance:
        power consumption: consumption, rated power consumption
        B+ voltage:
        bias current:
        bias voltage: grid bias
        heater voltage: filament voltage
        negative feedback: feedback
    """,
}


def spelled(words: str) -> str:
    """Return a name as it is looked up: in small letters, "and" for "&", single spaces, no hyphens."""
    return " ".join(words.casefold().replace("&", " and ").replace("-", " ").replace("_", " ").split())


# each name as it is shown, and the limit that a printed figure is unless its line says otherwise
LIMIT_OF: dict[str, str] = {}
# each spelling -> the name as it is shown
SHOWN: dict[str, str] = {}
for _limit, _rows in _NAMES.items():
    for _row in _rows.strip().splitlines():
        _name, _, _others = (part.strip() for part in _row.partition(":"))
        LIMIT_OF[_name] = _limit
        SHOWN |= {spelled(each): _name for each in (_name, *_others.split(",")) if each.strip()}


def shown_name(words: str) -> str:
    """Return a name as it is shown: that of the table, whichever of its words is used, else as written."""
    return SHOWN.get(spelled(words), " ".join(words.replace("_", " ").split()))
