"""A second session, unlike the sample: a 1984 receiver that needed no repair, its tuner only partly measured.

The unit, its maker, its ratings and every reading are invented. `write(folder)` makes the folder from closed forms.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

SESSION = """
[unit]
maker = "Quellmark"
model = "R-84"
what = "stereo receiver"
year = 1984
mains = "230 V 50 Hz"

[price]
paid = 898.00
currency = "USD"
index = "prices.csv"
to = 2024

[bench]
input = "tape"
load = "8 ohm"
channels = "both"
mains = "231 V 50 Hz"
equipment = ["an FM signal generator with a stereo coder", "an audio analyser", "two 8 ohm 200 W loads on a fan"]
level_uncertainty = "0.15 dB"

[[rated]]
quantity = "power"
at_least = "55 W"
load = "8 ohm"
thd_plus_noise = "0.08 %"
frequency = "1 kHz"
channels = "both"
source = "service sheet"

[[rated]]
quantity = "damping factor"
at_least = 40
load = "8 ohm"
frequency = "1 kHz"
source = "service sheet"

[[rated]]
quantity = "separation"
at_least = "45 dB"
frequency = "1 kHz"
input = "FM"
source = "service sheet"

[[rated]]
quantity = "response"
within = ["-1.5 dB", "0.5 dB"]
band = ["30 Hz", "15 kHz"]
input = "FM"
source = "service sheet"

[[rated]]
quantity = "snr"
at_least = "78 dB"
input = "FM"
source = "service sheet"

[[rated]]
quantity = "distortion"
at_most = "0.15 %"
frequency = "1 kHz"
input = "FM"
source = "service sheet"

[[measurement]]
file = "measurements/fm-response.csv"
kind = "response"
setting = "FM stereo, 65 dBf"
input = "FM"
title = "FM is as flat as rated"

[[measurement]]
file = "measurements/fm-separation.csv"
kind = "crosstalk"
setting = "FM stereo, 65 dBf"
input = "FM"
title = "On FM, less separation than rated"

[[measurement]]
file = "measurements/power.csv"
kind = "distortion-power"
frequency = "1 kHz"

[[measurement]]
file = "measurements/loads.csv"
kind = "source-impedance"

[[measurement]]
file = "measurements/tape-response.csv"
kind = "response"
drive = "1 W"
setting = "tone controls at centre"

[episode]
title = "Quellmark R-84: is the tuner still on station?"
presenter = "from the back room"
words_per_minute = 140
frame_rate = 25
look = "brochure"
card_seconds = 5
"""

NOTES = """
clip tuner.mp4 for 18:40
0:04 opening: This one came with its aerial lead still wrapped round it. [card title]
0:40 It plays. So nothing was opened but the lid, and the question is how far it has drifted.
1:12 history: Top of the range for one season. [card rated]
2:02 front: The dial is lit end to end, and the needle sits a hair right of every station.
3:30 bench: Both channels into the loads, until it clips. [card power]
5:10 The tape input, one watt. [card tape-response]
7:45 tuner: A stereo signal of known strength at the aerial socket. [card fm-response]
9:20 Left only, then right only. [card fm-separation]
11:00 Noise and distortion of the tuner wait for a cleaner generator.
12:15 listening: Two evenings of a piano station, with the dial left alone.
14:05 verdict: What the service sheet promised. [card table]
16:30 value: Receivers are heavy to post, and that shows in the price.
17:10 closing: It goes back to its owner with the dial cleaned. [card closing]
"""

PRICES = "year,index\n1984,103.9\n1990,130.7\n2000,172.2\n2010,218.056\n2020,258.811\n2024,313.689\n"


def _rows(*columns: np.ndarray, head: str, digits: int = 4) -> str:
    lines = [",".join(f"{value:.{digits}f}" for value in row) for row in np.column_stack(columns)]
    return "\n".join([head, *lines]) + "\n"


def files() -> dict[str, str]:
    """Every file of the session by its path in the folder."""
    hz = np.geomspace(20, 20_000, 121)
    # one pole at either end, and a 19 kHz trap in the tuner's output: what an FM stereo channel looks like
    low = lambda corner: -10 * np.log10(1 + (corner / hz) ** 2)  # noqa: E731
    high = lambda corner: -10 * np.log10(1 + (hz / corner) ** 8)  # noqa: E731
    trap = -6 * np.exp(-(((np.log(hz) - np.log(19_000)) / 0.05) ** 2))
    fm_left, fm_right = -6.2 + low(11) + high(17_500) + trap, -6.4 + low(12) + high(17_300) + trap
    leak = lambda floor, corner: floor + 10 * np.log10(1 + (hz / corner) ** 2)  # noqa: E731
    watts = np.unique(np.concatenate((np.geomspace(0.1, 50, 56), np.geomspace(50, 70, 35))))  # small steps at the knee
    wall = lambda most: 30 / (1 + np.exp(-(watts / most - 1) * 60))  # noqa: E731
    thd = lambda most: 0.02 + 0.006 / np.sqrt(watts) + wall(most)  # noqa: E731
    ohms = lambda dc, corner: 1000 * dc * np.sqrt(1 + (hz / corner) ** 2)  # noqa: E731
    flat = lambda corner: 9.03 + low(4.5) - 10 * np.log10(1 + (hz / corner) ** 2)  # noqa: E731
    return {
        "session.toml": SESSION.lstrip(),
        "notes.txt": NOTES.lstrip(),
        "prices.csv": PRICES,
        "measurements/fm-response.csv": _rows(hz, fm_left, fm_right, head="Frequency (Hz),Left (dBV),Right (dBV)"),
        "measurements/fm-separation.csv": _rows(
            hz, leak(-41.0, 6000), leak(-43.5, 7000), head="Frequency (Hz),L to R (dB),R to L (dB)"
        ),
        "measurements/power.csv": _rows(watts, thd(66), thd(65), head="Power (W),THD+N L (%),THD+N R (%)"),
        "measurements/loads.csv": _rows(
            hz, ohms(0.11, 9000), ohms(0.112, 9000), head="Frequency (Hz),Impedance L (mΩ),Impedance R (mΩ)", digits=2
        ),
        "measurements/tape-response.csv": _rows(
            hz, flat(48_000), flat(48_000), head="Frequency (Hz),Left (dBV),Right (dBV)"
        ),
    }


def write(folder: Path) -> Path:
    """The session as a folder."""
    for name, text in files().items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, encoding="utf-8")
    return folder


if __name__ == "__main__":
    write(Path(sys.argv[1]))
