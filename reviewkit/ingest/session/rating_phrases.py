"""The words of brochures of the 1970s and 80s for what they rate and its conditions (common practice, no source).

Names and phrases are in small letters, with spaces for hyphens.
"""

from __future__ import annotations

from typing import Any

from reviewkit.ingest.conditions import SHARED_WORDS
from reviewkit.model.gear_names import SHOWN, spelled
from reviewkit.model.ratings import POWER_WORDS, RULES, TRADE_WORDS

# besides the words that session.toml takes: what is rated, then the kind of power, or "impedance" where each value has
# the input's own after it
_OF_BROCHURES: dict[str, tuple[str, str]] = {
    "rated power": ("power", ""),
    "rated output": ("power", ""),
    "rated output power": ("power", ""),
    "rated power output": ("power", ""),
    "total output power": ("power", "total"),
    "total power output": ("power", "total"),
    "total power": ("power", "total"),
    "continuous power": ("power", "continuous"),
    "continuous power output": ("power", "continuous"),
    "continuous output power": ("power", "continuous"),
    "continuous average power": ("power", "continuous"),
    "continuous average power output": ("power", "continuous"),
    "min. rms power": ("power", "continuous"),
    "minimum rms power": ("power", "continuous"),
    "rms power output": ("power", "continuous"),
    "rms output power": ("power", "continuous"),
    "maximum power": ("power", "maximum"),
    "maximum power output": ("power", "maximum"),
    "maximum output power": ("power", "maximum"),
    "music power output": ("power", "music"),
    "dynamic power output": ("power", "music"),
    "ihf music power": ("power", "music"),
    "ihf dynamic power": ("power", "music"),
    "t.h.d.": ("thd", ""),
    "harmonic distortion": ("thd", ""),
    "thd + noise": ("thd_plus_noise", ""),
    "total harmonic distortion plus noise": ("thd_plus_noise", ""),
    "total harmonic distortion and noise": ("thd_plus_noise", ""),
    "i.m. distortion": ("imd", ""),
    "imd": ("imd", ""),
    "signal to noise ratio": ("snr", ""),
    "s/n ratio": ("snr", ""),
    "hum and noise": ("snr", ""),
    "residual hum and noise": ("noise", ""),
    "residual noise": ("noise", ""),
    "output impedance": ("source_impedance", "output"),
    "riaa equalization": ("riaa_deviation", ""),
    "phono riaa deviation": ("riaa_deviation", ""),
    "riaa curve deviation": ("riaa_deviation", ""),
    "phono equalization": ("riaa_deviation", ""),
    "phono equalisation": ("riaa_deviation", ""),
    "phono overload capability": ("phono_overload", ""),
    "phono input overload": ("phono_overload", ""),
    "phono overload level": ("phono_overload", ""),
    "phono maximum input": ("phono_overload", ""),
    "phono maximum input level": ("phono_overload", ""),
    "maximum phono input": ("phono_overload", ""),
    "maximum phono input level": ("phono_overload", ""),
    "phono sensitivity": ("input_sensitivity", "phono"),
    "sensitivity": ("input_sensitivity", "of an input"),
    "sensitivity/impedance": ("input_sensitivity", "of an input"),
    "sensitivity and impedance": ("input_sensitivity", "of an input"),
    "input sensitivity/impedance": ("input_sensitivity", ""),
    "input sensitivity and impedance": ("input_sensitivity", ""),
    "input sensitivity/input impedance": ("input_sensitivity", ""),
}


def _spelled(name: str) -> str:
    return name.replace("_", " ").casefold()


NAMES: dict[str, tuple[str, str]] = {
    **{_spelled(name): (name, "") for name in RULES},
    **{_spelled(word): (name, "") for word, name in TRADE_WORDS.items()},
    **{_spelled(word): ("power", rule) for word, rule in POWER_WORDS.items()},
    **_OF_BROCHURES,
}

# nothing here measures these
PRINTED_ONLY = tuple(
    " ".join(name.split())
    for name in """
    usable sensitivity, 50 db quieting sensitivity, quieting, capture ratio,
    selectivity, alternate channel selectivity, adjacent channel selectivity, image rejection, image response
    rejection, if rejection, i.f. rejection, spurious response rejection, spurious rejection, am suppression,
    antenna, antenna input, tuning range, stereo threshold, subcarrier suppression, subcarrier product
    rejection, muting, muting threshold, audio muting, power bandwidth, power consumption, consumption, power
    requirements, power requirement, power supply, power source, ac power, ac supply, rated power consumption,
    mains, mains voltage, line voltage, fuse, fuses, ac outlets, outlets, slew rate, slewing rate, transient
    intermodulation distortion, transient intermodulation, tim, tim distortion, peak power, peak power output,
    dynamic headroom, headroom, midrange, presence, tone control, tone controls, tone control
    range, loudness, loudness contour, loudness control, filter, filters, high
    filter, low filter, high cut filter, low cut filter, subsonic filter, rumble filter, scratch filter, input
    impedance, output level, output level/impedance, output voltage, rec out, recording output, tape output,
    tape rec output, pre out, preamplifier output, headphone output, headphones, headphone impedance, speakers,
    speaker impedance, load impedance, dimensions, size, width, height, depth, weight, net weight, shipping
    weight, finish, cabinet, semiconductors, transistors, diodes, integrated circuits, tubes, valves,
    accessories, price, wow, wow and flutter, rumble, speed, speeds, tape speed, bias frequency, motor,
    cartridge, operating temperature, antenna impedance, starting torque, tracking force adjustment, tracking
    force range, recommended load, recommended load impedance, power handling, power handling capacity, maximum
    input power, recommended amplifier power, dispersion, directivity
    """.split(",")
    if spelled(name) not in SHOWN
)

