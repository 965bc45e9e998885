"""One response, written as many programs and spreadsheets write it: always the same columns.

The layouts are invented after what bench programs are known to export: common practice, no source.
"""

from __future__ import annotations

import pytest
from sheet_texts import HEADED, RESPONSE, ROWS, read, seen

# ------------------------------------------------------------------ layouts that say the same thing

SAME_RESPONSE = {
    "comma": HEADED + ROWS,
    "semicolon": "Frequency (Hz);Level (dBV)\n20;-1.5\n1000;0\n20000;-0.5\n",
    "tab": "Frequency (Hz)\tLevel (dBV)\n20\t-1.5\n1000\t0\n20000\t-0.5\n",
    "one space": "Frequency(Hz) Level(dBV)\n20 -1.5\n1000 0\n20000 -0.5\n",
    "runs of spaces": "  Frequency (Hz)    Level (dBV)\n      20  -1.5\n    1000     0\n   20000  -0.5\n",
    "spaces, names of words": "Frequency (Hz) Output level (dBV)\n20 -1.5\n1000 0\n20000 -0.5\n",
    "decimal comma": "Frequency (Hz);Level (dBV)\n20;-1,5\n1000;0\n20000;-0,5\n",
    "decimal comma, tab": "Frequency (Hz)\tLevel (dBV)\n20,0\t-1,5\n1000,0\t0,0\n20000,0\t-0,5\n",
    "decimal comma, spaces": "Frequency(Hz)  Level(dBV)\n20,0  -1,5\n1000,0  0,0\n20000,0  -0,5\n",
    "decimal comma, quoted": '"Frequency (Hz)","Level (dBV)"\n"20,0","-1,5"\n"1000,0","0,0"\n"20000,0","-0,5"\n',
    "hash comments": "# bench two\n" + HEADED + "# begun\n" + ROWS + "# end\n",
    "semicolon comments": "; bench two\n" + HEADED + "; begun\n" + ROWS,
    "star comments": "***\n* bench two\n" + HEADED + ROWS + "* end\n",
    "slash comments": "// bench two\n" + HEADED + ROWS + "// end\n",
    "semicolon comments, semicolon": "; bench; two\nFrequency (Hz);Level (dBV)\n20;-1,5\n1000;0\n20000;-0,5\n",
    "free text": "A sweep taken on the second bench\n\n" + HEADED + ROWS,
    "key: value": "Averages: 8\nDate: 2024-05-01 10:31\nSettling: 20, 30\n" + HEADED + ROWS,
    "key and value in cells": "Date,2024-05-01\nAverages,8\nStart,20 Hz\n" + HEADED + ROWS,
    "comment as header": "# Frequency (Hz), Level (dBV)\n" + ROWS,
    "comment as header, spaces": "# bench two, right\n# Freq[Hz]  Level[dBV]\n20 -1.5\n1000 0\n20000 -0.5\n",
    "units row": "Frequency,Level\nHz,dBV\n" + ROWS,
    "units row in brackets": "Frequency,Level\n[Hz],[dBV]\n" + ROWS,
    "units row, commented": "Frequency,Level\n# Hz,dBV\n" + ROWS,
    "units row repeats the header": "Frequency (Hz),Level (dBV)\nHz,dBV\n" + ROWS,
    "units row after a preamble": "Date: today\n\nFrequency,Level\nHz,dBV\n\n" + ROWS,
    "units alone": "Hz,dBV\n" + ROWS,
    "square brackets": "Frequency [Hz],Level [dBV]\n" + ROWS,
    "slash": "f/Hz,Level/dBV\n" + ROWS,
    "underscore": "Freq_Hz,Level_dBV\n" + ROWS,
    "bare words": "FREQ Hz,LEVEL dBV\n" + ROWS,
    "in": "Frequency in Hz,Level in dBV\n" + ROWS,
    "comma before the unit": '"Frequency, Hz","Level, dBV"\n' + ROWS,
    "comma before the unit, unquoted": "Frequency, Hz, Level, dBV\n" + ROWS,
    "header with a line end": '"Frequency\n(Hz)","Level\n(dBV)"\n' + ROWS,
    "condition in the header": "Frequency (Hz),Level at 1 kHz (dBV)\n" + ROWS,
    "condition in brackets": "Frequency (Hz),Level (5 W) (dBV)\n" + ROWS,
    "capitals": "FREQUENCY (HERTZ),LEVEL (dBV)\n" + ROWS,
    "kHz": "Frequency (kHz),Level (dBV)\n0.02,-1.5\n1,0\n20,-0.5\n",
    "MHz": "Frequency (MHz),Level (dBV)\n0.00002,-1.5\n0.001,0\n0.02,-0.5\n",
    "falling": HEADED + "20000,-0.5\n1000,0\n20,-1.5\n",
    "thousands": "Frequency (Hz);Level (dBV)\n20;-1.5\n1,000.0;0\n20,000;-0.5\n",
    "thousands, quoted": HEADED + '20,-1.5\n"1,000",0\n"20,000",-0.5\n',
    "thousands with points": "Frequency (Hz);Level (dBV)\n20;-1,5\n1.000;0\n20.000;-0,5\n",
    "thousands with spaces": "Frequency (Hz);Level (dBV)\n20;-1.5\n1 000;0\n20 000;-0.5\n",
    "thousands with spaces, spaces": "Frequency (Hz)   Level (dBV)\n20      -1.5\n1 000   0\n20 000  -0.5\n",
    "thousands with no-break spaces": "Frequency (Hz) Level (dBV)\n20 -1.5\n1\u00a0000 0\n20\u202f000 -0.5\n",
    "thousands with apostrophes": "Frequency (Hz),Level (dBV)\n20,-1.5\n1'000,0\n20’000,-0.5\n",
    "exponents": HEADED + "2e1,-1.5E+00\n1.0E+03,0\n2.0e4,-5E-1\n",
    "exponents, decimal comma": "Frequency (Hz);Level (dBV)\n2,0E+01;-1,5\n1,0E+03;0\n2,0E+04;-5,0E-01\n",
    "typographic minus": HEADED + "20,\u22121.5\n1000,0\n20000,\u20130.5\n",
    "no-break spaces around": "Frequency\u00a0(Hz),Level\u00a0(dBV)\n20\u00a0,\u00a0-1.5\n1000,0\n20000,-0.5\n",
    "plus, bare points": HEADED + "+20.,-1.5\n1000,+0\n20000,-.5\n",
    "spaces after commas": "Frequency (Hz), Level (dBV)\n20, -1.5\n1000, 0\n20000, -0.5\n",
    "trailing separators": "Frequency (Hz),Level (dBV),\n20,-1.5,\n1000,0,\n20000,-0.5,\n",
    "trailing separators, rows alone": HEADED + "20,-1.5,,\n1000,0,,\n20000,-0.5,\n",
    "trailing separators, header alone": "Frequency (Hz);Level (dBV);;\n20;-1.5\n1000;0\n20000;-0.5\n",
    "blank lines": "\n\n" + HEADED + "\n20,-1.5\n\n   \n1000,0\n20000,-0.5\n\n\n",
    "blank spreadsheet rows": HEADED + "20,-1.5\n,\n1000,0\n20000,-0.5\n,\n,\n",
    "no last line end": (HEADED + ROWS).rstrip(),
    "carriage returns": (HEADED + ROWS).replace("\n", "\r\n"),
    "carriage returns alone": (HEADED + ROWS).replace("\n", "\r"),
    "end-of-file sign": HEADED + ROWS + "\x1a",
    "separator hint": "sep=;\nFrequency (Hz);Level (dBV)\n20;-1,5\n1000;0\n20000;-0,5\n",
    "a phase beside it": "Frequency (Hz),Level (dBV),Phase (deg)\n20,-1.5,3\n1000,0,--\n20000,-0.5,x\n",
    "a running number before it": "No.,Frequency (Hz),Level (dBV)\n1,20,-1.5\n2,1000,0\n3,20000,-0.5\n",
    "a remark behind it": "Frequency (Hz),Level (dBV),Remark\n20,-1.5,\n1000,0,the reference\n20000,-0.5,\n",
    "a rule under the header": "Frequency (Hz)  Level (dBV)\n--------  --------\n20  -1.5\n1000  0\n20000  -0.5\n",
    "a rule of cells": HEADED + "-----,-----\n" + ROWS + "=====,=====\n",
    "a channel letter as title": "L\n" + HEADED + ROWS,
    "a word for a name": "Frequency (Hz),Trace 1 (dBV)\n" + ROWS,
    "one numbered channel": "Frequency (Hz),Ch 1 (dBV)\n" + ROWS,
    "preamble, semicolons, decimal comma": (
        "Bench: two\r\n\r\nFrequency;Level\r\nkHz;dBV\r\n20;-0,5;\r\n1;0;\r\n0,02;-1,5;\r\n"
    ),
}


