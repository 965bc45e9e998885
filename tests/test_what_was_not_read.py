"""Files that give numbers which look right and are not: what the verdict says of them, or what is asked.

The ratings are invented. That a row without a reading, or points too far apart, may hide the worst of a band is common
practice, no source; every expected figure is that of the rows.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from reviewkit.build.cache import NO_CACHE
from reviewkit.build.measuring import measure
from reviewkit.build.pool import ALONE
from reviewkit.build.session_files import read
from reviewkit.model.errors import InputError
from reviewkit.model.verdict import Verdict
from reviewkit.verdict.verdict import judge

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n\n[bench]\nload = "8 ohm"\nchannels = "both"\n\n'
OVER_BAND = '[[rated]]\nquantity = "THD"\nat_most = "0.1 %"\nband = ["20 Hz", "20 kHz"]\n\n'
AT_1K = '[[rated]]\nquantity = "THD"\nat_most = "0.1 %"\nfrequency = "1 kHz"\n\n'
POWER = '[[rated]]\nquantity = "power"\nat_least = "40 W"\nload = "8 ohm"\nthd = "0.1 %"\nfrequency = "1 kHz"\n\n'
FLAT = '[[rated]]\nquantity = "response"\nwithin = "1 dB"\nband = ["20 Hz", "20 kHz"]\n\n'
DAMPING = '[[rated]]\nquantity = "damping factor"\nat_least = 50\nband = ["20 Hz", "20 kHz"]\n\n'
THIRDS = [round(20 * 2 ** (n / 3), 1) for n in range(30)] + [20000.0]


def judged(folder: Path, rated: str, kind: str, table: str, keys: str = "") -> tuple[Verdict, ...]:
    """The verdicts of a session of one measurement."""
    (folder / "m").mkdir(exist_ok=True)
    (folder / "m" / "x.csv").write_text(table, encoding="utf-8")
    text = f'{UNIT}{rated}[[measurement]]\nkind = "{kind}"\nfile = "m/x.csv"\n{keys}\n'
    (folder / "session.toml").write_text(text, encoding="utf-8")
    files = read(folder)
    return judge(files.session, measure(files, ALONE, NO_CACHE)[1])


def one(folder: Path, rated: str, kind: str, table: str, keys: str = "") -> tuple[str, str]:
    (verdict,) = judged(folder, rated, kind, table, keys)
    return verdict.verdict, verdict.why


def refused(folder: Path, rated: str, kind: str, table: str, keys: str = "") -> str:
    with pytest.raises(InputError) as caught:
        judged(folder, rated, kind, table, keys)
    return str(caught.value)


def thd(values: dict[float, str] | None = None, usual: str = "0.02") -> str:
    """Distortion at thirds of an octave from 20 Hz to 20 kHz, `values` where given."""
    cells = dict.fromkeys(THIRDS, usual) | (values or {})
    return "Frequency (Hz),THD (%)\n" + "".join(f"{hz},{cell}\n" for hz, cell in sorted(cells.items()))


# ------------------------------------------------------------------ rows without a reading in a band


@pytest.mark.parametrize("cell", ["OL", "NaN", "--", "inf", ""])
def test_a_band_with_a_row_that_was_not_read_is_not_met(tmp_path, cell):
    word, why = one(tmp_path, OVER_BAND, "distortion-frequency", thd({8127.5: cell}))
    assert word == "not comparable"
    assert "no reading at 8.13 kHz (line 28)" in why


def test_a_band_with_a_row_that_was_not_read_may_fall_short(tmp_path):
    word, _ = one(tmp_path, OVER_BAND, "distortion-frequency", thd({8127.5: "OL", 12800.0: "0.3"}))
    assert word == "falls short"


def test_every_row_read_meets(tmp_path):
    assert one(tmp_path, OVER_BAND, "distortion-frequency", thd())[0] == "meets"


def test_a_row_that_was_not_read_outside_the_band_does_not_matter(tmp_path):
    assert one(tmp_path, OVER_BAND, "distortion-frequency", thd({40000.0: "OL", 50000.0: "0.02"}))[0] == "meets"


def test_a_frequency_that_was_not_read_is_not_met_by_its_neighbours(tmp_path):
    word, why = one(tmp_path, AT_1K, "distortion-frequency", thd({1000.0: "OL"}))
    assert word == "not comparable"
    assert "no reading at 1 kHz" in why


def test_a_response_with_a_row_that_was_not_read(tmp_path):
    rows = "".join(f"{hz},{'OL' if hz == 10240.0 else 0}\n" for hz in THIRDS)
    word, why = one(tmp_path, FLAT, "response", f"Frequency (Hz),Level (dBV)\n{rows}")
    assert word == "not comparable"
    assert "no reading at 10.2 kHz" in why


def test_a_row_without_its_frequency_is_about_where_the_row_before_is(tmp_path):
    table = thd().replace("10240.0,0.02", "OL,0.02")
    word, why = one(tmp_path, OVER_BAND, "distortion-frequency", table)
    assert word == "not comparable"
    assert "no reading at 8.13 kHz (line 29)" in why


SWEEP = {1: "0.02", 2: "0.02", 5: "0.02", 10: "0.02", 15: "0.02", 20: "0.02", 25: "0.02", 30: "0.02", 35: "0.03",
         40: "0.04", 47: "0.09", 50: "0.2", 60: "1.5"}  # fmt: skip


def sweep(values: dict[float, str] | None = None) -> str:
    return "Power (W),THD (%)\n" + "".join(f"{w},{cell}\n" for w, cell in sorted((SWEEP | (values or {})).items()))


def test_power_below_which_a_row_was_not_read(tmp_path):
    keys = 'frequency = "1 kHz"'
    assert one(tmp_path, POWER, "distortion-power", sweep(), keys)[0] == "meets"
    word, why = one(tmp_path, POWER, "distortion-power", sweep({30: "OL"}), keys)
    assert word == "not comparable"
    assert "no reading at 30 W (line 9)" in why


def test_power_above_which_a_row_was_not_read(tmp_path):
    assert one(tmp_path, POWER, "distortion-power", sweep({60: "OL"}), 'frequency = "1 kHz"')[0] == "meets"


def test_one_power_with_two_distortions(tmp_path):
    table = sweep().replace("20,0.02\n", "20,0.02\n20,0.5\n")
    said = refused(tmp_path, POWER, "distortion-power", table, 'frequency = "1 kHz"')
    assert "m/x.csv:8: 20 in column 1 (Power (W)) is in lines 7 and 8 with different distortions; keep one" in said


# ------------------------------------------------------------------ points too far apart


@pytest.mark.parametrize(
    ("frequencies", "word"),
    [
        ([20, 20000], "not comparable"),
        ([20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000], "meets"),  # 2.5 : 1, as 1-2-5 steps
        ([20, 50, 100, 200, 500, 1000, 2000, 5200, 10000, 20000], "not comparable"),
    ],
)
def test_points_of_a_band_are_near_each_other(tmp_path, frequencies, word):
    table = "Frequency (Hz),THD (%)\n" + "".join(f"{hz},0.02\n" for hz in frequencies)
    found, why = one(tmp_path, OVER_BAND, "distortion-frequency", table)
    assert found == word
    assert ("no reading between" in why) == (word != "meets")


def test_damping_over_a_band_of_two_points(tmp_path):
    word, why = one(tmp_path, DAMPING, "source-impedance", "Frequency (Hz),Z (ohm)\n20,0.1\n20000,0.1\n")
    assert word == "not comparable"
    assert "no reading between 20 Hz and 20 kHz" in why


# ------------------------------------------------------------------ captures with gaps


def capture(without: int = -1, cell: str = "") -> str:
    """One second of 1 kHz at 9600 samples a second; one row left out, or with `cell` for its voltage."""
    rows = []
    for n in range(9600):
        volts = f"{np.sqrt(2) * np.sin(2 * np.pi * 1000 * n / 9600):.6f}"
        if n != without or cell:
            rows.append(f"{n / 9600:.7f},{cell if n == without else volts}\n")
    return "Time (s),Level (V)\n" + "".join(rows)


@pytest.mark.parametrize("row", [1, 17, 4800, 9598])
def test_a_row_missing_from_a_capture_is_a_gap(tmp_path, row):
    said = refused(tmp_path, AT_1K, "tone", capture(row))
    assert f"m/x.csv:{row + 2}: the time jumps by 2 samples from the row before: a gap in a capture" in said


@pytest.mark.parametrize("cell", ["NaN", "OL", "--"])
def test_a_row_of_a_capture_without_a_number_is_a_gap(tmp_path, cell):
    said = refused(tmp_path, AT_1K, "tone", capture(4800, cell))
    assert f'm/x.csv:4802: column 2 (Level (V)) has "{cell}": a gap in a capture falsifies every figure' in said


def test_time_stamps_that_an_export_rounds_are_no_gap(tmp_path):
    assert judged(tmp_path, AT_1K, "tone", capture().replace(",", ",", 1))
    rows = "".join(f"{n / 9600:.4f},{np.sin(2 * np.pi * n / 9.6):.6f}\n" for n in range(9600))  # 0.1 ms of 0.104
    with pytest.raises(InputError, match=r"different values|gap"):  # too coarse to tell samples apart
        judged(tmp_path, AT_1K, "tone", f"Time (s),Level (V)\n{rows}")
    rows = "".join(f"{n / 9600:.5f},{np.sin(2 * np.pi * n / 9.6):.6f}\n" for n in range(9600))
    assert judged(tmp_path, AT_1K, "tone", f"Time (s),Level (V)\n{rows}")


# ------------------------------------------------------------------ what a response is made of


@pytest.mark.parametrize("header", ["Noise (dBV)", "Crosstalk (dB)", "Noise floor (dBV)"])
def test_a_response_is_made_of_the_output(tmp_path, header):
    rows = "".join(f"{hz},-90\n" for hz in THIRDS)
    table = f"Frequency (Hz),{header}\n{rows}"
    said = refused(tmp_path, FLAT, "response", table)
    assert f'"{header}" is ' in said
    assert one(tmp_path, FLAT, "response", table, f'columns = {{ level = "{header}" }}')[0] == "meets"


def test_dbm_into_a_loudspeaker_load_is_asked(tmp_path):
    table = "Power (dBm),THD (%)\n" + "".join(f"{30 + 10 * np.log10(w):.3f},{t}\n" for w, t in SWEEP.items())
    said = refused(tmp_path, POWER, "distortion-power", table, 'frequency = "1 kHz"')
    assert '"Power (dBm)" may be relative to 1 mW in 600 ohm or to 1 mW in the load' in said


# ------------------------------------------------------------------ a kind that the columns don't fit

KEYS = {
    "distortion-power": 'frequency = "1 kHz"',
    "contour": 'against = "other"',
    "phono": "equalised = true",
}


@pytest.mark.parametrize(
    ("kind", "header"),
    [
        ("response", "Frequency (Hz),THD (dB)"), ("response", "Frequency (Hz),THD (%)"),
        ("response", "Frequency (Hz),Power (W)"), ("distortion-frequency", "Frequency (Hz),Level (dB)"),
        ("distortion-frequency", "Frequency (Hz),Left (dB)"), ("source-impedance", "Frequency (Hz),Level (V)"),
        ("distortion-power", "Frequency (Hz),Level (V)"), ("square", "Frequency (Hz),Level (V)"),
        ("phono", "Frequency (Hz),Noise (dBV)"), ("contour", "Frequency (Hz),Crosstalk (dB)"),
    ],
)  # fmt: skip
def test_what_a_kind_asks_for_leads_on_when_pasted(tmp_path, kind, header):
    table = header + "\n" + "".join(f"{hz},-1\n" for hz in THIRDS)
    keys = KEYS.get(kind, "")
    if kind == "contour":
        (tmp_path / "m").mkdir()
        flat = "Frequency (Hz),Level (dBV)\n" + "".join(f"{hz},0\n" for hz in THIRDS)
        (tmp_path / "m" / "y.csv").write_text(flat, encoding="utf-8")
        keys += '\n\n[[measurement]]\nid = "other"\nkind = "response"\nfile = "m/y.csv"'
    said = refused(tmp_path, "", kind, table, keys)
    lines = re.findall(r"columns = \{[^}]*\}", said)
    assert lines or "is it another kind, or another file?" in said or "cannot be a " in said
    for line in lines:
        judged(tmp_path, "", kind, table, f"{line}\n{keys}")