_INPUTS = (
    "phono, mm, mc, phono mm, phono mc, aux, tuner, tape, tape play, tape monitor, tape in, cd, dad, line, mic, "
    "main in, fm, am, mw, lw, sw"
)
_MOST = (
    "within, less than, no more than, not more than, not exceeding, under, max, maximum, at most, up to, or less, <, ≤"
)
_LEAST = "more than, greater than, not less than, no less than, at least, min, minimum, or more, over, >, ≥"
_OUTPUT = (
    "rated output, rated power, rated power output, rated output power, full rated output, full output, full power"
)
_HALF = "half rated power, half rated output, half power, half the rated power, half the rated output, ½ rated output"
_SHORTED = (
    "shorted, input shorted, inputs shorted, short circuit, short circuited, input short circuited, "
    "inputs short circuited, shorted input, shorted inputs"
)
_PASSED_OVER = (
    "at, to, into, with, for, from, of, the, a, an, and, on, in, is, re, ref, @, per, each of, load, loads, "
    "sine, tone, valve, tube, output, input, inputs, level, better than, better, or better, below, down, ratio, "
    "typically, referred to, relative to, watts, channel, driven, simultaneously, unweighted, un weighted, "
    "not weighted, no weighting, nominal, any frequency, any power, between"
)

# phrase -> the condition's key, and its value; "" is passed over
WORDS: dict[str, tuple[str, Any]] = {**SHARED_WORDS, "velocity peak": ("named", ("velocity", "peak"))}
WORDS |= dict.fromkeys(("velocity rms", "velocity r.m.s."), ("named", ("velocity", "r.m.s.")))


def _add(key: str, value: Any, phrases: str) -> None:
    WORDS.update(dict.fromkeys((phrase.strip() for phrase in phrases.split(",")), (key, value)))


_add("", None, _PASSED_OVER)
_add("input", "", _INPUTS)
WORDS.update({name: ("input", name) for name in WORDS if WORDS[name][0] == "input"})
_add("input", "aux", "auxiliary")
for _short in ("mm", "mc", "cd", "dad", "fm", "am", "mw", "lw", "sw"):
    WORDS |= {name: ("input", name.replace(_short, _short.upper())) for name in WORDS if name.split()[-1] == _short}
_add("most", True, _MOST)
_add("least", True, _LEAST)
_add("rated output", "rated output", _OUTPUT)
_add("half", True, _HALF)
_add("termination", "shorted", _SHORTED)
_add("each", True, "per channel, each channel, each, per ch, /ch, /channel, per side, w/ch")
_add("total", True, "total, in total, combined, summed over both channels")
_add("channels", "both", "both channels driven, both channels, both channels operating, two channels driven")
_add("channels", "both", "both channels simultaneously driven, both channels driven simultaneously")
_add("channels", "one", "one channel driven, one channel, single channel driven, one channel only")
_add("rule", "continuous", "continuous, rms, r.m.s, continuous average, sine wave")
_add("rule", "music", "music, music power, dynamic, dynamic power")
_add("rule", "DIN", "din power")
_add("din", True, "din, din 45500, din 45 500, din 45507, din 45 507, din 45539, din 45 539")
_add("jis", True, "jis")
_add("ihf", True, "ihf")
_add(
    "weighting",
    "A",
    "a network, ihf a, ihf a weighted, ihf a weighting, ihf a network, network a, a curve, a weighted, a weighting",
)
_add("unsaid weighting", True, "weighted")
_add("figure", "thd", "thd, t.h.d, total harmonic distortion, harmonic distortion, distortion")
_add("figure", "thd_plus_noise", "thd+n, thd + noise, thd plus noise, total harmonic distortion plus noise")
_add("riaa", True, "riaa")
_add("tones", [60.0, 7000.0], "smpte")
_add("typical", True, "typical, typ")
_add("volume", "maximum", "volume at maximum, volume maximum, volume max, volume full, volume control at maximum")
_add("volume", "minimum", "volume at minimum, volume minimum, volume min, volume control at minimum")
