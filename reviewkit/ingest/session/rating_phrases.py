"""The words of brochures of the 1970s and 80s for what they rate and its conditions (common practice, no source).

Names and phrases are in small letters, with spaces for hyphens.
"""

from __future__ import annotations

from typing import Any

from reviewkit.ingest.conditions import SHARED_WORDS
from reviewkit.model.gear_names import SHOWN, spelled
from reviewkit.model.ratings import POWER_WORDS, RULES, TRADE_WORDS, spaced

# what is rated, and more about it: the kind of power, or whose impedance or sensitivity it is
NAMES: dict[str, tuple[str, str]] = {
    **{spaced(name).casefold(): (name, "") for name in RULES},
    **{spaced(word).casefold(): (name, "") for word, name in TRADE_WORDS.items()},
    **{spaced(word).casefold(): ("power", rule) for word, rule in POWER_WORDS.items()},
}


def _name(name: str, meant: str, phrases: str) -> None:
    """Add what brochures call a rated name besides the words that session.toml takes."""
    NAMES.update(dict.fromkeys((phrase.strip() for phrase in phrases.split(",")), (name, meant)))


_name("power", "", "rated power, rated output, rated output power, rated power output")
_name("power", "total", "total output power, total power output, total power")
_name("power", "continuous", "continuous power, continuous power output, continuous output power")
_name("power", "continuous", "continuous average power, continuous average power output")
_name("power", "continuous", "min. rms power, minimum rms power, rms power output, rms output power")
_name("power", "maximum", "maximum power, maximum power output, maximum output power")
_name("power", "music", "music power output, dynamic power output, ihf music power, ihf dynamic power")
_name("thd", "", "t.h.d., harmonic distortion")
_name("thd_plus_noise", "", "thd + noise, total harmonic distortion plus noise, total harmonic distortion and noise")
_name("imd", "", "i.m. distortion, imd")
_name("snr", "", "signal to noise ratio, s/n ratio, hum and noise")
_name("noise", "", "residual hum and noise, residual noise")
_name("source_impedance", "output", "output impedance")
_name("riaa_deviation", "", "riaa equalization, phono riaa deviation, riaa curve deviation")
_name("riaa_deviation", "", "phono equalization, phono equalisation")
_name("phono_overload", "", "phono overload capability, phono input overload, phono overload level")
_name("phono_overload", "", "phono maximum input, phono maximum input level")
_name("phono_overload", "", "maximum phono input, maximum phono input level")
_name("input_sensitivity", "phono", "phono sensitivity")
_name("input_sensitivity", "of an input", "sensitivity, sensitivity/impedance, sensitivity and impedance")
_name("input_sensitivity", "", "input sensitivity/impedance, input sensitivity and impedance")
_name("input_sensitivity", "", "input sensitivity/input impedance")

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
_add("input", "", "phono, mm, mc, phono mm, phono mc, aux, tuner, tape, tape play, tape monitor, tape in, cd, dad")
_add("input", "", "line, mic, main in, fm, am, mw, lw, sw")
WORDS.update({name: ("input", name) for name in WORDS if WORDS[name][0] == "input"})
_add("input", "aux", "auxiliary")
for _short in ("mm", "mc", "cd", "dad", "fm", "am", "mw", "lw", "sw"):
    WORDS |= {name: ("input", name.replace(_short, _short.upper())) for name in WORDS if name.split()[-1] == _short}
_add("most", True, "within, less than, no more than, not more than, not exceeding, under, max, maximum, at most, up to")
_add("most", True, "or less, <, ≤")
_add("least", True, "more than, greater than, not less than, no less than, at least, min, minimum, or more, over, >, ≥")
_add("rated output", "rated output", "rated output, rated power, rated power output, rated output power")
_add("rated output", "rated output", "full rated output, full output, full power")
_add("half", True, "half rated power, half rated output, half power, half the rated power, half the rated output")
_add("half", True, "½ rated output")
_add("termination", "shorted", "short circuit, input short circuited, inputs short circuited, shorted inputs")
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