def test_layouts_that_say_the_same():
    for name in SAME_RESPONSE:
        sheet = read(SAME_RESPONSE[name])
        assert seen(sheet) == RESPONSE, name
        assert sheet.rows == 3, name


@pytest.mark.parametrize(
    ("encoded", "encoding"),
    [
        (("Frequency (Hz),Level (dBV)\n# Ω\n" + ROWS).encode(), "utf-8"),
        ((HEADED + ROWS).encode("utf-8-sig"), "utf-8"),
        ((HEADED + ROWS).encode("utf-16"), "utf-16"),
        (b"\xfe\xff" + (HEADED + ROWS).encode("utf-16-be"), "utf-16"),
        ((HEADED + ROWS).encode("utf-16-le"), "utf-16"),
        ((HEADED + ROWS).encode("utf-16-be"), "utf-16"),
        (("# 20 °C\n" + HEADED + ROWS).encode("cp1252"), "cp1252"),
        (("Frequency (Hz),Level (dBV)\n20,–1.5\n1000,0\n20000,-0.5\n").encode("cp1252"), "cp1252"),
    ],
)
def test_encodings(encoded, encoding):
    sheet = read(encoded)
    assert seen(sheet) == RESPONSE
    assert sheet.encoding == encoding


@pytest.mark.parametrize(
    ("name", "separator", "decimal"),
    [
        ("comma", ",", "."),
        ("semicolon", ";", "."),
        ("tab", "\t", "."),
        ("runs of spaces", " ", "."),
        ("decimal comma", ";", ","),
        ("decimal comma, quoted", ",", ","),
        ("thousands with points", ";", ","),
        ("thousands", ";", "."),
    ],
)
def test_the_dialect_is_told(name, separator, decimal):
    sheet = read(SAME_RESPONSE[name])
    assert (sheet.separator, sheet.decimal) == (separator, decimal)
